"""Reflection and refraction at a smooth face."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy.integrate import quad

from glowsim.optics.fresnel import reflectance, reflectance_diffuse, refract
from tests.support.half_space import reflectance_normal

indices = st.floats(1.0, 3.0)
cosines = st.floats(0.0, 1.0)
calm = settings(deadline=None, max_examples=40)


def unit_vectors(count: int, seed: int) -> np.ndarray:
    vectors = np.random.default_rng(seed).normal(size=(count, 3))
    return vectors / np.linalg.norm(vectors, axis=1, keepdims=True)


@pytest.mark.parametrize(
    ("n", "external", "internal"),
    [
        (1.33, 0.065931, 0.471949),
        (1.40, 0.076812, 0.528985),
        (1.45, 0.084367, 0.564503),
        (1.50, 0.091778, 0.596346),
        (1.59, 0.104818, 0.645907),
    ],
)
def test_diffuse_reflectance_of_table(n: float, external: float, internal: float) -> None:
    """Walsh (1926) and Duntley (1942), from memory, equal to quadrature; printed to 6 digits."""
    assert_allclose(reflectance_diffuse(n_from=1.0, n_to=n), external, atol=1e-6)
    assert_allclose(reflectance_diffuse(n_from=n, n_to=1.0), internal, atol=1e-6)


@pytest.mark.parametrize("n", [1.0001, 1.0005, 1.0009, 1.0011, 1.05, 1.5, 2.4])
def test_diffuse_reflectance_is_the_hemispherical_mean(n: float) -> None:
    """Also across the join of closed form and limit at n = 1.001; atol is the stated 1e-7."""

    def weighted(t: float) -> float:
        return float(4.0 * t**3 * reflectance(t**2, n_from=1.0, n_to=n))

    mean, _ = quad(weighted, 0.0, 1.0, epsabs=1e-12, epsrel=1e-12, limit=200)
    assert_allclose(reflectance_diffuse(n_from=1.0, n_to=n), mean, rtol=0, atol=1e-7)


def test_no_face_reflects_nothing() -> None:
    cos = np.array([0.0, 1e-9, 0.3, 1.0])
    assert np.all(reflectance(cos, n_from=1.5, n_to=1.5) == 0.0)
    assert reflectance_diffuse(n_from=1.4, n_to=1.4) == 0.0
    assert reflectance_normal(n_from=1.4, n_to=1.4) == 0.0


def test_normal_incidence_on_glass() -> None:
    """((1.5 - 1) / (1.5 + 1))^2 = 0.04 (textbook); round-off only."""
    assert_allclose(reflectance(1.0, n_from=1.0, n_to=1.5), 0.04, rtol=1e-14)
    assert_allclose(reflectance_normal(n_from=1.5, n_to=1.0), 0.04, rtol=1e-14)


def test_brewster_angle() -> None:
    """At tan = n only the perpendicular part returns: ((n^2-1)/(n^2+1))^2 / 2 (textbook)."""
    n = 1.5
    expected = 0.5 * ((n**2 - 1) / (n**2 + 1)) ** 2
    assert_allclose(reflectance(np.cos(np.arctan(n)), n_from=1.0, n_to=n), expected, rtol=1e-12)


def test_total_reflection_starts_at_the_critical_angle() -> None:
    critical = np.sqrt(1.0 - 1.0 / 1.5**2)
    inside = reflectance(np.array([0.0, 0.99 * critical]), n_from=1.5, n_to=1.0)
    assert np.all(inside == 1.0)
    assert reflectance(1.01 * critical, n_from=1.5, n_to=1.0) < 1.0


@calm
@given(cos=st.floats(1e-3, 1.0), n=indices)
def test_reflectance_is_the_same_from_both_sides(cos: float, n: float) -> None:
    """Stokes' reciprocity: a ray and its refracted ray are reflected alike; round-off only."""
    cos_inside = np.sqrt(1.0 - (1.0 - cos**2) / n**2)
    outside = reflectance(cos, n_from=1.0, n_to=n)
    assert 0.0 <= outside <= 1.0
    assert_allclose(reflectance(cos_inside, n_from=n, n_to=1.0), outside, atol=1e-9)


@calm
@given(n=indices)
def test_etendue_is_kept(n: float) -> None:
    """(1 - R_ext) = n^2 (1 - R_int): else two bodies in equilibrium would heat each other."""
    external = reflectance_diffuse(n_from=1.0, n_to=n)
    internal = reflectance_diffuse(n_from=n, n_to=1.0)
    assert 0.0 <= external <= internal < 1.0
    assert_allclose(1.0 - external, n**2 * (1.0 - internal), rtol=1e-12)


def test_refracted_ray_obeys_snell_in_the_plane_of_incidence() -> None:
    direction, normal = unit_vectors(500, seed=1), unit_vectors(500, seed=2)
    out, is_total = refract(direction, normal, n_from=1.0, n_to=1.49)
    assert not np.any(is_total)
    assert_allclose(np.linalg.norm(out, axis=1), 1.0, rtol=1e-12)
    # n sin is kept as a vector: the tangential part shrinks by the ratio of indices.
    assert_allclose(np.cross(normal, direction), 1.49 * np.cross(normal, out), atol=1e-12)
    along, along_out = np.sum(direction * normal, axis=1), np.sum(out * normal, axis=1)
    assert np.all(along * along_out > 0.0)


def test_refraction_is_reversible() -> None:
    direction, normal = unit_vectors(200, seed=3), unit_vectors(200, seed=4)
    n_to = np.linspace(1.0, 1.7, 200)
    there, _ = refract(direction, normal, n_from=1.0, n_to=n_to)
    back, is_total = refract(-there, normal, n_from=n_to, n_to=1.0)
    assert not np.any(is_total)
    assert_allclose(back, -direction, atol=1e-9)


def test_total_reflection_mirrors_the_ray() -> None:
    direction = np.array([[0.8, 0.0, -0.6], [0.0, 0.0, -1.0]])
    normal = np.array([[0.0, 0.0, 1.0], [0.0, 0.0, 1.0]])
    out, is_total = refract(direction, normal, n_from=1.5, n_to=1.0)
    assert is_total.tolist() == [True, False]
    assert_allclose(out, [[0.8, 0.0, 0.6], [0.0, 0.0, -1.0]], atol=1e-15)
