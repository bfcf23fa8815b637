"""Luminance of glowing faces by direction, against exact solutions and photons that are counted."""

from __future__ import annotations

import numpy as np
import pytest

from glowsim.optics.emission import MATT, luminance_shape, square_on
from glowsim.optics.exact import chandrasekhar_h, gauss_legendre
from glowsim.optics.fresnel import reflectance

ANGLES = np.array([15, 30, 45, 60, 75, 80, 85])
# Luminance over that along the normal at these angles, then pi L / M along the normal: Milne's
# problem by discrete ordinates with Fresnel's equations, by a program of its own (computed, to
# three digits).
EXACT = {
    1.0: (0.979, 0.918, 0.821, 0.692, 0.538, 0.481, 0.420, 1.259),
    1.33: (0.993, 0.973, 0.939, 0.879, 0.717, 0.590, 0.376, 1.108),
    1.41: (0.995, 0.978, 0.949, 0.892, 0.723, 0.592, 0.375, 1.099),
    1.49: (0.996, 0.982, 0.957, 0.901, 0.728, 0.595, 0.376, 1.092),
    1.5: (0.996, 0.983, 0.958, 0.902, 0.729, 0.596, 0.376, 1.091),
    1.57: (0.997, 0.986, 0.963, 0.908, 0.733, 0.599, 0.378, 1.087),
}
# H of conservative isotropic scattering at cosines 0, 0.1 .. 1: Chandrasekhar, Radiative Transfer
# (1960), table XI, from memory.
H = (1.0, 1.2474, 1.4503, 1.6425, 1.8293, 2.0128, 2.1941, 2.3740, 2.5527, 2.7306, 2.9078)


@pytest.mark.parametrize("n", EXACT)
def test_the_exact_table(n):
    *relative, normal = EXACT[n]
    assert float(square_on(n)) == pytest.approx(normal, abs=1e-3)
    shape = luminance_shape(np.cos(np.radians(ANGLES)), n=n) / square_on(n)
    np.testing.assert_allclose(shape, relative, atol=1e-3)


def test_without_reflection_it_is_chandrasekhars_h():
    """pi L / M = sqrt(3) / 4 H, for the integral of 2 H mu dmu is 4 / sqrt(3), exactly."""
    cosine = np.linspace(0, 1, 11)
    shape = luminance_shape(cosine, n=1.0)
    np.testing.assert_allclose(shape[1:], np.sqrt(3) / 4 * np.array(H)[1:], atol=5e-4)
    # Straight along the face H rises with an endless slope.
    assert shape[0] == pytest.approx(np.sqrt(3) / 4, rel=0.01)
    fine = np.linspace(0.02, 1, 200)
    own = np.sqrt(3) / 4 * chandrasekhar_h(fine, albedo=1.0)
    np.testing.assert_allclose(luminance_shape(fine, n=1.0), own, rtol=1e-5)


@pytest.mark.parametrize("n", [1.0, 1.2, 1.5, 1.7, MATT])
def test_the_exitance_stays(n):
    mu, weight = gauss_legendre(0.0, 1.0, 200)
    assert 2 * weight @ (mu * luminance_shape(mu, n=n)) == pytest.approx(1.0, abs=3e-5)


def test_faces_of_several_kinds_at_once():
    got = luminance_shape(np.array([0.2, 0.2, 0.7]), n=np.array([1.5, MATT, 1.0]))
    own = [luminance_shape(c, n=n) for c, n in ((0.2, 1.5), (0.2, MATT), (0.7, 1.0))]
    np.testing.assert_array_equal(got, own)
    assert got[1] == 1.0


def exits(n: float, count: int, seed: int) -> np.ndarray:
    """Walk photons from the middle of a layer 8 mean free paths thick, which scatters all ways
    alike; return the cosines outside of those that leave through either face."""
    rng = np.random.default_rng(seed)
    thick = 8.0
    z, mu, out = np.full(count, thick / 2), rng.uniform(-1, 1, count), []
    while len(z):
        z = z + mu * rng.exponential(size=len(z))
        beyond = (z < 0) | (z > thick)
        while beyond.any():
            cosine = np.abs(mu[beyond])
            leaves = rng.random(len(cosine)) >= reflectance(cosine, n_from=n, n_to=1.0)
            out.append(np.sqrt(1 - n**2 * (1 - cosine[leaves] ** 2)))
            # Others are mirrored at the face, with the path that they have left.
            keep = np.ones(len(z), bool)
            keep[np.flatnonzero(beyond)[leaves]] = False
            z, mu, beyond = z[keep], mu[keep], beyond[keep]
            mu = np.where(beyond, -mu, mu)
            z = np.where(z < 0, -z, np.where(z > thick, 2 * thick - z, z))
            beyond = (z < 0) | (z > thick)
        mu = rng.uniform(-1, 1, len(z))
    return np.concatenate(out)


@pytest.mark.parametrize("n", [1.0, 1.5])
def test_photons_leave_in_the_directions_it_says(n):
    """Chi-square over ten bins of equal chance for a matt face; 0.1 % of runs would be further off.

    The walk knows nothing of Milne's problem. Its layer is thick enough: what an end less far
    away changes dies out as exp(-4).
    """
    cosine = exits(n, 40_000, 7)
    edges = np.sqrt(np.linspace(0, 1, 11))
    t, weight = gauss_legendre(0.0, 1.0, 40)
    mu = edges[:-1, None] + np.diff(edges)[:, None] * t
    share = np.diff(edges) * ((2 * mu * luminance_shape(mu, n=n)) @ weight)
    expected = share / share.sum() * len(cosine)
    found = np.histogram(cosine, edges)[0]
    assert ((found - expected) ** 2 / expected).sum() < 27.9  # 9 degrees of freedom, tables
    matt = len(cosine) / 10
    assert ((found - matt) ** 2 / matt).sum() > 150
