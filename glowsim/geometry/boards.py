"""Light boards as solids: their outline, how they stand in a body, how wires leave them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import trimesh

from glowsim.catalogue import Board
from glowsim.geometry.mesh import FloatArray, Mesh
from glowsim.geometry.rays import BoolArray, RayTarget
from glowsim.scene.lights import Light, StripPiece

SIDES = 64
"""Chords of a round board."""


def board_frame(light: Light) -> FloatArray | None:
    """Return the (4, 4) transform from the board's frame to its body's, None for no such frame.

    The board faces along its +z, and a strip runs along its +x: along the body's z unless the
    scene says otherwise, or unless the board faces that way. There is no such frame where the
    scene has a strip run the way it faces.
    """
    axis = np.asarray(light.direction, dtype=float)
    axis = axis / np.linalg.norm(axis)
    if light.along is not None:
        across = _across(np.asarray(light.along), axis)
    else:
        ways = np.array([[0.0, 0, 1], [1, 0, 0], [0, 1, 0]])
        across = next(a for way in ways if (a := _across(way, axis)) is not None)
    if across is None:
        return None
    frame = np.eye(4)
    frame[:3, :3] = np.column_stack([across, np.cross(axis, across), axis])
    frame[:3, 3] = light.position_mm
    return frame


def outline_mm(board: Board, led_count: int | None = None) -> tuple[float, float]:
    """Return the outer size of a board along its x and y [mm]."""
    if board.kind == "strip":
        count = len(board.led_offsets_mm(led_count))
        return count * float(board.pitch_mm or 0), float(board.width_mm or 0)
    return float(board.diameter_mm or 0), float(board.diameter_mm or 0)


def bore_mm(board: Board) -> float:
    """Return the diameter of the opening of a ring [mm], 0 for other boards.

    The LEDs stand midway between the two outlines.
    """
    if board.kind != "ring":
        return 0.0
    return max(0.0, 2 * float(board.ring_diameter_mm or 0) - float(board.diameter_mm or 0))


@dataclass(frozen=True)
class BoardShape:
    """A light board as a flat solid in its body's frame, from z = -thickness to 0 in its own.

    frame     : (4, 4) float, from the board's frame to the body's; the board faces along its +z
    size_mm   : (length, width);  bore_mm : diameter of the opening of a ring, 0 without
    is_round  : a disc or ring; otherwise a rectangle
    strip     : number of the bent strip or chain it is of, -1 for a board by itself
    chained   : whether it is a board of a chain, apart from the next
    """

    frame: FloatArray
    size_mm: tuple[float, float]
    thickness_mm: float
    is_round: bool
    bore_mm: float = 0.0
    strip: int = -1
    chained: bool = False

    def continues(self, other: BoardShape) -> bool:
        """Whether both are pieces of one bent strip."""
        return self.strip >= 0 and self.strip == other.strip and not self.chained

    def local(self, points: FloatArray) -> FloatArray:
        """Return points of the body's frame, (n, 3) [mm], in the board's own."""
        return np.asarray((points - self.frame[:3, 3]) @ self.frame[:3, :3])

    def covers(self, local: FloatArray) -> BoolArray:
        """Return whether points of the board's frame lie within its outline, seen from ahead."""
        if not self.is_round:
            return np.all(np.abs(local[:, :2]) <= np.array(self.size_mm) / 2, axis=1)
        radius = np.linalg.norm(local[:, :2], axis=1)
        return (radius <= self.size_mm[0] / 2) & (radius >= self.bore_mm / 2)

    def mesh(self) -> Mesh:
        """Return the board as a closed mesh in its body's frame."""
        return _flat_solid(
            self.size_mm, self.bore_mm, self.thickness_mm, self.thickness_mm, self.is_round
        ).moved(self.frame)


def board_shape(light: Light, board: Board) -> BoardShape | None:
    """Return a light's board as it stands in its body; None where it has no frame."""
    frame = board_frame(light)
    if frame is None:
        return None
    size_mm = outline_mm(board, light.led_count)
    piece = light if isinstance(light, StripPiece) else None
    if piece is not None and not piece.chained:
        size_mm = (piece.length_mm, size_mm[1])
    return BoardShape(
        frame,
        size_mm,
        board.thickness_mm,
        board.kind != "strip",
        bore_mm(board),
        piece.strip if piece else -1,
        piece is not None and piece.chained,
    )


def board_solid(
    board: Board, led_count: int | None = None, clearance_mm: float = 0.0, filled: bool = False
) -> Mesh:
    """Return a board as a closed mesh in its own frame, from z = -thickness up to 0.

    clearance_mm : how much is added on every side;  filled : close the opening of a ring
    """
    length, width = outline_mm(board, led_count)
    return _flat_solid(
        (length + 2 * clearance_mm, width + 2 * clearance_mm),
        0.0 if filled else bore_mm(board) - 2 * clearance_mm,
        board.thickness_mm + 2 * clearance_mm,
        board.thickness_mm,
        board.kind != "strip",
    )


def _flat_solid(
    size_mm: tuple[float, float],
    bore_mm: float,
    height_mm: float,
    thickness_mm: float,
    is_round: bool,
) -> Mesh:
    """Return a flat solid about the middle of a board that reaches from -thickness up to 0."""
    if not is_round:
        solid = trimesh.creation.box(extents=(*size_mm, height_mm))
    elif bore_mm > 0:
        solid = trimesh.creation.annulus(
            r_min=bore_mm / 2, r_max=size_mm[0] / 2, height=height_mm, sections=SIDES
        )
    else:
        solid = trimesh.creation.cylinder(radius=size_mm[0] / 2, height=height_mm, sections=SIDES)
    mesh = Mesh.single_part(solid.vertices, solid.faces)
    return mesh.moved(trimesh.transformations.translation_matrix((0, 0, -thickness_mm / 2)))


def way_out_mm(outer: Mesh, start_mm: FloatArray) -> FloatArray:
    """Return where a wire that runs straight down (-z) from a point leaves the body, (3,) [mm]."""
    down = np.array([[0.0, 0.0, -1.0]])
    hit = RayTarget.of(outer).first_hits(start_mm[None], down)
    if hit.face[0] < 0:
        return start_mm
    return start_mm + down[0] * float(hit.distance_mm[0])


def _across(way: FloatArray, axis: FloatArray) -> FloatArray | None:
    """Return the unit vector nearest to `way` across `axis`, or None if they are parallel."""
    across = way - (way @ axis) * axis
    size = float(np.linalg.norm(across))
    return across / size if size > 1e-3 * float(np.linalg.norm(way)) else None
