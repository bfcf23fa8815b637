"""A picture laid on a body as a stencil: which places it covers, and where its outline runs."""

from __future__ import annotations

import warnings
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import contourpy
import numpy as np
from PIL import Image, ImageOps
from scipy.ndimage import distance_transform_edt, map_coordinates
from trimesh.triangles import points_to_barycentric

from glowsim.errors import GeometryError, did_you_mean
from glowsim.geometry.cuts import BoolArray, Limit
from glowsim.geometry.facing import Facing, facing_of
from glowsim.geometry.hollow import nearest_on
from glowsim.geometry.mesh import FloatArray, Mesh
from glowsim.geometry.meshfile import is_file, read_named
from glowsim.scene.bodies import MeshFile
from glowsim.scene.where import Picture

HALF = 0.5
"""The outline runs where a picture is half covered."""
MOST_PIXELS = 50_000_000
"""A larger picture is refused."""
USED_PIXELS = 2000
"""A picture with a longer side than this is brought down to it: no border is cut finer."""
PIECES = 1500
"""Into so many pieces, about, an outline is cut at most."""
SIDE_SHARE = 1 / 150
"""Edge of the faces along an outline, over the picture's longer side, unless pixels are coarser."""
MARGIN = 2
"""White pixels put around a picture, so that black ends at its edge."""
OFF_PX = 1.5
"""An outline lies at most this much nearer than the next pixel of the other kind [pixels]."""
Spot = Callable[[FloatArray], tuple[FloatArray, FloatArray]]
_UP = np.array([0.0, 0.0, 1.0])


@dataclass(frozen=True)
class Stencil:
    """A picture in its place on a body.

    coverage : (h, w) float, 0 to 1, with its margin;  apart_px : (h, w) float, how far each pixel
               is from those of the other kind, which the outline parts it from
    spot     : from points, (n, 3) [mm], to where they lie in the picture, (n, 2) [pixels from the
               middle of its first one, right and down], and pixels per mm there, (n,)
    toward   : (3,) float, unit, where it is laid on from; None where all sides count
    shown    : what of a smooth surface looks that way; None where that goes by whole faces
    edge_mm  : how fine faces along its outline are made
    """

    coverage: FloatArray
    apart_px: FloatArray
    spot: Spot
    toward: FloatArray | None
    shown: Facing | None
    edge_mm: float

    def covers(self, points: FloatArray) -> BoolArray:
        """Return which points, (n, 3) [mm], it covers, whichever way their faces look."""
        return _at(self.coverage, self.spot(points)[0]) > HALF

    def sees(self, points: FloatArray, normals: FloatArray) -> BoolArray:
        """Return which points of a surface, (n, 3) [mm], look the way that counts.

        normals : (n, 3), of their faces
        """
        if self.toward is None:
            return np.ones(len(points), dtype=bool)
        if self.shown is not None:
            return self.shown.covers(points)
        return np.asarray(normals @ self.toward > 1e-9)

    @property
    def limit(self) -> Limit:
        """Its outline, what is not covered lying beyond."""
        return Limit(self._beyond, self.edge_mm)

    def _beyond(self, points: FloatArray) -> FloatArray:
        """Return on which side of the outline points lie, and a distance they are from it at least:
        that to the next pixel of the other kind, less what the outline may be nearer."""
        place, px_per_mm = self.spot(points)
        size = np.array(self.coverage.shape[::-1]) - 1.0
        outside = np.linalg.norm(place - np.clip(place, 0.0, size), axis=1)
        apart = np.maximum(_at(self.apart_px, place) - OFF_PX, outside)
        side = np.where(_at(self.coverage, place) > HALF, -1.0, 1.0)
        return side * np.maximum(apart, 1e-9) / px_per_mm


def _at(image: FloatArray, place: FloatArray) -> FloatArray:
    """Return an image between its pixels, (n,); beyond its edge, as it is there."""
    return np.asarray(map_coordinates(image, place[:, ::-1].T, order=1, mode="nearest"))


