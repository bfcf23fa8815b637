"""Shells that are open to the room: inner and outer skin, and the lids over their openings."""

from __future__ import annotations

import manifold3d
import numpy as np
import pytest
import trimesh

from glowsim.geometry.body import solid_of
from glowsim.geometry.mesh import Mesh, from_manifold, to_manifold
from glowsim.geometry.notes import Doubt
from glowsim.geometry.openings import Hollows
from glowsim.geometry.regions import ROOM, cut_into_regions
from glowsim.geometry.skinned import open_skin, shell_of_skin
from glowsim.geometry.skins import skins_of
from glowsim.scene import parse_scene
from tests.support import shells
from tests.support.meshes import block

HALF_BOX_MM2 = 2 * np.pi / 2 * 58**2 + 116 * 120
"""What a soap film could not be: two half discs and the flat back of a half tube."""


def opened(mesh: Mesh, *points):
    return Hollows(mesh).around(np.array(points, dtype=float), "shell")


def test_inner_skin_of_a_bowl_is_all_that_looks_into_it():
    mesh = shells.bowl()
    inner = skins_of(mesh).inner
    radius = np.linalg.norm(mesh.centroids, axis=1)
    flat_rim = mesh.normals[:, 2] > 0.99
    assert inner[(radius < 38.1) & ~flat_rim].all()
    assert not inner[radius > 38.9].any()


@pytest.mark.parametrize(
    ("mesh", "point", "wall", "widths"),
    [
        (shells.bowl(), (0, 0, -5), 2.0, [76]),
        (shells.tube(), (0, 0, 40), 1.5, [37, 37]),
        (shells.half_tube(), (0, 20, 60), 2.0, [120]),
        (shells.bowl_with_eyes(), (0, 0, -10), 2.0, [116, 18.9, 18.9]),
        (shells.vase(), (0, 0, 30), 1.9, [26]),
    ],
    ids=["bowl", "tube", "half tube", "bowl with eyes", "vase"],
)
def test_lids_close_a_hollow_of_its_own(mesh, point, wall, widths):
    shell = opened(mesh, point)
    assert shell.wall_mm == pytest.approx(wall, rel=0.03)
    assert [o.width_mm for o in shell.openings] == pytest.approx(widths, rel=0.01)
    # Outer skin less hollow is the mesh, to the last corner.
    left = shell.outer.volume_mm3 - shell.hollow.volume_mm3
    assert left == pytest.approx(mesh.volume_mm3, rel=1e-9)
    common = to_manifold(mesh, "mesh") ^ to_manifold(shell.hollow, "hollow")
    assert common.volume() < 1e-4 * mesh.volume_mm3
    lid = shell.outer.part == shell.outer.part_names.index("opening 1")
    assert shell.outer.areas_mm2[lid].sum() == pytest.approx(shell.openings[0].area_mm2)


def test_a_lid_reaches_out_as_far_as_its_rim():
    (opening,) = opened(shells.half_tube(), (0, 20, 60)).openings
    assert opening.area_mm2 == pytest.approx(HALF_BOX_MM2, rel=2e-3)


def test_regions_meet_the_room_at_the_lid():
    mesh = shells.bowl()
    shell = opened(mesh, (0, 0, -5))
    regions = cut_into_regions(shell.outer, [shell.hollow], 8.0, "bowl")
    area = regions.walls.areas_mm2
    mouth = (regions.inside == 1) & (regions.outside == ROOM)
    assert area[mouth].sum() == pytest.approx(shell.openings[0].area_mm2, rel=1e-6)
    between = (regions.inside == 0) & (regions.outside == 1)
    assert area[between].sum() == pytest.approx(2 * np.pi * 38**2, rel=5e-3)


def test_a_dent_without_a_light_stays_outside():
    """Two bowls back to back: the hollow that holds the light is made a region, the other not."""
    ball = to_manifold(shells.bowl(), "bowl")
    other = ball.rotate((180, 0, 0)).translate((0, 0, -79.0))
    both = from_manifold(ball + other)
    shell = opened(both, (0, 0, -5))
    assert len(shell.openings) == 1
    assert shell.openings[0].place_mm[2] == pytest.approx(0, abs=0.01)
    assert shell.hollow.bounds[0, 2] > -39


def test_no_hollow_for_a_light_that_lies_beside_the_body():
    assert opened(shells.bowl(), (0, 0, 30)) is None
    cube = block()
    assert opened(Mesh.single_part(cube.vertices, cube.faces), (0, 0, 15)) is None


def scene_of(folder, mesh: Mesh, position) -> str:
    trimesh.Trimesh(mesh.vertices, mesh.faces, process=False).export(folder / "shell.stl")
    return f"""
[[bodies]]
name = "bowl"
mesh = {{ file = "shell.stl", units = "mm" }}
material = "pla_white"
  [[bodies.lights]]
  board = "rgb_5050_18ma"
  position_mm = {list(position)}
  direction = [0, 0, -1]
"""


def test_lights_decide_whether_a_print_file_is_a_shell(tmp_path):
    text = scene_of(tmp_path, shells.bowl(), (0, 0, -12))
    solid = solid_of(parse_scene(text, folder=tmp_path), 0)
    assert solid.hollow is not None
    assert solid.wall_mm == pytest.approx(2, rel=0.03)
    (asked,) = [note for note in solid.notes if isinstance(note, Doubt)]
    assert "'opening 1', 76 mm wide about (0.0, 0.0, 0.0) mm" in asked
    inside_wall = text.replace("[0, 0, -12]", "[0, 0, -39]")
    assert solid_of(parse_scene(inside_wall, folder=tmp_path), 0).hollow is None


