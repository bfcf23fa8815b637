"""Light boards: layouts, flux, power."""

import math

import numpy as np
import pytest
from numpy.testing import assert_allclose
from pydantic import ValidationError

from glowsim.catalogue import Board, flux_from_axial_intensity_lm, load_catalogue
from glowsim.errors import MaterialError
from glowsim.tomlfile import parse_toml

CATALOGUE = load_catalogue()


def test_flux_of_a_lambertian_led():
    """Intensities of an early 18 mA part (datasheet, middle of 390-420, 660-720, 180-200 mcd);
    flux = pi I0 (derived)."""
    flux_lm = [flux_from_axial_intensity_lm(i, 120.0) for i in (0.405, 0.690, 0.190)]
    assert_allclose(flux_lm, [1.27235, 2.16770, 0.59690], atol=5e-6)  # digits given
    assert_allclose(sum(flux_lm), 4.03695, atol=1e-5)


@pytest.mark.parametrize(("full_angle_deg", "per_cd"), [(110, 2.7963), (140, 3.8171)])
def test_flux_of_other_beams(full_angle_deg, per_cd):
    """Derived: 2 pi / (m + 1) with m = ln 0.5 / ln cos(half angle)."""
    assert_allclose(flux_from_axial_intensity_lm(1.0, full_angle_deg), per_cd, atol=5e-5)


def test_flux_by_integration():
    half_angle = math.radians(35)
    exponent = math.log(0.5) / math.log(math.cos(half_angle))
    theta = np.linspace(0, np.pi / 2, 20001)
    integrand = 2 * np.pi * np.cos(theta) ** exponent * np.sin(theta)
    # 1e-6: trapezium rule at this step.
    assert_allclose(
        flux_from_axial_intensity_lm(1.0, 70.0), np.trapezoid(integrand, theta), rtol=1e-6
    )


@pytest.mark.parametrize(
    ("name", "flux_lm", "power_w"),
    [
        # Derived from the datasheet intensities of bin B and of the 5 mA class, times pi, and
        # 5 V times three channels and quiescent current.
        ("rgb_5050_18ma", (1.131, 3.613, 0.691), 0.2730),
        ("rgb_5050_5ma", (0.314, 1.319, 0.346), 0.0760),
        ("rgb_5050_12ma", (0.754, 2.409, 0.461), 0.1830),
    ],
)
def test_single_leds(name, flux_lm, power_w):
    board = CATALOGUE.board(name)
    assert_allclose(board.flux_lm, flux_lm, atol=1.5e-3)  # three decimals
    assert_allclose(board.power_w(), power_w, rtol=1e-12)


def test_seven_leds_of_the_12_ma_class_draw_their_share():
    """36 mA of channel current and 0.6 mA quiescent for each LED (derived)."""
    board = CATALOGUE.board("round_7_12ma")
    assert_allclose(board.supply_current_ma(), 7 * 36.6, rtol=1e-12)
    assert_allclose(board.power_w(0.0), 7 * 0.6 * 5 / 1000, rtol=1e-12)
    assert_allclose(board.supply_current_ma((1, 0.5, 0)), 7 * 18.6, rtol=1e-12)


def test_white_board_has_one_channel():
    board = CATALOGUE.board("white_1w_neutral")
    assert_allclose(board.supply_current_ma(), 350, rtol=1e-12)
    assert_allclose(board.power_w(0.5), 0.875, rtol=1e-12)
    with pytest.raises(MaterialError, match="one channel and takes one drive level"):
        board.power_w((1, 0.5, 0))


def test_flux_is_linear_in_current():
    board = CATALOGUE.board("rgb_5050_18ma")
    assert_allclose(board.flux_at_current_lm(18), board.flux_lm, rtol=1e-12)
    assert_allclose(
        board.flux_at_current_lm((9, 18, 0)), np.array(board.flux_lm) * [0.5, 1, 0], rtol=1e-12
    )
    with pytest.raises(MaterialError, match="-1 mA is below 0"):
        board.flux_at_current_lm((1, -1, 1))


@pytest.mark.parametrize("level", [1.2, -0.1, (0, 2, 0), float("nan")])
def test_drive_levels_are_bounded(level):
    with pytest.raises(MaterialError, match="must lie between 0 and 1"):
        CATALOGUE.board("round_7").power_w(level)


def test_single_sits_in_the_origin():
    assert_allclose(CATALOGUE.board("rgb_5050_18ma").led_offsets_mm(), np.zeros((1, 3)))


@pytest.mark.parametrize("name", ["ring_12", "ring_16", "ring_24"])
def test_rings_are_regular(name):
    board = CATALOGUE.board(name)
    offsets_mm = board.led_offsets_mm()
    assert offsets_mm.shape == (int(name.split("_")[1]), 3)
    radius_mm = board.ring_diameter_mm / 2
    assert_allclose(np.linalg.norm(offsets_mm, axis=1), radius_mm, rtol=1e-12)
    assert_allclose(offsets_mm.sum(axis=0), 0, atol=1e-9)  # round-off
    assert_allclose(offsets_mm[:, 2], 0)
    assert_allclose(offsets_mm[0], [radius_mm, 0, 0], atol=1e-12)
    assert offsets_mm[1, 1] > 0
    chord_mm = 2 * radius_mm * math.sin(math.pi / board.led_count)
    steps_mm = np.linalg.norm(np.roll(offsets_mm, -1, axis=0) - offsets_mm, axis=1)
    assert_allclose(steps_mm, chord_mm, rtol=1e-12)
    # The 5 mm packages fit beside each other and on the board.
    assert chord_mm > 5
    assert radius_mm + 2.5 <= board.diameter_mm / 2


