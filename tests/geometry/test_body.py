"""A body of a scene as geometry: its surfaces, its parts, faces picked by place."""

import numpy as np
import pytest
import trimesh
from numpy.testing import assert_allclose

from glowsim.errors import GeometryError, SceneError
from glowsim.geometry.body import mesh_file_digest, mesh_path, parts_of, solid_of
from glowsim.geometry.mesh import from_manifold, to_manifold
from glowsim.geometry.notes import Doubt
from glowsim.geometry.where import Region, faces_where
from glowsim.scene import MeshFile, Where, parse_scene
from tests.support.meshes import ball, block, mesh_of

CUBE = mesh_of(block((20, 20, 20)))
NOTHING = np.zeros(12, np.int64)
PLAIN = '[[bodies]]\nname = "b"\nmaterial = "pla_white"\n'
ROD = PLAIN + 'shape = { kind = "rod", length_mm = 60, diameter_mm = 40 }\n'


def chosen(**where):
    return faces_where(Region(Where(**where)), CUBE, NOTHING, ("surface",))


def test_faces_above_and_below():
    assert chosen(above_mm=9).sum() == 2
    assert chosen(below_mm=-9).sum() == 2
    # Centres of the sides' triangles lie a third of the height from their ends.
    assert chosen(above_mm=3, below_mm=4).sum() == 4
    assert chosen(above_mm=11).sum() == 0


def test_faces_within_a_ball():
    assert chosen(centre_mm=(10, 0, 0), radius_mm=6).sum() == 2
    assert chosen(centre_mm=(0, 0, 0), radius_mm=100).all()


def test_faces_that_look_somewhere():
    assert_allclose(CUBE.normals[chosen(facing=(0, 5, 0))], [[0, 1, 0]] * 2, atol=1e-12)
    assert chosen(facing=(1, 1, 0), facing_within_deg=46).sum() == 4
    assert chosen(facing=(1, 1, 0), facing_within_deg=44).sum() == 0
    assert chosen(facing=(0, 0, 1), facing_within_deg=180).sum() == 10  # all but the opposite


def test_all_that_is_asked_must_hold():
    assert chosen(facing=(1, 0, 0), above_mm=0).sum() == 1


def test_named_parts():
    solid = solid_of(parse_scene(ROD), 0)
    outer = solid.outer
    top = faces_where(Region(Where(part="top")), outer, outer.part, outer.part_names)
    assert_allclose(outer.areas_mm2[top].sum(), np.pi * 400, rtol=1e-9)  # swollen to the disc
    with pytest.raises(
        GeometryError, match=r"this body has no part 'tip' \(parts: base, side, top\)"
    ):
        faces_where(Region(Where(part="tip")), outer, outer.part, outer.part_names)
    with pytest.raises(GeometryError, match=r"no part 'tip' \(parts: none; use above_mm, facing"):
        chosen(part="tip")


def test_parts_are_found_again_on_divided_faces():
    outer = solid_of(parse_scene(ROD), 0).outer
    fine = from_manifold(to_manifold(outer, "rod").refine_to_length(3.0))
    part = parts_of(fine, outer)
    areas = [fine.areas_mm2[part == k].sum() for k in range(3)]
    assert_allclose(areas, [outer.areas_mm2[outer.part == k].sum() for k in range(3)], rtol=1e-6)
    assert (parts_of(CUBE, CUBE) == 0).all()


def test_a_shell_with_inserts():
    scene = parse_scene(
        ROD + "wall_mm = 3\n"
        '[[bodies.inserts]]\nkind = "core"\ncoat = "wood_dowel"\nposition_mm = [0, 0, -10]\n'
        'shape = { kind = "rod", length_mm = 40, diameter_mm = 10 }\n'
        '[[bodies.inserts]]\nkind = "pocket"\nposition_mm = [0, 0, 30]\n'
        'rotation_deg = [0, 90, 0]\nshape = { kind = "rod", length_mm = 50, diameter_mm = 6 }\n'
    )
    solid = solid_of(scene, 0)
    assert solid.hollow is not None
    assert_allclose(solid.hollow.size_mm, [34, 34, 54], rtol=0.01)  # swollen polygons
    assert_allclose(solid.inserts[0].bounds[:, 2], [-10, 30], atol=1e-9)
    assert_allclose(solid.inserts[1].bounds[:, 0], [0, 50], atol=1e-9)  # turned onto x
    regions = solid.regions(4.0, "b")
    assert len(regions.solids) == 4
    total = sum(part.volume_mm3 for part in regions.solids if part is not None)
    assert_allclose(total, solid.outer.volume_mm3, rtol=1e-6)


def fault_of_body(text, folder=None):
    with pytest.raises(SceneError) as caught:
        solid_of(parse_scene(text, "prop.toml", folder), 0)
    return str(caught.value)


