"""Lengths with and without a unit."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from glowsim.errors import SceneError
from glowsim.units import MM_PER_UNIT, length_mm, mm_per_unit, per_m2


@pytest.mark.parametrize(
    ("text", "mm"),
    [
        ("0.5 in", 12.7),  # the inch is exactly 25.4 mm: ISO 80000-3
        ("1inch", 25.4),
        ("2 ft", 609.6),  # twelve inches
        ("3 cm", 30.0),
        (" 1.2 M ", 1200.0),
        ("250 um", 0.25),
        ("-4e1 mm", -40.0),
        (".5mm", 0.5),
        ("7. mm", 7.0),
    ],
)
def test_a_text_carries_its_unit(text, mm):
    assert_allclose(length_mm(text), mm, rtol=1e-12)  # one product of two numbers


@pytest.mark.parametrize("number", [0, 3, -2.5, 1e300])
def test_a_number_is_millimetres(number):
    assert length_mm(number) == number


@pytest.mark.parametrize(
    "wrong", ["", "in", "3", "3 4 in", "1,5 in", "0x3 mm", "nan mm", "1e mm", "3 in 4", "--3 mm"]
)
def test_what_is_no_length(wrong):
    with pytest.raises(SceneError, match="is not a length; write a number of mm or a text like"):
        length_mm(wrong)


def test_true_and_endless_numbers_are_no_lengths():
    with pytest.raises(SceneError, match=r"^true is not a length"):
        length_mm(True)
    with pytest.raises(SceneError, match="so large a number is not a length"):
        length_mm(10**400)


def test_unknown_units_are_named_with_the_nearest():
    with pytest.raises(SceneError, match="'furlong' is not a known unit of length; known: cm, ft"):
        length_mm("3 furlong")
    with pytest.raises(SceneError, match="'inc' is not a known unit of length; did you mean 'in"):
        mm_per_unit("inc")


@given(st.floats(-1e9, 1e9), st.sampled_from(sorted(MM_PER_UNIT)))
def test_any_number_with_any_unit(number, unit):
    assert length_mm(f"{number!r} {unit}") == number * MM_PER_UNIT[unit]


def test_square_metres():
    assert per_m2(3e-6) == 3.0
