"""Feet that sit on a round head, wire holes and drilling jigs, measured by sections of meshes."""

from __future__ import annotations

import math
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
import trimesh

from glowsim.buildsheet.head import rows_of
from glowsim.buildsheet.jig import HALF_BAND_MM, PLAY_MM, jig, jig_words, on_whole
from glowsim.buildsheet.making import head_step
from glowsim.buildsheet.meshes import pocketed
from glowsim.buildsheet.places import CHANNEL_MM, body_places
from glowsim.buildsheet.positions import _feet, _holes
from glowsim.buildsheet.seats import BLIND, bored, leads_to, seats_of, with_feet
from glowsim.findings.inspection import inspect
from glowsim.geometry.body import solid_of
from glowsim.geometry.mesh import to_manifold
from glowsim.geometry.patterns import copies_of
from glowsim.scene import parse_scene
from glowsim.transport.plan import plan_of
from glowsim.transport.problem import Copy

CLUB = """
title = "Club"
[[bodies]]
name = "spike"
shape = { kind = "spike", length_mm = 90, base_diameter_mm = 40, tip_radius_mm = 3 }
material = "upholstery_foam_white"
  [[bodies.lights]]
  board = "round_7"
  position_mm = [0, 0, 14]
  [[bodies.patterns]]
  kind = "around"
  count = 8
  tilt_deg = 70
  radius_mm = 50
  centre_mm = [0, 0, 200]
[[bodies]]
name = "head"
shape = { kind = "orb", diameter_mm = 108 }
material = "opaque_primer"
position_mm = [0, 0, 200]
"""
POCKET = """
  [[bodies.inserts]]
  name = "chamber"
  kind = "pocket"
  shape = { kind = "orb", diameter_mm = 107 }
"""
RADIUS, STANDS = 54.0, 50.0


def prop(text=CLUB):
    """Return the bodies, the copies, and how these sit."""
    scene = parse_scene(text, "club.toml")
    plan = plan_of(scene)
    bodies = tuple(
        (body_places(plan, n, solid_of(scene, n), 0.3), len(copies_of(body)))
        for n, body in enumerate(scene.scene.bodies)
    )
    copies = [
        Copy(body.name if count == 1 else f"{body.name} {k + 1}", body.name, n, place, ())
        for n, (body, (_, count)) in enumerate(zip(scene.scene.bodies, bodies, strict=True))
        for k, place in enumerate(copies_of(body))
    ]
    seats = seats_of(bodies, copies)
    return with_feet(bodies, copies, seats), copies, seats


@pytest.fixture(scope="module")
def club():
    return prop()


def test_a_foot_is_as_deep_as_the_ball_is_high(club):
    _, _, seats = club
    assert len(seats) == 8
    for (seat,) in seats.values():
        assert seat.foot.middle_mm == pytest.approx(RADIUS - STANDS, abs=0.05)
        # 20 mm from the axis the ball has fallen off to sqrt(54^2 - 20^2) = 50.16 mm.
        rim = math.sqrt(RADIUS**2 - 20**2) - STANDS
        assert seat.foot.rim_mm == pytest.approx((rim, rim), abs=0.1)
        assert seat.foot.leans_deg == pytest.approx(0, abs=2.5)
    words = seats["spike 3"][0].foot.words
    assert words == "foot dished to sit on head: 4.0 mm deep in its middle, radius 54.0 mm"


def test_the_dish_is_in_the_mesh(club):
    bodies, _, _ = club
    body = to_manifold(pocketed(bodies[0][0]), "spike")
    for level in (0.6, 1.5, 2.5):
        rings = sorted(body.slice(level).to_polygons(), key=lambda ring: -np.ptp(ring[:, 0]))
        # From outside in: the cone, then what is left of the plane, cut by the ball or the hole.
        ball = 2 * math.sqrt(RADIUS**2 - (STANDS + level) ** 2)
        assert np.ptp(rings[1][:, 0]) == pytest.approx(max(ball, 23.6), abs=0.25)
    # Piece and head share nothing any more.
    lens = to_manifold(bodies[0][0].feet[0].mesh, "lens")
    assert (body ^ lens).volume() < 1e-3 * lens.volume()


