"""Closed forms of steady heat: what a sum on paper gives before any grid is laid.

All lengths are mm; conductivity k is in W/mK, film coefficient h in W/m2K, results in K/W.
Formulae: Incropera & DeWitt, Fundamentals of Heat and Mass Transfer, chapters 3 and 4.
"""

from __future__ import annotations

import math

from glowsim.units import M_PER_MM


def sphere_k_w(
    *, core_radius_mm: float, skin_radius_mm: float, conductivity_w_mk: float, skin_w_m2k: float
) -> float:
    """Return the rise of a spherical core above the room per watt [K/W].

    R = [(1/a - 1/b)/k + 1/(h b^2)] / 4 pi: conduction through the shell from a to b, then the
    film on the skin.
    """
    a, b = core_radius_mm * M_PER_MM, skin_radius_mm * M_PER_MM
    return ((1 / a - 1 / b) / conductivity_w_mk + 1 / (skin_w_m2k * b**2)) / (4 * math.pi)


def cylinder_k_w(
    *,
    core_radius_mm: float,
    skin_radius_mm: float,
    length_mm: float,
    conductivity_w_mk: float,
    skin_w_m2k: float,
) -> float:
    """Return the rise of the core of a long cylinder above the room per watt [K/W].

    R = [ln(b/a)/k + 1/(h b)] / (2 pi length), its ends closed.
    """
    b = skin_radius_mm * M_PER_MM
    conduction = math.log(skin_radius_mm / core_radius_mm) / conductivity_w_mk
    return (conduction + 1 / (skin_w_m2k * b)) / (2 * math.pi * length_mm * M_PER_MM)


def slab_k_w(
    *, thickness_mm: float, area_mm2: float, conductivity_w_mk: float, skin_w_m2k: float
) -> float:
    """Return the rise of one face of a slab above the room behind the other, per watt [K/W].

    R = (t/k + 1/h) / A.
    """
    area_m2 = area_mm2 * M_PER_MM**2
    return (thickness_mm * M_PER_MM / conductivity_w_mk + 1 / skin_w_m2k) / area_m2


def equal_sphere_radius_mm(board_diameter_mm: float) -> float:
    """Return the radius of the sphere that sheds as much heat into a medium as a flat disc.

    A disc of radius c has the shape factor 8 c, a sphere of radius a 4 pi a: a = 2 c / pi.
    """
    return board_diameter_mm / math.pi
