"""Mesh files: read in mm, refused with help, never written."""

import zipfile

import numpy as np
import pytest
import trimesh
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from glowsim.errors import GeometryError
from glowsim.geometry.body import solid_of
from glowsim.geometry.meshfile import read_mesh, read_named
from glowsim.geometry.notes import Doubt
from glowsim.geometry.where import Region, faces_where
from glowsim.scene import MeshFile, Where, parse_scene
from tests.support.faults import fault_of

SIZE_MM = (20.0, 30.0, 40.0)


def block(scale=1.0):
    mesh = trimesh.creation.box(extents=SIZE_MM)
    mesh.apply_translation((5, 0, 0))
    mesh.apply_scale(scale)
    return mesh


def saved(folder, name, scale=1.0, **options):
    block(scale).export(folder / name, **options)
    return folder / name


def size_of(path, **keys):
    vertices, faces, notes = read_mesh(MeshFile(file=path.name, **keys), path.parent)
    assert faces.shape == (12, 3)
    return np.ptp(vertices, axis=0), notes


@pytest.mark.parametrize(
    ("name", "options"),
    [
        ("block.stl", {}),
        ("text.stl", {"file_type": "stl_ascii"}),
        ("block.obj", {}),
        ("block.ply", {}),
        ("text.ply", {"encoding": "ascii"}),
        ("BLOCK.STL", {"file_type": "stl"}),
    ],
)
@pytest.mark.parametrize(("unit", "mm"), [("mm", 1), ("cm", 10), ("in", 25.4), ("m", 1000)])
def test_formats_without_a_unit(tmp_path, name, options, unit, mm):
    path = saved(tmp_path, name, 1 / mm, **options)
    size, notes = size_of(path, units=unit)
    # STL and PLY hold single precision, the text formats eight digits.
    assert_allclose(size, SIZE_MM, rtol=1e-5)
    assert notes == []


@pytest.mark.parametrize("name", ["block.stl", "block.obj", "block.ply"])
def test_mm_are_assumed_and_said(tmp_path, name):
    size, notes = size_of(saved(tmp_path, name))
    assert_allclose(size, SIZE_MM, rtol=1e-5)  # single precision
    kind = name[-3:].upper()
    assert notes == [f'{name}: {kind} carries no unit; mm assumed (say units = "mm" to confirm)']


def test_glb_is_in_metres(tmp_path):
    # glTF 2.0, 3.4: 'The units for all linear distances are meters'.
    size, notes = size_of(saved(tmp_path, "block.glb", 0.001))
    assert_allclose(size, np.take(SIZE_MM, [0, 2, 1]), rtol=1e-5)  # single precision
    unit, up = notes
    assert unit == "block.glb: unit 'm' taken from the file, as GLB defines it"
    assert "has y up, as GLB defines it, and is turned so that z is up" in up


@pytest.mark.parametrize(("kind", "said"), [("glb", None), ("stl", "y"), ("glb", "z")])
def test_which_way_is_up(tmp_path, kind, said):
    # glTF 2.0, 3.4: a right-handed coordinate system, +Y up, +Z forward, -X right.
    cone = trimesh.creation.cone(radius=5, height=40)
    if said != "z":
        cone.apply_transform(trimesh.transformations.rotation_matrix(-np.pi / 2, (1, 0, 0)))
        assert cone.vertices[cone.vertices[:, 1].argmax()][1] == pytest.approx(40)
    cone.apply_scale(0.001 if kind == "glb" else 1.0)
    cone.export(tmp_path / f"cone.{kind}")
    vertices, faces, _ = read_mesh(MeshFile(file=f"cone.{kind}", up=said), tmp_path)
    assert_allclose(vertices[vertices[:, 2].argmax()], [0, 0, 40], atol=1e-4)
    assert trimesh.Trimesh(vertices, faces).volume > 0


