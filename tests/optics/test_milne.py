"""Diffuse light just below a face, by discrete ordinates, against exact and published values."""

from __future__ import annotations

import numpy as np
import pytest

from glowsim.optics.boundary import MILNE_LENGTH_MFP, transport_coefficient
from glowsim.optics.exact import chandrasekhar_h
from glowsim.optics.milne import departure, milne_transients
from tests.support.phase import henyey_greenstein_cos


def test_isotropic_scattering_without_reflection():
    """z_e = 0.710446 and, at the face, a mean radiance of 1 / sqrt(3) (Placzek & Seidel, Phys. Rev.
    72, 550, 1947, from memory)."""
    z_e, mu, weight, rate, transient = milne_transients(1.0, 0.0)
    assert z_e == pytest.approx(MILNE_LENGTH_MFP, abs=1e-9)
    assert rate.min() > 1.0
    at_face = mu + z_e + transient.sum(axis=1)
    assert 0.5 * (weight * at_face).sum() == pytest.approx(1 / np.sqrt(3), abs=1e-6)
    # What is let out goes as Chandrasekhar's H, what comes in is nothing.
    out = mu > 0
    np.testing.assert_allclose(
        at_face[out], chandrasekhar_h(mu[out], albedo=1.0) / np.sqrt(3), rtol=1e-6
    )
    np.testing.assert_allclose(at_face[~out], 0.0, atol=1e-10)


@pytest.mark.parametrize("n", [1.1, 1.33, 1.5, 1.7])
def test_a_face_that_reflects(n):
    """The same z_e as by H functions: two ways to one number."""
    assert 1.5 * milne_transients(n, 0.0)[0] == pytest.approx(transport_coefficient(n), rel=1e-7)


@pytest.mark.parametrize(("g", "z_e"), [(0.0, 0.7104), (0.5, 0.7119), (0.9, 0.7143)])
def test_forward_scattering(g, z_e):
    """In transport lengths z_e hardly depends on g; it is between 0.7104 and 0.7150 for any forward
    scattering (van de Hulst, Multiple Light Scattering, 1980, from memory)."""
    found = (1 - g) * milne_transients(1.0, g)[0]
    assert found == pytest.approx(z_e, abs=2e-4)
    assert 0.7104 <= found + 1e-4 <= 0.7151


def where_walks_end(depth: float, g: float, count: int, seed: int) -> tuple[float, float]:
    """Walk photons in a layer 6 transport lengths deep, from a depth; return the mean of where they
    end, at the depth diffusion gives it: the bottom counts for the field there, the face for
    nothing. Both in transport lengths, with the standard error."""
    rng = np.random.default_rng(seed)
    bottom = 6.0
    z = np.full(count, depth)
    mu = rng.uniform(-1, 1, count)
    counted = np.zeros(count)
    number = np.arange(count)
    z_e = milne_transients(1.0, g)[0] * (1 - g)
    while len(z):
        z = z - mu * rng.exponential(1 - g, len(z))
        cos = henyey_greenstein_cos(rng.random(len(z)), g=g)
        turn = np.cos(2 * np.pi * rng.random(len(z)))
        mu = np.clip(mu * cos + np.sqrt((1 - mu**2) * (1 - cos**2)) * turn, -1, 1)
        deep = z >= bottom
        # Deep inside, a photon counts as where it is, less a transport length its way.
        counted[number[deep]] = z[deep] + z_e - mu[deep]
        keep = (z > 0) & ~deep
        z, mu, number = z[keep], mu[keep], number[keep]
    return float(counted.mean()), float(counted.std() / np.sqrt(count))


@pytest.mark.parametrize("g", [0.0, 0.6])
@pytest.mark.parametrize("depth", [0.3, 1.0])
def test_departure_is_what_walking_photons_show(depth, g):
    found, error = where_walks_end(depth, g, 400_000, seed=1)
    expected = depth + milne_transients(1.0, g)[0] * (1 - g) + departure(depth, n=1.0, g=g)
    assert abs(found - expected) < 3.5 * error


def test_departure_dies_with_depth():
    for n, g in ((1.0, 0.0), (1.5, 0.0), (1.5, 0.9)):
        sizes = [abs(departure(d, n=n, g=g, set_back=float(g > 0))) for d in (1.1, 2.0, 3.0)]
        assert sizes[0] > 2 * sizes[1] > 4 * sizes[2] > 0
