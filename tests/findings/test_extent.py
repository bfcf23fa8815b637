"""How far a hot spot or dark gap reaches, and when it is a ring."""

from __future__ import annotations

import numpy as np
import pytest

from glowsim.findings import findings_of
from glowsim.geometry.mesh import Mesh
from glowsim.scene import Room, parse_scene
from glowsim.transport.solve import solve
from tests.findings.glows import lit
from tests.pictures.glows import scene_with, sphere

LONG_MM, WIDE_MM = 80.0, 40.0

BLADE = """
[room]
illuminance_lx = 50
viewing_distance_mm = 2000
[[bodies]]
name = "blade"
shape = { kind = "blade", length_mm = 420, width_mm = 46, thickness_mm = 20 }
material = "upholstery_foam_white"
detail_mm = 5
cell_mm = 4
  [[bodies.masks]]
  coat = "black_electrical_tape"
  where = { below_mm = 10 }
  [[bodies.lights]]
  board = "rgb_5050_18ma"
  position_mm = [0, 0, 20]
  drive = { red = 0.2, green = 0.2, blue = 0.2 }
"""


def found_on(brightness, surface=None, distance_mm=1000.0):
    room = Room(illuminance_lx=0.0, viewing_distance_mm=distance_mm)
    glow = lit(brightness) if surface is None else lit(brightness, surface=surface)
    return findings_of(glow, scene_with(room=room)).found


def tube(around=48, along=20):
    """An upright tube closed at neither end, of triangles about 4 mm wide."""
    turn = np.arange(around) * 2 * np.pi / around
    circle = WIDE_MM / 2 * np.column_stack([np.cos(turn), np.sin(turn), 0 * turn])
    points = circle[None] + np.array([0, 0, 1]) * np.linspace(0, LONG_MM, along + 1)[:, None, None]
    level, place = (a.ravel() for a in np.indices((along, around)))
    here, beside = level * around + place, level * around + (place + 1) % around
    faces = np.vstack(
        [
            np.column_stack([here, beside, beside + around]),
            np.column_stack([here, beside + around, here + around]),
        ]
    )
    return Mesh.single_part(points.reshape(-1, 3), faces)


def around(x, y):
    return np.degrees(np.arctan2(y, x))


def test_the_dark_of_a_blade_lit_at_its_foot_is_one_finding_to_the_tip():
    """Unlit foam in room light is as dark as its surroundings, but for the part near the light."""
    scene_file = parse_scene(BLADE)
    findings = findings_of(solve(scene_file), scene_file.scene).found
    gap = next(found for found in findings if found.kind == "dark gap")
    assert gap.to_mm == pytest.approx(420, abs=1)
    assert gap.from_mm < 45
    assert gap.length_mm > 375
    assert gap.width_mm == pytest.approx(46, abs=1)
    assert gap.label.startswith(f"{gap.length_mm:.0f} x 46 mm, ")
    assert not gap.ring


def test_a_gap_does_not_take_what_is_brighter():
    """A slow fall to 0.6 beside a gap of 0.3: the gap is the gap alone."""

    def brightness(x, z):
        gap = 0.7 * np.exp(-((x - 30) ** 2 + (z - 30) ** 2) / (2 * 6**2))
        return 100 * (1 - gap) * (1 - 0.4 * z / 120)

    (gap,) = found_on(brightness)
    assert gap.kind == "dark gap"
    assert gap.length_mm < 30
    assert gap.to_mm < 50


def test_a_ring_with_weaker_places_is_one_ring():
    """Four lobes of a ring, between them as bright as will just not count by itself."""
    surface = tube()

    def brightness(x, z):
        y = surface.centroids[:, 1]
        lobes = 0.78 + 0.22 * np.cos(np.radians(4 * around(x, y)))
        return 20 + 100 * lobes * np.exp(-((z - 40) ** 2) / (2 * 5**2))

    (ring,) = (found for found in found_on(brightness, surface) if found.kind == "hot spot")
    assert ring.ring
    assert ring.what == "hot ring"
    assert ring.length_mm == pytest.approx(WIDE_MM, rel=0.05)
    assert 28 < ring.from_mm < ring.to_mm < 52
    assert ring.label.startswith("ring at height 3")


def test_four_spots_far_apart_are_four_spots():
    surface = tube()

    def brightness(x, z):
        y = surface.centroids[:, 1]
        lobes = np.maximum(np.cos(np.radians(4 * around(x, y))), 0) ** 4
        return 20 + 100 * lobes * np.exp(-((z - 40) ** 2) / (2 * 5**2))

    spots = [found for found in found_on(brightness, surface) if found.kind == "hot spot"]
    assert len(spots) == 4
    assert not any(spot.ring for spot in spots)


def test_a_dark_end_is_no_ring_though_it_goes_all_round():
    (gap, *_) = found_on(lambda x, z: np.where(z > 30, 5.0, 100.0), sphere())
    assert gap.kind == "dark gap"
    assert not gap.ring
    assert gap.to_mm == pytest.approx(50, abs=0.1)
    (band, *_) = found_on(lambda x, z: np.where(np.abs(z) < 8, 5.0, 100.0), sphere())
    assert (band.what, band.size) == ("dark ring", "ring 100")


def test_a_round_spot_has_one_size_and_a_long_one_two():
    (spot,) = found_on(
        lambda x, z: 100 * (1 + 4 * np.exp(-((x - 30) ** 2 + (z - 60) ** 2) / 2 / 8**2))
    )
    assert "x" not in spot.size
    found = found_on(lambda x, z: 100 * (1 + 4 * np.exp(-((x - 30) ** 2) / 2 / 4**2)))
    (line,) = (one for one in found if one.kind == "hot spot")
    length, width = line.size.split(" x ")
    assert float(length) == pytest.approx(120, abs=3)
    assert float(width) < 25