@pytest.mark.parametrize("kind", ["ply", "glb", "obj"])
def test_a_painted_colour_is_a_region(tmp_path, kind):
    ball = trimesh.creation.icosphere(subdivisions=4, radius=30)
    top = ball.vertices[:, 1 if kind == "glb" else 2] > 15
    colours = np.where(top[:, None], [255, 0, 0, 255], [240, 240, 240, 255]).astype(np.uint8)
    ball.visual = trimesh.visual.ColorVisuals(ball, vertex_colors=colours)
    if kind == "glb":
        ball.apply_scale(0.001)
    ball.export(tmp_path / f"ball.{kind}")
    text = f'[[bodies]]\nname = "ball"\nmaterial = "pla_white"\nmesh = {{ file = "ball.{kind}" }}\n'
    outer = solid_of(parse_scene(text, folder=tmp_path), 0).outer
    where = Where(colour="#FF0000")
    chosen = faces_where(Region(where), outer, outer.part, outer.part_names)
    # A cap of height h of a ball has the area 2 pi r h: a quarter of the whole.
    assert_allclose(outer.areas_mm2[chosen].sum() / outer.areas_mm2.sum(), 0.25, atol=0.02)
    with pytest.raises(GeometryError, match=r"no colour '#00ff00' \(colours: #.{6}, #.{6}\)"):
        faces_where(Region(Where(colour="#00ff00")), outer, outer.part, outer.part_names)


def test_glb_keeps_the_places_of_its_parts(tmp_path):
    scene = trimesh.Scene()
    moved = trimesh.transformations.translation_matrix((0.1, 0, 0))
    scene.add_geometry(block(0.001), transform=moved)
    scene.add_geometry(block(0.001))
    scene.export(tmp_path / "two.glb")
    vertices, faces, _ = read_mesh(MeshFile(file="two.glb"), tmp_path)
    assert len(faces) == 24
    assert_allclose(np.ptp(vertices, axis=0), [120, 40, 30], rtol=1e-5)  # single precision


def with_unit(path, unit):
    """Copy a 3MF file with another unit in it, or none."""
    changed = path.with_name(f"{unit or 'none'}.3mf")
    new = f'unit="{unit}"' if unit else ""
    with zipfile.ZipFile(path) as old, zipfile.ZipFile(changed, "w") as target:
        for name in old.namelist():
            data = old.read(name)
            if name.endswith(".model"):
                assert b'unit="millimeter"' in data
                data = data.replace(b'unit="millimeter"', new.encode())
            target.writestr(name, data)
    return changed


@pytest.mark.parametrize(
    ("unit", "mm"),
    [("millimeter", 1), ("", 1), ("inch", 25.4), ("centimeter", 10), ("foot", 304.8)],
)
def test_3mf_says_its_unit(tmp_path, unit, mm):
    # 3MF core specification, 3.4: attribute unit, millimeter where it is left out.
    path = with_unit(saved(tmp_path, "block.3mf", 1 / mm), unit)
    size, notes = size_of(path)
    assert_allclose(size, SIZE_MM, rtol=1e-5)
    assert "taken from the file, as 3MF defines it" in notes[0]


def test_the_scene_may_overrule_the_file(tmp_path):
    path = with_unit(saved(tmp_path, "block.3mf"), "inch")
    size, notes = size_of(path, units="mm", scale=2.0)
    assert_allclose(size, np.multiply(SIZE_MM, 2), rtol=1e-5)
    assert notes == []


@pytest.mark.parametrize(
    ("scale", "advice"),
    [
        (1000, r'4e\+04 mm in unit \'mm\': the unit must be wrong; set units = "um" \(40 mm\)'),
        (1e-9, "set units and scale"),
    ],
)
def test_a_size_no_prop_has_is_refused_with_advice(tmp_path, scale, advice):
    path = saved(tmp_path, "block.stl", scale)
    with pytest.raises(GeometryError, match=f"(?s)its largest size is .*{advice}"):
        size_of(path)


@pytest.mark.parametrize(
    ("scale", "size_mm", "told"),
    [
        (11.8 / 40, 11.8, "11.8 mm if mm, 118 mm if cm, 300 mm if in: which? mm is taken"),
        (0.001, 40, "40 mm if m, which is unusual for a prop. m is taken"),
        (1 / 25.4, 40, "40 mm if in, which is unusual for a prop. in is taken"),
    ],
)
def test_a_size_that_tells_of_another_unit_is_a_doubt(tmp_path, scale, size_mm, told):
    size, (doubt,) = size_of(saved(tmp_path, "block.stl", scale))
    assert isinstance(doubt, Doubt)
    assert doubt.startswith(f"block.stl: carries no unit; its largest size is {told}; say")
    assert_allclose(size.max(), size_mm, rtol=1e-5)