def test_faults_name_the_key(tmp_path):
    insert = (
        '[[bodies.inserts]]\nname = "plug"\nkind = "pocket"\nposition_mm = [90, 0, 0]\n'
        'shape = { kind = "orb", diameter_mm = 4 }\n'
    )
    assert fault_of_body(ROD + insert) == (
        "prop.toml, line 5: bodies[0].inserts[0]: b, plug: lies wholly outside the body"
    )
    assert fault_of_body(ROD + "wall_mm = 25\n").startswith(
        "prop.toml, line 5: bodies[0].wall_mm: b: a wall of 25 mm leaves no hollow"
    )
    block((20, 20, 20)).export(tmp_path / "block.stl")
    missing = PLAIN + 'mesh = { file = "blok.stl" }\n'
    assert fault_of_body(missing, tmp_path).startswith(
        "prop.toml, line 4: bodies[0].mesh: there is"
    )
    scene = parse_scene(missing, "prop.toml", tmp_path)
    with pytest.raises(SceneError, match=r"line 4: bodies\[0\]\.mesh\.file: .*mean 'block\.stl'"):
        mesh_path(scene, ("bodies", 0, "mesh"), scene.scene.bodies[0].mesh)


def test_a_mesh_file_becomes_a_body(tmp_path):
    trimesh.util.concatenate([ball(20), ball(2, at=(50, 0, 0))]).export(tmp_path / "two.stl")
    text = PLAIN + 'mesh = { file = "two.stl", units = "mm", keep = "largest" }\n'
    solid = solid_of(parse_scene(text, folder=tmp_path), 0)
    assert_allclose(solid.outer.volume_mm3, ball(20).volume, rtol=1e-5)  # single precision
    assert solid.notes == ("b: kept the largest of the separate pieces",)
    assert solid.hollow is None


def test_a_fine_mesh_is_simplified(tmp_path):
    ball(50, 6).export(tmp_path / "fine.stl")
    text = PLAIN + 'mesh = { file = "fine.stl", units = "mm" }\n'
    solid = solid_of(parse_scene(text, folder=tmp_path), 0)
    assert len(solid.outer.faces) <= 20_000
    assert "81920 faces simplified to" in solid.notes[0]


def test_a_changed_file_is_noticed(tmp_path):
    mesh_file = MeshFile(file="block.stl")
    block((20, 20, 20)).export(tmp_path / "block.stl")
    before = mesh_file_digest(mesh_file, tmp_path)
    assert mesh_file_digest(mesh_file, tmp_path) == before
    block((20, 20, 21)).export(tmp_path / "block.stl")
    assert mesh_file_digest(mesh_file, tmp_path) != before


@pytest.mark.parametrize("turn", [0.0, 0.05, 0.5])
def test_pocket_and_cup_as_wide_as_the_body_leave_no_slivers(turn):
    """A disc of 62 mm, hollowed 20 mm deep and set 10 mm into a cup: each part is a plain disc.
    Turned against each other, their many-sided walls run in and out by 0.01 mm."""
    text = f"""
    [[bodies]]
    name = "gem"
    shape = {{ kind = "rod", length_mm = 60, diameter_mm = 62 }}
    material = "pla_white"
      [[bodies.inserts]]
      kind = "pocket"
      shape = {{ kind = "rod", length_mm = 20, diameter_mm = 62 }}
      position_mm = [0, 0, 10]
      [[bodies.inserts]]
      kind = "core"
      coat = "opaque_primer"
      shape = {{ kind = "rod", length_mm = 12, diameter_mm = 62 }}
      position_mm = [0, 0, -2]
      rotation_deg = [0, 0, {turn}]
    """
    solid = solid_of(parse_scene(text), 0)
    assert any("taken as one" in note for note in solid.notes) == (turn > 0)
    cut = solid.regions(5.0, "gem")
    disc = np.pi * 31**2
    volumes = [part.volume_mm3 for part in cut.solids]
    np.testing.assert_allclose(volumes, [30 * disc, 20 * disc, 10 * disc], rtol=1e-6)
    for inside, outside, area in ((0, 1, disc), (0, 2, 0), (1, 2, disc)):
        mine = (cut.inside == inside) & (cut.outside == outside)
        assert cut.walls.areas_mm2[mine].sum() == pytest.approx(area, rel=1e-3)
    height = (
        2
        * cut.walls.areas_mm2
        / np.linalg.norm(cut.walls.triangles - np.roll(cut.walls.triangles, 1, axis=1), axis=2).max(
            axis=1
        )
    )
    assert height.min() > 1e-4


