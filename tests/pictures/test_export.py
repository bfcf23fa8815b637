"""Meshes with the glow on them, read back by another reader."""

from __future__ import annotations

import json
import struct
from pathlib import Path

import numpy as np
import pytest
import trimesh
from numpy.testing import assert_allclose

from glowsim.errors import PictureError
from glowsim.optics.srgb import encode
from glowsim.pictures import export_glow
from glowsim.pictures.tone import displayed
from glowsim.scene import Room
from tests.pictures.glows import NEUTRAL, body_glow, box, glow_of, moved, scene_with, sphere

DARK = scene_with(Room(illuminance_lx=0))


def two_lamps():
    ball = body_glow(sphere(30.0), 500.0)
    cube = box(20, 20, 20)
    block = body_glow(cube, np.where(cube.normals[:, 2] > 0.9, 800.0, 100.0))
    return glow_of([ball, block], [(0, np.eye(4)), (0, moved(80, 0, 0)), (1, moved(0, 0, 60))])


def test_ply_has_luminance_and_colour_per_vertex(tmp_path: Path) -> None:
    export_glow(two_lamps(), DARK, tmp_path / "glow.ply", exposure_cd_m2=400.0)
    mesh = trimesh.load(tmp_path / "glow.ply", process=False)
    assert_allclose(mesh.bounds, [[-30, -30, -30], [110, 30, 70]], rtol=1e-6)
    raw = mesh.metadata["_ply_raw"]["vertex"]["data"]
    balls = np.asarray(raw["luminance"])[: 2 * 642]
    # L = M / pi; single precision.
    assert_allclose(balls, 500 / np.pi, rtol=1e-6)
    shown = 255 * encode(displayed(500 / np.pi * NEUTRAL, 400.0))
    assert_allclose(mesh.visual.vertex_colors[0, :3], shown, atol=0.5)
    assert_allclose(np.linalg.norm(np.stack([raw["nx"], raw["ny"], raw["nz"]]), axis=0), 1, 1e-5)


def glb_tree(path: Path) -> dict:
    content = path.read_bytes()
    length = struct.unpack("<I", content[12:16])[0]
    return json.loads(content[20 : 20 + length])


def test_glb_emits_the_glow_from_a_black_surface(tmp_path: Path) -> None:
    path = tmp_path / "glow.glb"
    export_glow(two_lamps(), DARK, path, exposure_cd_m2=400.0)
    tree = glb_tree(path)
    # Two meshes stand in three places.
    assert len(tree["meshes"]) == 2
    assert sum("mesh" in node for node in tree["nodes"]) == 3
    for material in tree["materials"]:
        assert material["pbrMetallicRoughness"]["baseColorFactor"] == [0, 0, 0, 1]
        assert material["emissiveFactor"] == [1, 1, 1]
    names = set(tree["meshes"][0]["primitives"][0]["attributes"])
    assert names == {"POSITION", "NORMAL", "TEXCOORD_0", "COLOR_0", "_LUMINANCE"}
    # A smaller copy of the texture would mix unrelated triangles.
    assert tree["samplers"][0]["minFilter"] == 9729
    assert all(texture["sampler"] == 0 for texture in tree["textures"])


def test_glb_is_in_metres_with_y_up(tmp_path: Path) -> None:
    export_glow(two_lamps(), DARK, tmp_path / "glow.glb")
    world = trimesh.load(tmp_path / "glow.glb")
    assert_allclose(world.bounds, [[-0.03, -0.03, -0.03], [0.11, 0.07, 0.03]], rtol=1e-5)


def test_the_texture_interpolates_to_the_corners(tmp_path: Path) -> None:
    export_glow(two_lamps(), DARK, tmp_path / "glow.glb", exposure_cd_m2=400.0)
    world = trimesh.load(tmp_path / "glow.glb", process=False)
    block = next(m for m in world.geometry.values() if len(m.faces) == 12)
    texture = np.asarray(block.visual.material.emissiveTexture.convert("RGB")).astype(float)
    # Texel middles, v counted upwards by the reader.
    place = np.column_stack([block.visual.uv[:, 0], 1 - block.visual.uv[:, 1]])
    column, row = np.floor(place * texture.shape[0]).astype(int).T
    shown = texture[row, column].reshape(12, 3, 3)
    bright = 255 * encode(displayed(800 / np.pi * NEUTRAL, 400.0))
    dim = 255 * encode(displayed(100 / np.pi * NEUTRAL, 400.0))
    top = box(20, 20, 20).normals[:, 2] > 0.9
    assert_allclose(shown[top], np.broadcast_to(bright, (2, 3, 3)), atol=0.5)
    assert_allclose(shown[~top], np.broadcast_to(dim, (10, 3, 3)), atol=0.5)
    luminance = np.asarray(block.vertex_attributes["_LUMINANCE"]).reshape(12, 3)
    assert_allclose(luminance, np.where(top[:, None], 800, 100) / np.pi * np.ones(3), rtol=1e-6)


def test_unlit_parts_can_be_made_out(tmp_path: Path) -> None:
    glow = glow_of([body_glow(sphere(), whiteness=0.8, glows=False)])
    export_glow(glow, scene_with(Room(illuminance_lx=100)), tmp_path / "glow.ply")
    colours = trimesh.load(tmp_path / "glow.ply", process=False).visual.vertex_colors
    assert 20 < colours[:, :3].min() <= colours[:, :3].max() < 90


def test_unknown_formats_and_bad_places_are_said(tmp_path: Path) -> None:
    with pytest.raises(PictureError, match=r"'\.gltf' tells no format; did you mean '\.glb'\?"):
        export_glow(two_lamps(), DARK, tmp_path / "glow.gltf")
    (tmp_path / "file").write_bytes(b"")
    with pytest.raises(PictureError, match=r"glow\.ply: cannot be written"):
        export_glow(two_lamps(), DARK, tmp_path / "file" / "glow.ply")