def test_corners_without_a_face_and_far_scraps_are_left_out(tmp_path):
    mesh = trimesh.creation.icosphere(subdivisions=3, radius=20)
    lines = [f"v {x} {y} {z}" for x, y, z in mesh.vertices]
    lines += ["v nan nan nan", "v 1e9 0 0", "v 900 900 900", "v 901 900 900", "v 900 901 900"]
    lines += [f"f {a} {b} {c}" for a, b, c in mesh.faces + 1]
    count = len(mesh.vertices)
    lines.append(f"f {count + 3} {count + 4} {count + 5}")
    (tmp_path / "scan.obj").write_text("\n".join(lines), encoding="utf-8")
    vertices, faces, notes = read_mesh(MeshFile(file="scan.obj", units="mm"), tmp_path)
    assert faces.shape == mesh.faces.shape
    assert_allclose(np.ptp(vertices, axis=0), np.ptp(mesh.vertices, axis=0))
    assert notes == ["scan.obj: dropped 1 stray faces far from the rest"]


def two_parts(tmp_path, kind):
    scene = trimesh.Scene()
    scene.add_geometry(block(), node_name="eye", geom_name="eyeball")
    scene.add_geometry(
        trimesh.creation.icosphere(radius=30),
        node_name="horn",
        geom_name="hornball",
        transform=trimesh.transformations.translation_matrix((100, 0, 0)),
    )
    scene.units = "mm"
    scene.export(tmp_path / f"two.{kind}")
    return f"two.{kind}"


@pytest.mark.parametrize("kind", ["glb", "3mf"])
def test_parts_of_a_file_by_name(tmp_path, kind):
    name = two_parts(tmp_path, kind)
    vertices, faces, _ = read_mesh(MeshFile(file=name, part="eye", units="mm"), tmp_path)
    assert faces.shape == (12, 3)
    assert_allclose(np.sort(np.ptp(vertices, axis=0)), SIZE_MM, rtol=1e-5)
    vertices, _, _ = read_mesh(MeshFile(file=name, part="hornball", units="mm"), tmp_path)
    assert_allclose(vertices.mean(axis=0), [100, 0, 0], atol=1e-4)  # where the file places it
    vertices, faces, notes = read_mesh(MeshFile(file=name, units="mm"), tmp_path)
    assert len(faces) > 12
    assert "all are taken together" in notes[0]
    with pytest.raises(GeometryError, match=r"has no part 'eyes'; did you mean 'eye'"):
        read_mesh(MeshFile(file=name, part="eyes", units="mm"), tmp_path)


@pytest.mark.parametrize(
    ("part", "count"), [("body", 4), ("eye", 4), ("glass", 4), ("white", 4), ("pupil", 1)]
)
def test_parts_of_an_obj_by_object_group_or_material(tmp_path, part, count):
    text = "mtllib none.mtl\no body\n"
    for names, at in (("usemtl white", 0), ("o eyes\ng eye\nusemtl glass", 50)):
        text += f"v {at} 0 0\nv {at + 30} 0 0\nv {at} 30 0\nv {at} 0 30\n{names}\n"
        text += "f -4 -2 -3\nf -4 -3 -1\nf -3 -2 -1\n"
        text += "g eye pupil\n" * (at > 0) + "f -2 -4 -1\n"
    (tmp_path / "two.obj").write_text(text, encoding="utf-8")
    vertices, faces, _ = read_mesh(MeshFile(file="two.obj", part=part, units="mm"), tmp_path)
    assert len(faces) == count
    assert vertices[:, 0].min() == (0 if part in ("body", "white") else 50)
    whole, _ = read_named(MeshFile(file="two.obj", units="mm"), tmp_path)
    chosen = faces_where(Region(Where(part=part)), whole, whole.part, whole.part_names)
    assert_allclose(whole.triangles[chosen].min(axis=(0, 1)), vertices.min(axis=0))
    assert np.count_nonzero(chosen) == count


def test_a_strange_size_is_taken_when_the_scene_says_so(tmp_path):
    path = saved(tmp_path, "block.stl", 0.02)
    size, notes = size_of(path, units="mm")
    assert_allclose(size, np.multiply(SIZE_MM, 0.02), rtol=1e-5)
    assert notes == [
        "block.stl: its largest size is 0.8 mm in unit 'mm', which is unusual for a prop"
    ]
    with pytest.raises(GeometryError, match="that is no part of a prop"):
        size_of(path, units="um")


