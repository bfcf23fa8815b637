"""The heat of scenes: boards, limits, what is said about them."""

import json
import math
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from glowsim.cli.heat import command
from glowsim.electrics.heat import NEAR_LIMIT, chip_rise_k, heat_of
from glowsim.electrics.heat_section import heat_section
from glowsim.electrics.loads import boards_of
from glowsim.errors import MaterialError, SceneError
from glowsim.scene import parse_scene, read_scene
from glowsim.transport.plan import plan_of
from tests.support.heat_forms import sphere_k_w

ROOT = Path(__file__).parents[2]

BALL = """
[[bodies]]
name = "ball"
shape = { kind = "orb", diameter_mm = 60 }
material = "upholstery_foam_white"
cell_mm = 4
  [[bodies.lights]]
  name = "board"
  board = "round_7"
  position_mm = [0, 0, 1.6]
  drive = { red = 0.2, green = 0.2, blue = 0.2 }
"""


def titles(found):
    return [text.partition(":")[0] for text in found.cautions]


def test_cautions_follow_the_limits_that_are_passed():
    cool = heat(
        BALL, swap={"red = 0.2, green = 0.2, blue = 0.2": "red = 0.01, green = 0, blue = 0"}
    )
    assert titles(cool) == ["Heat"]
    # A watt in a ball of foam: the foam's own limit is passed, and nobody has said it is touched.
    hot = heat(BALL, swap={"red = 0.2, green = 0.2, blue = 0.2": "red = 1, green = 1, blue = 1"})
    assert hot.hottest.allowed_share < 1
    assert titles(hot) == ["Heat", "Fire"]
    held = heat(BALL + '[heat]\ncontact = "held"\n')
    assert "On the body" in titles(held)


def swapped(text, swap):
    for before, after in swap.items():
        assert before in text
        text = text.replace(before, after)
    return text


def heat(text, **changes):
    return heat_of(parse_scene(changes.get("more", "") + swapped(text, changes.get("swap", {}))))


@pytest.fixture(scope="module")
def ball():
    return heat(BALL)


def test_board_in_a_ball_against_the_closed_form(ball):
    """A short cylinder has the shape factor (8 + 4.1 (length/radius)^0.76) radius (Smythe, Journal
    of Applied Physics 33, 2966 (1962), for its capacitance; from memory), a sphere 4 pi radius."""
    board = heat(BALL, swap={"cell_mm = 4": "cell_mm = 2.5"}).boards[0]
    # 7 LEDs at 5 V: 0.6 mA idle and 3 x 18 x 0.2 mA.
    assert board.power_w == pytest.approx(7 * 5 * (0.6 + 10.8) / 1000, rel=1e-9)
    as_sphere_mm = (8 + 4.1 * (3.2 / 11.5) ** 0.76) * 11.5 / (4 * math.pi)
    per_watt = sphere_k_w(
        core_radius_mm=as_sphere_mm, skin_radius_mm=30, conductivity_w_mk=0.048, skin_w_m2k=8
    )
    rise = (board.board_c - 25) / board.power_w
    # 4 %: the skin is not far away, and the board little more than a cell high.
    assert rise == pytest.approx(per_watt, rel=0.04)
    coarse = (ball.boards[0].board_c - 25) / ball.boards[0].power_w
    assert coarse == pytest.approx(rise, rel=0.05)  # cells of 2.9 mm: eight across the board
    assert (board.full_board_c - 25) / board.full_power_w == pytest.approx(rise, rel=1e-9)


def test_share_that_a_limit_bears(ball):
    board = ball.boards[0]
    around = next(limit for limit in board.limits if limit.what == "LEDs' surroundings")
    assert around.allowed_share == pytest.approx((60 - 25) / (board.board_c - 25), rel=1e-9)
    assert board.allowed_share == min(limit.allowed_share for limit in board.limits)
    assert board.bearable_w == pytest.approx(board.allowed_share * board.power_w)
    chips = next(limit for limit in board.limits if limit.what == "LED chips")
    # 95 K/W and a fifth of 18 mA at 5 V.
    assert chips.limit_c == 80
    assert chips.found_c - board.board_c == pytest.approx(95 * 5 * 0.2 * 0.018, rel=1e-9)
    assert board.chip_c == pytest.approx(chips.found_c, rel=1e-12)