def test_a_gap_that_is_meant_stays():
    """A foot 0.1 mm narrower than its hole."""
    rod = 'shape = { kind = "rod", length_mm = 20, diameter_mm = %s }\nposition_mm = [0, 0, -5]\n'
    text = (
        '[[bodies]]\nname = "b"\nshape = { kind = "rod", length_mm = 60, diameter_mm = 62 }\n'
        'material = "pla_white"\n[[bodies.inserts]]\nkind = "pocket"\n' + rod % 36
        + '[[bodies.inserts]]\nkind = "core"\ncoat = "opaque_primer"\n' + rod % 35.9
    )  # fmt: skip
    solid = solid_of(parse_scene(text), 0)
    assert solid.notes == ()
    air = solid.regions(5.0, "b").solids[1]
    assert air.volume_mm3 == pytest.approx(15 * np.pi * (18**2 - 17.95**2), rel=1e-3)


INNER = """
[[bodies]]
name = "ball"
shape = { kind = "orb", diameter_mm = 60 }
material = "pla_white"
inner = { file = "inner.stl", units = "mm" }
"""


def with_inner(folder, radius, up_mm):
    ball = trimesh.creation.icosphere(subdivisions=4, radius=radius)
    ball.apply_translation([0, 0, up_mm])
    ball.export(folder / "inner.stl")
    return parse_scene(INNER, "prop.toml", folder)


def test_a_wall_may_vary_between_two_surfaces(tmp_path):
    """A ball of 25 mm set 3 mm up in one of 30: from 2 mm of wall above to 8 below."""
    solid = solid_of(with_inner(tmp_path, 25.0, 3.0), 0)
    assert solid.hollow is not None
    assert solid.hollow.bounds[:, 2] == pytest.approx([-22, 28], abs=0.05)
    # Half of a ball's surface lies below its middle, where the wall is 30 - sqrt(25^2 + 3^2).
    assert solid.wall_mm == pytest.approx(30 - np.hypot(25, 3), rel=0.02)


def test_an_inner_surface_outside_is_refused(tmp_path):
    with pytest.raises(SceneError, match=r"line 6: bodies\[0\]\.inner: .*does not lie within"):
        solid_of(with_inner(tmp_path, 25.0, 90.0), 0)
    scene = INNER.replace("inner =", "wall_mm = 2\ninner =")
    with pytest.raises(SceneError, match="leave out wall_mm"):
        parse_scene(scene, "prop.toml", tmp_path)


def test_an_inner_surface_that_reaches_out_is_asked_about(tmp_path):
    solid = solid_of(with_inner(tmp_path, 25.0, 20.0), 0)
    (asked,) = [note for note in solid.notes if isinstance(note, Doubt)]
    assert "reaches through the outer one about (" in asked
    assert solid.hollow.bounds[1, 2] < solid.outer.bounds[1, 2] + 1e-6


def test_a_mesh_file_is_read_once_and_read_again_when_it_has_changed(tmp_path):
    scene = """
title = "Ball"
[[bodies]]
name = "ball"
mesh = { file = "ball.stl", units = "mm" }
material = "upholstery_foam_white"
"""
    trimesh.creation.icosphere(3, radius=20).export(tmp_path / "ball.stl")
    first = solid_of(parse_scene(scene, "ball.toml", tmp_path), 0)
    assert solid_of(parse_scene(scene, "ball.toml", tmp_path), 0) is first
    trimesh.creation.icosphere(3, radius=30).export(tmp_path / "ball.stl")
    second = solid_of(parse_scene(scene, "ball.toml", tmp_path), 0)
    assert second.outer.size_mm[0] == pytest.approx(60, abs=0.2)
    # Another body of the same file is another body: its wall is its own.
    hollow = scene.replace('"upholstery_foam_white"', '"pla_white"\nwall_mm = 2')
    assert solid_of(parse_scene(hollow, "ball.toml", tmp_path), 0).hollow is not None
    (tmp_path / "ball.stl").unlink()
    with pytest.raises(SceneError, match="line 5"):
        solid_of(parse_scene(scene, "ball.toml", tmp_path), 0)


@pytest.mark.parametrize(
    ("keys", "told"),
    [
        ("wall_by_height_mm = [[0, 3], [0, 2]]", "must rise: 0 after 0"),
        ("wall_by_height_mm = [[0, 3], [2, 1]]", "spread that over 4 mm or more"),
        ("wall_mm = 2\nwall_by_height_mm = [[0, 3], [50, 2]]", "leave out wall_mm, inner"),
    ],
)
def test_walls_by_height_that_cannot_be(keys, told):
    with pytest.raises(SceneError, match=told):
        parse_scene(ROD + keys + "\n")


def test_a_body_with_a_wall_by_height_is_a_shell():
    solid = solid_of(parse_scene(ROD + "wall_by_height_mm = [[0, 4], [50, 2]]\n"), 0)
    assert solid.hollow is not None
    assert solid.wall_mm is not None
    assert 2 < solid.wall_mm < 4
