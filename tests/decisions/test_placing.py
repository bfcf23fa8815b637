"""Placing from scene to scene: search, prediction, heat, wishes, the new file, messages."""

from __future__ import annotations

import json
import re
import sys
from pathlib import Path

import numpy as np
import pytest

from glowsim.cli.main import main
from glowsim.decisions.bound import bound_of
from glowsim.decisions.effort import Effort
from glowsim.decisions.modules import modules
from glowsim.decisions.objective import Wish
from glowsim.decisions.placed_scene import free_name, with_lights, write_new
from glowsim.decisions.placer import Placer
from glowsim.decisions.placing import place
from glowsim.decisions.polish import Placement
from glowsim.decisions.response import Responses
from glowsim.decisions.sensitivity import Sensitivity
from glowsim.errors import SceneError
from glowsim.findings import findings_of
from glowsim.scene import Placing, parse_scene, read_scene
from glowsim.transport.plan import plan_of
from glowsim.transport.solve import solve
from tests.support.placing import SPARING, placer, scene, text

SPIKE = """shape = { kind = "spike", length_mm = 50, base_diameter_mm = 34, tip_radius_mm = 5 }
cell_mm = 3
detail_mm = 4
# a comment of the maker's
[[bodies.masks]]
coat = "opaque_primer"
where = { part = "base" }
"""
LIGHT = """name = "lamp"   # where it is now
board = "rgb_5050_18ma"
position_mm = [5, 0, 8]
drive = { red = 0.5, green = 0.2, blue = 0.1 }
"""


@pytest.fixture(autouse=True, scope="module")
def _fewer_candidates():
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("glowsim.decisions.response.THOROUGH", SPARING)
        yield


@pytest.fixture(scope="module")
def responses() -> Responses:
    return Responses(plan_of(scene(SPIKE, light=LIGHT)), 0, Effort(patches=60, candidates=250))


def again(responses: Responses, wish: Wish | None = None, **placing: object) -> Placer:
    room = Placing.model_validate(placing)
    return placer(scene(SPIKE, light=LIGHT), wish=wish, placing=room, responses=responses)


def test_it_beats_random_placements_and_stays_below_the_bound(responses):
    found = again(responses)
    placement, expected = found.place(2)
    rng = np.random.default_rng(0)
    pairs = rng.integers(0, len(found.sites), (2000, 2))
    random = found.aim.off_by(found.luminance[pairs].sum(axis=1))
    # Shadows counted, as they are in what is expected.
    for pair in pairs[np.argsort(random)[:3]]:
        sites = found.sites.at(pair)
        alike = Placement(sites, np.ones(2), found.luminance[pair])
        aim = found.corrected(alike)
        assert expected.off_by <= float(aim.off_by(alike.luminance[None])[0]) * 1.005
    assert expected.even <= found.bound.percent * 1.02
    assert found.allowed.allows(placement.poses).all()
    assert not found.allowed.clash(
        placement.poses.at(slice(0, 1)), placement.poses.at(slice(1, None))
    ).any()


def test_more_room_never_makes_the_bound_worse(responses):
    wide = again(responses, depth_mm=3)
    deep = wide.sites.poses.position[:, 2] < 25
    tight = bound_of(wide.luminance[deep], wide.aim)
    assert wide.bound.percent >= tight.percent - 1e-9
    assert wide.bound.least >= tight.least - 1e-9


@pytest.mark.slow
def test_free_levels_are_at_least_as_even(responses):
    same, _ = again(responses).place(2)
    free, _ = again(responses, Wish(free_levels=True)).place(2)
    aim = again(responses).aim
    assert aim.off_by(free.luminance[None])[0] <= 1.01 * aim.off_by(same.luminance[None])[0]
    assert free.level.min() >= 0.2
    assert free.level.max() <= 1.0


def test_too_many_boards_name_the_most_that_fit(responses):
    with pytest.raises(SceneError, match=r"12 boards .* do not find room .*; \d+ is the most"):
        again(responses, depth_mm=6, clearance_mm=4).place(12)


@pytest.mark.slow
def test_brightness_first_gives_more_light(responses):
    even, _ = again(responses).place(1)
    bright, _ = again(responses, Wish(first="brightness")).place(1)
    aim = again(responses).aim
    assert aim.mean(bright.luminance) >= aim.mean(even.luminance) * 0.999


