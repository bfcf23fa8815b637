"""Heat that leaves along a wire (Incropera & DeWitt, Fundamentals of Heat and Mass Transfer,
chapter 3)."""

from __future__ import annotations

import math

from glowsim.units import M_PER_MM

COPPER_W_MK = 400.0
"""Thermal conductivity of copper at room temperature (handbook value, from memory: 398 to 401)."""


def fin_k_w(
    *,
    length_mm: float,
    copper_mm2: float,
    loss_w_mk: float,
) -> float:
    """Return the rise of a wire's foot per watt led away along it, its far end closed [K/W].

    R = 1 / (sqrt(G k A) tanh(L sqrt(G / (k A)))), with G [W/mK] the heat a metre of wire gives
    off per kelvin: 2 pi k_foam / ln(b/r) inside foam, h pi d in air.
    """
    carries = COPPER_W_MK * copper_mm2 * M_PER_MM**2
    decay = math.sqrt(loss_w_mk / carries)
    return 1 / (math.sqrt(loss_w_mk * carries) * math.tanh(decay * length_mm * M_PER_MM))
