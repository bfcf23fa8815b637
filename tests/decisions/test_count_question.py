"""The number of boards as a question about the material."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from glowsim.decisions import count_question
from glowsim.decisions.count_question import count_questions, evenness_per_board
from glowsim.scene import parse_scene

ROD = """
[[bodies]]
name = "rod"
shape = { kind = "rod", length_mm = 60, diameter_mm = 24 }
material = "upholstery_foam_white"
  [[bodies.lights]]
  board = "rgb_5050_18ma"
  position_mm = [0, 0, 10]
"""
PLACED = ROD + "[bodies.placing]\ndepth_mm = 4\n"


def answer(*even: float, shown: int):
    """Return the answer of `modules` for one, two, ... boards of such evenness."""
    counts = [
        SimpleNamespace(board="strip", count=k, step=SimpleNamespace(even=value, scene_file=None))
        for k, value in enumerate(even, start=1)
    ]
    return SimpleNamespace(shown=counts[shown - 1], of=lambda board: counts)


def test_a_board_more_is_told_by_its_neighbours():
    assert evenness_per_board(answer(0.2, 0.4, 0.8, 0.81, shown=2)) == pytest.approx(np.log(2.0))
    assert evenness_per_board(answer(0.4, shown=1)) == 0.0


def test_what_takes_evenness_away_takes_boards(monkeypatch):
    """A tenth of a board's worth of evenness lost by ln mu_a is a tenth of a board more."""
    slopes = np.full((3, 2), -0.1 * np.log(2.0))
    found = {("rod", "upholstery_foam_white"): {"mean": np.zeros((3, 2)), "evenness": slopes}}
    monkeypatch.setattr(count_question, "questions_of", lambda scene: found)
    monkeypatch.setattr(
        count_question, "modules", lambda *scene, **how: answer(0.2, 0.4, 0.8, shown=2)
    )
    asked = count_questions(parse_scene(PLACED), ["upholstery_foam_white"])
    assert asked["rod", "upholstery_foam_white"] == pytest.approx(np.full((3, 2), 0.1))
    monkeypatch.setattr(
        count_question, "modules", lambda *scene, **how: answer(0.4, 0.401, 0.402, shown=2)
    )
    assert count_questions(parse_scene(PLACED), ["upholstery_foam_white"]) == {}


def test_a_count_is_asked_where_boards_are_to_be_placed(monkeypatch):
    monkeypatch.setattr(count_question, "modules", lambda *scene, **how: pytest.fail("solved"))
    assert count_questions(parse_scene(ROD), ["upholstery_foam_white"]) == {}
    assert count_questions(parse_scene(PLACED), ["pla_white"]) == {}
