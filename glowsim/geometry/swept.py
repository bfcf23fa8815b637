"""A round section drawn along a path: horns, tentacles, tubes.

Discs across the path are skinned one after the other. Where that skin would run through itself, at
a corner, in a tight bend or a loop, the body is the union of the hulls of neighbouring discs.
"""

from __future__ import annotations

import manifold3d
import numpy as np
from scipy.interpolate import PchipInterpolator

from glowsim.errors import GeometryError
from glowsim.geometry.curves import lengths_along
from glowsim.geometry.mesh import FloatArray, IntArray, Mesh, from_manifold
from glowsim.geometry.repair import runs_through_itself
from glowsim.geometry.shapes import segments_for, stacked_faces, swell_of

STEP_DEG = 6.0
"""Turn of the path, at most, that one piece stands for."""
CORNER_DEG = 25.0
"""A sharper turn is a corner, rounded by a ball."""
LEAST_STEP = 0.004
"""Pieces are no shorter than this share of the path."""
GROWTH_STEPS = 4
"""Pieces, at least, for each of the diameters given."""
OVERLAP = 0.02
"""Pieces that are united reach this share of the radius into each other."""
PARTS = ("base", "side", "tip")


def swept(path: FloatArray, diameters: FloatArray, round_tip: bool) -> Mesh:
    """Return the closed mesh of a round section along a path, (n, 3) float [mm].

    diameters : (k,) float [mm], at even steps along the path
    """
    at = _stations(path, len(diameters))
    way = lengths_along(path)
    points = np.column_stack([np.interp(at, way, path[:, k]) for k in range(3)])
    radii = _radii(at / way[-1], diameters)
    ahead = np.diff(points, axis=0)
    ahead /= np.linalg.norm(ahead, axis=1, keepdims=True)
    chords = segments_for(float(radii.max()), float(max(way[-1], 2 * radii.max())))
    rings, corners = _rings(points, ahead, radii, chords)
    if not corners:
        mesh = _skin(rings, points, ahead[-1], float(radii[-1]) if round_tip else 0.0)
        if mesh.volume_mm3 > 0 and runs_through_itself(mesh) is None:
            return mesh
    return _united(rings, points, ahead, radii, chords, [*corners, -1] if round_tip else corners)