def test_place_is_confirmed_written_beside_and_keeps_comments(tmp_path, monkeypatch, capsys):
    path = tmp_path / "prop.toml"
    path.write_text(text(SPIKE, light=LIGHT))
    before = path.read_text()
    answer = place(read_scene(path), "body", 2)
    assert answer.expected.even == pytest.approx(answer.after.even, rel=0.02)
    assert answer.expected.off_by == pytest.approx(answer.after.evenness.off_by, rel=0.02)
    assert answer.after.evenness.off_by < answer.before.evenness.off_by
    first, second = answer.write(), answer.write()
    assert [first.name, second.name] == ["prop-placed.toml", "prop-placed-2.toml"]
    assert path.read_text() == before
    written = first.read_text()
    for kept in ("# a comment of the maker's", "# where it is now", "[materials.cloud]"):
        assert kept in written
    lights = read_scene(first).scene.bodies[0].lights
    assert len(lights) == 2
    assert {light.name for light in lights} == {"lamp", "board 2"} or "lamp" in written
    moved = next(move for move in answer.moves if move.was_mm is not None)
    assert moved.mm == pytest.approx(
        float(np.linalg.norm(np.array(moved.to_mm) - np.array(moved.was_mm)))
    )
    json.dumps(answer.as_json())
    assert answer.worth
    _left_as_it_is(first, answer.after.evenness.off_by, monkeypatch, capsys)
    effect = Sensitivity(answer.placer.responses, answer.before)
    suggested = findings_of(solve(read_scene(path)), read_scene(path).scene).found[0].suggested_mm
    if suggested is not None:
        place_mm, why = effect.meeting(answer.placer.sites.poses)
        assert tuple(place_mm) == suggested, "glow and the mending picture name one place"
        assert "where `glow` tries a light" in why
    points = np.array([[0.0, 0, 5], [0, 0, 40], [60, 0, 0]])
    low, high, outside = effect.effect(points)
    assert np.isnan(outside)
    if not effect.place.hot and effect.place.point_mm[2] > 30:
        assert high > low, "light nearer to a dark tip mends it better"


def _left_as_it_is(path: Path, off_by: float, monkeypatch, capsys) -> None:
    """Placing again what was placed finds nothing to gain, says so and writes no scene."""
    files = set(path.parent.glob("*.toml"))
    answer = path.parent / "again"
    arguments = ["place", str(path), "--count", "2", "--no-pictures", "--out", str(answer)]
    monkeypatch.setattr(sys, "argv", ["glowsim", *arguments])
    with pytest.raises(SystemExit) as stop:
        main()
    assert stop.value.code in (0, None)
    said = " ".join(capsys.readouterr().out.split())
    assert "Leave it: not worth doing" in said
    assert "No new scene is written" in said
    assert set(path.parent.glob("*.toml")) == files
    plain = json.loads((answer / "place.json").read_text())
    assert plain["worth_doing"] is False
    assert plain["new_scene"] is None
    # What stands is where the search sets out from, too: it finds nothing worse.
    assert plain["after"]["off_by"] <= 1.01 * off_by


def test_modules_places_all_that_are_alike_and_writes_where_the_boards_go(
    tmp_path, monkeypatch, capsys
):
    ball = 'shape = { kind = "orb", diameter_mm = 34 }\ncell_mm = 3\ndetail_mm = 4\n'
    one = text(ball, light=LIGHT.replace("[5, 0, 8]", "[8, 0, -5]"))
    body = one[one.index("[[bodies]]") : one.index("[materials")]
    twin = body.replace('name = "body"', 'name = "twin"\nposition_mm = [80, 0, 0]')
    twin = twin.replace('name = "lamp"', 'name = "other"\nzone = "far"')
    path = tmp_path / "two.toml"
    path.write_text(one.replace("[materials", twin + "[materials"))
    folder = tmp_path / "out"
    arguments = ["modules", str(path), "--max", "1", "--write", "--no-pictures"]
    monkeypatch.setattr(sys, "argv", ["glowsim", *arguments, "--out", str(folder)])
    with pytest.raises(SystemExit) as stop:
        main()
    assert stop.value.code in (0, None)
    said = capsys.readouterr().out
    assert "Boards, in the body's own frame" in said
    left, right = read_scene(tmp_path / "two-placed.toml").scene.bodies
    assert left.lights[0].position_mm == right.lights[0].position_mm != (8, 0, -5)
    assert (left.lights[0].name, right.lights[0].name) == ("lamp", "other")
    assert right.lights[0].zone == "far"
    x, y, z = left.lights[0].position_mm
    assert re.search(rf"lamp +{x:.1f} +{y:.1f} +{z:.1f} +0, 0, 1", said)
    plain = json.loads((folder / "modules.json").read_text())
    assert plain["bodies"] == 2
    assert plain["counts"][0]["boards"][0]["position_mm"] == [x, y, z]