@pytest.mark.parametrize(
    ("kind", "drive", "rise_k"),
    [
        # One chip alone by hand: 95 x 5 V x 18 mA; red, on 50; three lit are no hotter each.
        ("round_7", (0, 1, 0), 8.55),
        ("round_7", (1, 0, 0), 4.5),
        ("round_7", (1, 1, 1), 8.55),
        ("round_7", (1, 0.1, 0.1), 4.5),
        ("rgb_5050_5ma", (0, 0, 1), 2.375),
        # 8 K/W on one chip's 1.75 W, and 10 K/W on what all of them draw.
        ("star_rgb_3w", (0, 1, 0), 31.5),
        ("star_rgb_3w", (1, 1, 1), 66.5),
    ],
)
def test_chips_by_hand(kind, drive, rise_k):
    red, green, blue = drive
    told = f"red = {red}, green = {green}, blue = {blue}"
    swap = {'"round_7"': f'"{kind}"', "red = 0.2, green = 0.2, blue = 0.2": told}
    (lit,) = boards_of(plan_of(parse_scene(swapped(BALL, swap))))
    assert chip_rise_k(lit, lit.drive) == pytest.approx(rise_k, rel=1e-9)


def test_the_chip_of_a_white_led_has_all_its_watts():
    swap = {'"round_7"': '"white_1w_warm"', "red = 0.2, green = 0.2, blue = 0.2": "white = 0.5"}
    (lit,) = boards_of(plan_of(parse_scene(swapped(BALL, swap))))
    assert chip_rise_k(lit, lit.drive) == pytest.approx(10 * 5 * 0.175, rel=1e-9)


def test_verdict_follows_the_drive(ball):
    full = heat(BALL, swap={"red = 0.2, green = 0.2, blue = 0.2": "red = 1.0"}).boards[0]
    assert full.allowed_share < 1
    assert f"turn it down to {100 * full.allowed_level:.0f} % of its settings" in full.verdict
    low = heat(BALL, swap={"red = 0.2, green = 0.2, blue = 0.2": "red = 0.2"}).boards[0]
    assert low.power_w < full.power_w
    share = ball.boards[0].allowed_share
    assert share == pytest.approx(
        full.allowed_share * full.power_w / ball.boards[0].power_w, rel=1e-6
    )


def test_turned_down_as_told_it_just_keeps_its_limit():
    full = "red = 1.0, green = 1.0, blue = 1.0"
    hot = heat(BALL, swap={"red = 0.2, green = 0.2, blue = 0.2": full}).boards[0]
    level = hot.allowed_level
    less = f"red = {level}, green = {level}, blue = {level}"
    cooler = heat(BALL, swap={"red = 0.2, green = 0.2, blue = 0.2": less}).boards[0]
    around = next(limit for limit in cooler.limits if limit.what == hot.limits[0].what)
    assert around.found_c == pytest.approx(around.limit_c, rel=1e-6)


def test_wires_that_hang_free_carry_away_more_than_wires_cut_off(ball):
    lengths = {mm: f"[heat]\nleads = 3\nlead_free_mm = {mm}\n" for mm in (0, 200)}
    cut, free = (heat(BALL, more=more).boards[0].board_c for more in lengths.values())
    assert ball.boards[0].board_c > cut > free


def test_near_a_limit_is_not_below_it(ball):
    spare = ball.boards[0]
    # Dark, its chips draw 0.6 mA of the 11.4 each: half the power is less than half the level.
    half, dark = "turn it down to 47 %", "too warm even with its LEDs dark"
    cases = ((0.5, half), (0.05, dark), (1.1, "near"), (NEAR_LIMIT + 0.1, "below"))
    for bears, words in cases:
        limits = tuple(type(limit)(limit.what, 0, 0, bears) for limit in spare.limits)
        assert words in type(spare)(**(vars(spare) | {"limits": limits})).verdict