def stencil_of(
    picture: Picture, folder: Path, outer: Mesh, mesh_file: MeshFile | None = None
) -> Stencil:
    """Return a picture in its place on a body.

    mesh_file : what the body comes from, for a picture that lies by its texture coordinates
    Raises GeometryError where it is missing, no image, too large, or covers nothing by itself.
    """
    coverage = _coverage(picture, folder)
    high, wide = coverage.shape
    toward: FloatArray | None = None
    if picture.by_texture:
        spot, px_per_mm = _by_texture(mesh_file, folder, wide, high)
    else:
        px_per_mm = _px_per_mm(picture, coverage)
        toward, across = _frame(picture)
        across = across * px_per_mm
        first = (np.array([wide, high]) - 1) / 2 + MARGIN - _middle(picture, outer) @ across

        def spot(points: FloatArray) -> tuple[FloatArray, FloatArray]:
            return points @ across + first, np.full(len(points), px_per_mm)

    padded = np.pad(coverage, MARGIN)
    inside = padded > HALF
    apart = np.where(inside, distance_transform_edt(inside), distance_transform_edt(~inside))
    edge_mm = picture.edge_mm or _edge_px(inside, max(high, wide)) / px_per_mm
    toward = toward if picture.sides == "facing" else None
    shown = None if toward is None else facing_of(outer, toward.tolist(), 90.0)
    return Stencil(padded, apart, spot, toward, shown, edge_mm)


def outlines_of(picture: Picture, folder: Path, outer: Mesh) -> list[FloatArray]:
    """Return the outlines of a picture that is laid on from a side, in its place: closed lines in
    the plane through its middle, each (n, 3) float [mm].

    Raises GeometryError as `stencil_of` does.
    """
    coverage = _coverage(picture, folder)
    _, across = _frame(picture)
    size = np.array(coverage.shape[::-1]) - 1.0
    lines = contourpy.contour_generator(z=np.pad(coverage, MARGIN)).lines(HALF)
    return [
        _middle(picture, outer)
        + ((np.asarray(line) - MARGIN - size / 2) / _px_per_mm(picture, coverage)) @ across.T
        for line in lines
    ]


def _px_per_mm(picture: Picture, coverage: FloatArray) -> float:
    high, wide = coverage.shape
    if picture.width_mm is not None:
        return wide / picture.width_mm
    assert picture.height_mm is not None, "the scene makes sure of one of the two"
    return high / picture.height_mm


def _middle(picture: Picture, outer: Mesh) -> FloatArray:
    """Return where a picture's middle lies, (3,) float [mm]."""
    middle = picture.middle_mm
    return np.asarray(outer.bounds.mean(axis=0) if middle is None else middle, dtype=float)


def _by_texture(
    mesh_file: MeshFile | None, folder: Path, wide: int, high: int
) -> tuple[Spot, float]:
    """Return where points lie in a picture by the texture coordinates of the nearest face of a mesh
    file, and pixels per mm as a rule. A picture repeats beyond 0 and 1."""
    mesh = None if mesh_file is None else read_named(mesh_file, folder)[0]
    if mesh is None or mesh.uv is None:
        raise GeometryError(
            "its body has no mesh file with texture coordinates, so by_texture cannot place it; "
            "give width_mm and seen_from"
        )
    size = np.array([wide, high])
    corners, texture = mesh.triangles, mesh.uv[mesh.faces] * size
    px_per_mm = _stretch(corners, texture)

    def spot(points: FloatArray) -> tuple[FloatArray, FloatArray]:
        _, nearest, face = nearest_on(mesh, points)
        weight = points_to_barycentric(corners[face], nearest)
        share = np.einsum("nk,nkd->nd", np.nan_to_num(weight, nan=1 / 3), texture[face]) / size
        share = np.where((share < 0) | (share > 1), share % 1.0, share)
        share[:, 1] = 1 - share[:, 1]
        return share * size - 0.5 + MARGIN, px_per_mm[face]

    return spot, float(np.average(px_per_mm, weights=mesh.areas_mm2))


def _stretch(corners: FloatArray, texture: FloatArray) -> FloatArray:
    """Return how many pixels a mm of each face spans at most, (m,) float.

    The greatest stretch of the map between two triangles: the root of the greater eigenvalue of
    one's Gram matrix against the other's.
    """
    (a, b, c), (p, q, r) = (
        (
            np.einsum("md,md->m", one, one),
            np.einsum("md,md->m", one, other),
            np.einsum("md,md->m", other, other),
        )
        for one, other in (
            (points[:, 1] - points[:, 0], points[:, 2] - points[:, 0])
            for points in (corners, texture)
        )
    )
    area = np.maximum(a * c - b * b, 1e-18)
    half = (p * c - 2 * q * b + r * a) / (2 * area)
    product = (p * r - q * q) / area
    greater = half + np.sqrt(np.maximum(half**2 - product, 0))
    return np.asarray(np.maximum(np.sqrt(np.maximum(greater, 0)), 1e-9))