def test_heat_turns_the_boards_down_and_says_so():
    hot = LIGHT.replace("red = 0.5, green = 0.2, blue = 0.1", "red = 1, green = 1, blue = 1")
    limit = "\n[findings]\nburied_power_w = 0.1\n"
    answer = modules(scene(SPIKE, light=hot, more=limit), most=1)
    (only,) = answer.counts
    assert only.factor < 1
    assert only.power_w <= 0.1
    assert only.step.heat.power_w <= 0.1 + 1e-6
    assert "Heat, not optics, limits this glow" in " ".join(answer.text)
    assert "The 0.1 W are a rule of thumb" in " ".join(answer.text)
    assert "a board's limit here is not known (heat needs the conductivity" in " ".join(answer.text)
    assert only.joints == 6


def test_least_power_takes_what_reads_as_lit():
    answer = modules(scene(SPIKE, light=LIGHT), most=1, wish=Wish(first="power"))
    (only,) = answer.counts
    assert only.step.lit.ratio == pytest.approx(answer.before.findings.limits.glow_ratio, rel=0.05)


@pytest.mark.slow
def test_what_must_stay_dark_is_kept_darker(responses):
    dark = SPIKE.replace("cell_mm", "dark_where = { below_mm = 12 }\ncell_mm")
    free, held = again(responses), placer(scene(dark, light=LIGHT), candidates=120)
    assert (~held.responses.glow).any()
    placement, _ = held.place(1)
    other, _ = free.place(1)
    assert placement.poses.position[0, 2] > other.poses.position[0, 2]


def test_a_dark_place_must_be_on_the_body():
    wrong = SPIKE.replace("cell_mm", "dark_where = { above_mm = 340 }\ncell_mm")
    with pytest.raises(SceneError, match=r"dark_where.*covers no face"):
        placer(scene(wrong, light=LIGHT))


def test_lights_that_pulses_need_are_not_taken_away():
    two = LIGHT + '\n[[bodies.lights]]\nname = "other"\nboard = "rgb_5050_18ma"\n'
    two += 'position_mm = [0, 0, 20]\nzone = "tip"\n'
    pulse = '\n[[pulses]]\nzone = "tip"\npattern = "blink"\nperiod_s = 2\n'
    written = text(SPIKE, light=two, more=pulse)
    file = parse_scene(written, "prop.toml")
    lights = file.scene.bodies[0].lights
    _, same = with_lights(file, written, 0, lights, "new.toml")
    assert same.scene.bodies[0].lights == lights
    with pytest.raises(SceneError, match=r"would not hold together.*zone"):
        with_lights(file, written, 0, lights[:1], "new.toml")


def test_a_scene_that_exists_is_left_alone(tmp_path):
    path = tmp_path / "a.toml"
    path.write_text("old")
    assert free_name(path, "placed").name == "a-placed.toml"
    with pytest.raises(SceneError, match="left alone"):
        write_new(path, "new")
    assert path.read_text() == "old"


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (("place", "prop.toml", "--count", "0"), "0 boards cannot be placed"),
        (("place", "prop.toml"), "--count says how many boards are placed"),
        (("place", "prop.toml", "--count", "1", "--body", "bodi"), "did you mean 'body'?"),
        (("place", "prop.toml", "--count", "1", "--board", "round_8"), "did you mean 'round_7'?"),
        (("place", "prop.toml", "--count", "1", "--depth", "40"), "no place for the board"),
        (("modules", "prop.toml", "--max", "1", "--clearance", "-1"), "must be at least 0"),
        (("modules", "nowhere.toml"), "there is no such file"),
    ],
)
def test_bad_input_is_one_clear_message(tmp_path: Path, monkeypatch, capsys, arguments, message):
    (tmp_path / "prop.toml").write_text(text(SPIKE, light=LIGHT))
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(sys, "argv", ["glowsim", *arguments])
    with pytest.raises(SystemExit) as stop:
        main()
    assert stop.value.code == 2
    assert message in capsys.readouterr().err
    assert [path.name for path in tmp_path.iterdir()] == ["prop.toml"]