def test_pulses_count_by_their_average(ball):
    pulse = '[[pulses]]\nzone = "all"\npattern = "blink"\nlow = 0.0\non_share = 0.25\n'
    board = heat(BALL, more=pulse).boards[0]
    assert board.power_w == pytest.approx(7 * 5 * (0.6 + 10.8 / 4) / 1000, rel=0.01)
    assert board.board_c < ball.boards[0].board_c


def test_worn_things_must_be_cooler():
    worn = heat(BALL, more='[heat]\ncontact = "worn"\nroom_c = 30\n')
    limit = next(row for row in worn.boards[0].limits if row.what.startswith("skin"))
    assert (limit.what, limit.limit_c) == ("skin, worn", 41)
    none = heat(BALL, more='[heat]\ncontact = "none"\n')
    assert not [row for row in none.boards[0].limits if row.what.startswith("skin")]


def test_leads_carry_heat_away(ball):
    cooled = heat(BALL, more="[heat]\nleads = 3\nlead_free_mm = 200\n").boards[0]
    assert cooled.board_c < ball.boards[0].board_c - 5


def test_covered_faces_keep_their_heat(ball):
    box = """
[[bodies]]
name = "box"
shape = { kind = "slab", length_mm = 200, width_mm = 200, thickness_mm = 100 }
material = "opaque_primer"
position_mm = [0, 0, -100]
"""
    covered = heat(BALL + box)
    assert covered.boards[0].board_c > ball.boards[0].board_c + 0.5
    assert any("50 % of its surface is covered" in note for note in covered.notes)
    assert ball.notes == ()


def test_thistle_staff():
    """Pinned: 1.91 W at full white in a spike of foam. Twice as many cells along each edge give
    1 % more."""
    found = heat_of(read_scene(ROOT / "scenes" / "thistle_staff.toml"))
    assert len(found.boards) == 9
    board = found.hottest
    assert board.full_power_w == pytest.approx(1.911, rel=1e-6)
    assert board.full_board_c - found.settings.room_c == pytest.approx(270.6, rel=0.01)
    assert board.minutes == pytest.approx(17.3, rel=0.02)


def test_copies_are_solved_once():
    row = BALL + '  [[bodies.patterns]]\n  kind = "along"\n  count = 3\n  step_mm = [200, 0, 0]\n'
    found = heat(row)
    assert [board.name for board in found.boards] == [f"ball {k}: board" for k in (1, 2, 3)]
    assert len(found.fields) == 1
    assert len({board.board_c for board in found.boards}) == 1


@pytest.mark.slow
def test_lantern_of_thin_sheet():
    """A board in air behind sheet: film of the board, then both films of the sheet in series."""
    found = heat(BALL, swap={"upholstery_foam_white": "tracing_paper"})
    board = found.boards[0]
    disc = 2 * math.pi * 11.5**2 + math.pi * 23 * 3.2
    films = 1 / (15 * disc) + (1 / 8 + 1 / 8) / (4 * math.pi * 30**2)
    assert (board.board_c - 25) / board.power_w == pytest.approx(1e6 * films, rel=0.01)
    # The sheet, between two equal films, shows half the rise of the air.
    sheet = 1e6 / 8 / (4 * math.pi * 30**2)
    assert (board.skin_c - 25) / board.power_w == pytest.approx(sheet, rel=0.01)
    body = parse_scene(BALL).scene.bodies[0]
    section = heat_section(found, body, next(iter(found.fields)), board)
    assert np.nanmax(section.temperature_c) == pytest.approx(board.board_c)


LANTERN = {"upholstery_foam_white": "tracing_paper"}


