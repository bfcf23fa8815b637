"""Keeps a board that is moved by hand inside its body and clear of cores and other boards.

A board is stood for by points on its rim and faces. Where one lies too near a wall the board is
pushed away from it, so that it slides along the wall the hand pushes it against.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from glowsim.geometry.boards import BoardShape
from glowsim.geometry.body import region_of
from glowsim.geometry.hollow import nearest_on
from glowsim.geometry.inside import inside_closed
from glowsim.geometry.mesh import FloatArray, Mesh
from glowsim.transport.problem import BodyProblem, Kind

GAP_MM = 0.2
"""Air between a board that is pushed against something and that thing."""
_ROUNDS = 12
_HALVINGS = 6
_AROUND = 24
_NEARLY_MM = 0.12
"""Less than this of being too near is let be: places are kept to a tenth of a millimetre."""


@dataclass(frozen=True)
class Surroundings:
    """What a board has around it.

    outer  : what it must stay within;  cores : solids it must not enter;  others : other boards
    """

    outer: Mesh
    cores: tuple[Mesh, ...]
    others: tuple[BoardShape, ...]


def surroundings(
    problem: BodyProblem, place_mm: FloatArray, others: Sequence[BoardShape]
) -> Surroundings:
    """Return what is around a board of a body.

    place_mm : (3,) float, where it stands: in the hollow of a shell it stays in there.
    others   : the other boards of the body
    """
    cores = tuple(
        solid
        for solid, medium in zip(problem.solids, problem.media, strict=False)
        if solid is not None and medium.kind == Kind.OPAQUE
    )
    outer = problem.outer
    if problem.wall_mm is not None:
        region = int(region_of(np.asarray(place_mm, float)[None], problem.solids)[0])
        if region >= 0 and problem.media[region].kind == Kind.AIR:
            outer = problem.solids[region] or outer
    return Surroundings(outer, cores, tuple(others))


def kept_clear(
    shape: BoardShape, place_mm: FloatArray, around: Surroundings, was_mm: FloatArray
) -> FloatArray:
    """Return the place nearest to the wanted one, (3,) [mm], at which a board has room.

    was_mm : where it stood before; the way from there is shortened if nothing else helps.
    """
    place = np.asarray(place_mm, dtype=float).copy()
    for _ in range(_ROUNDS):
        push = _push(_at(shape, place), around)
        if np.linalg.norm(push) <= _NEARLY_MM / 2:
            break
        place = place + push
    if _room(_at(shape, place), around):
        return place
    return _shortened(lambda p: _room(_at(shape, p), around), np.asarray(was_mm, float), place)


def has_room(shape: BoardShape, around: Surroundings) -> bool:
    """Return whether a board has room where it stands."""
    return _room(shape, around)


def _at(shape: BoardShape, place_mm: FloatArray) -> BoardShape:
    frame = shape.frame.copy()
    frame[:3, 3] = place_mm
    return replace(shape, frame=frame)


def _shortened(
    good: Callable[[FloatArray], bool], start: FloatArray, end: FloatArray
) -> FloatArray:
    """Return the furthest place on the way from `start` to `end` that is good, or `start`."""
    low, high = 0.0, 1.0
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        low, high = (middle, high) if good(start + middle * (end - start)) else (low, middle)
    return start + low * (end - start)


def samples(shape: BoardShape) -> FloatArray:
    """Return points on a board's rims and faces in its body's frame, (n, 3) float [mm]."""
    length, width = shape.size_mm
    if shape.is_round:
        turn = 2 * np.pi * np.arange(_AROUND) / _AROUND
        flat = length / 2 * np.column_stack([np.cos(turn), np.sin(turn)])
    else:
        along = np.linspace(-length / 2, length / 2, max(2, int(length / 4) + 1))
        flat = np.vstack([np.column_stack([along, np.full(len(along), s * width / 2)])
                          for s in (-1, 1)])  # fmt: skip
    flat = np.vstack([flat, [[0.0, 0.0]]])
    levels = [np.column_stack([flat, np.full(len(flat), z)]) for z in (0.0, -shape.thickness_mm)]
    return np.vstack(levels) @ shape.frame[:3, :3].T + shape.frame[:3, 3]


def _push(shape: BoardShape, around: Surroundings) -> FloatArray:
    """Return by how much a board should be pushed to be clear of what is around it, (3,) [mm]."""
    points = samples(shape)
    pushes = [_from_wall(points, around.outer, inside=True)]
    pushes += [_from_wall(points, core, inside=False) for core in around.cores]
    pushes += [_from_board(shape, other) for other in around.others]
    return np.asarray(max(pushes, key=lambda push: float(np.linalg.norm(push))))


def _room(shape: BoardShape, around: Surroundings) -> bool:
    """Return whether no place of a board is too near to anything: pushes from opposite walls,
    between which it is too wide, would cancel."""
    points = samples(shape)
    lacking = [float(_lacking(points, around.outer, inside=True)[0].max())]
    lacking += [
        float(_lacking(points, core, inside=False)[0].max())
        for core in around.cores
        if not _far_from(points, core)
    ]
    lacking += [float(np.linalg.norm(_from_board(shape, other))) for other in around.others]
    return max(lacking) <= _NEARLY_MM + GAP_MM


def _lacking(points: FloatArray, mesh: Mesh, inside: bool) -> tuple[FloatArray, FloatArray]:
    """Return by how much points are too near a wall, (n,), and the unit ways off it, (n, 3)."""
    distance, nearest, face = nearest_on(mesh, points)
    within = inside_closed(mesh, points)
    right = within if inside else ~within
    away = points - nearest
    away[~right] *= -1
    length = np.linalg.norm(away, axis=1)
    normal = (-1 if inside else 1) * mesh.normals[face]
    way = np.where(length[:, None] > 1e-9, away / np.maximum(length, 1e-9)[:, None], normal)
    return np.where(right, GAP_MM - distance, GAP_MM + distance), way


def _from_wall(points: FloatArray, mesh: Mesh, inside: bool) -> FloatArray:
    if not inside and _far_from(points, mesh):  # a core far away costs nothing
        return np.zeros(3)
    lacking, way = _lacking(points, mesh, inside)
    push = np.zeros(3)
    # Each wall that is met adds what the pushes before have not done already: a board in a corner
    # is pushed out of both walls at once.
    for k in np.argsort(-lacking):
        rest = lacking[k] - push @ way[k]
        if lacking[k] <= 0:
            break
        if rest > 0:
            push = push + rest * way[k]
    return push


def _far_from(points: FloatArray, mesh: Mesh) -> bool:
    low, high = mesh.bounds
    below, above = points.max(axis=0) < low - GAP_MM, points.min(axis=0) > high + GAP_MM
    return bool(below.any() or above.any())


def _from_board(shape: BoardShape, other: BoardShape) -> FloatArray:
    """Return the least push along the other board's axis or across it that parts two boards."""
    local = other.local(samples(shape))
    reach = float(np.hypot(*other.size_mm)) / 2 if not other.is_round else other.size_mm[0] / 2
    low, high = float(local[:, 2].min()), float(local[:, 2].max())
    thick = other.thickness_mm
    up, down = GAP_MM - low, high + thick + GAP_MM
    if up <= 0 or down <= 0:
        return np.zeros(3)
    middle = local[:, :2].mean(axis=0)
    away = float(np.linalg.norm(middle))
    own = float(np.linalg.norm(local[:, :2] - middle, axis=1).max())
    across = reach + own + GAP_MM - away
    if across <= 0 or _through_bore(local, other):
        return np.zeros(3)
    axis = other.frame[:3, 2]
    least = min(up, down)
    if least <= across or away < 1e-6:
        return up * axis if up <= down else -down * axis
    way = middle / away
    return np.asarray(across * (other.frame[:3, :3] @ np.array([*way, 0.0])))


def _through_bore(local: FloatArray, other: BoardShape) -> bool:
    radius = np.linalg.norm(local[:, :2], axis=1)
    return other.is_round and other.bore_mm > 0 and bool((radius < other.bore_mm / 2).all())


def free_place(
    shape: BoardShape, around: Surroundings, tries: Sequence[FloatArray]
) -> FloatArray | None:
    """Return the first of some places at which a board has room once it is pushed clear."""
    for place in tries:
        found = kept_clear(shape, place, around, place)
        if _room(_at(shape, found), around):
            return found
    return None