def test_round_board_has_one_in_the_centre():
    board = CATALOGUE.board("round_7")
    offsets_mm = board.led_offsets_mm()
    assert_allclose(offsets_mm[0], 0)
    assert_allclose(np.linalg.norm(offsets_mm[1:], axis=1), 8.0, rtol=1e-12)
    # Six on a circle: neighbours are as far apart as from the centre.
    assert_allclose(np.linalg.norm(offsets_mm[2] - offsets_mm[1]), 8.0, rtol=1e-12)


@pytest.mark.parametrize("per_metre", [30, 60, 144])
def test_strips_run_along_x_centred(per_metre):
    board = CATALOGUE.board(f"strip_{per_metre}")
    for count in (1, 2, 7, None):
        offsets_mm = board.led_offsets_mm(count)
        assert offsets_mm.shape == (count or per_metre, 3)
        assert_allclose(offsets_mm, -offsets_mm[::-1], atol=1e-9)
        assert_allclose(offsets_mm[:, 1:], 0)
        assert_allclose(np.diff(offsets_mm[:, 0]), 1000 / per_metre, rtol=1e-4)  # stored digits


def test_only_a_strip_can_be_cut():
    assert_allclose(CATALOGUE.board("strip_60").power_w(1, 10), 2.73, rtol=1e-12)
    with pytest.raises(MaterialError, match="12 LEDs were asked of a board that has 7 LEDs"):
        CATALOGUE.board("round_7").led_offsets_mm(12)
    with pytest.raises(MaterialError, match="0 LEDs were asked of a board that has at least 1"):
        CATALOGUE.board("strip_60").led_offsets_mm(0)


def board_with(**changes):
    start = CATALOGUE.board("round_7").model_dump(exclude_unset=True)
    return Board.model_validate(start | changes)


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"pitch_mm": 10.0}, "'round' is described by ring_diameter_mm and diameter_mm, not by"),
        ({"ring_diameter_mm": None}, "described by ring_diameter_mm and diameter_mm"),
        ({"led_count": 2}, "led_count 2 does not fit the kind 'round'"),
        ({"supply_v": 6.0}, "between supply_min_v and supply_max_v"),
        ({"forward_v": 5.2}, "below the forward voltage"),
        ({"drive": "white", "channel_current_ma": [1, 2, 3]}, "one channel"),
        ({"flux_lm": 1.0}, "give either this key or axial_intensity_cd, not both"),
        ({"axial_intensity_cd": None}, "needed but missing; or give axial_intensity_cd"),
        ({"half_intensity_full_angle_deg": 180}, "without a right half_intensity_full_angle"),
        ({"half_intensity_full_angle_deg": 1e-9}, "without a right half_intensity_full_angle"),
        ({"flux_factor": 0.5}, "greater than or equal to 1"),
    ],
)
def test_contradictions_are_refused(changes, message):
    with pytest.raises(ValidationError, match=message):
        board_with(**changes)


def own_board(**keys):
    shipped = CATALOGUE.boards["round_7"].model_dump(exclude_unset=True)
    return Board.model_validate(shipped | keys)


def test_white_mask_throws_back_what_its_makers_print():
    """Fresh .85 to .95, cheap or reflowed .70 to .85 (see `catalogue.mask`): all within two
    standard deviations."""
    for board in CATALOGUE.boards.values():
        sigma = board.reflectance_uncertainty
        assert all(abs(r - 0.80) < 2 * sigma for r in board.front_reflectance), board.label
        assert board.reflectance_source


def test_front_is_leds_and_mask_by_area():
    """Derived: seven 5 x 5 mm LEDs on a 23 mm disc cover 175 / 415.5 of it."""
    led = (11.946 * 0.45 + 13.054 * 0.90) / 25
    share = 175 / 415.476
    black = own_board(mask="black")
    assert_allclose(black.front_reflectance, share * led + (1 - share) * 0.06, atol=6e-4)
    assert max(black.back_reflectance) < 0.15 < min(black.front_reflectance)


def test_given_reflectance_counts_in_place_of_the_mask():
    board = own_board(mask="black", front_reflectance=0.5)
    assert board.front_reflectance == (0.5, 0.5, 0.5)
    assert board.back_reflectance == own_board(mask="black").back_reflectance
    assert (board.reflectance_source, board.reflectance_confidence) == ("user", "user")


def test_a_mask_of_its_own_voids_what_was_taken_over():
    text = '[boards.mine]\nlike = "strip_60"\nmask = "green"\n'
    mine = load_catalogue(parse_toml(text, "scene.toml", MaterialError)).boards["mine"]
    assert max(mine.back_reflectance) == mine.back_reflectance[1] < 0.3