def _edge_px(inside: BoolArray, longest: int) -> float:
    """Return how fine faces along an outline are made [pixels]."""
    steps = sum(np.count_nonzero(np.diff(inside, axis=axis)) for axis in (0, 1))
    # An outline at any slant crosses 4 / pi times as many pixel borders as it is long.
    return max(1.0, np.pi / 4 * steps / PIECES, SIDE_SHARE * longest)


def view_from(seen_from: Sequence[float]) -> FloatArray:
    """Return what is right, up and towards the viewer, seen from a side, (3, 3) float, rows."""
    toward = np.asarray(seen_from, dtype=float)
    toward = toward / np.linalg.norm(toward)
    up = _UP if abs(toward @ _UP) < 0.99 else np.array([0.0, 1.0, 0.0])
    right = np.cross(up, toward)
    right /= np.linalg.norm(right)
    return np.array([right, np.cross(toward, right), toward])


def _frame(picture: Picture) -> tuple[FloatArray, FloatArray]:
    """Return where a picture is laid on from, (3,) unit, and what is right and down in it, (3, 2)
    unit each."""
    right, up, toward = view_from(picture.seen_from)
    turn = np.radians(picture.turned_deg)
    turned = np.cos(turn) * right + np.sin(turn) * up
    return toward, np.column_stack([turned, -np.cross(toward, turned)])


def _coverage(picture: Picture, folder: Path) -> FloatArray:
    """Return how far each pixel of a picture is covered, (h, w) float from 0 to 1."""
    path = picture_path(picture, folder)
    if not is_file(path):
        raise GeometryError(f"there is no picture {path}{_others(path)}")
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error", Image.DecompressionBombWarning)
            with Image.open(path) as image:
                if image.width * image.height > MOST_PIXELS:
                    raise Image.DecompressionBombError
                grey = _grey(image)
    except (Image.DecompressionBombError, Image.DecompressionBombWarning):
        raise GeometryError(
            f"{path.name} has more than {MOST_PIXELS // 1_000_000} million pixels; save it "
            f"smaller: {USED_PIXELS} along a side are all that is used"
        ) from None
    except Exception as problem:
        # The readers of the various formats raise what they like on broken files.
        reason = " ".join(str(problem).split())[:120] or type(problem).__name__
        raise GeometryError(
            f"{path.name} is not a picture that can be read ({reason}); save it as PNG"
        ) from None
    coverage = 1 - grey if picture.covers == "black" else grey
    if not (coverage > HALF).any():
        raise GeometryError(
            f"{path.name} has nothing {picture.covers} on it, so it covers nothing; "
            'covers = "black" or "white" says which of the two counts'
        )
    return coverage


def _grey(image: Image.Image) -> FloatArray:
    """Return an image upright, from 0 for black to 1 for white, (h, w) float; clear is white."""
    image = ImageOps.exif_transpose(image)
    if image.mode.startswith("I"):
        grey = Image.fromarray(np.asarray(image, dtype=np.float32) / 65535)
    else:
        seen = image.convert("RGBA")
        paper = Image.new("RGBA", seen.size, "white")
        grey = Image.fromarray(
            np.asarray(Image.alpha_composite(paper, seen).convert("L"), dtype=np.float32) / 255
        )
    factor = USED_PIXELS / max(grey.size)
    if factor < 1:
        width, height = (max(1, round(side * factor)) for side in grey.size)
        grey = grey.resize((width, height), Image.Resampling.BOX)
    return np.asarray(grey, dtype=float)


def picture_path(picture: Picture, folder: Path) -> Path:
    """Return where a picture is looked for; a relative path starts at `folder`."""
    try:
        return folder / Path(picture.file).expanduser()
    except RuntimeError:  # a '~' that belongs to nobody
        return folder / picture.file


def _others(path: Path) -> str:
    """Return which picture may have been meant."""
    kinds = Image.registered_extensions()
    try:
        near = [p.name for p in path.parent.iterdir() if p.suffix.lower() in kinds]
    except (OSError, ValueError):
        return "; its folder does not exist either"
    return did_you_mean(path.name, near)
