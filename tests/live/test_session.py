"""The prop under the hand, without a page."""

from __future__ import annotations

import json
import re
import time

import numpy as np
import pytest
from click.testing import CliRunner
from PIL import Image

from glowsim.cli.group import cli
from glowsim.decisions.guesses import Guess
from glowsim.decisions.placer import Expected
from glowsim.errors import SceneError
from glowsim.live import edits, helping, placing, sending
from glowsim.live.boards import place_of, room_for
from glowsim.live.clearance import has_room
from glowsim.live.edits import BoardAt
from glowsim.live.lane import SupersededError
from glowsim.live.session import Session
from glowsim.scene import read_scene
from glowsim.scene.lights import Drive
from glowsim.transport.fit import misfits
from glowsim.transport.plan import plan_of
from glowsim.transport.prepared import PreparedProp
from tests.live.props import SCENE, write_scene

LOW, HIGH = BoardAt(0, 0), BoardAt(0, 1)


KEPT = PreparedProp()
"""Shared by all tests: the body is the same, and any number may ask at once."""


@pytest.fixture
def session(tmp_path):
    """Return a session that has its first light; figures may still be on their way."""
    session = Session(write_scene(tmp_path), kept=KEPT)
    stop = time.monotonic() + 60
    while session.seen is None and time.monotonic() < stop:
        time.sleep(0.01)
    assert session.seen
    assert session.error == ""
    yield session
    session.close()


def test_drag_shows_drafts_and_the_release_a_full_answer(session):
    assert session.wait()
    assert session.rests
    first = session.seen
    assert first.full
    session.drag(HIGH, 0, (3.0, 0.0, 40.0))
    assert session.wait()
    draft = session.seen
    assert not draft.full
    assert draft.light != first.light
    # What is sent back stays as it was, and need not be fetched again.
    assert draft.around_key == first.around_key
    heading, sent = draft.for_page(first.around_key, first.number)
    corners = sending.corners_of(draft.light)
    assert heading == {"whole": False, "first": 0, "count": corners}
    assert (len(sent), sent[: 12 * corners]) == (16 * corners, draft.light[: 12 * corners])
    assert draft.for_page("", 0) == (heading | {"whole": True}, draft.light)
    assert draft.exposure_cd_m2 == first.exposure_cd_m2  # brighter must look brighter
    figures = session.figures
    session.release()
    assert not session.rests
    assert session.wait()
    assert session.seen.full
    assert session.rests
    assert session.figures is not figures
    assert session.now.light(HIGH).position_mm == (3.0, 0.0, 40.0)
    # A draft is to be looked at: near the full answer, and not it.
    count = 3 * session.seen.skin.stage.corner_count
    two = [np.frombuffer(seen.light, "<f4")[:count] for seen in (draft, session.seen)]
    assert np.linalg.norm(two[0] - two[1]) < 0.03 * np.linalg.norm(two[1])


