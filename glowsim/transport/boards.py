"""Light boards as bodies: opaque solids that stand in a body and throw light back.

A board needs no new cut of the body: it stands in whatever is there, material or air, and where
it stands the light stops. `with_boards` lays its faces beside the walls of the body, as those of
an opaque region, which is all a solver that follows light ray by ray has to know.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from glowsim.catalogue import Catalogue
from glowsim.geometry.boards import board_shape
from glowsim.geometry.body import region_of
from glowsim.geometry.mesh import FloatArray, IntArray, Mesh
from glowsim.scene import Body
from glowsim.transport.problem import BARE, BodyProblem, Kind, Medium, OpaqueBoard

BESIDE_MM = 0.02
"""How far ahead of a board's face is looked for what it stands in."""


def boards_of(body: Body, catalogue: Catalogue) -> tuple[OpaqueBoard, ...]:
    """Return the light boards of a body of a scene, in its own frame, one for each light."""
    boards = []
    for light in body.lights:
        board = catalogue.board(light.board)
        shape = board_shape(light, board)
        if shape is not None:
            front, back = np.array(board.front_reflectance), np.array(board.back_reflectance)
            boards.append(OpaqueBoard(light.board, shape, front, back))
    return tuple(boards)


def with_boards(problem: BodyProblem) -> BodyProblem:
    """Return a body whose walls and media include its boards.

    Each board gives two opaque regions, the side with the LEDs and the rest, after the body's
    own; its faces come after the body's walls. Solids of these regions are None, since nothing
    is inside them.
    """
    if not problem.boards:
        return problem
    media, walls = list(problem.media), [problem.walls]
    inside, outside = [problem.inside], [problem.outside]
    for board in problem.boards:
        mesh = board.shape.mesh()
        ahead = mesh.normals @ board.shape.frame[:3, 2] > 0.5
        inside.append(len(media) + np.where(ahead, 0, 1))
        outside.append(_beside(mesh, problem.solids))
        media += [_face(board.name, board.front), _face(f"{board.name}, back", board.back)]
        walls.append(mesh)
    added = sum(len(mesh.faces) for mesh in walls[1:])

    def padded(values: IntArray, fill: int) -> IntArray:
        return np.concatenate([values, np.full(added, fill, dtype=values.dtype)])

    return replace(
        problem,
        media=tuple(media),
        solids=(*problem.solids, *[None] * (len(media) - len(problem.media))),
        walls=_joined(walls),
        inside=np.concatenate(inside),
        outside=np.concatenate(outside),
        coat=padded(problem.coat, BARE),
        glows=np.concatenate([problem.glows, np.zeros(added, dtype=bool)]),
        part=padded(problem.part, 0),
        whiteness=np.vstack([problem.whiteness, np.zeros((added, 3))]),
        boards=(),
    )


def region_count(problem: BodyProblem) -> int:
    """Return how many regions `with_boards(problem)` has."""
    return len(problem.media) + 2 * len(problem.boards)


def region_names(problem: BodyProblem) -> tuple[str, ...]:
    """Return where light may be absorbed in a body: its regions, then each kind of board once."""
    kinds = dict.fromkeys(_called(board) for board in problem.boards)
    return (*(medium.name for medium in problem.media), *kinds)


def folded(problem: BodyProblem, absorbed: FloatArray) -> FloatArray:
    """Return what is absorbed in each of `region_names`, (..., names) float.

    absorbed : (..., regions) float, in the regions of `with_boards(problem)`
    """
    names, own = region_names(problem), len(problem.media)
    table = np.zeros((*absorbed.shape[:-1], len(names)))
    table[..., :own] = absorbed[..., :own]
    for number, board in enumerate(problem.boards):
        place = names.index(_called(board), own)
        first = own + 2 * number
        table[..., place] += absorbed[..., first : first + 2].sum(axis=-1)
    return table


def _called(board: OpaqueBoard) -> str:
    return f"board {board.name}"


def _face(name: str, reflectance: FloatArray) -> Medium:
    return Medium(name, Kind.OPAQUE, np.zeros(3), np.zeros(3), reflectance=reflectance)


def _beside(mesh: Mesh, solids: Sequence[Mesh | None]) -> IntArray:
    """Return the region each face of a board looks into; the body's own where it sticks out."""
    if not any(solid is not None for solid in solids[1:]):
        return np.zeros(len(mesh.faces), dtype=np.int64)
    return np.maximum(region_of(mesh.centroids + BESIDE_MM * mesh.normals, tuple(solids)), 0)


def _joined(meshes: Sequence[Mesh]) -> Mesh:
    first = np.cumsum([0, *(len(mesh.vertices) for mesh in meshes[:-1])])
    return Mesh.single_part(
        np.concatenate([mesh.vertices for mesh in meshes]),
        np.concatenate([mesh.faces + k for mesh, k in zip(meshes, first, strict=True)]),
    )
