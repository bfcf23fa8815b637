"""Which way walls send light out and let it in, against Chandrasekhar's exact law."""

from __future__ import annotations

import numpy as np
import pytest

from glowsim.optics.boundary import split_cosines
from glowsim.optics.emission import luminance_shape
from glowsim.optics.exact import chandrasekhar_h, gauss_legendre
from glowsim.optics.facing import deep_share, turned_share
from glowsim.optics.fresnel import reflectance, reflectance_diffuse
from glowsim.optics.milne import milne_transients

INDICES = (1.0, 1.33, 1.41, 1.49, 1.58)


def outside() -> tuple[np.ndarray, np.ndarray]:
    """Cosines outside and their weights in fluxes, 2 mu dmu, crowded at grazing directions."""
    t, weight = gauss_legendre(0.0, 1.0, 40)
    return t**2, 4.0 * t**3 * weight


@pytest.mark.parametrize("n", [1.0, 1.5])
def test_forward_scattering_changes_the_law_little(n):
    """Radiance at the face by discrete ordinates with g = 0.8."""
    z_e, mu, _, _, transient = milne_transients(n, 0.8)
    inside = mu > 0
    radiance = mu[inside] / 0.2 + z_e + transient[inside].sum(axis=1)
    cosine = np.sqrt(np.maximum(1 - n**2 * (1 - mu[inside] ** 2), 0))
    out = radiance * (1 - reflectance(mu[inside], n_from=n, n_to=1.0))
    seen = cosine > 0.35
    ratio = out[seen] / luminance_shape(cosine[seen], n=n)
    assert ratio.std() / ratio.mean() < 0.03


def exact_law(n: float) -> tuple[np.ndarray, np.ndarray]:
    """Return what a thick wall without absorption sends back from mu' toward mu, as the radiance
    over that of a matt one, and what the face mirrors, on the cosines of `outside`.

    H(mu) H(mu') / (4 (mu + mu')) below the face (Chandrasekhar, Radiative Transfer, 1960), light
    that the face sends back from inside followed to its end.
    """
    mu, _ = outside()
    below, weight = split_cosines(n)
    weight = 2 * below * weight * reflectance(below, n_from=n, n_to=1.0)
    entered = np.sqrt(1 - (1 - mu**2) / n**2)

    def diffuse(one: np.ndarray, other: np.ndarray) -> np.ndarray:
        h = [chandrasekhar_h(cosines, albedo=1.0) for cosines in (one, other)]
        return np.outer(*h) / (4 * (one[:, None] + other))

    around = np.linalg.solve(
        np.eye(len(below)) - diffuse(below, below) * weight, diffuse(below, entered)
    )
    up = diffuse(entered, entered) + (diffuse(entered, below) * weight) @ around
    mirrored = reflectance(mu, n_from=1.0, n_to=n)
    return np.outer(1 - mirrored, 1 - mirrored) * up / n**2, mirrored


@pytest.mark.parametrize("n", INDICES)
def test_two_terms_stand_for_the_exact_law(n):
    mu, weight = outside()
    diffuse, mirrored = exact_law(n)
    np.testing.assert_allclose(weight @ diffuse + mirrored, 1.0, atol=2e-5)
    if n > 1:
        diffuse += np.outer(mirrored, mirrored) / reflectance_diffuse(n_from=1.0, n_to=n)
    turned, share = turned_share(mu, n), deep_share(n)
    assert turned.min() > 0
    law = share * np.outer(luminance_shape(mu, n=n), luminance_shape(mu, n=n))
    law += np.outer(turned, turned) / (1 - share)
    np.testing.assert_allclose(weight @ law, 1.0, atol=1e-3)

    def off(other: np.ndarray | float) -> float:
        return float(np.sqrt(weight @ (diffuse - other) ** 2 @ weight))

    print(f"n {n}: {off(law):.3f}, matt {off(1.0):.3f}")
    assert off(law) < 0.055
    assert off(law) < 0.6 * off(1.0)


def test_beyond_its_table_the_share_stays_as_at_the_end():
    assert deep_share([0.9, 1.0, 1.58, 2.4]) == pytest.approx([0.60, 0.60, 0.88, 0.88])