@pytest.mark.slow
def test_figures_are_those_of_the_commands_for_the_saved_scene(session, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    session.drag(HIGH, 0, (2.345, 0.0, 41.26))
    session.release()
    assert session.wait()
    path = session.save()
    assert path.name == "bud-live.toml"

    def printed(*words):
        result = CliRunner().invoke(cli, [*words, "--json"])
        assert result.exit_code == 0, result.output
        return json.loads(result.stdout)

    ours = json.loads(json.dumps(session.figures.as_json()))
    glow = printed("glow", str(path), "--no-pictures", "--no-suggest")
    heat = printed("heat", str(path), "--no-picture")
    del glow["files"], glow["wiring"], heat["files"], heat["cautions"]
    del glow["heat"]  # kept for its next run; its words are among the cautions of both
    for board in heat["boards"]:
        board["minutes"] = board["soon_share"] = None  # how soon is not worked out under the hand
    assert ours["glow"] == glow
    assert ours["power"] == printed("power", str(path))
    assert ours["heat"] == heat


@pytest.mark.slow
def test_photo_is_the_one_glow_takes(session, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    session.do("room", lambda prop: edits.in_room(prop, illuminance_lx=35.0))
    path = session.save()
    picture = tmp_path / "photo.png"
    result = CliRunner().invoke(cli, ["glow", str(path), "--size", "480x360", "--no-suggest"])
    assert result.exit_code == 0, result.output
    picture.write_bytes(session.photo((480, 360), 25.0, 12.0))  # a scene's view if it says none
    ours, theirs = Image.open(picture), Image.open(tmp_path / "bud-live-glow" / "photo.png")
    assert np.array_equal(np.asarray(ours), np.asarray(theirs))


@pytest.mark.parametrize(
    "wanted", [(40, 0, 30), (0, 0, 200), (0, -90, 5), (0, 0, 11), (10, 10, 33)]
)
def test_a_board_stays_inside_and_clear_of_the_other(session, wanted):
    session.drag(HIGH, 0, wanted)
    session.release()
    shape, around = room_for(session.now, HIGH, session.problems[0], session.catalogue())
    assert has_room(shape, around)
    problem = PreparedProp().problem(plan_of(session.file()), 0)
    assert [m for m in misfits(problem) if m.blocks] == []


def test_a_board_slides_along_the_wall(session):
    session.drag(HIGH, 0, (25.0, 0.0, 25.0))
    session.release()
    x, y, z = session.now.light(HIGH).position_mm
    assert x > 4.0
    assert z > 15.0
    session.drag(HIGH, 0, (25.0, 0.0, 45.0))
    session.release()
    higher = session.now.light(HIGH).position_mm
    assert higher[2] > z + 5.0
    assert higher[0] < x  # the spike is narrower up there
    assert y == pytest.approx(0.0, abs=0.5)


def test_typed_numbers(session):
    session.type_number(HIGH, "height_mm", 36.0)
    session.type_number(HIGH, "from_axis_mm", 3.0)
    place = place_of(session.now.light(HIGH).position_mm, session.problems[0])
    assert place.height_mm == pytest.approx(36.0, abs=0.06)
    assert place.from_axis_mm == pytest.approx(3.0, abs=0.06)
    session.nudge(HIGH, (0.0, 0.0, -0.1))
    assert session.now.light(HIGH).position_mm[2] == pytest.approx(35.9)


def test_every_step_can_be_undone_and_done_again(session):
    first = session.now
    session.nudge(HIGH, (0, 0, 1))
    session.turn(HIGH, (1, 0, 0))
    session.do("switch", lambda prop: edits.switched(prop, LOW))
    session.do("colour", lambda prop: edits.driven(prop, "all", Drive(red=0.1, green=0.5, blue=0)))
    session.double(HIGH)
    session.do("remove", lambda prop: edits.removed(prop, LOW))
    last = session.now
    assert len(last.scene.bodies[0].lights) == 2
    steps = 0
    while session.history.undo_words:
        session.undo()
        steps += 1
    assert steps == 6
    assert session.now == first
    while session.history.redo_words:
        session.redo()
    assert session.now == last


def test_switching_off_and_on_keeps_how_a_board_was_driven(session):
    drive = session.now.light(LOW).drive
    session.do("off", lambda prop: edits.switched(prop, LOW))
    assert session.now.light(LOW).drive.red == 0
    session.do("on", lambda prop: edits.switched(prop, LOW))
    assert session.now.light(LOW).drive == drive


def test_saving_keeps_comments_and_the_old_file(session):
    before = session.path.read_text()
    old = session.path
    session.nudge(HIGH, (0, 0, 2))
    session.add(0, "rgb_5050_18ma")
    path = session.save()
    text = path.read_text()
    assert old.read_text() == before
    for comment in ("# A bud for tests.", "# a street", "# on the plate"):
        assert comment in text
    assert read_scene(path).scene == session.now.scene
    assert not session.unsaved
    session.nudge(HIGH, (0, 0, -1))
    assert session.save() == path  # its own file is written over


def test_a_file_changed_by_an_editor_is_noticed(session):
    text = session.path.read_text()
    session.path.write_text(text.replace("illuminance_lx = 20", "illuminance_lx = 60"))
    session.look_at_file()
    assert session.now.scene.room.illuminance_lx == 60
    session.nudge(HIGH, (0, 0, 1))
    session.path.write_text(text)
    session.look_at_file()
    assert session.file_changed
    with pytest.raises(SceneError, match="changed by another program"):
        session.save(over=True)
    assert session.path.read_text() == text
    mine = session.now
    session.keep_both()
    assert session.path.name == "bud-live.toml"
    assert session.now == mine


def test_a_broken_file_is_told_with_its_line_and_loses_nothing(session):
    before = session.now
    session.path.write_text(session.path.read_text().replace("upholstery", "upholstry"))
    session.look_at_file()
    assert "line 11" in session.error
    assert "did you mean" in session.error
    assert session.now == before


def test_tries_outlive_the_session(session):
    session.nudge(HIGH, (0, 0, 3))
    kept = session.now
    session.keep_try("3 up", 25.0, 12.0)
    session.nudge(HIGH, (0, 0, 3))
    again = Session(session.path)
    (one,) = again.tries.kept
    assert one.words == "3 up"
    assert again.tries.picture(one.number).read_bytes().startswith(b"\x89PNG")
    again.go_back(one)
    assert again.now.scene == kept.scene
    again.close()


@pytest.mark.slow
def test_where_light_would_help_and_a_board_put_there(session):
    session.do("remove", lambda prop: edits.removed(prop, HIGH))
    assert session.wait()
    before = session.figures.evenness("bud").off_by
    found = helping.hints(session, 0)
    assert found.points_mm[0, 2] > 35  # the tip is dark
    at = session.add(0, "rgb_5050_18ma")
    helping.to_best_place(session, at)
    assert session.wait()
    assert session.figures.evenness("bud").off_by < before
    problem = PreparedProp().problem(plan_of(session.file()), 0)
    assert [m for m in misfits(problem) if m.blocks] == []


def test_places_are_found_in_the_background_and_can_be_given_up(session):
    before = session.now

    def given_up(words):
        raise SupersededError

    with pytest.raises(SupersededError):
        placing.find_places(session, 0, 1, given_up)
    assert session.now == before


def searches(monkeypatch, session, briefly_mm, thoroughly):
    """Have the short search find the upper board at a height, the long one what is given."""

    def lights(high_mm):
        return edits.moved(session.now, HIGH, (0, 0, high_mm)).scene.bodies[0].lights

    def long_search(search, count):
        search.try_places({0: lights(thoroughly())})
        return ""

    short = {0: lights(briefly_mm)}
    monkeypatch.setattr(placing, "briefly", lambda *given: short)
    monkeypatch.setattr(placing, "try_thoroughly", long_search)


def test_the_long_search_goes_on_from_the_short_one_and_is_one_step(session, monkeypatch):
    before = session.now
    searches(monkeypatch, session, 16, lambda: 42)
    told = placing.find_places(session, 0, 2, lambda words: None)
    assert session.now.light(HIGH).position_mm == (0, 0, 42)  # the tip was dark
    assert "undo takes it back" in told
    session.undo()
    assert session.now == before


def test_what_the_short_search_found_stays_when_the_long_one_is_given_up(session, monkeypatch):
    def given_up():
        assert session.now.light(HIGH).position_mm == (0, 0, 42)
        raise SupersededError

    searches(monkeypatch, session, 42, given_up)
    best = []
    told = placing.find_places(session, 0, 2, lambda words: None, best.append)
    assert session.now.light(HIGH).position_mm == (0, 0, 42)
    assert told.endswith("(the long search was ended)")
    assert [words.partition(" times")[0] in told for words in best] == [True]
    assert "turned down to" in told
    assert session.wait()
    assert session.figures.heat.hottest.allowed_share >= 1
    assert session.figures.cautions == ()


def test_places_that_the_full_answer_finds_no_better_are_taken_out(session, monkeypatch):
    before = session.now
    searches(monkeypatch, session, 16, lambda: 18)
    told = placing.find_places(session, 0, 2, lambda words: None)
    assert session.now == before
    assert session.history.redo_words == ""  # what was turned down is not offered
    assert ": nothing more even was found" in told


def guessed(monkeypatch, session, *heights_mm):
    """Have guesses put the upper board at some heights, and none of them be enough."""

    def guess(high_mm):
        lights = edits.moved(session.now, HIGH, (0, 0, high_mm)).scene.bodies[0].lights
        return Guess("round_7", 2, {0: list(lights)}, Expected(0.1, 2.5), False, limit=2.34)

    found = [guess(high_mm) for high_mm in heights_mm]
    monkeypatch.setattr(placing.Guesses, "evenest", lambda guesses, **how: found)


def test_what_cannot_be_made_even_is_made_evener_and_it_is_said_why(session, monkeypatch):
    before = session.now
    guessed(monkeypatch, session, 42, 16)
    told = placing.make_even(session, 0, False, lambda words: None)
    assert session.now.light(HIGH).position_mm == (0, 0, 42)
    assert "even enough is 1.45, and no number of boards was found that is" in told
    assert "at any place they would be off by 2.34 at least" in told
    assert "another material" in told
    session.undo()
    assert session.now == before


@pytest.mark.slow
def test_a_spike_of_foam_is_made_even_of_what_light_reaches_farther_in(session):
    session.do("dimmer", lambda prop: edits.removed(prop, LOW))
    told = placing.make_even(session, 0, True, lambda words: None)
    assert session.wait()
    assert session.figures.evenness("bud").grade != "patchy", told
    assert session.now.scene.bodies[0].material != "upholstery_foam_white"
    assert read_scene(session.save()).scene == session.now.scene
    session.undo()
    assert [light.name for light in session.now.scene.bodies[0].lights] == ["high"]


@pytest.mark.slow
def test_places_of_a_search_are_judged_by_the_full_answer(session):
    session.do("to the foot", lambda p: edits.moved(p, HIGH, (0, 0, 16)))
    session.do("brighter room", lambda p: edits.in_room(p, illuminance_lx=35))
    assert session.wait()
    before, said = session.figures.evenness("bud").off_by, []
    told = placing.find_places(session, 0, 2, said.append)
    assert session.wait()
    after = session.figures.evenness("bud").off_by
    assert after < before
    words = f"bud: a typical place is off by {after:.2f} times, {before:.2f} before; "
    assert told.startswith(words)  # heat may have turned them down, which is told then
    assert told.endswith("undo takes it back")
    searched = [words for words in said if "reading the light backwards" in words]
    assert searched[0].startswith("a short search, ")
    assert searched[-1].startswith("the long search, ")
    assert session.now.scene.room.illuminance_lx == 35  # what else was changed stays
    assert session.save().exists()


@pytest.mark.slow
def test_what_would_mend_it_is_told_once_it_was_tried(session):
    assert session.wait()
    assert session.mended is None
    session.ask_mended()
    assert session.wait()
    saved = session.save()
    command = ["glow", str(saved), "--no-pictures", "--json", "--out", str(saved.parent / "out")]
    told = json.loads(CliRunner().invoke(cli, command).stdout)
    mended = session.mended
    found = [mended.put_into_one(f).suggestion for f in session.figures.findings.found]
    assert found == [f["suggestion"] for f in told["findings"]]
    assert list(mended.also) == told["tried"]["also"]
    # What is suggested can be put in, and does what it was found to do.
    (number, body), *_ = mended.bodies.items()
    before, after = (float(v) for v in re.search(
        r"off by x ([\d.]+) -> x ([\d.]+)", mended.suggestions[number][0]).groups())  # fmt: skip
    assert session.figures.evenness("bud").off_by == pytest.approx(before, rel=5e-3)
    new = edits.remedied(session.now, 0, body)
    assert new is not None
    session.do("put it in", lambda p: new)
    assert session.wait()
    assert session.figures.evenness("bud").off_by == pytest.approx(after, rel=0.1)
    assert session.save().exists()
    assert session.mended is None  # it was of another prop


def test_what_was_tried_is_put_in_where_the_text_can_say_it(tmp_path):
    prop = edits.Prop(read_scene(write_scene(tmp_path)).scene)
    body = prop.scene.bodies[0]
    fewer = body.model_copy(update={"lights": body.lights[:1], "detail_mm": 1.0})
    new = edits.remedied(prop, 0, fewer)
    assert new.scene.bodies[0] == body.model_copy(update={"lights": body.lights[:1]})
    thicker = body.model_copy(update={"shape": body.shape.model_copy(update={"length_mm": 70})})
    assert edits.remedied(prop, 0, thicker) is None


def test_what_was_not_saved_outlives_a_crash(session):
    session.nudge(HIGH, (0, 0, 3))
    kept = session.now
    session.close()  # as far as the disk can tell, killed
    again = Session(session.path, kept=KEPT)
    assert again.left_over is not None
    again.take_left_over(True)
    assert again.now.scene == kept.scene
    again.save()
    again.close()
    assert Session(session.path, kept=KEPT, begun=False).left_over is None


def test_a_scene_that_is_wrong_is_refused_with_its_line(tmp_path):
    wrong = SCENE.replace("position_mm = [0, 0, 34]", 'position_mm = "there"')
    with pytest.raises(SceneError, match=r"line 2\d: bodies\[0\].lights\[1\].position_mm"):
        Session(write_scene(tmp_path, wrong))
