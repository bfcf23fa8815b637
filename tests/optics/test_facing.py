"""Which way walls send light out and let it in, against Chandrasekhar's exact law."""

from __future__ import annotations

import numpy as np
import pytest

from glowsim.optics.boundary import split_cosines
from glowsim.optics.emission import luminance_shape
from glowsim.optics.exact import chandrasekhar_h, gauss_legendre
from glowsim.optics.facing import deep_share, going_on, going_on_share, turned_share
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


def kept_along(n: float, g: float, cosine: float, photons: int = 6000) -> float:
    """Return the share of the push along a half-space without absorption that photons keep which
    enter it at a slant, what its face mirrors at once included."""
    rng = np.random.default_rng(1)
    slant = np.sqrt(1 - cosine**2)
    first = float(reflectance(cosine, n_from=1.0, n_to=n))
    way = np.tile([slant / n, 0.0, np.sqrt(1 - (slant / n) ** 2)], (photons, 1))
    depth, weight, kept = np.zeros(photons), np.full(photons, 1 - first), 0.0
    for _ in range(40):  # after so many scatterings nothing is left of where they came from
        depth -= way[:, 2] * np.log(1 - rng.random(photons))
        at_face = depth < 0
        let_out = 1 - reflectance(np.abs(way[at_face, 2]), n_from=n, n_to=1.0)
        kept += float((let_out * weight[at_face] * way[at_face, 0]).sum()) * n
        weight[at_face] *= 1 - let_out
        depth[at_face] *= -1
        way[at_face, 2] *= -1
        u, turn = rng.random(photons), 2 * np.pi * rng.random(photons)
        cos = (1 + g * g - ((1 - g * g) / (1 - g + 2 * g * u)) ** 2) / (2 * g)
        side = np.cross(np.where(np.abs(way[:, 2:]) < 0.9, [0, 0, 1.0], [1.0, 0, 0]), way)
        side /= np.linalg.norm(side, axis=1)[:, None]
        off = np.cos(turn)[:, None] * side + np.sin(turn)[:, None] * np.cross(way, side)
        way = cos[:, None] * way + np.sqrt(np.maximum(1 - cos**2, 0))[:, None] * off
    return first + kept / photons / slant


@pytest.mark.parametrize(("n", "g"), [(1.0, 0.65), (1.0, 0.8), (1.33, 0.8), (1.5, 0.65)])
def test_what_goes_on_along_a_wall_is_what_photons_keep_of_their_way(n, g):
    cosines = np.array([0.05, 0.1, 0.3, 0.6])
    kept = [kept_along(n, g, float(cosine)) for cosine in cosines]
    np.testing.assert_allclose(going_on(cosines, n, g), kept, atol=0.045)


@pytest.mark.parametrize("n", INDICES)
def test_what_goes_on_leaves_room_for_what_gets_deep(n):
    """But for 2 % straight ahead at n = 1.33: s is a fit."""
    mu, weight = outside()
    on = going_on(mu, n, 0.8)
    assert weight @ on == pytest.approx(float(going_on_share(n, 0.8)), rel=1e-3)
    assert (on + deep_share(n) * luminance_shape(mu, n=n)).max() < 1.02
    assert going_on_share(0.0, 0.8) == 0.0
    if n > 1:
        mirrored = float(reflectance_diffuse(n_from=1.0, n_to=n))
        assert float(going_on_share(n, 0.0)) == pytest.approx(mirrored, rel=1e-3)


def test_beyond_its_table_the_share_stays_as_at_the_end():
    assert deep_share([0.9, 1.0, 1.58, 2.4]) == pytest.approx([0.60, 0.60, 0.88, 0.88])