def _skin(
    rings: list[tuple[FloatArray, FloatArray]],
    points: FloatArray,
    ahead: FloatArray,
    tip_mm: float,
) -> Mesh:
    """Return discs skinned in turn, the tip flat or half a ball of radius `tip_mm`."""
    stack = [ring for ring, _ in rings]
    end, pole = stack[-1] - points[-1], points[-1] + tip_mm * ahead
    if tip_mm:
        turns = np.linspace(0, np.pi / 2, max(len(end) // 4, 6) + 1)[1:-1]
        stack += [points[-1] + np.cos(t) * end + tip_mm * np.sin(t) * ahead for t in turns]
    faces, row = stacked_faces(len(stack), len(end))
    part = np.where(row < 0, 0, np.where(row >= len(rings) - 1, 2, 1))
    return Mesh(np.vstack([*stack, points[:1], pole[None]]), faces, part, PARTS)


def _united(
    rings: list[tuple[FloatArray, FloatArray]],
    points: FloatArray,
    ahead: FloatArray,
    radii: FloatArray,
    chords: int,
    balls: list[int],
) -> Mesh:
    """Return the union of the hulls of neighbouring discs, and of balls at some points."""
    pieces = []
    for k, way in enumerate(ahead):
        # Pieces overlap: two that only touch would stay two.
        back = OVERLAP * radii[k] * way if k > 0 else 0 * way
        on = OVERLAP * radii[k + 1] * way if k < len(ahead) - 1 else 0 * way
        pieces.append(
            manifold3d.Manifold.hull_points(np.vstack([rings[k][0] - back, rings[k + 1][1] + on]))
        )
    pieces += [_ball(points[k], float(radii[k]), chords) for k in balls]
    solid = manifold3d.Manifold.batch_boolean(pieces, manifold3d.OpType.Add)
    solid = solid.simplify(1e-3 * float(radii.min()))
    if solid.is_empty() or solid.volume() <= 0:
        raise GeometryError("the path is too fine for its section; take fewer points")
    mesh = from_manifold(solid)
    return Mesh(mesh.vertices, mesh.faces, _parts(mesh, points, ahead, radii), PARTS)


def _stations(path: FloatArray, diameters: int) -> FloatArray:
    """Return ways along a path, dense where it turns, corners and growth included."""
    way = lengths_along(path)
    ahead = np.diff(path, axis=0) / np.diff(way)[:, None]
    cosine = np.clip(np.einsum("nd,nd->n", ahead[:-1], ahead[1:]), -1, 1)
    turn = np.concatenate([[0.0], np.degrees(np.arccos(cosine)), [0.0]])
    turned, last, kept = 0.0, 0.0, [0.0]
    for k in range(1, len(path) - 1):
        turned += turn[k]
        far = way[k] - last > LEAST_STEP * way[-1]
        if (turned >= STEP_DEG / 2 and far) or turn[k] > CORNER_DEG:
            kept.append(float(way[k]))
            turned, last = 0.0, float(way[k])
    steps = GROWTH_STEPS * (diameters - 1) if diameters > 2 else 1
    grown = np.linspace(0, way[-1], 1 + steps)
    every = np.unique(np.concatenate([kept, grown]))
    apart = np.diff(every, prepend=-1.0) > 1e-6 * way[-1]
    every = every[apart]
    every[-1] = way[-1]
    return np.asarray(every)


def _radii(share: FloatArray, diameters: FloatArray) -> FloatArray:
    """Return the radius at shares of the way: straight between two, smooth through more."""
    if len(diameters) == 1:
        return np.full(len(share), diameters[0] / 2)
    steps = np.linspace(0, 1, len(diameters))
    if len(diameters) == 2:
        return np.asarray(np.interp(share, steps, diameters / 2))
    return np.asarray(PchipInterpolator(steps, diameters / 2)(share))


def _rings(
    points: FloatArray, ahead: FloatArray, radii: FloatArray, chords: int
) -> tuple[list[tuple[FloatArray, FloatArray]], list[int]]:
    """Return the disc at each point, as it is left and as it is come to, and sharp corners.

    The two differ at a corner only.
    """
    frame = _across(ahead[0])
    first = _disc(points[0], frame, radii[0], chords)
    rings, corners = [(first, first)], []
    for k in range(1, len(points) - 1):
        before, after = ahead[k - 1], ahead[k]
        cosine = float(np.clip(before @ after, -1, 1))
        if cosine < np.cos(np.radians(CORNER_DEG)):
            come = _disc(points[k], _carried(frame, before), radii[k], chords)
            frame = _carried(frame, after)
            rings.append((_disc(points[k], frame, radii[k], chords), come))
            corners.append(k)
        else:
            frame = _carried(frame, (before + after) / np.linalg.norm(before + after))
            ring = _mitred(_disc(points[k], frame, radii[k], chords), points[k], after - before)
            rings.append((ring, ring))
    end = _disc(points[-1], _carried(frame, ahead[-1]), radii[-1], chords)
    return [*rings, (end, end)], corners


def _mitred(ring: FloatArray, centre: FloatArray, bend: FloatArray) -> FloatArray:
    """Return a disc between two pieces of a tube, longer in the plane of the bend.

    bend : way after less way before, of length 2 sin(angle / 2)
    """
    size = float(np.linalg.norm(bend))
    if size < 1e-9:
        return ring
    longer = 1 / np.sqrt(1 - size**2 / 4)
    return ring + np.outer((ring - centre) @ bend / size**2, (longer - 1) * bend)


def _across(way: FloatArray) -> FloatArray:
    """Return two directions across a way, (2, 3) float."""
    side = np.eye(3)[int(np.argmin(np.abs(way)))]
    first = side - (side @ way) * way
    first /= np.linalg.norm(first)
    return np.stack([first, np.cross(way, first)])


def _carried(frame: FloatArray, way: FloatArray) -> FloatArray:
    """Return directions across `way` turned as little as can be from those before."""
    first = frame[0] - (frame[0] @ way) * way
    size = float(np.linalg.norm(first))
    if size < 1e-6:
        return _across(way)
    return np.stack([first / size, np.cross(way, first / size)])


def _disc(centre: FloatArray, frame: FloatArray, radius: float, chords: int) -> FloatArray:
    angle = np.arange(chords) * 2 * np.pi / chords
    circle = np.stack([np.cos(angle), np.sin(angle)], axis=1)
    return np.asarray(centre + radius * swell_of(chords) * circle @ frame)


def _ball(centre: FloatArray, radius: float, chords: int) -> manifold3d.Manifold:
    return manifold3d.Manifold.sphere(radius, 4 * max(chords // 4, 6)).translate(centre)


def _parts(mesh: Mesh, points: FloatArray, ahead: FloatArray, radii: FloatArray) -> IntArray:
    """Return the part of each face: 0 in the plane of the first disc, 2 beyond the last."""
    tiny = 1e-6 * float(mesh.size_mm.max())
    below = (mesh.centroids - points[0]) @ ahead[0]
    beyond = (mesh.centroids - points[-1]) @ ahead[-1]
    off = np.linalg.norm(mesh.centroids - points[-1], axis=1)
    on = np.linalg.norm(mesh.centroids - points[0], axis=1)
    part = np.ones(len(mesh.faces), dtype=np.int64)
    part[(beyond > -tiny) & (off < 1.01 * radii[-1])] = 2
    part[(np.abs(below) < tiny) & (on < 1.01 * radii[0]) & (mesh.normals @ ahead[0] < -0.9)] = 0
    return part
