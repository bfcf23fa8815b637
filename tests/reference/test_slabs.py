"""Slabs and half-spaces of published reflectance and transmittance.

Tolerance: three standard errors and the table's own digits.
"""

from __future__ import annotations

import numpy as np
import pytest

from glowsim.optics.exact import gauss_legendre, semi_infinite_reflectance
from glowsim.optics.fresnel import reflectance_diffuse, reflectance_normal
from tests.support.bodies import medium
from tests.support.monte_carlo import follow, leaving
from tests.support.slabs import BEAM, SLABS, lit_slab, reflected_and_through

EDGE = 1e-4
"""Most light that may leave by the edge of a slab that stands for an endless one."""


def check(name: str, photons: int, exponent: float) -> None:
    mu_a, mu_s, g, n, thickness, *table = SLABS[name]
    reflected, through = table[:2] if exponent == BEAM else table[2:]
    if name == "S2":  # the table's endless slab, 100 mean free paths per unit
        thickness = 2.0
    problem = lit_slab([(medium(mu_a, mu_s * (1 - g), g, n), thickness)], exponent=exponent)
    tallies = follow(problem, photons)
    up, down, edge = reflected_and_through(problem, tallies)
    print(
        f"{name}: R {up.mean:.5f} +- {up.error:.5f} ({reflected}), {up.off(reflected):.1f} s.e.; "
        f"T {down.mean:.5f} +- {down.error:.5f} ({through}), {down.off(through):.1f} s.e.; "
        f"edge {edge.mean:.1e}"
    )
    assert edge.mean < EDGE
    assert up.agrees(reflected, digits=1e-5 + edge.mean)
    assert down.agrees(through, digits=1e-5 + edge.mean)
    assert abs(tallies.balance()).max() < 1e-9


@pytest.mark.parametrize("name", ["S1", "S7", "S11", "S14"])
def test_slab_in_a_beam(name):
    check(name, 60_000, BEAM)


@pytest.mark.slow
@pytest.mark.parametrize("exponent", [BEAM, 1.0], ids=["beam", "diffuse"])
@pytest.mark.parametrize("name", SLABS)
def test_slab(name, exponent):
    """S1 is van de Hulst's (table 35: 0.09739, 0.66096), S2 Giovanelli's; all sixteen by
    adding-doubling (double Gauss + Radau, N = 128). One sigma is at most 5e-4."""
    check(name, 1_000_000, exponent)


def test_giovanelli_with_and_without_the_face():
    """Giovanelli (1955), from memory: 0.2600 in all, of which the face mirrors 0.0400."""
    mu_a, mu_s, g, n, *_ = SLABS["S2"]
    problem = lit_slab([(medium(mu_a, mu_s, g, n), 2.0)])
    tallies = follow(problem, 100_000)
    up, _, _ = reflected_and_through(problem, tallies)
    assert up.agrees(0.2600, digits=1e-4)
    mirrored = float(tallies.direct[0, :, 1].sum() / tallies.photons[0])
    exact = float(reflectance_normal(n_from=1.0, n_to=n))
    error = np.sqrt(exact * (1 - exact) / tallies.photons[0])
    assert abs(mirrored - exact) < 3 * error
    assert up.mean - mirrored == pytest.approx(0.2199, abs=3 * up.error + 1e-4)


def test_two_layers_of_different_index():
    """Beam on 0.1 mm (mu_a 2, mu_s 20, g 0.7, n 1.3) over an endless layer (mu_a 1, mu_s 20, g 0.9,
    n 1.4): mirrored 0.0170, diffusely reflected 0.1050, absorbed 0.8780; other Monte Carlo codes
    give 0.1046 to 0.1049 +- 0.0002 (validation pages of the Virtual Tissue Simulator)."""
    layers = [(medium(2.0, 6.0, 0.7, 1.3), 0.1), (medium(1.0, 2.0, 0.9, 1.4), 5.0)]
    problem = lit_slab(layers, width=30.0)
    tallies = follow(problem, 200_000)
    up, down, _ = reflected_and_through(problem, tallies)
    assert down.mean < 1e-4
    assert up.agrees(0.0170 + 0.1048, digits=4e-4)


