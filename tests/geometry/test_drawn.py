"""Shapes from a drawing: closed, of the size and volume their closed forms have."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
import trimesh
from hypothesis import HealthCheck, given, settings
from numpy.testing import assert_allclose
from pydantic import TypeAdapter, ValidationError

from glowsim.decisions.vary import Variation
from glowsim.errors import GeometryError, SceneError
from glowsim.geometry.body import solid_of
from glowsim.geometry.drawn import drawn_mesh
from glowsim.geometry.mesh import Mesh, to_manifold
from glowsim.geometry.repair import runs_through_itself
from glowsim.geometry.shapes import shape_mesh
from glowsim.scene import Shape, parse_scene, scene_schema
from glowsim.transport.names import geometry_key
from tests.support.closed_forms import frustum_mm3
from tests.support.drawings import arch_dxf, drawn_shapes, svg_file

MANY = settings(max_examples=30, deadline=None, suppress_health_check=[HealthCheck.too_slow])
CIRCLE = {"diameter_mm": 60}


def shape_of(table: dict[str, Any]) -> Shape:
    return TypeAdapter(Shape).validate_python(table)


def made(folder: Path = Path(), **table: Any) -> Mesh:
    mesh, _ = drawn_mesh(shape_of(table), folder, "thing")
    solid = to_manifold(mesh, "thing")
    assert mesh.volume_mm3 > 0
    assert_allclose(solid.volume(), mesh.volume_mm3, rtol=1e-9)
    return mesh


def areas(mesh: Mesh) -> dict[str, float]:
    return {
        name: float(mesh.areas_mm2[mesh.part == k].sum()) for k, name in enumerate(mesh.part_names)
    }


def test_a_turned_rectangle_is_a_rod():
    turned = made(kind="turned", profile={"points_mm": [[10, 0], [10, 50]]})
    rod = shape_mesh(shape_of({"kind": "rod", "length_mm": 50, "diameter_mm": 20}))
    assert_allclose(turned.volume_mm3, rod.volume_mm3, rtol=1e-9)
    for part in ("base", "side", "top"):
        assert_allclose(areas(turned)[part], areas(rod)[part], rtol=1e-9)


def test_a_turned_half_circle_is_an_orb():
    turn = np.radians(np.arange(-90, 91, 3))
    arc = np.column_stack([30 * np.cos(turn).clip(0), 30 * np.sin(turn)])
    ball = made(kind="turned", profile={"points_mm": arc.tolist(), "smooth": True})
    assert_allclose(ball.volume_mm3, 4 / 3 * np.pi * 30**3, rtol=1e-5)
    assert_allclose(np.linalg.norm(ball.vertices, axis=1), 30, atol=0.05)  # swollen polygons


def test_flat_ends_of_a_smooth_profile_stay_flat():
    points = [[0, 0], [20, 0], [32, 3], [30, 40], [12, 60], [0, 60]]
    vase = made(kind="turned", profile={"points_mm": points, "smooth": True})
    assert_allclose(vase.bounds[:, 2], [0, 60], rtol=0, atol=1e-9)
    assert areas(vase)["base"] >= 0.99 * np.pi * 20**2
    assert_allclose(areas(vase)["top"], np.pi * 12**2, rtol=0.01)


def test_a_turned_spike_is_a_spike():
    spike = shape_of(
        {"kind": "spike", "length_mm": 120, "base_diameter_mm": 40, "tip_radius_mm": 2}
    )
    slope = np.arccos(2 / np.hypot(20, 118)) - np.arctan2(118, 20)
    turn = np.linspace(slope, np.pi / 2, 40)
    tip = np.column_stack([2 * np.cos(turn).clip(0), 118 + 2 * np.sin(turn)])
    turned = made(kind="turned", profile={"points_mm": [[20, 0], *tip.tolist()]})
    # Both draw the ball at the tip with chords.
    assert_allclose(turned.volume_mm3, shape_mesh(spike).volume_mm3, rtol=1e-4)


def test_a_closed_profile_off_the_axis_is_a_ring():
    turn = np.radians(np.arange(0, 361, 2))
    circle = np.column_stack([40 + 6 * np.cos(turn), 6 * np.sin(turn)])
    circle[-1] = circle[0]
    ring = made(kind="turned", profile={"points_mm": circle.tolist()})
    # Pappus; a polygon of 180 sides has 2e-4 less area than its circle.
    assert_allclose(ring.volume_mm3, np.pi * 36 * 2 * np.pi * 40, rtol=3e-4)


def test_a_cut_circle_is_a_rod_on_its_side():
    cut = made(kind="cut", outline=CIRCLE, thickness_mm=8)
    assert_allclose(cut.volume_mm3, np.pi * 30**2 * 8, rtol=1e-9)
    assert_allclose(areas(cut)["front"], np.pi * 900, rtol=1e-9)
    assert_allclose(areas(cut)["edge"], np.pi * 60 * 8, rtol=1e-3)  # swollen polygon
    front = cut.centroids[cut.part == 0]
    assert_allclose(front[:, 1], -4)


def _lens_mm3(kept: float, swell: float) -> float:
    """Two caps of a sphere of base 60 mm on a disc of the thickness that is kept."""
    return 2 * np.pi * swell / 6 * (3 * 900 + swell**2) + np.pi * 900 * kept


@pytest.mark.parametrize(
    ("edge", "edge_mm", "volume"),
    [
        ("chamfered", 2, np.pi * 900 * 6 + 2 * frustum_mm3(30, 28, 2)),
        # Pappus: a disc of radius 25 and half a circle of radius 5 about it.
        ("rounded", None, np.pi * 25**2 * 10 + np.pi**2 * 25 * 25 + 4 / 3 * np.pi * 125),
        ("lens", 1, _lens_mm3(1, 4.5)),
    ],
)
def test_edges_hold_the_volume_of_their_closed_form(edge, edge_mm, volume):
    keys = {"edge_mm": edge_mm} if edge_mm else {}
    cut = made(kind="cut", outline=CIRCLE, thickness_mm=10, edge=edge, **keys)
    # Chords of the rounding and of the lens lie within: 1e-3 of the volume at most.
    assert_allclose(cut.volume_mm3, volume, rtol=1e-3)
    assert_allclose(cut.size_mm[1], 10, rtol=1e-4)


def test_a_disc_rounded_as_deep_as_it_is_wide_is_an_orb():
    ball = made(kind="cut", outline={"diameter_mm": 20}, thickness_mm=20, edge="rounded")
    # A fortieth of the thickness stays at the edge; chords lie within.
    assert_allclose(ball.volume_mm3, 4 / 3 * np.pi * 1000, rtol=4e-3)
    assert set(np.unique(ball.part)) <= {0, 1, 2}


def test_a_lens_thicker_than_half_a_circle_is_refused():
    with pytest.raises(GeometryError, match=r"swells beyond half a circle: .* only 60 mm wide"):
        made(kind="cut", outline=CIRCLE, thickness_mm=80, edge="lens")


@pytest.mark.parametrize("edge", ["square", "rounded", "chamfered", "lens"])
def test_an_outline_with_a_hole_and_inward_corners_closes(edge, tmp_path):
    star = "M 0 0 L 40 10 L 80 0 L 70 40 L 80 80 L 40 70 L 0 80 L 10 40 Z"
    svg_file(tmp_path, f'<path d="{star}"/><circle cx="40" cy="40" r="12"/>')
    cut = made(tmp_path, kind="cut", outline={"file": "drawing.svg"}, thickness_mm=8, edge=edge)
    solid = trimesh.Trimesh(cut.vertices, cut.faces, process=True)
    assert solid.is_watertight
    assert solid.euler_number == 0  # one hole through it
    assert_allclose(abs(solid.volume), cut.volume_mm3, rtol=1e-6)
    assert_allclose(cut.bounds[:, [0, 2]], [[-40, 0], [40, 80]], atol=1e-3)


def test_a_straight_path_draws_a_rod_and_a_cone():
    up = {"points_mm": [[0, 0, 0], [0, 0, 100]]}
    rod = made(kind="drawn", along=up, diameters_mm=[20], round_tip=False)
    assert_allclose(rod.volume_mm3, np.pi * 100 * 100, rtol=1e-9)
    horn = made(kind="drawn", along=up, diameters_mm=[20, 8])
    # A ball of chords at the tip, 1e-3 of the whole.
    wanted = frustum_mm3(10, 4, 100) + 2 / 3 * np.pi * 4**3
    assert_allclose(horn.volume_mm3, wanted, rtol=1e-3)
    assert_allclose(areas(horn)["base"], np.pi * 100, rtol=1e-9)
    assert_allclose(areas(horn)["tip"], 2 * np.pi * 16, rtol=0.01)


def test_a_bent_tube_holds_what_pappus_says():
    turn = np.linspace(0, np.pi / 2, 10)
    arc = np.column_stack([50 - 50 * np.cos(turn), 0 * turn, 50 * np.sin(turn)])
    tube = made(kind="drawn", along={"points_mm": arc.tolist()}, diameters_mm=[20], round_tip=False)
    assert_allclose(tube.volume_mm3, np.pi * 100 * 50 * np.pi / 2, rtol=1e-3)
    assert runs_through_itself(tube) is None


@pytest.mark.parametrize(
    ("points", "smooth"),
    [
        ([[0, 0, 0], [0, 0, 100], [50, 0, 100]], False),
        ([[0, 0, 0], [0, 0, 100], [4, 0, 0]], True),  # a hairpin tighter than the section
        ([[0, 0, 0], [60, 0, 60], [0, 0, 120], [-60, 0, 60], [3, 0, 3]], True),  # its own start
    ],
    ids=["a corner", "a hairpin", "a loop"],
)
def test_no_bend_makes_a_surface_that_runs_through_itself(points, smooth):
    tube = made(
        kind="drawn", along={"points_mm": points, "smooth": smooth}, diameters_mm=[20, 14, 16]
    )
    assert runs_through_itself(tube) is None
    assert len(to_manifold(tube, "tube").decompose()) == 1


def test_a_loft_between_circles_is_a_tapered_rod():
    cone = made(
        kind="loft",
        sections=[
            {"height_mm": 0, "outline": {"diameter_mm": 40}},
            {"height_mm": 60, "outline": {"diameter_mm": 20}},
        ],
    )
    assert_allclose(cone.volume_mm3, frustum_mm3(20, 10, 60), rtol=1e-6)


def test_a_loft_between_squares_keeps_their_corners():
    def square(a: float) -> dict[str, Any]:
        return {"points_mm": [[-a, -a], [a, -a], [a, a], [-a, a]]}

    block = made(
        kind="loft",
        sections=[
            {"height_mm": 0, "outline": square(20)},
            {"height_mm": 30, "outline": square(10), "shift_mm": [15, 0]},
        ],
    )
    assert_allclose(block.volume_mm3, 30 / 3 * (1600 + 400 + 800), rtol=1e-9)  # pyramid's frustum
    assert_allclose(areas(block)["base"], 1600, rtol=1e-9)
    assert_allclose(areas(block)["top"], 400, rtol=1e-9)


def test_a_loft_that_would_cross_itself_names_its_sections():
    up = [[-40, -30], [40, -30], [40, 30], [30, 30], [30, -20], [-30, -20], [-30, 30], [-40, 30]]
    bow, far = {"points_mm": up}, {"points_mm": [[x, -y] for x, y in up]}
    with pytest.raises(GeometryError, match=r"between sections\[0\] and sections\[1\] the skin"):
        made(
            kind="loft",
            sections=[{"height_mm": 0, "outline": bow}, {"height_mm": 9, "outline": far}],
        )


def test_scale_and_a_layer(tmp_path):
    arch_dxf(tmp_path)
    outline = {"file": "arch.dxf", "path": "cut"}
    once = made(tmp_path, kind="cut", outline=outline, thickness_mm=4)
    twice = made(tmp_path, kind="cut", outline=outline, thickness_mm=4, scale=2)
    assert_allclose(twice.volume_mm3, 8 * once.volume_mm3, rtol=1e-9)
    thicker = made(tmp_path, kind="cut", outline=outline, thickness_mm=4, grow_mm=3)
    assert_allclose(thicker.size_mm, once.size_mm + 6, rtol=0.02)  # a grid's accuracy


@given(drawn_shapes())
@MANY
def test_anything_drawn_is_a_closed_body_or_one_message(table):
    told, mesh = "", None
    try:
        mesh, _ = drawn_mesh(shape_of(table), Path(), "thing")
    except GeometryError as problem:
        told = str(problem)
    except ValidationError:
        return
    if mesh is None:
        assert told.startswith("thing: ")
        assert "\n" not in told
        return
    solid = to_manifold(mesh, "thing")
    assert solid.volume() > 0
    assert np.isfinite(mesh.vertices).all()
    assert len(mesh.part) == len(mesh.faces)


def test_faults_name_file_line_and_key(tmp_path):
    text = '[[bodies]]\nname = "leaf"\nmaterial = "pla_white"\n'
    text += 'shape = { kind = "cut", outline = { file = "leaf.svg" }, thickness_mm = 3 }\n'
    with pytest.raises(
        SceneError, match=r"^scene, line 4: bodies\[0\]\.shape: leaf: there is no drawing"
    ):
        solid_of(parse_scene(text, folder=tmp_path), 0)
    svg_file(tmp_path, '<path d="M0 0 L40 0 L40 30"/>').rename(tmp_path / "leaf.svg")
    with pytest.raises(SceneError, match=r"leaf\.svg: an outline must be closed; .* 50 mm apart"):
        solid_of(parse_scene(text, folder=tmp_path), 0)


def test_a_changed_drawing_is_noticed(tmp_path):
    text = '[[bodies]]\nname = "leaf"\nmaterial = "pla_white"\n'
    text += 'shape = { kind = "cut", outline = { file = "drawing.svg" }, thickness_mm = 3 }\n'
    scene = parse_scene(text, folder=tmp_path)
    keys = []
    for width in (40, 41, 40):
        svg_file(tmp_path, f'<rect width="{width}" height="30"/>')
        keys.append(geometry_key(scene, 0))
    assert keys[0] == keys[2] != keys[1]


def test_every_key_of_a_drawn_shape_is_described():
    known = scene_schema()["$defs"]
    for name in ("Turned", "Cut", "Drawn", "Loft", "LoftSection", "Outline", "Course"):
        bare = [
            key
            for key, entry in known[name]["properties"].items()
            if key != "kind" and not entry.get("description")
        ]
        assert bare == [], name


def test_a_drawn_shape_is_scaled_and_grown_by_what_varies_thickness(tmp_path):
    arch_dxf(tmp_path)
    text = '[[bodies]]\nname = "arch"\nmaterial = "pla_white"\n'
    text += 'shape = { kind = "cut", outline = { file = "arch.dxf" }, thickness_mm = 6 }\n'
    scene = parse_scene(text, folder=tmp_path)
    longer = Variation(scene, 0, "size").at(250.0)
    assert_allclose(solid_of(longer, 0).outer.size_mm, [100, 12, 250], rtol=1e-4)