def test_names_that_no_file_has(tmp_path):
    saved(tmp_path, "thistle.stl")
    for name, message in {
        "thistel.stl": "there is no mesh file .*thistel.stl; did you mean 'thistle.stl'",
        "away/x.stl": "its folder does not exist either",
        "~nobody-of-this-name/x.stl": "there is no mesh file",
        "x" * 400 + ".stl": "there is no mesh file",
        "a\0b.stl": "there is no mesh file",
        ".": "there is no mesh file",
    }.items():
        with pytest.raises(GeometryError, match=message):
            read_mesh(MeshFile(file=name), tmp_path)


def test_other_kinds_of_file(tmp_path):
    (tmp_path / "part.step").write_text("x", encoding="utf-8")
    (tmp_path / "part.stll").write_text("x", encoding="utf-8")
    with pytest.raises(GeometryError, match=r"'\.step' is not a mesh format that can be read"):
        read_mesh(MeshFile(file="part.step"), tmp_path)
    with pytest.raises(GeometryError, match="did you mean 'stl'"):
        read_mesh(MeshFile(file="part.stll"), tmp_path)


BROKEN_TEXTS = {
    "corner.obj": "v 0 0 0\nv 10 0 0\nv 0 10 0\nf 1 2 999\n",
    "nan.obj": "v nan 0 0\nv 10 0 0\nv 0 10 0\nf 1 2 3\n",
    "huge.obj": "v 1e308 0 0\nv -1e308 0 0\nv 0 10 0\nf 1 2 3\n",
    "line.obj": "v 0 0 0\nv 10 0 0\nl 1 2\n",
    "points.ply": "ply\nformat ascii 1.0\nelement vertex 1\nproperty float x\n"
    "property float y\nproperty float z\nend_header\n0 0 0\n",
    "empty.stl": "",
    "empty.3mf": "",
    "words.glb": "hello " * 40,
}


@pytest.mark.parametrize(("name", "text"), BROKEN_TEXTS.items(), ids=BROKEN_TEXTS)
def test_files_without_a_usable_mesh(tmp_path, name, text):
    (tmp_path / name).write_text(text, encoding="utf-8")
    with pytest.raises(GeometryError, match=f"^{name}"):
        read_mesh(MeshFile(file=name), tmp_path)


@pytest.fixture(scope="module")
def sound(tmp_path_factory):
    """A sound file of each format, as bytes."""
    folder = tmp_path_factory.mktemp("sound")
    kinds = {kind: saved(folder, f"block.{kind}", 1) for kind in ("stl", "obj", "ply", "3mf")}
    kinds["glb"] = saved(folder, "block.glb", 0.001)
    return {kind: path.read_bytes() for kind, path in kinds.items()}


@given(data=st.data())
@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_damaged_files_are_refused_or_read_as_they_are(sound, tmp_path_factory, data):
    kind = data.draw(st.sampled_from(sorted(sound)))
    content = bytearray(sound[kind])
    match data.draw(st.sampled_from(["cut", "noise", "garbage"])):
        case "cut":
            content = content[: data.draw(st.integers(0, len(content)))]
        case "noise":
            for _ in range(data.draw(st.integers(1, 20))):
                content[data.draw(st.integers(0, len(content) - 1))] = data.draw(
                    st.integers(0, 255)
                )
        case "garbage":
            content = bytearray(data.draw(st.binary(max_size=300)))
    path = tmp_path_factory.mktemp("damaged") / f"damaged.{kind}"
    path.write_bytes(content)
    fault = fault_of(read_mesh, MeshFile(file=path.name), path.parent)
    assert fault is None or fault.startswith("damaged.")


def test_the_users_file_is_left_as_it_is(tmp_path, sound):
    for kind, content in sound.items():
        path = tmp_path / f"mine.{kind}"
        path.write_bytes(content)
        path.chmod(0o444)
        before = path.stat().st_mtime_ns
        read_mesh(MeshFile(file=path.name), tmp_path)
        assert path.read_bytes() == content
        assert path.stat().st_mtime_ns == before
    assert len(list(tmp_path.iterdir())) == len(sound)
