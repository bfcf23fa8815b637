"""Light that turns round in an endless depth of isotropic scatterers.

Quick claims nothing for light that turns round within a transport length or two of where it
enters, as most of this does; it is held to what it does, 0.025 of the light, so that a change
shows.
"""

from __future__ import annotations

import pytest

from glowsim.optics.exact import gauss_legendre
from tests.support.half_space import reflectance_normal, semi_infinite_reflectance
from tests.support.monte_carlo import Share
from tests.support.slabs import BEAM, DIFFUSE, EDGE, SLABS, half_space, reflected_and_through
from tests.support.solvers import Solve, reference

OFF = 0.025


def reflected(solve: Solve, photons: int, albedo: float, **more: float) -> Share:
    up, _, edge = reflected_and_through(solve(half_space(albedo, **more), photons))
    assert edge.mean < EDGE
    return up


@pytest.mark.parametrize("albedo", [0.5, 0.9])
def test_half_space(solve, albedo):
    """Chandrasekhar's H function (1960, chapter V), as computed in `optics`."""
    exact = float(semi_infinite_reflectance(1.0, albedo=albedo))
    assert reflected(solve, 50_000, albedo).agrees(exact, within=OFF / exact)


@pytest.mark.slow
@pytest.mark.parametrize("albedo", [0.5, 0.9, 0.99, 0.999])
@pytest.mark.parametrize("incidence", ["normal", "slanted", "diffuse"])
def test_half_space_closely(solve, albedo, incidence):
    """The same to a standard error below 5e-4, for the beam at 60 degrees and diffuse light too."""
    photons = 1_000_000 if albedo < 0.995 else 200_000
    if incidence == "diffuse":
        mu, weight = gauss_legendre(0.0, 1.0, 64)
        exact = float(weight @ (2 * mu * semi_infinite_reflectance(mu, albedo=albedo)))
        up = reflected(solve, photons, albedo, exponent=DIFFUSE)
    else:
        cos = 1.0 if incidence == "normal" else 0.5
        exact = float(semi_infinite_reflectance(cos, albedo=albedo))
        up = reflected(solve, photons, albedo, cos_incidence=cos)
    assert up.agrees(exact, digits=1e-6, within=OFF / exact)


@pytest.mark.slow
@pytest.mark.parametrize("exponent", [BEAM, DIFFUSE], ids=["beam", "diffuse"])
def test_giovanelli_closely(solve, exponent):
    """S2 of the table, index 1.5, in all; one sigma is at most 5e-4."""
    _, _, _, n, _, beam, _, diffuse, _ = SLABS["S2"]
    exact = beam if exponent == BEAM else diffuse
    up = reflected(solve, 1_000_000, 0.9, n=n, exponent=exponent)
    assert up.agrees(exact, digits=1e-5, within=OFF / exact)


def test_giovanelli(solve):
    """Giovanelli (1955), from memory: 0.2600 in all."""
    up = reflected(solve, 100_000, 0.9, n=1.5)
    assert up.agrees(0.2600, digits=1e-4, within=OFF / 0.26)


def test_giovanelli_with_and_without_the_face():
    """The face mirrors 0.0400 of it. For the reference alone: quick counts what a wall of a hollow
    mirrors as diffuse, there is nothing to tell apart."""
    leaving = reference(half_space(0.9, n=1.5), 100_000)
    up, _, _ = reflected_and_through(leaving)
    mirrored = leaving.unscattered()
    assert mirrored.agrees(float(reflectance_normal(n_from=1.0, n_to=1.5)))
    assert Share(up.mean - mirrored.mean, up.error).agrees(0.2199, digits=1e-4)