def test_a_piece_that_leans_is_cut_aslant():
    # Laid out about a point 6 mm off the head's middle: the ball slopes under the foot.
    text = CLUB.replace("count = 8", "count = 1").replace("radius_mm = 50", "radius_mm = 44")
    bodies, _, seats = prop(text.replace("centre_mm = [0, 0, 200]", "centre_mm = [0, 0, 206]"))
    ((seat,),) = seats.values()
    foot = seat.foot
    # By hand: the foot's plane is 44 + 6 cos 70 from the ball's middle, its axis 6 sin 70 beside.
    away, beside = 44 + 6 * math.cos(math.radians(70)), 6 * math.sin(math.radians(70))
    assert foot.middle_mm == pytest.approx(math.sqrt(RADIUS**2 - beside**2) - away, abs=0.1)
    rim = [math.sqrt(RADIUS**2 - at**2) - away for at in (20 + beside, 20 - beside)]
    assert foot.rim_mm == pytest.approx(rim, abs=0.15)
    assert foot.leans_deg == pytest.approx(math.degrees(math.asin(beside / RADIUS)), abs=2.5)
    assert "slanted 6°, 6.0 mm deep at the rim towards" in foot.words
    assert len(bodies[0][0].feet) == 1


def test_copies_that_sit_differently_have_a_flat_foot_and_say_so():
    bodies, copies, _ = prop()
    raised = [replace(c, transform=c.transform @ _up(2.0)) if c.name == "spike 2" else c
              for c in copies]  # fmt: skip
    again = with_feet(bodies, raised, seats_of(bodies, raised))
    assert again[0][0].feet == ()


def _up(mm):
    place = np.eye(4)
    place[2, 3] = mm
    return place


def test_sheet_and_check_say_the_same_of_a_board_that_reaches_into_the_head():
    text = CLUB.replace("position_mm = [0, 0, 14]", "position_mm = [0, 0, 5]")
    bodies, copies, seats = prop(text)
    lit = [row for row in bodies if row[0].lights]
    plan = plan_of(parse_scene(text))
    told = [
        block.text
        for block in _feet(
            SimpleNamespace(plan=plan, bodies=bodies, lit=lit, copies=copies, seats=seats)
        )
        if block.strong
    ]
    spike, head = inspect(plan)
    assert told == [f"spike: {line}." for line in spike.suspicious]
    # The board's back is flat and lies nearest to the ball's middle on the axis.
    (light,) = bodies[0][0].lights
    deep = RADIUS - (STANDS + 5 - light.board.thickness_mm)
    assert f", and of 7 more, reaches {deep:.1f} mm into head: set it higher" in told[0]
    assert head.suspicious == ()
    assert inspect(plan_of(parse_scene(CLUB)))[0].suspicious == ()


def test_a_board_in_a_pocket_of_the_head_is_no_fault_and_one_in_a_lit_head_is():
    text = CLUB.replace("position_mm = [0, 0, 14]", "position_mm = [0, 0, 1.8]")
    # All of the board is less than 53.5 mm from the middle of the ball.
    assert "mm into head" in str(inspect(plan_of(parse_scene(text)))[0].suspicious)
    assert inspect(plan_of(parse_scene(text + POCKET)))[0].suspicious == ()
    lit = text.replace('material = "opaque_primer"', 'material = "pla_white"')
    lit += '  [[bodies.lights]]\n  board = "round_7"\n  position_mm = [0, 0, 0]\n'
    (told,) = (x for x in inspect(plan_of(parse_scene(lit)))[0].suspicious if "head" in x)
    assert "mm into head, which is lit too, about (0.0, 0.0, " in told


def test_a_piece_whose_board_stands_in_the_head_stays_whole_and_the_head_gets_a_socket():
    bodies, _, seats = prop(CLUB.replace("position_mm = [0, 0, 14]", "position_mm = [0, 0, 5]"))
    (spike, _), (head, _) = bodies
    (foot,) = spike.feet
    assert foot.sunk
    assert "cut the sockets" in head_step("head", jigs=True, sockets=True)
    assert "socket" not in head_step("head", jigs=True, sockets=False)
    assert foot.words == "sunk into head: 4.0 mm deep in its middle"
    # The piece keeps its foot's rim, which a dish would have taken.
    assert np.ptp(pocketed(spike).vertices[:, 0][pocketed(spike).vertices[:, 2] < 0.01]) > 39.9
    every = [seat for mine in seats.values() for seat in mine]
    mesh = bored(head, every)
    assert trimesh.Trimesh(mesh.vertices, mesh.faces).is_watertight
    made = to_manifold(mesh, "head")
    for seat in every:
        piece = to_manifold(seat.shape, "spike")
        assert (made ^ piece).volume() < 1e-3 * foot.mesh.volume_mm3
        # 50 mm from the ball's middle, on the socket's floor.
        assert np.linalg.norm(seat.hole_mm) == pytest.approx(STANDS, abs=1e-6)