def without_lid(mesh: Mesh, height: float) -> Mesh:
    top = (mesh.normals[:, 2] > 0.99) & (np.abs(mesh.centroids[:, 2] - height) < 1e-6)
    return Mesh.single_part(mesh.vertices, mesh.faces[~top])


def bowl_skin() -> Mesh:
    """A hemisphere of 40 mm without thickness, open at z = 0."""
    ball = manifold3d.Manifold.sphere(40, 64).split_by_plane((0, 0, -1), 0.0)[0]
    return without_lid(from_manifold(ball), 0.0)


def half_barrel_skin() -> Mesh:
    """A barrel 100 mm high without thickness, sawn in two, open at y = 0 but for rounding."""
    heights, turns = np.linspace(0, 100, 9), np.radians(np.linspace(180, 360, 13))
    radii = 20 + 10 * np.sin(np.pi * heights / 100)
    rings = [np.column_stack([r * np.cos(turns), r * np.sin(turns)]) for r in radii]
    corners = [np.insert(ring, 2, z, axis=1) for ring, z in zip(rings, heights, strict=True)]
    low = np.add.outer(13 * np.arange(8), np.arange(12)).ravel()
    side = [(low, low + 1, low + 14), (low, low + 14, low + 13)]
    foot = np.arange(12)
    ends = [(foot + 1, foot, 117 + 0 * foot), (foot + 104, foot + 105, 118 + 0 * foot)]
    faces = np.vstack([np.column_stack(three) for three in (*side, *ends)])
    return Mesh.single_part(np.vstack([*corners, [[0, 0, 0], [0, 0, 100]]]), faces)


@pytest.mark.parametrize(("grows", "radii"), [("inward", (38, 40)), ("outward", (40, 42))])
def test_a_skin_gets_a_wall_and_a_rim(grows, radii, tmp_path):
    """2/3 pi (R^3 - r^3); the facets of the ball lie 0.3 % within it."""
    skin = bowl_skin()
    turned = Mesh.single_part(skin.vertices, skin.faces[:, ::-1])
    text = scene_of(tmp_path, turned, (0, 0, -12))
    text = text.replace('units = "mm"', f'units = "mm", wall_grows = "{grows}"')
    text = text.replace('material = "pla_white"', 'material = "pla_white"\nwall_mm = 2')
    solid = solid_of(parse_scene(text, folder=tmp_path), 0)
    assert solid.wall_mm == pytest.approx(2, rel=1e-2)
    exact = 2 / 3 * np.pi * (radii[1] ** 3 - radii[0] ** 3)
    assert solid.outer.volume_mm3 - solid.hollow.volume_mm3 == pytest.approx(exact, rel=0.01)
    assert solid.outer.bounds[1, 2] == pytest.approx(0, abs=1e-3)
    assert solid.openings[0].width_mm == pytest.approx(2 * radii[0], rel=5e-3)


def test_a_rim_off_its_plane_by_rounding_stays_one_opening():
    """Mesh files round each corner by itself; no rim is flat to the last digit."""
    skin = half_barrel_skin()
    assert 0 < np.abs(skin.vertices[skin.vertices[:, 1] > -1e-9, 1]).max() < 1e-12
    closed = shell_of_skin(skin, 0.3, "inward", "half")
    assert closed.volume_mm3 == pytest.approx(0.3 * skin.areas_mm2.sum(), rel=0.03)
    shell = Hollows(closed).around(np.array([[0, -10.0, 50]]), "half")
    assert shell is not None
    assert len(shell.openings) == 1
    cut = cut_into_regions(shell.outer, [shell.hollow], 20.0, "half")
    # No film is left across the mouth.
    assert cut.walls.areas_mm2[cut.inside == 0].sum() == pytest.approx(
        closed.areas_mm2.sum(), rel=1e-4
    )


def test_what_has_no_wide_rim_is_no_skin():
    cube = block()
    assert open_skin(cube.vertices, cube.faces, "cube") is None
    ball = trimesh.creation.icosphere(subdivisions=3, radius=10)
    assert open_skin(ball.vertices, ball.faces[1:], "ball") is None


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(12))
def test_any_bowl_has_one_opening_for_its_mouth_and_each_hole(seed):
    """Bowls of any proportions with holes bored at random: as many lids as the surface's genus
    says, and hollow and material share nothing."""
    rng = np.random.default_rng(seed)
    radius, wall, scale = rng.uniform(20, 80), rng.uniform(0.8, 3), rng.uniform(0.7, 1.3, 3)
    solid = to_manifold(shells.bowl(radius, wall, int(rng.integers(24, 72))), "bowl")
    solid = solid.scale(tuple(scale))
    for _ in range(rng.integers(0, 4)):
        bore = manifold3d.Manifold.cylinder(3 * radius, rng.uniform(0.05, 0.15) * radius)
        solid -= bore.rotate((180 + rng.uniform(-50, 50), rng.uniform(-50, 50), 0))
    whole = max(solid.decompose(), key=lambda piece: piece.volume())
    shell = opened(from_manifold(whole), (0, 0, -0.3 * radius * scale[2]))
    assert len(shell.openings) == whole.genus() + 1
    common = whole ^ to_manifold(shell.hollow, "hollow")
    assert common.volume() < 5e-3 * whole.volume()
    left = shell.outer.volume_mm3 - shell.hollow.volume_mm3
    assert left == pytest.approx(whole.volume(), rel=1e-9)
