"""Do the light boards of one body run into another that carries or holds it?"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property

import manifold3d
import numpy as np

from glowsim.geometry.hollow import depth_mm
from glowsim.geometry.mesh import FloatArray, Mesh, from_manifold, to_manifold
from glowsim.transport.fit import TOUCH_MM
from glowsim.transport.problem import Copy

STEP_MM = 1.0
"""How far apart points are at which the depth of a board is taken."""


@dataclass(frozen=True)
class Neighbour:
    """A body as others may meet it, in its own frame.

    outer  : its outer surface;  hollows : surfaces of what is empty within
    boards : name and closed mesh of each of its light boards; none of an unlit body
    """

    outer: Mesh
    hollows: tuple[Mesh, ...] = ()
    boards: tuple[tuple[str, Mesh], ...] = ()

    @cached_property
    def solid(self) -> manifold3d.Manifold:
        """What a board cannot stand in."""
        solid = to_manifold(self.outer, "body")
        for hollow in self.hollows:
            solid = solid - to_manifold(hollow, "hollow")
        return solid


def boards_in_neighbours(
    bodies: Sequence[Neighbour], copies: Sequence[Copy]
) -> dict[str, tuple[str, ...]]:
    """Return what to say of boards that reach into unlit bodies, by the scene's lit body.

    bodies : the different bodies, by the number that the copies carry
    One line for each unlit body that any copy's boards reach into by more than what counts as a
    touch. An unlit body can be cut to make room, so this is a thing to look at.
    """
    found: dict[tuple[str, str], dict[str, tuple[float, str]]] = {}
    unlit = [copy for copy in copies if not bodies[copy.body].boards]
    for piece in copies:
        for head in unlit if bodies[piece.body].boards else ():
            into_head = np.linalg.inv(head.transform) @ piece.transform
            reached = list(_reached(bodies[piece.body], bodies[head.body], into_head))
            if reached:
                found.setdefault((piece.of, head.name), {})[piece.name] = max(reached)
    lines: dict[str, tuple[str, ...]] = {}
    for (of, name), pieces in found.items():
        lines[of] = (*lines.get(of, ()), _words(of, name, pieces))
    return lines


def _reached(
    piece: Neighbour, head: Neighbour, into_head: FloatArray
) -> Iterator[tuple[float, str]]:
    """Yield how far boards of a piece reach into a body [mm], each with its name."""
    low, high = head.outer.bounds
    for name, mesh in piece.boards:
        board = mesh.moved(into_head)
        if np.any(board.bounds[1] <= low) or np.any(board.bounds[0] >= high):
            continue
        shared = to_manifold(board, name) ^ head.solid
        if shared.is_empty():
            continue
        points = from_manifold(shared.refine_to_length(STEP_MM)).vertices
        deep = float(depth_mm(head.outer, points).max())
        if deep > TOUCH_MM:
            yield deep, name


def _words(of: str, head: str, pieces: dict[str, tuple[float, str]]) -> str:
    (first, (deep_mm, light)), *more = sorted(pieces.items(), key=lambda item: -item[1][0])
    others = f", and of {len(more)} more," if more else ""
    return (
        f"{light} of {first}{others} reaches {deep_mm:.1f} mm into {head}: set it higher in {of}, "
        f"or cut room for it in {head}"
    )
