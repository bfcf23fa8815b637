"""The sentence under the prop, without light: what it says of boards and levels."""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace

import pytest

from glowsim.geometry.notes import Doubt, OpenHollow
from glowsim.live import edits
from glowsim.live.edits import BoardAt, Prop
from glowsim.live.figures import Figures
from glowsim.live.sentence import sentence, spoken
from glowsim.scene import parse_scene
from glowsim.transport.plan import catalogue_of

SCENE = """
[[bodies]]
name = "bud"
shape = {{ kind = "orb", diameter_mm = 80 }}
material = "pla_white"
  [[bodies.lights]]
  board = "{board}"
  position_mm = [0, 0, -20]
  drive = {drive}
  [[bodies.lights]]
  board = "{board}"
  position_mm = [0, 0, 10]
  drive = {drive}
"""


def told(board, drive, change=lambda prop: prop):
    origin = parse_scene(SCENE.format(board=board, drive=drive), "bud.toml", Path())
    prop = change(Prop(origin.scene))
    return spoken(sentence(prop, 0, catalogue_of(origin), Figures(), fresh=False))


@pytest.mark.parametrize(
    ("board", "drive", "level"),
    [
        ("rgb_5050_18ma", "{ red = 0.3, green = 0.1, blue = 0 }", "30 %"),
        ("white_1w_warm", "{ white = 0.25 }", "25 %"),  # its colours mean nothing
    ],
)
def test_level_is_that_of_the_channels_a_board_has(board, drive, level):
    assert f" at {level} light the bud of pla white. In " in told(board, drive)


def test_a_board_that_is_off_is_said_to_be(tmp_path):
    words = told(
        "white_1w_warm",
        "{ white = 0.25 }",
        lambda prop: edits.switched(prop, BoardAt(0, 1)),
    )
    assert words.startswith("Two 1 W white LEDs on a star (1 off) at 25 % light")


def test_what_could_hurt_stands_in_the_sentence_and_in_its_handle():
    findings = SimpleNamespace(
        bodies=[SimpleNamespace(body="bud", grade="fair", within_share=0.9)],
        lit=[SimpleNamespace(body="bud", grade="bright")],
        found=(),
        cautions=("Heat: 1 of 2 boards", "Glare: bud shows"),
    )
    origin = parse_scene(SCENE.format(board="white_1w_warm", drive="{ white = 1 }"))
    figures = Figures(findings=findings, heat_unknown="no conductivity")
    pieces = sentence(Prop(origin.scene), 0, catalogue_of(origin), figures, fresh=True)
    assert [p.text for p in pieces if p.handle == "caution"] == ["Caution: heat and glare."]
    assert [p.text for p in pieces if p.handle == "heat"] == ["warmth unknown"]
    assert figures.cautions == findings.cautions


@pytest.mark.parametrize(
    ("grade", "asked"),
    [("patchy", "Make it even?"), ("fair", "Make it more even?"), ("even", None)],
)
def test_the_sentence_ends_in_what_would_make_it_even_until_it_is(grade, asked):
    findings = SimpleNamespace(
        bodies=[SimpleNamespace(body="bud", grade=grade, within_share=0.9)],
        lit=[SimpleNamespace(body="bud", grade="bright")],
        found=(),
        cautions=(),
    )
    origin = parse_scene(SCENE.format(board="white_1w_warm", drive="{ white = 1 }"))
    figures = Figures(findings=findings)
    pieces = sentence(Prop(origin.scene), 0, catalogue_of(origin), figures, fresh=True)
    assert next((p.text for p in pieces if p.handle == "evener"), None) == asked


def test_what_makes_quick_a_rough_guide_is_told_of_the_body_it_is_of():
    figures = Figures(findings=SimpleNamespace(trust={"bud (x3)": ["thin wall"], "leaf": []}))
    assert (figures.rough("bud"), figures.rough("leaf"), Figures().rough("bud")) == (
        ("thin wall",),
        (),
        (),
    )


def test_guesses_about_mesh_files_are_asked_and_open_hollows_are_not():
    notes = ("plain", Doubt("12 mm or 120 mm: which?"), OpenHollow("it is open"))
    figures = Figures(findings=SimpleNamespace(notes=notes))
    assert figures.asked == ("12 mm or 120 mm: which?",)
    assert Figures().asked == ()
