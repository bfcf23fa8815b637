"""Infinite slabs against adding-doubling.

Values: adding-doubling with double Gauss and Radau nodes, N = 128, good to the fifth digit, for
normal collimated (R1, T1) and Lambertian light (RU, TU). S1 and S2 are published: van de Hulst,
Multiple Light Scattering (1980), table 35; Giovanelli (1955) (both as quoted by Wang, Jacques &
Zheng, Comput. Methods Programs Biomed. 47, 131 (1995)). S1's lengths are scaled by 100, which
changes nothing. A finite plate stands in for the slab, wide enough that under 0.3 % goes out at
its edges.
"""

from __future__ import annotations

import numpy as np
import pytest

from glowsim.geometry.shapes import shape_mesh
from glowsim.scene import Slab
from glowsim.transport.problem import AIR
from tests.support.bodies import body, emitters, medium

#  id: mu_a, mu_s, g, n, d, R1, T1, RU, TU
SLABS = {
    "S1": (0.1, 0.9, 0.75, 1.0, 2.0, 0.0973946, 0.6609577, 0.1910902, 0.5018161),
    "S3": (0.01, 1, 0, 1.5, 1, 0.33995, 0.61867, 0.40063, 0.55696),
    "S4": (0.01, 1, 0, 1.5, 5, 0.55635, 0.25288, 0.59060, 0.22999),
    "S5": (0.001, 10, 0.9, 1.5, 3, 0.56588, 0.41995, 0.60069, 0.38599),
    "S6": (0.001, 10, 0.9, 1.5, 10, 0.75082, 0.20334, 0.77067, 0.18690),
    "S7": (0.0, 1, 0, 1.5, 3, 0.56498, 0.43502, 0.60308, 0.39692),
    "S8": (0.0, 20, 0.9, 1.5, 3, 0.69342, 0.30658, 0.71812, 0.28188),
    "S9": (0.05, 5, 0.8, 1.4, 2, 0.35708, 0.34606, 0.40606, 0.31008),
    "S10": (0.002, 30, 0.9, 1.5, 3, 0.74486, 0.22698, 0.76527, 0.20865),
    "S11": (0.5, 5, 0.9, 1.5, 1, 0.08135, 0.31265, 0.13706, 0.23216),
    "S12": (0.0, 1, 0, 1.0, 1, 0.34133, 0.65867, 0.44659, 0.55341),
    "S13": (0.0, 1, 0, 1.0, 10, 0.85300, 0.14700, 0.88325, 0.11675),
    "S14": (0.1, 0, 0, 1.5, 3, 0.06025, 0.68334, 0.12222, 0.59784),
    "S15": (0.0005, 0.5, 0, 1.0, 20, 0.83900, 0.13812, 0.87114, 0.10955),
    "S16": (0.01, 1, 0.5, 1.33, 2, 0.33040, 0.60638, 0.39764, 0.53649),
}
COLLIMATED, LAMBERTIAN = 1e7, 1.0
NORMAL = ["S8", "S9", "S13", "S14"]


def slab(name: str, exponent: float):
    mu_a, mu_s, g, n, d, *_ = SLABS[name]
    width, gap = 16 * d, d / 2
    air = shape_mesh(Slab(kind="slab", length_mm=width, width_mm=width, thickness_mm=2 * d))
    plate = shape_mesh(Slab(kind="slab", length_mm=width, width_mm=width, thickness_mm=d))
    inset = np.diag([0.99, 0.99, 1.0, 1.0])
    inset[2, 3] = gap
    return body(
        air,
        [AIR, medium(mu_a, mu_s * (1 - g), g, n)],
        emitters([[0.01 * d, 0.013 * d, gap - 0.02 * d]], exponent=exponent),
        inserts=[plate.moved(inset)],
        cell_mm=d / 3,
        face_mm=width / 10,
    )


def tolerance(name: str) -> float:
    """What quick claims for transmittance, by reduced thickness."""
    mu_a, mu_s, g, _, d, *_ = SLABS[name]
    reduced = mu_s * (1 - g) * d
    if mu_s == 0:
        return 0.002  # no scattering: first flight alone, Beer-Lambert and Fresnel
    if mu_a > 0.1 * mu_s * (1 - g):
        return 0.20  # more absorption than quick claims
    return 0.03 if reduced >= 3 else 0.10


@pytest.mark.parametrize(
    "name", [pytest.param(k, marks=() if k in NORMAL else pytest.mark.slow) for k in SLABS]
)
@pytest.mark.parametrize("exponent", [COLLIMATED, LAMBERTIAN])
def test_slab_transmits_and_reflects_what_adding_doubling_says(solve, name, exponent):
    r1, t1, ru, tu = SLABS[name][5:]
    reflects, transmits = (r1, t1) if exponent == COLLIMATED else (ru, tu)
    leaving = solve(slab(name, exponent))
    d = SLABS[name][4]
    height = leaving.centroids[:, 2]
    up, down = leaving.where(height > 1.5 * d), leaving.where(height < 0.5 * d)
    print(f"{name}: T {up:.4f} ({transmits:.4f}), R {down:.4f} ({reflects:.4f})")
    assert up == pytest.approx(transmits, rel=tolerance(name))
    assert down == pytest.approx(reflects, abs=0.02)


@pytest.mark.slow
def test_slab_agrees_with_a_general_purpose_code(solve):
    """iadpython, an adding-doubling package; accurate at 16 quadrature points, not above."""
    import iadpython

    mu_a, mu_s, g, n, d = 0.004, 1.6, 0.0, 1.45, 4.0
    sample = iadpython.Sample(a=mu_s / (mu_a + mu_s), b=(mu_a + mu_s) * d, g=g, n=n, quad_pts=16)
    r1, t1, _, _ = sample.rt()
    SLABS["own"] = (mu_a, mu_s, g, n, d, r1, t1, 0.0, 0.0)
    leaving = solve(slab("own", COLLIMATED))
    height = leaving.centroids[:, 2]
    assert leaving.where(height > 1.5 * d) == pytest.approx(t1, rel=0.03)
    assert leaving.where(height < 0.5 * d) == pytest.approx(r1, rel=0.03)
