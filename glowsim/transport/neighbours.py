"""Do the light boards of one body run into another body of the prop?"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import product

import manifold3d
import numpy as np

from glowsim.geometry.body import Solid
from glowsim.geometry.hollow import depth_mm
from glowsim.geometry.mesh import FloatArray, Mesh, at_mm, from_manifold, to_manifold
from glowsim.transport.boards import boards_of
from glowsim.transport.fit import TOUCH_MM
from glowsim.transport.plan import Plan
from glowsim.transport.problem import Copy

STEP_MM = 1.0
"""How far apart points are at which the depth of a board is taken."""


@dataclass(frozen=True)
class _Neighbour:
    """A body as others may meet it, in its own frame.

    within : what is set into it, in order, and whether it is empty: hollow, pockets, cores, sleeves
    boards : name and closed mesh of each of its light boards; none of an unlit body
    """

    outer: Mesh
    within: tuple[tuple[Mesh, bool], ...]
    boards: tuple[tuple[str, Mesh], ...]

    @cached_property
    def solid(self) -> manifold3d.Manifold:
        """What a board cannot stand in."""
        whole = to_manifold(self.outer, "body")
        solid = whole
        for mesh, empty in self.within:
            tool = to_manifold(mesh, "what is set in")
            solid = solid - tool if empty else solid + (tool ^ whole)
        return solid

    @cached_property
    def reach(self) -> FloatArray:
        """Corners of a box around all its boards, (8, 3) float [mm]."""
        bounds = np.array([mesh.bounds for _, mesh in self.boards])
        low, high = bounds[:, 0].min(axis=0), bounds[:, 1].max(axis=0)
        return np.array(list(product(*zip(low, high, strict=True))))


@dataclass(frozen=True)
class _Reach:
    """How far a board stands in another body, and the middle of what does, in its own frame."""

    deep_mm: float
    light: str
    place_mm: FloatArray
    head: str


def boards_in_neighbours(
    plan: Plan, solids: Sequence[Solid], copies: Sequence[Copy]
) -> dict[str, tuple[str, ...]]:
    """Return what to say of boards that reach into other bodies, by the scene's lit body.

    solids : the different bodies, by the number that the copies carry
    One line for each unlit body, and for each lit one with all its copies, that any copy's boards
    reach into by more than what counts as a touch. Room can be made, so these are things to look
    at.
    """
    numbers = plan.distinct.values()
    bodies = [_neighbour(plan, n, solid) for n, solid in zip(numbers, solids, strict=True)]
    found: dict[tuple[str, str, bool], dict[str, _Reach]] = {}
    for piece in copies:
        for head in copies if bodies[piece.body].boards else ():
            lit = bool(bodies[head.body].boards)
            into_head = np.linalg.inv(head.transform) @ piece.transform
            reached = list(_reached(bodies[piece.body], bodies[head.body], head.name, into_head))
            if reached and head is not piece:
                mine = found.setdefault((piece.of, head.of if lit else head.name, lit), {})
                worst = max(reached, key=lambda one: one.deep_mm)
                if piece.name not in mine or worst.deep_mm > mine[piece.name].deep_mm:
                    mine[piece.name] = worst
    lines: dict[str, tuple[str, ...]] = {}
    for (of, _, lit), pieces in found.items():
        lines[of] = (*lines.get(of, ()), _words(of, pieces, lit))
    return lines


def _neighbour(plan: Plan, number: int, solid: Solid) -> _Neighbour:
    """Return a body of a plan as others may meet it."""
    body = plan.scene_file.scene.bodies[number]
    names = [light.name or f"light {n + 1}" for n, light in enumerate(body.lights)]
    meshes = [board.shape.mesh() for board in boards_of(body, plan.catalogue)]
    within = [(mesh, True) for mesh in (solid.hollow,) if mesh is not None]
    if body.material in plan.catalogue.coats and body.lights:  # a lantern of thin sheet
        within.append((solid.outer, True))
    kinds = (insert.kind == "pocket" for insert in body.inserts)
    within += zip(solid.inserts, kinds, strict=True)
    return _Neighbour(solid.outer, tuple(within), tuple(zip(names, meshes, strict=True)))


def _reached(
    piece: _Neighbour, head: _Neighbour, name: str, into_head: FloatArray
) -> Iterator[_Reach]:
    """Yield how far boards of a piece reach into a body."""
    corners = piece.reach @ into_head[:3, :3].T + into_head[:3, 3]
    if not _meet(np.array([corners.min(axis=0), corners.max(axis=0)]), head.outer.bounds):
        return
    for light, mesh in piece.boards:
        board = mesh.moved(into_head)
        if not _meet(board.bounds, head.outer.bounds):
            continue
        shared = to_manifold(board, light) ^ head.solid
        if shared.is_empty():
            continue
        points = from_manifold(shared.refine_to_length(STEP_MM)).vertices
        deep = float(depth_mm(head.outer, points).max())
        if deep > TOUCH_MM:
            middle = np.append((points.min(axis=0) + points.max(axis=0)) / 2, 1.0)
            yield _Reach(deep, light, (np.linalg.inv(into_head) @ middle)[:3], name)


def _meet(one: FloatArray, other: FloatArray) -> bool:
    """Whether two boxes, (2, 3) float, share room."""
    return bool((one[0] < other[1]).all() and (other[0] < one[1]).all())


def _words(of: str, pieces: dict[str, _Reach], lit: bool) -> str:
    (first, worst), *more = sorted(pieces.items(), key=lambda item: -item[1].deep_mm)
    others = f", and of {len(more)} more," if more else ""
    said = f"{worst.light} of {first}{others} reaches {worst.deep_mm:.1f} mm into {worst.head}"
    if not lit:
        return f"{said}: set it higher in {of}, or cut room for it in {worst.head}"
    return (
        f"{said}, which is lit too, about {at_mm(worst.place_mm)} in {of}'s own frame: the light "
        "of each is worked out as if the other were not there; move it, or the pieces apart"
    )