def test_what_holds_a_board_in_air_gets_as_warm_as_the_board(ball):
    hung = heat(BALL, swap=LANTERN)
    board = hung.boards[0]
    assert board.in_air
    (told,) = (note for note in hung.notes if "hangs in air" in note)
    warm = f"{board.board_c:.0f} °C, at full white {board.full_board_c:.0f} °C"
    for words in ("ball: a board", warm, "printed PLA 50", "hot glue 50", "wood 100"):
        assert words in told
    assert not any("holder" in limit.what for limit in board.limits)
    assert not ball.boards[0].in_air


@pytest.mark.parametrize(("holder", "limit_c"), [("pla_white", 50), ("wood_dowel", 100)])
def test_a_holder_that_is_named_is_a_limit(holder, limit_c):
    held = heat(BALL, more=f'[heat]\nholder = "{holder}"\n', swap=LANTERN)
    board = held.boards[0]
    (limit,) = (limit for limit in board.limits if limit.what == f"its holder, {holder}")
    assert (limit.limit_c, limit.found_c) == (limit_c, board.board_c)
    assert limit.allowed_share == pytest.approx((limit_c - 25) / (board.board_c - 25))
    assert held.notes == ()
    buried = heat(BALL, more=f'[heat]\nholder = "{holder}"\n')
    assert not any("holder" in limit.what for limit in buried.boards[0].limits)


def test_section_shows_the_board_hottest(ball):
    scene = parse_scene(BALL)
    section = heat_section(ball, scene.scene.bodies[0], next(iter(ball.fields)), ball.hottest)
    warmest = np.nanmax(section.temperature_c)
    assert warmest == pytest.approx(ball.boards[0].board_c, abs=0.5)
    assert section.boards[section.temperature_c >= warmest - 1e-9].any()
    assert np.isnan(section.temperature_c[0, 0])
    inside = np.isfinite(section.temperature_c)
    assert inside.sum() * section.pixel_mm**2 == pytest.approx(math.pi * 30**2, rel=0.01)


@pytest.mark.parametrize(
    ("more", "swap", "error", "words"),
    [
        ("[heat]\nleads = 2\nlead_gauge = 77\n", {}, SceneError, "heat.lead_gauge"),
        ("[heat]\nroom_c = 90\n", {}, SceneError, "heat.room_c"),
        (
            '[heat]\nholder = "pla_wite"\n',
            {},
            SceneError,
            "heat.holder: .* did you mean 'pla_white'",
        ),
        ('[heat]\nholder = "aluminium_tube"\n', {}, SceneError, "does not say how warm"),
        ("[heat]\nskin_w_m2k = 0\n", {}, SceneError, "heat.skin_w_m2k"),
        ('[heat]\ncontact = "licked"\n', {}, SceneError, "touched"),
        ("[heat]\nleads = -1\n", {}, SceneError, "heat.leads"),
        ("", {"upholstery_foam_white": "upholstery_foam"}, SceneError, "upholstery_foam_white"),
        (
            "[materials.goo]\nmu_a_per_mm = 0.01\nmu_s_reduced_per_mm = 1\n"
            "refractive_index = 1.4\n",
            {"upholstery_foam_white": "goo"},
            SceneError,
            "thermal_conductivity_w_mk",
        ),
    ],
)
def test_wrong_scenes_are_told_so(more, swap, error, words):
    with pytest.raises((error, MaterialError), match=words):
        heat(BALL, more=more, swap=swap)


def test_without_lights_there_is_no_heat():
    with pytest.raises(SceneError, match="no body has a light"):
        heat(BALL[: BALL.index("  [[bodies.lights]]")])


def test_command(tmp_path):
    scene = tmp_path / "ball.toml"
    scene.write_text(BALL)
    run = CliRunner().invoke(command, [str(scene), "--out", str(tmp_path / "out"), "--json"])
    assert run.exit_code == 0, run.output
    told = json.loads(run.stdout)
    assert told["boards"][0]["limits"][0]["limit_c"] > told["settings"]["room_c"]
    assert (tmp_path / "out" / "heat.png").is_file()
    shown = CliRunner().invoke(command, [str(scene), "--no-picture", "-v"])
    assert shown.exit_code == 0
    for words in ("limit W", "caution: Heat", "Not computed"):
        assert words in shown.output