@pytest.mark.parametrize("exponent", [BEAM, 1.0], ids=["beam", "diffuse"])
def test_face_of_clear_material(exponent):
    """What a black body of index 1.5 mirrors: Fresnel's 0.04 of a beam, 0.0918 of diffuse light
    (Walsh's closed form)."""
    problem = lit_slab([(medium(50.0, 0.0, 0.0, 1.5), 1.0)], exponent=exponent)
    up, down, _ = reflected_and_through(problem, follow(problem, 200_000))
    of_face = reflectance_normal if exponent == BEAM else reflectance_diffuse
    assert up.agrees(float(of_face(n_from=1.0, n_to=1.5)))
    assert down.mean < 1e-9


def half_space(albedo: float, cos: float, exponent: float, photons: int):
    """Return what a half-space reflects; it ends where light has fallen to 1e-8."""
    depth = 18.0 / np.sqrt(3 * (1 - albedo))
    layer = medium(1 - albedo, albedo)
    problem = lit_slab([(layer, depth)], cos_incidence=cos, exponent=exponent, width=20.0)
    tallies = follow(problem, photons)
    up, _, edge = reflected_and_through(problem, tallies)
    assert edge.mean < EDGE
    return up


@pytest.mark.parametrize(("albedo", "photons"), [(0.5, 100_000), (0.9, 50_000), (0.99, 20_000)])
def test_half_space(albedo, photons):
    """Chandrasekhar's H function (1960, chapter V), as computed in `optics`."""
    assert half_space(albedo, 1.0, BEAM, photons).agrees(
        float(semi_infinite_reflectance(1.0, albedo=albedo))
    )


@pytest.mark.slow
@pytest.mark.parametrize("albedo", [0.5, 0.8, 0.9, 0.95, 0.99, 0.999])
@pytest.mark.parametrize("incidence", ["normal", "slanted", "diffuse"])
def test_half_space_closely(albedo, incidence):
    """The same to a standard error below 5e-4, for the beam at 60 degrees and diffuse light too."""
    photons = 1_000_000 if albedo < 0.995 else 200_000
    if incidence == "diffuse":
        mu, weight = gauss_legendre(0.0, 1.0, 64)
        exact = float(weight @ (2 * mu * semi_infinite_reflectance(mu, albedo=albedo)))
        assert half_space(albedo, 1.0, 1.0, photons).agrees(exact, digits=1e-6)
    else:
        cos = 1.0 if incidence == "normal" else 0.5
        exact = float(semi_infinite_reflectance(cos, albedo=albedo))
        assert half_space(albedo, cos, BEAM, photons).agrees(exact)


@pytest.mark.slow
@pytest.mark.parametrize("name", ["S1", "S5", "S9", "S16"])
def test_second_opinion_on_the_table(name):
    """iadpython with 16 quadrature points (it goes wrong with more): within 4e-4 in a beam and
    9e-4 in diffuse light of the table."""
    iad = pytest.importorskip("iadpython")
    mu_a, mu_s, g, n, thickness, *table = SLABS[name]
    albedo, depth = mu_s / (mu_a + mu_s), (mu_a + mu_s) * thickness
    sample = iad.Sample(a=albedo, b=depth, g=g, n=n, quad_pts=16)
    np.testing.assert_allclose(sample.rt()[:4], table, atol=9e-4)


def test_light_leaves_where_the_slab_ends():
    """The edge is counted: a narrow slab loses by it."""
    problem = lit_slab([(medium(0.0, 1.0), 4.0)], width=2.0)
    tallies = follow(problem, 20_000)
    _, _, edge = reflected_and_through(problem, tallies)
    assert edge.mean > 0.05
    assert leaving(tallies).mean == pytest.approx(1.0, abs=1e-9)
