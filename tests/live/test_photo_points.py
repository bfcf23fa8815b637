"""Points clicked in the photos of a readings file: their names, what comes of them, and what is
written back."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

import numpy as np
import pytest

from glowsim.calibration.readings import read_readings
from glowsim.errors import GlowsimError, ReadingsError
from glowsim.geometry.mesh import Mesh
from glowsim.live.landmarks import landmarks, on_surface, outline
from glowsim.live.photo_points import PhotoPoints, is_readings, readings_of
from glowsim.live.points_text import Click, Clicks, text_with
from glowsim.scene import parse_scene

DEMO = Path(__file__).parent.parent.parent / "scenes" / "readings"
TOP, LEFT, RIGHT = (109, 52), (60, 359), (161, 359)


@pytest.fixture
def readings(tmp_path):
    """Return the demo's readings in a folder of their own."""
    shutil.copytree(DEMO, tmp_path / "readings")
    return tmp_path / "readings" / "white_foam.toml"


def without_clicks(file):
    """Take out all that is clicked; return the text."""
    text = file.read_text(encoding="utf-8")
    text = text[: text.index("points = [")] + text[text.index("toward =") :]
    file.write_text(text, encoding="utf-8")
    return text


def test_the_photo_of_a_marks_card_is_shown_beside_the_exposures_and_read_again(readings):
    text = without_clicks(readings)
    shutil.copy(readings.with_name("foam_short.jpg"), readings.with_name("card.jpg"))
    card = 'toward = [1, 0, 0]\ncard = { file = "card.jpg" }\n'
    readings.write_text(text[: text.index("toward =")] + card, encoding="utf-8")
    points = PhotoPoints(readings)
    *exposures, last = points.shots(0)
    assert (len(exposures), last) == (3, "card.jpg")
    assert np.array_equal(points.frame(0, 3).codes, points.frame(0, 0).codes)
    shutil.copy(readings.with_name("foam_long.jpg"), readings.with_name("card.jpg"))
    os.utime(readings.with_name("card.jpg"), ns=(1, 1))
    assert np.array_equal(points.frame(0, 3).codes, points.frame(0, 2).codes)


def box(x, y, z):
    corners = np.array([(i, j, k) for k in (0, 1) for j in (-0.5, 0.5) for i in (-0.5, 0.5)])
    faces = [
        *((0, 2, 1), (1, 2, 3), (4, 5, 6), (5, 7, 6), (0, 1, 4), (1, 5, 4)),
        *((2, 6, 3), (3, 6, 7), (0, 4, 2), (2, 4, 6), (1, 3, 5), (3, 7, 5)),
    ]
    return Mesh.single_part(corners * (x, y, z), np.array(faces))


def test_landmarks_are_what_a_camera_sees_at_left_and_right():
    found = {mark.words: mark.at_mm for mark in landmarks(box(30, 20, 50), np.array([0, -1.0, 0]))}
    assert found == {
        "the left end of its top": (-15, -10, 50),
        "the right end of its top": (15, -10, 50),
        "the left end of its foot": (-15, -10, 0),
        "the right end of its foot": (15, -10, 0),
    }


def test_outline_of_a_box_seen_square_on_is_that_of_its_near_face():
    edges = outline(box(30, 20, 50), np.array([0.0, -600.0, 25.0]))
    assert len(edges) == 4
    assert np.all(edges[:, :, 1] == -10)
    assert on_surface(box(30, 20, 50), np.array([0, -600.0, 25]), np.array([0, 1.0, 0])) == (
        pytest.approx([0, -10, 25])
    )


def test_a_readings_file_is_told_from_a_scene(readings):
    assert is_readings(readings)
    assert not is_readings(readings.with_name("foam_piece.toml"))
    assert not is_readings(readings.with_name("nothing.toml"))


def test_points_of_the_file_find_the_camera_that_they_do_for_the_command(readings):
    points = PhotoPoints(readings)
    assert not points.unsaved
    assert points.called(0, 1) == "the right end of its foot (0, 20, 0 mm)"
    assert points.called(0, 3) == "a mark on it (10.9, 0, 60 mm)"
    pose = points.pose(0)
    # A point of the surface is found again from its pixel.
    there = np.array(points.now[0].to_mm)
    points.stretch(0, "to", tuple(pose.pixels(there[None])[0]))
    assert points.now[0].to_mm == pytest.approx(there, abs=0.3)  # the mesh is a tenth off the cone
    points.undo()
    assert not points.unsaved


