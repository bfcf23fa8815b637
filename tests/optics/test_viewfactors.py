"""View factors against known values, reciprocity and sums."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from tests.support import viewfactors

calm = settings(deadline=None, max_examples=40)
lengths = st.floats(0.1, 50.0)


@pytest.mark.parametrize(
    ("radius_from", "radius_to", "distance", "expected"),
    [
        (1.0, 1.0, 1.0, 0.3819660),
        (1.0, 2.0, 1.0, 0.7639320),
        (1.0, 1.0, 2.0, 0.1715729),
        (1.0, 1.0, 0.5, 0.6096118),
    ],
)
def test_discs_of_table(
    radius_from: float, radius_to: float, distance: float, expected: float
) -> None:
    """Howell C-41, from memory, evaluated to seven digits."""
    got = viewfactors.coaxial_discs(
        radius_from_mm=radius_from, radius_to_mm=radius_to, distance_mm=distance
    )
    assert_allclose(got, expected, atol=6e-8)


@calm
@given(a=lengths, b=lengths, h=lengths)
def test_discs_are_reciprocal(a: float, b: float, h: float) -> None:
    there = viewfactors.coaxial_discs(radius_from_mm=a, radius_to_mm=b, distance_mm=h)
    back = viewfactors.coaxial_discs(radius_from_mm=b, radius_to_mm=a, distance_mm=h)
    assert 0.0 < there <= 1.0
    assert_allclose(a**2 * there, b**2 * back, rtol=1e-9)


def test_small_disc_sees_a_large_one_like_an_element() -> None:
    """a^2 / (a^2 + h^2), the disc on its axis (textbook)."""
    got = viewfactors.coaxial_discs(radius_from_mm=1e-4, radius_to_mm=3.0, distance_mm=4.0)
    assert_allclose(got, 9.0 / 25.0, rtol=1e-8)


def test_cube() -> None:
    """Opposite faces .1998249, adjacent .2000438 (textbook); a face sees all the others."""
    opposite = viewfactors.parallel_rectangles(width_mm=2.0, height_mm=2.0, distance_mm=2.0)
    adjacent = viewfactors.perpendicular_rectangles(edge_mm=2.0, depth_from_mm=2.0, depth_to_mm=2.0)
    assert_allclose([opposite, adjacent], [0.1998249, 0.2000438], atol=6e-8)
    assert_allclose(opposite + 4.0 * adjacent, 1.0, rtol=1e-12)


@calm
@given(w=st.floats(0.2, 5.0), d=st.floats(0.2, 5.0), h=st.floats(0.2, 5.0))
def test_box_is_closed_and_reciprocal(w: float, d: float, h: float) -> None:
    """The floor w x d of a box of height h sends all its light to the ceiling and four walls."""
    ceiling = viewfactors.parallel_rectangles(width_mm=w, height_mm=d, distance_mm=h)
    long = viewfactors.perpendicular_rectangles(edge_mm=w, depth_from_mm=d, depth_to_mm=h)
    short = viewfactors.perpendicular_rectangles(edge_mm=d, depth_from_mm=w, depth_to_mm=h)
    assert_allclose(ceiling + 2.0 * long + 2.0 * short, 1.0, rtol=1e-9)
    back = viewfactors.perpendicular_rectangles(edge_mm=w, depth_from_mm=h, depth_to_mm=d)
    assert_allclose(d * long, h * back, rtol=1e-9)


def test_element_to_sphere() -> None:
    """cos (R/h)^2 (textbook): facing, and tilted by 60 deg."""
    got = viewfactors.element_to_sphere([1.0, 0.5], radius_mm=2.0, distance_mm=10.0)
    assert_allclose(got, [0.04, 0.02], rtol=1e-14)


def test_inside_of_a_sphere_sees_all_of_itself() -> None:
    whole = viewfactors.inside_sphere(4.0 * np.pi * 9.0, radius_mm=3.0)
    assert_allclose(whole, 1.0, rtol=1e-14)
    assert_allclose(viewfactors.inside_sphere(1.0, radius_mm=3.0), 1.0 / 113.097336, rtol=1e-8)


def test_integrating_sphere() -> None:
    """Jacquez & Kuppenheim (1955), formula from memory, evaluated to four decimals."""
    got = viewfactors.cavity_multiplier(
        reflectance=[0.90, 0.95, 0.98], port_fraction=[0.10, 0.05, 0.02]
    )
    assert_allclose(got, [4.7368, 9.7436, 24.7475], atol=6e-5)
