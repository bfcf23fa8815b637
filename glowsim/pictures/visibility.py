"""Which triangle each pixel shows, and where on it: by rays, or drawn by OpenGL.

The only file that knows pyrender, which is imported when OpenGL is first used: without an
OpenGL library even its import fails. Both ways give the same arrays.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import Any, Literal, cast

import numpy as np

from glowsim.errors import PictureError
from glowsim.geometry.mesh import FloatArray
from glowsim.geometry.rays import BoolArray, RayTarget
from glowsim.pictures.arrays import Floats, Ints
from glowsim.pictures.camera import Camera

Backend = Literal["embree", "gl"]

BACKGROUND = -1
_PIXELS_AT_ONCE = 1 << 16
_RUN = 64
"""Triangles that share a box: neighbours as a rule."""
_TILE_PX = 16
"""Rays are followed in squares of a picture, those that such a box may lie before."""
_MOST_TRIANGLES = 2**24 - 2
"""A colour of 24 bits counts no further."""


@dataclass(frozen=True)
class Seen:
    """What a camera sees.

    triangle : (h, w) int32, number of the triangle, BACKGROUND where there is none
    depth_mm : (h, w) float32, distance along the camera's axis, 0 for the background
    """

    triangle: Ints
    depth_mm: Floats


View = Callable[[Camera], Seen]


@dataclass(frozen=True)
class Points:
    """The points of a surface that pixels show, n of them.

    row, column : (n,) int;  triangle : (n,) int;  weight : (n, 3) float32, of its corners
    """

    row: Ints
    column: Ints
    triangle: Ints
    weight: Floats


def view_of(triangles: FloatArray, rays: RayTarget, backend: Backend) -> View:
    """Return a function that shows what a camera sees of `triangles`, (m, 3, 3) float [mm].

    With "embree" it may be called from several threads at once; with "gl" too, but they wait
    for each other. Raises PictureError, when called, if OpenGL fails.
    """
    if backend == "embree":
        boxes = _boxes(triangles)
        return lambda camera: _seen_by_rays(boxes, rays, camera)
    if len(triangles) > _MOST_TRIANGLES:
        raise PictureError(
            f"{len(triangles)} triangles are too many for OpenGL (at most {_MOST_TRIANGLES}); "
            "use the back end 'embree'"
        )
    drawing = _Drawing(triangles)
    return lambda camera: _gl_thread().submit(drawing.seen, camera).result()


def points_seen(triangles: FloatArray, camera: Camera, seen: Seen) -> Points:
    """Return the surface points of all pixels but the background's.

    A ray from the eye e along d meets the triangle a, b, c with weights in proportion to
    d . (b-e)x(c-e) and so on round (the volumes of three tetrahedra; derived).
    """
    row, column = np.nonzero(seen.triangle != BACKGROUND)
    triangle = seen.triangle[row, column].astype(np.int64)
    shown, number = np.unique(triangle, return_inverse=True)
    corner = triangles[shown] - camera.eye_mm
    a, b, c = corner[:, 0], corner[:, 1], corner[:, 2]
    facing = np.stack([np.cross(b, c), np.cross(c, a), np.cross(a, b)], axis=1)
    facing = facing.astype(np.float32)
    weight = np.zeros((3, len(row)), np.float32)
    for first in range(0, len(row), _PIXELS_AT_ONCE):
        part = slice(first, first + _PIXELS_AT_ONCE)
        direction = camera.directions(column[part], row[part])
        weight[:, part] = np.einsum("nkd,nd->kn", facing[number[part]], direction)
    # At an edge the two back ends may differ by a pixel: keep the point on its triangle.
    weight *= np.sign(weight[0] + weight[1] + weight[2])
    weight = np.maximum(weight, 0.0)
    weight /= np.maximum(weight[0] + weight[1] + weight[2], np.float32(1e-30))
    return Points(row, column, triangle, weight.T)


def _boxes(triangles: FloatArray) -> FloatArray:
    """Return the corners of boxes around runs of triangles, (n, 8, 3) float [mm]."""
    starts = np.arange(0, len(triangles), _RUN)
    low = np.minimum.reduceat(triangles.min(axis=1), starts)
    high = np.maximum.reduceat(triangles.max(axis=1), starts)
    corners = np.array(np.meshgrid([0, 1], [0, 1], [0, 1])).reshape(3, 8).T
    boxes: FloatArray = low[:, None] + corners * (high - low)[:, None]
    return boxes


def _may_see(boxes: FloatArray, camera: Camera) -> BoolArray:
    """Return which tiles of a picture boxes lie before, (rows, columns) bool."""
    width, height = camera.size
    tiles = np.zeros((-(-height // _TILE_PX), -(-width // _TILE_PX)), bool)
    pixel, _ = camera.project(boxes.reshape(-1, 3))
    pixel = pixel.reshape(-1, 8, 2)
    low = np.floor(pixel.min(axis=1)).astype(int) - 1
    high = np.ceil(pixel.max(axis=1)).astype(int) + 1
    first = np.maximum(low, 0) // _TILE_PX
    last = np.maximum(high, -1) // _TILE_PX
    for (left, top), (right, bottom) in zip(first, last, strict=True):
        tiles[top : bottom + 1, left : right + 1] = True
    return tiles


def _seen_by_rays(boxes: FloatArray, rays: RayTarget, camera: Camera) -> Seen:
    """Follow one ray through the middle of each pixel that can see anything."""
    width, height = camera.size
    tiles = _may_see(boxes, camera)
    open_pixel = np.repeat(np.repeat(tiles, _TILE_PX, axis=0), _TILE_PX, axis=1)[:height, :width]
    row, column = np.nonzero(open_pixel)
    triangle = np.full((height, width), BACKGROUND, np.int32)
    depth = np.zeros((height, width), np.float32)
    for first in range(0, len(row), _PIXELS_AT_ONCE):
        part = slice(first, first + _PIXELS_AT_ONCE)
        rows, columns = row[part], column[part]
        direction = camera.directions(columns, rows)
        hits = rays.first_hits(
            np.broadcast_to(camera.eye_mm, direction.shape), cast(FloatArray, direction)
        )
        triangle[rows, columns] = hits.face
        along = hits.distance_mm / camera.stretch(columns, rows)
        depth[rows, columns] = np.where(hits.face >= 0, along, 0.0)
    return Seen(triangle, depth)


@cache
def _gl_thread() -> ThreadPoolExecutor:
    """Return the one thread that may use OpenGL: a context belongs to the thread that made it."""
    return ThreadPoolExecutor(1, thread_name_prefix="opengl")


@cache
def load_pyrender() -> Any:
    """Import pyrender so that it works; raise PictureError if it cannot be imported."""
    if sys.platform.startswith("linux"):
        # Read once, at import. Elsewhere the variable must stay unset.
        os.environ["PYOPENGL_PLATFORM"] = "egl"
    if not hasattr(np, "infty"):
        # pyrender 0.1.45 uses the name that numpy 2 dropped.
        setattr(np, "infty", np.inf)  # noqa: B010
    try:
        import pyglet

        # Without this the import asks for an X11 library on a machine without a display.
        pyglet.options["headless"] = sys.platform.startswith("linux")
        import pyrender
        import pyrender.renderer
    except (ImportError, AttributeError, OSError) as problem:
        # A missing libEGL shows as an AttributeError deep in PyOpenGL.
        raise PictureError(f"OpenGL cannot be loaded: {problem}") from None
    multisampled = pyrender.renderer.glRenderbufferStorageMultisample

    def one_sample(target: int, samples: int, *layout: int) -> None:
        multisampled(target, 0, *layout)

    # pyrender always averages four samples per pixel, and an average of two numbers is a third.
    pyrender.renderer.glRenderbufferStorageMultisample = one_sample
    return pyrender


@cache
def _renderer() -> Any:
    """Return the one renderer of the process, with the face number as its flat colour."""
    renderer = load_pyrender().OffscreenRenderer(64, 64)
    files = ExitStack()
    shader = files.enter_context(
        resources.as_file(resources.files("glowsim.pictures").joinpath("face_id.frag"))
    )
    programs = renderer._renderer._program_cache
    original = programs.get_program

    def get_program(vertex_shader: str, fragment_shader: str, **more: Any) -> Any:
        flat = fragment_shader == "flat.frag"
        return original(vertex_shader, str(shader) if flat else fragment_shader, **more)

    programs.get_program = get_program
    return renderer


class _Drawing:
    """Triangles as pyrender draws them; used in the OpenGL thread only."""

    def __init__(self, triangles: FloatArray) -> None:
        corners = triangles.reshape(-1, 3)
        # Single precision has the more digits the nearer the middle lies to the origin.
        self._middle = (corners.min(axis=0) + corners.max(axis=0)) / 2
        self._corners = (corners - self._middle).astype(np.float32)
        self._radius = float(np.linalg.norm(self._corners, axis=1).max())
        self._mesh: Any = None

    def seen(self, camera: Camera) -> Seen:
        """Return what `camera` sees; raise PictureError if OpenGL fails."""
        pyrender = load_pyrender()
        try:
            renderer = _renderer()
            renderer.viewport_width, renderer.viewport_height = camera.size
            scene = pyrender.Scene(bg_color=[0.0, 0.0, 0.0, 0.0])
            scene.add(self._prepared(pyrender))
            scene.add(*self._camera(pyrender, camera))
            flags = pyrender.RenderFlags.FLAT | pyrender.RenderFlags.SKIP_CULL_FACES
            colour, depth = renderer.render(scene, flags)
        except Exception as problem:  # a driver may raise anything
            raise PictureError(
                f"OpenGL failed: {problem}; use the back end 'embree', which needs no OpenGL"
            ) from problem
        code = colour.astype(np.int32)
        number = (code[:, :, 0] << 16) + (code[:, :, 1] << 8) + code[:, :, 2]
        return Seen(number - 1, np.asarray(depth, dtype=np.float32))

    def _prepared(self, pyrender: Any) -> Any:
        if self._mesh is None:
            # Whole numbers for the colour would be divided by 255.
            white = pyrender.MetallicRoughnessMaterial(
                baseColorFactor=[1.0, 1.0, 1.0, 1.0], alphaMode="OPAQUE", doubleSided=True
            )
            primitive = pyrender.Primitive(positions=self._corners, material=white)
            self._mesh = pyrender.Mesh([primitive])
        return self._mesh

    def _camera(self, pyrender: Any, camera: Camera) -> tuple[Any, None, FloatArray]:
        pose = np.eye(4)
        pose[:3, :3] = np.column_stack([camera.right, camera.up, -camera.forward])
        pose[:3, 3] = camera.eye_mm - self._middle
        depth = float((self._middle - camera.eye_mm) @ camera.forward)
        lens = pyrender.PerspectiveCamera(
            yfov=2 * np.arctan(camera.half_height),
            aspectRatio=camera.size[0] / camera.size[1],
            znear=max(depth - 1.01 * self._radius, 0.01 * depth),
            zfar=depth + 1.01 * self._radius,
        )
        return lens, None, pose
