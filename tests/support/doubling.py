"""Slabs by adding-doubling: iadpython, a development dependency, as what stands outside."""

from __future__ import annotations

import pytest


def adding_doubling(mu_a, mu_s_reduced, g, n, thickness) -> tuple[float, float]:
    """Return R and T of a slab by iadpython, 16 quadrature points (good to 4e-4)."""
    iad = pytest.importorskip("iadpython")
    mu_s = mu_s_reduced / (1 - g)
    albedo, depth = mu_s / (mu_a + mu_s), (mu_a + mu_s) * thickness
    reflects, transmits, _, _ = iad.Sample(a=albedo, b=depth, g=g, n=n, quad_pts=16).rt()
    return float(reflects), float(transmits)
