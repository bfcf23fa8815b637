"""Every random draw against its law by chi-square; formulae against the optics room."""

from __future__ import annotations

import numpy as np
import pytest
from numba import njit
from scipy.special import eval_legendre, spherical_in

from glowsim.optics.fresnel import reflectance
from glowsim.transport.reference import kernels
from glowsim.transport.reference.passage import MOST, passage_table
from tests.support.monte_carlo import UNLIKELY, chi_square_tail
from tests.support.phase import henyey_greenstein_cos

COUNT = 400_000
CLASSES = 64


@njit
def exponentials(count, values):
    state = kernels.first_state(3, 1, 4)
    for k in range(count):
        state, values[k] = kernels.exponential(state)


@njit
def uniforms(count, values):
    state = kernels.first_state(1, 5, 9)
    for k in range(count):
        state, values[k] = kernels.uniform(state)


@njit
def first_numbers(count, values):
    for k in range(count):
        _, values[k] = kernels.uniform(kernels.first_state(0, 0, k))


@njit
def directions(count, out):
    state = kernels.first_state(2, 6, 5)
    for k in range(count):
        state, out[k, 0], out[k, 1], out[k, 2] = kernels.isotropic(state)


@njit
def scattered(count, g, x, y, z, out):
    state = kernels.first_state(3, 5, 8)
    for k in range(count):
        state, cos = kernels.henyey_greenstein_cosine(state, g)
        state, out[k, 0], out[k, 1], out[k, 2] = kernels.turned(state, cos, x, y, z)


@njit
def diffuse(count, x, y, z, out):
    state = kernels.first_state(9, 7, 9)
    for k in range(count):
        state, out[k, 0], out[k, 1], out[k, 2] = kernels.lambertian(state, x, y, z)


def even(shares: np.ndarray) -> float:
    """Return the tail probability that numbers between 0 and 1 are spread evenly."""
    counts, _ = np.histogram(shares, CLASSES, (0.0, 1.0))
    assert counts.sum() == len(shares)
    return chi_square_tail(counts, np.full(CLASSES, len(shares) / CLASSES))


@pytest.mark.parametrize("draw", [uniforms, first_numbers])
def test_uniform_numbers(draw):
    values = np.zeros(COUNT)
    draw(COUNT, values)
    assert values.min() > 0
    assert values.max() < 1
    assert even(values) > UNLIKELY
    # Neighbours, in one stream and in those of neighbouring photons, have nothing in common.
    pair = 8 * np.floor(8 * values[:-1]) + np.floor(8 * values[1:])
    assert (
        chi_square_tail(np.bincount(pair.astype(int), minlength=64), np.full(64, (COUNT - 1) / 64))
        > UNLIKELY
    )


def test_flight_lengths():
    values = np.zeros(COUNT)
    exponentials(COUNT, values)
    assert even(-np.expm1(-values)) > UNLIKELY
    # The tail beyond the tables is drawn by a rule of its own.
    tail = values[values > kernels.LAST] - kernels.LAST
    expected = COUNT * np.exp(-kernels.LAST)
    assert abs(len(tail) - expected) < 4 * np.sqrt(expected)
    assert abs(tail.mean() - 1) < 4 / np.sqrt(len(tail))


def test_isotropic_directions():
    out = np.zeros((COUNT, 3))
    directions(COUNT, out)
    np.testing.assert_allclose(np.linalg.norm(out, axis=1), 1, atol=1e-12)
    assert even((out[:, 2] + 1) / 2) > UNLIKELY
    assert even(np.arctan2(out[:, 1], out[:, 0]) / (2 * np.pi) + 0.5) > UNLIKELY


AXES = [(0.0, 0.0, 1.0), (0.0, 0.0, -1.0), (0.6, -0.48, 0.64), (-1.0, 0.0, 0.0)]


