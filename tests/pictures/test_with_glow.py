"""A studio with another glow of the same faces: the same pictures, and nothing geometric again."""

from __future__ import annotations

from dataclasses import replace
from importlib import import_module

import numpy as np
import pytest

from glowsim.errors import PictureError
from glowsim.pictures import Studio, bright_map
from glowsim.scene import Room
from tests.pictures.glows import body_glow, glow_of, moved, scene_with, sphere

SIZE = (240, 240)
PLACES = [(0, moved(0, 0, 0)), (0, moved(130, 0, 0))]
SCENE = scene_with(Room(illuminance_lx=20.0))
GEOMETRY = [
    ("pictures.photo", "stage_of"),
    ("pictures.photo", "view_of"),
    ("pictures.photo", "points_seen"),
    ("pictures.photo", "room_light"),
    ("pictures.room", "sight"),
    ("pictures.stage", "surface_heat"),
    ("pictures.smoothing", "factored"),
    ("transport.result", "air_between"),
    ("transport.result", "faces_in_place"),
]


def lamp(falls: float):
    """Two balls, brighter toward their top by `falls`."""
    ball = sphere(50.0)
    exitance = 300 + falls * ball.centroids[:, 2]
    return glow_of([body_glow(ball, exitance)], PLACES)


@pytest.fixture
def counted(monkeypatch: pytest.MonkeyPatch) -> dict[str, int]:
    """How often each thing that hangs on the geometry alone is worked out."""
    calls: dict[str, int] = {}
    for place, name in GEOMETRY:
        module = import_module(f"glowsim.{place}")
        original = getattr(module, name)

        def count(*given, _original=original, _name=name, **named):
            calls[_name] = calls.get(_name, 0) + 1
            return _original(*given, **named)

        monkeypatch.setattr(module, name, count)
    return calls


def test_another_glow_rebuilds_nothing_of_the_geometry(counted: dict[str, int]) -> None:
    studio = Studio(lamp(2.0), SCENE, "embree")
    camera = studio.camera(SIZE)
    studio.photo(SIZE, camera=camera, caption=False)
    bright_map(studio, SCENE, (), (320, 240))
    before = dict(counted)
    assert set(before) == {name for _, name in GEOMETRY}
    other = studio.with_glow(lamp(-3.0))
    other.photo(SIZE, camera=camera, caption=False)
    bright_map(other, SCENE, (), (320, 240))
    assert counted == before
    assert other.camera(SIZE).key == camera.key


def test_its_pictures_are_those_of_a_new_studio() -> None:
    old = Studio(lamp(2.0), SCENE, "embree")
    first = np.asarray(old.photo(SIZE, exposure_cd_m2=200.0))
    other, fresh = old.with_glow(lamp(-3.0)), Studio(lamp(-3.0), SCENE, "embree")
    for one, two in (
        (other.photo(SIZE), fresh.photo(SIZE)),
        (bright_map(other, SCENE, (), (320, 240)), bright_map(fresh, SCENE, (), (320, 240))),
    ):
        np.testing.assert_array_equal(np.asarray(one), np.asarray(two))
    assert other.exposure_cd_m2 == fresh.exposure_cd_m2
    np.testing.assert_array_equal(np.asarray(old.photo(SIZE, exposure_cd_m2=200.0)), first)


def test_other_faces_are_refused() -> None:
    studio = Studio(lamp(2.0), SCENE, "embree")
    ball = sphere(50.0)
    elsewhere = [(0, moved(0, 0, 0)), (0, moved(131, 0, 0))]
    grey = replace(body_glow(ball, 300.0), whiteness=np.full((len(ball.faces), 3), 0.123))
    for other in (
        glow_of([body_glow(sphere(51.0), 300.0)], PLACES),
        glow_of([body_glow(ball, 300.0)], elsewhere),
        glow_of([body_glow(ball, 300.0)]),
        glow_of([grey], PLACES),
    ):
        with pytest.raises(PictureError, match="same faces"):
            studio.with_glow(other)