def test_a_board_in_the_hollow_of_an_unlit_body_has_room():
    lamp = """
[[bodies]]
name = "lamp"
shape = { kind = "orb", diameter_mm = 30 }
material = "upholstery_foam_white"
  [[bodies.lights]]
  board = "round_7"
  position_mm = [0, 0, 2]
[[bodies]]
name = "globe"
shape = { kind = "orb", diameter_mm = 60 }
material = "pla_white"
"""
    (held, _), (roomy, _) = (
        inspect(plan_of(parse_scene(lamp + wall))) for wall in ("", "wall_mm = 2\n")
    )
    assert "of lamp reaches" in held.suspicious[0]
    assert roomy.suspicious == ()


def test_a_dish_that_goes_through_a_wall_is_told():
    shell = CLUB.replace('"upholstery_foam_white"', '"pla_white"\nwall_mm = 2')
    bodies, _, seats = prop(shell)
    assert all(seat.foot.opens for (seat,) in seats.values())
    assert "the cut goes through the wall" in bodies[0][0].feet[0].words
    mesh = pocketed(bodies[0][0])
    assert trimesh.Trimesh(mesh.vertices, mesh.faces).is_watertight
    thick = prop(shell.replace("wall_mm = 2", "wall_mm = 6"))[2]
    assert not any(seat.foot.opens for (seat,) in thick.values())


DISC = """
[[bodies]]
name = "head"
shape = { kind = "rod", diameter_mm = 130, length_mm = 30 }
material = "opaque_primer"
position_mm = [0, 0, 160]
"""


def test_a_flat_head_gets_its_holes_measured_on_itself_and_no_strip():
    text = CLUB[: CLUB.rindex("[[bodies]]")] + DISC
    text = text.replace("tilt_deg = 70\n  radius_mm = 50", "tilt_deg = 40\n  radius_mm = 40")
    text = text.replace("centre_mm = [0, 0, 200]", "centre_mm = [0, 0, 160]")
    assert rows_of(parse_scene(text).scene) == ()
    bodies, copies, seats = prop(text)
    (table,) = _holes(SimpleNamespace(bodies=bodies, copies=copies, seats=seats))
    # By hand: the way of a piece runs through the pattern's middle, 40 deg from upright, and meets
    # the flat 30 mm above that. It comes nearest to the middle, 15 mm up, after 15 / cos 40 less
    # (30 tan 40 - 15 tan 40) sin 40, which is 30 / cos 40 - 15 cos 40.
    away, lean = 30 * math.tan(math.radians(40)), math.radians(40)
    deep = 30 / math.cos(lean) - 15 * math.cos(lean)
    assert table.rows[0] == (
        *("spike 1", f"{away:.1f}, 0.0", f"{away:.1f}", "30.0", f"{deep:.1f}", BLIND),
        "40°, its top towards 0°",
    )
    assert table.rows[3][1] == f"{-away * math.sqrt(0.5):.1f}, {away * math.sqrt(0.5):.1f}"
    made = bored(bodies[1][0], [seat for mine in seats.values() for seat in mine])
    low = made.vertices[np.linalg.norm(made.vertices[:, :2], axis=1) < 60][:, 2]
    bottom = 30 - deep * math.cos(lean) - CHANNEL_MM / 2 * math.sin(lean)
    assert low[low > 0.1].min() == pytest.approx(bottom, abs=0.05)
    assert "radius" not in seats["spike 1"][0].foot.words


def test_a_row_round_a_ball_that_stands_elsewhere_or_is_flattened_is_none():
    for old, new in (
        ("position_mm = [0, 0, 200]", "position_mm = [0, 0, 190]"),
        ("diameter_mm = 108", "diameter_mm = 108, height_mm = 90"),
    ):
        assert rows_of(parse_scene(CLUB.replace(old, new)).scene) == ()


def test_wire_holes_lead_to_the_middle(club):
    bodies, _, seats = club
    mine = [seat for (seat,) in seats.values()]
    assert leads_to(bodies[1][0], mine)[1] == "hole of spike 1 and 6 more"
    assert leads_to(bodies[1][0], mine[:1]) == [BLIND]
    assert leads_to(prop(CLUB + POCKET)[0][1][0], mine) == ["chamber"] * 8
    head = bored(bodies[1][0], [seat for mine in seats.values() for seat in mine])
    mesh = trimesh.Trimesh(head.vertices, head.faces)
    assert mesh.is_watertight
    for (seat,) in seats.values():
        assert np.linalg.norm(np.cross(seat.start_mm, seat.way)) == pytest.approx(0, abs=1e-6)
        at = -0.8 * RADIUS * seat.way
        section = mesh.section(plane_origin=at, plane_normal=seat.way)
        away = [np.linalg.norm(ring - at, axis=1) for ring in section.discrete]
        (hole,) = [ring for ring in away if ring.max() < 5]
        assert 2 * hole == pytest.approx(CHANNEL_MM, abs=0.02)