@pytest.mark.parametrize("g", [0.0, 0.05, 0.65, 0.9, -0.4])
@pytest.mark.parametrize("axis", AXES)
def test_scattering_angles(g, axis):
    """Henyey & Greenstein (1941): share of cosines below mu, in closed form, and <cos> = g."""
    out = np.zeros((COUNT, 3))
    scattered(COUNT, g, *axis, out)
    np.testing.assert_allclose(np.linalg.norm(out, axis=1), 1, atol=1e-12)
    cos = out @ np.array(axis)
    if g == 0:
        below = (cos + 1) / 2
    else:
        below = (1 - g * g) / (2 * g) * (1 / np.sqrt(1 + g * g - 2 * g * cos) - 1 / (1 + g))
    assert even(np.clip(below, 0, 1)) > UNLIKELY
    assert abs(cos.mean() - g) < 4 * cos.std() / np.sqrt(COUNT)
    side = np.cross(axis, (0.3, 0.8, -0.5))
    side /= np.linalg.norm(side)
    turn = np.arctan2(out @ side, out @ np.cross(axis, side))
    assert even(turn / (2 * np.pi) + 0.5) > UNLIKELY


@pytest.mark.parametrize("axis", AXES)
def test_diffuse_directions(axis):
    """Lambert: the share within an angle of the normal is the square of its sine."""
    out = np.zeros((COUNT, 3))
    diffuse(COUNT, *axis, out)
    assert even(np.clip(out @ np.array(axis), 0, 1) ** 2) > UNLIKELY


@pytest.mark.parametrize(("n_from", "n_to"), [(1.0, 1.5), (1.5, 1.0), (1.5, 1.33), (1.0, 1.0)])
def test_fresnel(n_from, n_to):
    cos = np.linspace(0.001, 1, 200)
    found = np.array([kernels.fresnel(c, n_from, n_to) for c in cos])
    exact = reflectance(cos, n_from=n_from, n_to=n_to)
    np.testing.assert_allclose(found[:, 0], exact, atol=1e-12)
    through = found[:, 0] < 1
    sines = np.sqrt(1 - cos[through] ** 2), np.sqrt(1 - found[through, 1] ** 2)
    np.testing.assert_allclose(n_from * sines[0], n_to * sines[1], atol=1e-12)


def left(t: float, cos: np.ndarray, x: float) -> np.ndarray:
    """Return what the photon loop leaves of light that crosses a ball."""
    found = np.array([kernels.passed(passage_table(), t, c) for c in cos])
    length, a, b, c = found.T
    return 1 - length * x**2 * (a - x**2 * (b - x**2 * c))


@pytest.mark.parametrize("x", [0.2, 0.7, MOST])
@pytest.mark.parametrize("t", [0.0, 0.01, 0.33, 0.71, 0.96, 0.985])
def test_what_a_jump_leaves(t, x):
    """By the series with scipy's Bessel functions; the mean over all ways out is, by the mean value
    of exp-like fields in a ball, sinh(t x) / (t sinh x) (Courant & Hilbert, Methods of
    Mathematical Physics II, from memory)."""
    cos = np.cos(np.linspace(0, np.pi, 40))
    found = left(t, cos, x)
    order = np.arange(300)
    if t > 0.0:
        # Beyond these the two functions of large order go over into t^l.
        ratio = t**order
        with np.errstate(under="ignore"):
            low, high = spherical_in(order[:40], t * x), spherical_in(order[:40], x)
        ratio[:40] = np.where(high > 1e-250, low / np.maximum(high, 1e-250), ratio[:40])
        some, all_of_it = (
            np.array([((2 * order + 1) * share * eval_legendre(order, c)).sum() for c in cos])
            for share in (ratio, t**order)
        )
        if t < 0.95:
            np.testing.assert_allclose(found, some / all_of_it, atol=7e-5)
    chance = (np.arange(4000) + 0.5) / 4000
    cos = henyey_greenstein_cos(chance, g=t)
    mean = np.sinh(t * x) / (t * np.sinh(x)) if t > 0 else x / np.sinh(x)
    assert left(t, cos, x).mean() == pytest.approx(mean, abs=7e-5)
