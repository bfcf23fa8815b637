"""The glowing surface for other programs: GLB for viewers, PLY with luminance for sums."""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from glowsim.geometry.mesh import METRES_UP_Y, FloatArray
from glowsim.optics.srgb import encode
from glowsim.pictures.gltf import Gltf
from glowsim.pictures.photo import Studio
from glowsim.pictures.shade import Emission, emission_of
from glowsim.pictures.stage import Stage, stage_of
from glowsim.pictures.tone import checked_exposure, chosen_exposure_cd_m2, displayed
from glowsim.pictures.writing import checked_format, write_file
from glowsim.scene import Scene
from glowsim.transport.result import SurfaceGlow

MESH_FORMATS = (".glb", ".ply")
UNLIT_SHARE = 0.01
"""Room light stands in as this share of white, so that unlit parts can be made out."""


def export_glow(
    glow: SurfaceGlow | Studio,
    scene: Scene,
    path: str | os.PathLike[str],
    *,
    exposure_cd_m2: float | None = None,
) -> None:
    """Write the surface with its glow as GLB or PLY, whole or not at all.

    glow           : the glow, or a studio that is set up already
    exposure_cd_m2 : luminance shown as white; the scene's, or a fitting one, if left out.
    GLB: black material that emits the glow, so that a viewer's own lamps do not wash it out;
    copies that look alike share a mesh; `_LUMINANCE` [cd/m2] per corner. PLY: vertex colours
    and the property `luminance` [cd/m2], in mm. Luminance is that of each place's own
    light seen square-on, direct light averaged over directions; light from other faces is left
    out, so that copies can share a mesh.
    Raises PictureError for an unknown ending or a place that cannot be written.
    """
    target = Path(path)
    ending = checked_format(target, MESH_FORMATS)
    stage = glow.stage if isinstance(glow, Studio) else stage_of(glow)
    glow = glow.glow if isinstance(glow, Studio) else glow
    emission = emission_of(glow)
    wanted = scene.view.exposure_cd_m2 if exposure_cd_m2 is None else exposure_cd_m2
    exposure = checked_exposure(
        wanted if wanted is not None else chosen_exposure_cd_m2(stage, emission, scene.room)
    )
    light = stage.sharp_at_corners(emission.square_on_cd_m2)
    shown = displayed(light + _room_stand_in(stage, emission, exposure), exposure)
    if ending == ".glb":
        content = _glb(glow, stage, light[:, 1], shown)
    else:
        content = _ply(stage, light[:, 1], shown)
    write_file(target, content)


def _room_stand_in(stage: Stage, emission: Emission, exposure_cd_m2: float) -> FloatArray:
    grey = stage.at_corners(emission.whiteness).mean(axis=1, keepdims=True)
    return UNLIT_SHARE * exposure_cd_m2 * grey * np.array([0.9505, 1.0, 1.089])


def _ply(stage: Stage, luminance_cd_m2: FloatArray, shown: FloatArray) -> bytes:
    """Return a binary PLY. Trimesh would write luminance as a list, which few programs read."""
    columns = [(name, "<f4") for name in ("x", "y", "z", "nx", "ny", "nz")]
    columns += [(name, "u1") for name in ("red", "green", "blue")] + [("luminance", "<f4")]
    vertex = np.zeros(stage.corner_count, dtype=columns)
    for k, axis in enumerate("xyz"):
        vertex[axis] = stage.points[:, k]
        vertex[f"n{axis}"] = stage.point_normals[:, k]
    for name, band in zip(("red", "green", "blue"), _bytes(encode(shown)).T, strict=True):
        vertex[name] = band
    vertex["luminance"] = luminance_cd_m2
    face = np.zeros(len(stage.corner), dtype=[("count", "u1"), ("corner", "<i4", 3)])
    face["count"] = 3
    face["corner"] = stage.corner
    types = {"<f4": "float", "u1": "uchar"}
    header = [
        "ply",
        "format binary_little_endian 1.0",
        "comment lengths in mm, luminance in cd/m2",
        f"element vertex {len(vertex)}",
        *(f"property {types[kind]} {name}" for name, kind in columns),
        f"element face {len(face)}",
        "property list uchar int vertex_indices",
        "end_header",
    ]
    return ("\n".join(header) + "\n").encode() + vertex.tobytes() + face.tobytes()


def _glb(glow: SurfaceGlow, stage: Stage, luminance_cd_m2: FloatArray, shown: FloatArray) -> bytes:
    file = Gltf()
    meshes: dict[tuple[int, bytes], int] = {}
    known: dict[int, dict[str, int]] = {}
    start = 0
    for number, copy in enumerate(glow.copies):
        body = glow.bodies[copy.body]
        count = len(body.surface.faces)
        corner = stage.corner[start : start + count]
        start += count
        if not count:
            continue
        key = (copy.body, glow.flux_lm(copy).tobytes())
        if key not in meshes:
            if copy.body not in known:
                known[copy.body] = {
                    "POSITION": file.array(body.surface.triangles.reshape(-1, 3), bounds=True),
                    "TEXCOORD_0": file.array(_texels(count)),
                }
            turned = stage.point_normals[corner] @ copy.transform[:3, :3]
            # glTF counts vertex colours as linear.
            opaque = np.full((3 * count, 1), 255, np.uint8)
            colour = np.hstack([_bytes(shown[corner].reshape(-1, 3)), opaque])
            attributes = known[copy.body] | {
                "NORMAL": file.array(turned.reshape(-1, 3)),
                "COLOR_0": file.array(colour),
                "_LUMINANCE": file.array(luminance_cd_m2[corner].ravel()),
            }
            material = file.emitting(Image.fromarray(_texture(shown[corner])))
            meshes[key] = file.mesh(f"{body.name} {len(meshes)}", attributes, material)
        file.place(f"{number} {copy.name}", meshes[key], METRES_UP_Y @ copy.transform)
    return file.content()


def _texture(shown: FloatArray) -> NDArray[np.uint8]:
    """Return a picture of the colours at the corners of triangles, (m, 3, 3) linear sRGB.

    glTF has no emission by vertex. Each triangle has a square of 2 by 2 texels: its corners'
    colours and a fourth that continues them, so that a viewer's bilinear filter interpolates
    exactly (derived).
    """
    count = len(shown)
    side = _side(count)
    squares = np.zeros((side * side, 2, 2, 3), np.uint8)
    colour = encode(shown)
    squares[:count, 0, 0] = _bytes(colour[:, 0])
    squares[:count, 0, 1] = _bytes(colour[:, 1])
    squares[:count, 1, 0] = _bytes(colour[:, 2])
    squares[:count, 1, 1] = _bytes(colour[:, 1] + colour[:, 2] - colour[:, 0])
    return squares.reshape(side, side, 2, 2, 3).swapaxes(1, 2).reshape(2 * side, 2 * side, 3)


def _texels(count: int) -> FloatArray:
    """Return where on `_texture` the corners of its triangles lie, (3 m, 2) float, v downwards."""
    row, column = np.divmod(np.arange(count), _side(count))
    texel = np.stack([column, row], axis=1)[:, None] * 2 + [[0.5, 0.5], [1.5, 0.5], [0.5, 1.5]]
    return texel.reshape(-1, 2) / (2 * _side(count))


def _side(count: int) -> int:
    """Return how many squares of `_texture` stand in a row."""
    return int(np.ceil(np.sqrt(count)))


def _bytes(share: FloatArray) -> NDArray[np.uint8]:
    return np.round(255 * np.clip(share, 0, 1)).astype(np.uint8)