def test_a_file_without_clicks_asks_for_them_and_is_written_whole(readings):
    text = without_clicks(readings)
    with pytest.raises(ReadingsError, match="points"):
        read_readings(readings)
    points = PhotoPoints(readings)
    assert points.unsaved
    assert [point.pixel for point in points.now[0].points] == [None] * 3
    assert points.pose(0) is None
    with pytest.raises(ReadingsError, match=r"click 2 points of the piece in foam_short\.jpg"):
        points.save()
    assert readings.read_text(encoding="utf-8") == text
    for n, pixel in enumerate((TOP, LEFT, RIGHT)):
        points.put(0, n, pixel)
    strip = points.read(0)
    assert len(strip.values) > 10
    points.save()
    assert not points.unsaved
    photo = read_readings(readings).bench.photos[0]
    assert [mark.pixel for mark in photo.points] == [TOP, LEFT, RIGHT]
    assert photo.from_mm == points.now[0].from_mm
    # All lines that were there are there, in their order.
    kept = iter(readings.read_text(encoding="utf-8").splitlines())
    assert all(line in kept for line in text.splitlines())


def test_swapped_points_are_told(readings):
    points = PhotoPoints(readings)
    points.put(0, 0, RIGHT)
    points.put(0, 1, TOP)
    with pytest.raises(ValueError, match="points 1 and 2 look swapped"):
        points.pose(0)
    points.undo()
    points.undo()
    assert points.pose(0) is not None


def test_an_editor_is_not_written_over(readings):
    points = PhotoPoints(readings)
    points.put(0, 0, (110, 50))
    edited = readings.read_text(encoding="utf-8").replace("975", "976")
    readings.write_text(edited, encoding="utf-8")
    points.look_at_file()
    assert "changed by another program" in points.error
    with pytest.raises(GlowsimError, match="changed by another program"):
        points.save()
    assert readings.read_text(encoding="utf-8") == edited
    points.undo()
    points.look_at_file()
    assert points.error == ""
    assert points.text == edited


def test_clicks_change_their_own_lines_alone():
    text = """name = 'a'
[[photos]]  # one
band = 'red'
points = [
  { pixel = [1, 2], at_mm = [0, 0, 1.0] }, # tip
]

# two
[[piles]]
band = 'red'

[[photos]]
band = 'green'
"""
    tip = Click((0.0, 0.0, 1.0), (3.5, 4.0))
    foot = Click((5.0, 0.0, 0.0), (7.0, 8.0))
    new = text_with(text, {0: Clicks((tip,)), 1: Clicks((foot, Click((1.0, 0.0, 0.0))))})
    first = text.replace("[1, 2]", "[3.5, 4]")
    assert new.startswith(first)
    assert new[len(first) :] == "points = [\n    {pixel = [7, 8], at_mm = [5, 0, 0]},\n]\n"


def test_readings_are_found_beside_what_was_learnt_from_them(readings):
    learnt = readings.with_name("white_foam-learnt")
    learnt.mkdir()
    entry = '[materials.my_foam]\nlike = "upholstery_foam_white"\n'
    (learnt / "my_foam.toml").write_text(entry, encoding="utf-8")
    text = """materials_from = ["white_foam-learnt/my_foam.toml"]
    [[bodies]]
    name = "bud"
    shape = { kind = "orb", diameter_mm = 40 }
    material = "my_foam"
    """
    scene_file = parse_scene(text, "bud.toml", readings.parent)
    assert readings_of(scene_file, "my_foam") == readings
    assert readings_of(scene_file, "upholstery_foam_white") is None
    readings.unlink()
    assert readings_of(scene_file, "my_foam") is None


def test_patches_are_read_where_they_are_seen(readings):
    text = readings.read_text(encoding="utf-8")
    text = text.replace("from_mm = [18.41, 0.00, 10.50]\n", "")
    patches = "patches_mm = [[16, 0, 25], [14, 0, 40], [11.55, 0, 55.5]]"
    readings.write_text(text.replace("to_mm = [11.55, 0.00, 55.50]", patches), encoding="utf-8")
    strip = PhotoPoints(readings).read(0)
    assert len(strip.values) == 3
    assert np.all(np.diff(strip.values) < 0)  # the light sits low in the piece
    rims = strip.outline[~np.isnan(strip.outline[:, 0])].reshape(3, -1, 2)
    assert np.all(np.diff(rims[:, :, 1].mean(axis=1)) < 0)  # each higher up in the photo
