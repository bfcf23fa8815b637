"""The first scene from a few choices, and meshes that are dropped on the page."""

from __future__ import annotations

import asyncio
from pathlib import Path

import pytest

from glowsim.errors import GeometryError, GlowsimError, SceneError
from glowsim.live import begin_view
from glowsim.live.begin_view import Beginning
from glowsim.live.beginning import SKETCHES, Choice, NoRoomError, begun, measured, mesh_name
from glowsim.scene import read_scene
from glowsim.transport.fit import misfits
from glowsim.transport.plan import plan_of
from glowsim.transport.prepared import PreparedProp

MESH = Path(__file__).parent.parent.parent / "assets" / "geode_crystal_tall.stl"


def sketch(shape, **others):
    sizes = {key: size for key, (_, size) in SKETCHES[shape].items()}
    given = {"material": "upholstery_foam_white", "board": "rgb_5050_18ma", "sizes": sizes}
    return Choice(shape=shape, **(given | others))


@pytest.mark.parametrize("shape", SKETCHES)
def test_every_shape_is_a_sound_scene_whose_board_has_room(tmp_path, shape):
    path = begun(sketch(shape), tmp_path)
    assert path == tmp_path / f"{shape}.toml"
    scene_file = read_scene(path)
    assert len(scene_file.scene.bodies[0].lights) == 1
    problem = PreparedProp().problem(plan_of(scene_file), 0)
    assert [m for m in misfits(problem) if m.blocks] == []


def test_a_second_scene_takes_another_name(tmp_path):
    first, second = (begun(sketch("dome"), tmp_path) for _ in range(2))
    assert first != second
    assert first.read_bytes() == second.read_bytes()


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        (
            {
                "shape": "slab",
                "board": "ring_24",
                "sizes": {"length_mm": 60, "width_mm": 30, "thickness_mm": 9},
            },
            r"has no room in this body; 7-LED round board .* has, or",
        ),
        ({"material": "cheese"}, "no material 'cheese'"),
        ({"sizes": {"diameter_mm": 100.0, "height_mm": -3.0}}, "height_mm"),
        ({"wall_mm": 0.0}, "wall_mm"),
    ],
)
def test_what_cannot_be_is_told_and_nothing_is_written(tmp_path, changes, words):
    with pytest.raises(GlowsimError, match=words) as refused:
        begun(sketch(**({"shape": "dome"} | changes)), tmp_path)
    if "no room" in words:  # one press takes the board that has
        assert isinstance(refused.value, NoRoomError)
        assert refused.value.fits == "round_7"
    assert list(tmp_path.iterdir()) == []


def test_a_mesh_from_elsewhere_is_copied_beside_its_scene(tmp_path):
    choice = Choice("milky_resin_light", "rgb_5050_5ma", mesh=MESH, unit="mm")
    scene_file = read_scene(begun(choice, tmp_path))
    assert scene_file.scene.bodies[0].mesh.file == MESH.name
    assert (tmp_path / MESH.name).read_bytes() == MESH.read_bytes()


def test_a_mesh_is_asked_for_its_size():
    found = measured(MESH)
    assert found.likely == "mm"
    assert found.sizes_mm["cm"] == pytest.approx([10 * s for s in found.sizes_mm["mm"]])
    assert "86 mm high" in found.as_plain()["units"][0]["words"]


@pytest.mark.parametrize("name", ["horn.exe", "horn", "../../.bashrc", ".stl/..", "x.stl.html"])
def test_other_kinds_of_files_are_refused(name):
    with pytest.raises(GeometryError, match="is no mesh"):
        mesh_name(name)


def dropped(folder, name, content):
    beginning = Beginning(folder, None, lambda scene, kept: None)

    async def pieces():
        yield content[:100]
        yield content[100:]

    try:
        return asyncio.run(beginning.take(name, pieces()))
    finally:
        beginning.close()


def test_a_dropped_mesh_lies_nowhere_but_where_it_should(tmp_path):
    told = dropped(tmp_path, "../../up/and away?.stl", MESH.read_bytes())
    assert told["name"] == "and away_.stl"
    assert list(tmp_path.iterdir()) == []


def test_a_mesh_that_is_too_large_or_broken_is_told(tmp_path, monkeypatch):
    with pytest.raises(GeometryError, match="holds no triangles"):
        dropped(tmp_path, "horn.stl", b"solid of nothing" * 20)
    monkeypatch.setattr(begin_view, "MOST_BYTES", 2**20)
    with pytest.raises(GeometryError, match="too large: at most 1 MB"):
        dropped(tmp_path, "horn.stl", b"0" * (2**20 + 1))


def test_a_folder_that_cannot_be_written_is_one_message(tmp_path):
    (tmp_path / "taken").write_text("a file, where a folder is wanted")
    with pytest.raises(SceneError, match="cannot be written"):
        begun(sketch("dome"), tmp_path / "taken")
