"""What would make a body even: tried, said in one sentence, and put in by one press."""

from __future__ import annotations

import pytest

from glowsim.decisions.guesses import Guess
from glowsim.decisions.placer import Expected
from glowsim.errors import SceneError
from glowsim.live import edits, offering
from glowsim.live.edits import BoardAt
from glowsim.live.lane import SupersededError
from glowsim.live.session import Session
from glowsim.live.works import Works
from glowsim.transport.prepared import PreparedProp
from tests.live.props import SCENE, write_scene

HIGH = BoardAt(0, 1)
LENIENT = """
[findings]
evenness_target = 0.01
even_from = 0.02
hot_spot_ratio = 100
dark_gap_ratio = 0.001
whole_bright_ratio = 100
whole_dark_ratio = 0.001
"""
"""What the upper board at 42 mm makes even, and at 16 mm does not."""
KEPT = PreparedProp()
pytestmark = pytest.mark.slow  # each is answered in full, with heat


@pytest.fixture
def opened(tmp_path):
    sessions = []

    def open_scene(more=""):
        low = SCENE.replace("[0, 0, 34]", "[0, 0, 16]") + more
        session = Session(write_scene(tmp_path, low), kept=KEPT)
        sessions.append(session)
        assert session.wait(1800)
        return session

    yield open_scene
    for session in sessions:
        session.close()


def guessed(monkeypatch, session, high_mm, enough):
    """Have the first change that is tried put the upper board at a height, and no other work."""
    lights = edits.moved(session.now, HIGH, (0, 0, high_mm)).scene.bodies[0].lights
    guess = Guess("round_7", 2, {0: list(lights)}, Expected(0.1, 2.5), enough, limit=1.1)
    found = [[guess]]
    monkeypatch.setattr(
        offering.Guesses, "evenest", lambda guesses, **how: found.pop() if found else []
    )


def test_what_would_make_it_even_is_tried_said_and_put_in_by_one_press(opened, monkeypatch):
    session = opened(LENIENT)
    before = session.now
    assert session.figures.evenness("bud").grade != "even"
    guessed(monkeypatch, session, 42, enough=True)
    works = Works(lambda: None)
    works.try_evener(session, 0)
    assert works.wait(1800)
    offer = works.offer
    assert session.now == before  # nothing is put in before it is taken
    assert " would make bud even: off by " in offer.words
    was = session.figures.evenness("bud")
    works.take_offer()
    assert works.offer is None
    assert session.wait(1800)
    now = session.figures.evenness("bud")
    assert now.grade == "even"
    assert f"off by {now.off_by:.2f} times ({was.off_by:.2f} now)" in offer.words
    assert f"mean {now.mean_cd_m2:.3g} cd/m² ({was.mean_cd_m2:.3g} now)" in offer.words
    assert f"{session.figures.hours} h on its battery (" in offer.words
    assert f"{session.figures.watts:.2g} W (" in offer.words
    assert session.figures.cautions == ()  # heat bears it
    session.undo()
    assert session.now == before


def test_the_nearest_is_offered_where_nothing_is_even_and_only_for_the_prop_it_was_tried_on(
    opened, monkeypatch
):
    session = opened()
    guessed(monkeypatch, session, 42, enough=False)
    offer, told = offering.offered(session, 0, lambda words: None)
    assert told == ""
    said = " would bring bud nearer to even, though a dark gap from "
    assert said in offer.words
    assert offer.holds
    session.nudge(HIGH, (0, 0, 1))
    assert not offer.holds
    with pytest.raises(SceneError, match="look again"):
        offer.take()


def test_what_is_hardly_more_even_is_left(opened, monkeypatch):
    session = opened()
    guessed(monkeypatch, session, 17, enough=False)
    offer, told = offering.offered(session, 0, lambda words: None)
    assert offer is None
    assert told.startswith("bud: leave it as it is: ")


def test_it_is_given_up_once_the_prop_is_changed(opened):
    session = opened()

    def nudged(words):
        if ", looking for room" in words:
            session.nudge(HIGH, (0, 0, 1))

    with pytest.raises(SupersededError):
        offering.offered(session, 0, nudged)