@pytest.mark.parametrize("tilt", [70, 90, 120])
def test_a_jig_holds_the_drill_where_the_pieces_stand(tilt):
    scene = parse_scene(CLUB.replace("tilt_deg = 70", f"tilt_deg = {tilt}"), "club.toml")
    (row,) = rows_of(scene.scene)
    made = jig(row)
    mesh = trimesh.Trimesh(made.vertices, made.faces)
    assert mesh.is_watertight
    # Its inside lies on the ball, and nothing of it within.
    assert np.linalg.norm(mesh.vertices, axis=1).min() == pytest.approx(
        row.head_mm + PLAY_MM, abs=0.05
    )
    level = row.head_mm * math.cos(math.radians(tilt))
    for place in copies_of(scene.scene.bodies[0]):
        way = place[:3, 2]
        section = mesh.section(plane_origin=57.0 * way, plane_normal=way)
        rings = [
            ring for ring in section.discrete if np.linalg.norm(ring - 57.0 * way, axis=1).max() < 4
        ]
        (hole,) = rings
        across = 2 * np.linalg.norm(hole - 57.0 * way, axis=1)
        assert across == pytest.approx(CHANNEL_MM + PLAY_MM, abs=0.05)
    bare = mesh.vertices[np.linalg.norm(mesh.vertices, axis=1) < row.head_mm + 1]
    assert bare[:, 2].min() == pytest.approx(level - HALF_BAND_MM, abs=0.01)
    parts = len(mesh.split(only_watertight=True))
    assert parts == (1 if on_whole(row) else 2)
    assert on_whole(row) == (tilt != 90)
    assert f"{row.above_mm - HALF_BAND_MM:.1f} mm above" in jig_words(row)


@pytest.fixture(scope="module")
def turned_rows():
    """A row that a jig slips over and one that it cannot, no piece towards +x or -x."""
    rows = []
    for tilt in (70, 90):
        (row,) = rows_of(parse_scene(CLUB.replace("tilt_deg = 70", f"tilt_deg = {tilt}")).scene)
        rows.append(replace(row, angle_deg=tuple(a + 22.5 for a in row.angle_deg)))
    return rows


def test_a_jig_is_as_thick_and_its_guides_as_long_as_they_were_designed(turned_rows):
    row, _ = turned_rows
    made = jig(row)
    mesh = trimesh.Trimesh(made.vertices, made.faces)
    cut = mesh.section(plane_origin=[0, 0, 0], plane_normal=[0, 1, 0]).discrete
    front, back = sorted(map(np.asarray, cut), key=lambda ring: -ring[:, 0].mean())
    away = np.linalg.norm(front, axis=1)
    assert (away.min(), away.max()) == pytest.approx((54.2, 57.2), abs=0.03)
    upper = 54 * math.cos(math.radians(70)) + 7
    assert back[:, 2].max() == pytest.approx(upper, abs=0.01)
    assert front[:, 2].max() == pytest.approx(upper - 3, abs=0.01)  # the notch
    edge = mesh.vertices[(mesh.vertices[:, 2] > upper - 0.01) & (mesh.vertices[:, 0] > 40)]
    assert np.abs(edge[:, 1]).min() == pytest.approx(1.5, abs=0.01)
    lean, turn = math.radians(70), math.radians(row.angle_deg[0])
    way = [math.sin(lean) * math.cos(turn), math.sin(lean) * math.sin(turn), math.cos(lean)]
    assert (mesh.vertices @ way).max() == pytest.approx(54.2 + 8, abs=0.01)
    top = mesh.vertices[mesh.vertices @ way > 62]
    # A hole of 5.2 mm in a guide whose wall is 2.5 mm.
    assert 2 * np.linalg.norm(np.cross(top, way), axis=1).max() == pytest.approx(10.2, abs=0.02)


def test_the_halves_of_a_jig_part_by_the_width_of_a_saw_between_guides(turned_rows):
    _, row = turned_rows
    made = jig(row)
    for bearing in (row.seam_deg, row.seam_deg + 180):
        turn = math.radians(bearing)
        x = made.vertices @ [math.cos(turn), math.sin(turn), 0]
        y = made.vertices @ [-math.sin(turn), math.cos(turn), 0]
        beside = np.abs(y[(x > 0) & (np.abs(y) < 0.5)])
        assert beside == pytest.approx(np.full(len(beside), 0.3), abs=1e-3)
        assert len(beside) >= 8
