"""`check` on mesh files as they come: what is mended is said, what cannot be is refused."""

from __future__ import annotations

import re
import sys

import numpy as np
import pytest
import trimesh

from glowsim.cli.main import main

BALL = trimesh.creation.icosphere(subdivisions=3, radius=30)
SCENE = """
[[bodies]]
name = "ball"
mesh = {{ file = "{file}"{more} }}
material = "pla_white"
{wall}
[[bodies.lights]]
board = "rgb_5050_18ma"
position_mm = [0, 0, 0]
"""


def ball(scale: float = 1.0, at=(0.0, 0.0, 0.0)) -> trimesh.Trimesh:
    return trimesh.Trimesh(BALL.vertices * scale + at, BALL.faces, process=False)


def with_faces(faces: np.ndarray) -> trimesh.Trimesh:
    return trimesh.Trimesh(BALL.vertices, faces, process=False)


def crooked_hole() -> trimesh.Trimesh:
    """A ball without a wide band of faces on one side: no plane closes it."""
    centre = BALL.triangles_center
    gone = (centre[:, 0] > 0) & (np.abs(centre[:, 2]) < 12)
    return with_faces(BALL.faces[~gone])


SHEET = trimesh.Trimesh([[0, 0, 0], [50, 0, 0], [50, 50, 0], [0, 50, 0]], [[0, 1, 2], [0, 2, 3]])
SPIKE = trimesh.creation.cone(radius=20, height=90, sections=48).apply_translation([0, 0, -20])


@pytest.fixture
def checked(tmp_path, monkeypatch, capsys):
    def checked(mesh: trimesh.Trimesh, file: str, more: str = "", wall: str = ""):
        mesh.export(tmp_path / file)
        before = (tmp_path / file).read_bytes()
        (tmp_path / "prop.toml").write_text(SCENE.format(file=file, more=more, wall=wall))
        monkeypatch.chdir(tmp_path)
        monkeypatch.setattr(sys, "argv", ["glowsim", "check", "prop.toml"])
        with pytest.raises(SystemExit) as end:
            main()
        shown = capsys.readouterr()
        assert (tmp_path / file).read_bytes() == before, "the user's file was written over"
        assert len(list(tmp_path.iterdir())) == 2
        return end.value.code, " ".join((shown.out + shown.err).split())

    return checked


@pytest.mark.parametrize(
    ("mesh", "file", "more", "note"),
    [
        (ball(), "ball.stl", "", "STL carries no unit; mm assumed"),
        (ball(1 / 25.4), "ball.obj", ', units = "in"', "60 x 60 x 60"),
        (ball(0.001), "ball.glb", "", "unit 'm' taken from the file, as GLB defines it"),
        (with_faces(BALL.faces[:, ::-1]), "ball.ply", "", "was inside out; turned it"),
        (
            with_faces(np.vstack([BALL.faces, BALL.faces[:40]])),
            "ball.stl",
            "",
            "dropped 40 repeated faces",
        ),
        (with_faces(BALL.faces[1:]), "ball.stl", "", "closed a flat hole"),
        (
            trimesh.util.concatenate([ball(), ball(at=(100, 0, 0))]),
            "two.stl",
            "",
            "2 of its pieces are not joined to each other",
        ),
        (
            trimesh.util.concatenate([ball(), ball(0.5, at=(100, 0, 0))]),
            "two.stl",
            ', keep = "largest"',
            "kept the largest of the separate pieces",
        ),
    ],
    ids=lambda value: value if isinstance(value, str) else "",
)
def test_what_is_mended_is_said(checked, mesh, file, more, note):
    code, text = checked(mesh, file, more)
    assert code == 0, text
    assert note in text


@pytest.mark.parametrize(
    ("mesh", "more", "message"),
    [
        (ball(1 / 25.4), "", 'the unit must be wrong; set units = "cm" (23.62 mm) or units = "in"'),
        (ball(), ', units = "furlong"', "'furlong' is not a known unit of length; known: cm, ft"),
        (SHEET, "", "prop.toml, line 4: bodies[0].mesh: ball: has no body"),
        (crooked_hole(), "", r"prop.toml, line 4: bodies[0].mesh: ball: "),
    ],
    ids=["inches", "unknown unit", "a sheet", "a crooked hole"],
)
def test_what_cannot_be_mended_is_refused_in_its_place(checked, mesh, more, message):
    code, text = checked(mesh, "ball.stl", more)
    assert code == 2, text
    # Slow work tells of itself before.
    assert "glowsim: prop.toml, line 4: bodies[0].mesh" in text
    assert message in text
    assert "Traceback" not in text


def test_the_place_of_a_hole_that_cannot_be_closed_is_given_in_mm(checked):
    code, text = checked(crooked_hole(), "ball.stl")
    assert code == 2
    place = re.search(r"about \((.*?), (.*?), (.*?)\) mm", text)
    assert place, text
    # The band that is missing lies at x > 0, all about z = 0.
    assert float(place.group(1)) > 10
    assert abs(float(place.group(3))) < 12


def test_a_sharp_tip_says_where_its_wall_closes_up(checked):
    code, text = checked(SPIKE, "spike.stl", ', units = "mm"', "wall_mm = 2")
    assert code == 0, text
    assert "the wall closes up about (0.0, 0.0, 70.0) mm" in text
