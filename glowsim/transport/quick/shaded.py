"""Where quick is too bright: the surface behind a light board, and what a board shuts in.

Where the gap between the rim of a board and the wall beside it is but a few transport lengths wide
there is no room for diffusion. Beside the reference, behind a disc in a spike of foam: +34 %
(1.6 mm thick) and +53 % (0.3 mm) at a gap of one transport length, +3 and +10 % at two; +27 % over
all of the demo spike's foot, and within 3 % ahead of the board (DEVELOPERS.md). Where the gap is
wide, it counts how deep in the board's shadow the surface lies: in props drawn at random
(tests/transport/test_promises), at gaps of 3 to 9 transport lengths, the darkest patches behind a
board are 15 to 40 % too bright where half its width is more than half their distance, and 20 % at
0.4 of it; cells of 0.6 times the size change little.

In a hollow a board that faces the wall from close by shuts its light in: it gets out after many
bounces between the two, and what quick is off in one adds up. Beside the reference, a board 10 mm
wide in a ball of 1.5 mm resin, 3.3 to 3.9 transport lengths, all but the spot before it: +13 to
+26 % where 0.8 mm is left at its rim, +7 to +15 % at 1.3 mm, +1 to +8 % at 1.4 mm (one ring +14
+- 4), nothing at 2.2 mm; finer patches change nothing.
"""

from __future__ import annotations

import numpy as np

from glowsim.geometry.boards import BoardShape
from glowsim.geometry.hollow import nearest_on
from glowsim.geometry.mesh import FloatArray, IntArray, Mesh
from glowsim.transport.problem import BodyProblem, Kind, OpaqueBoard

GAP = 3.0
"""A gap narrower than this many transport lengths is narrow."""
SHADOW = 0.35
"""A board casts a deep shadow if half its width is more than this share of the way behind it."""
WORTH = 0.01
"""A smaller share of the glowing surface is not worth a word."""
BESIDE = 0.7
"""Walls beside a board lean this little toward where it faces, as a cosine."""
SHUT = 0.28
"""A board shuts its light in if less than this share of half its width is left at its rim."""
ROUND = 24


def cautions_behind_boards(problem: BodyProblem) -> list[str]:
    """Return what is to say of the surface behind each board; nothing of boards in hollows, nor
    where another LED lights that surface or none of it is meant to glow."""
    return list(dict.fromkeys(text for b in problem.boards if (text := _behind(problem, b))))


def cautions_of_shut_boards(problem: BodyProblem) -> list[str]:
    """Return what is to say of boards that face the wall of a hollow from close by; nothing where
    another light shines freely."""
    if not problem.boards or problem.emitters.light_count > len(problem.boards):
        return []
    left_mm = [_left_mm(problem, board) for board in problem.boards]
    narrow = [SHUT * _half_width_mm(board.shape) for board in problem.boards]
    if any(left >= most for left, most in zip(left_mm, narrow, strict=True)):
        return []
    least = int(np.argmin(left_mm))
    return [
        f"board {problem.boards[least].name} faces the wall of its hollow from so near that but "
        f"{left_mm[least]:.1f} mm are left at its rim: light gets out of there by many bounces "
        "between the two. Quick may show all but the spot before it a quarter too bright"
    ]


def _left_mm(problem: BodyProblem, board: OpaqueBoard) -> float:
    """Return what is left between the rim of a board's front and the wall of the hollow that it
    shines at, as a rule; infinite for a board that is not in a hollow or faces away [mm]."""
    shape, leds = board.shape, problem.emitters
    own = int(np.linalg.norm(shape.local(leds.position), axis=1).argmin())
    region = int(leds.region[own])
    hollow = problem.solids[region]
    if problem.media[region].kind != Kind.AIR or hollow is None:
        return np.inf
    rim = _rim_mm(shape, 0.0)
    distance, nearest, _ = nearest_on(hollow, rim)
    ahead = (nearest - rim) @ shape.frame[:3, 2] > BESIDE * distance
    return float(np.median(np.where(ahead, distance, np.inf)))


def _behind(problem: BodyProblem, board: OpaqueBoard) -> str:
    shape = board.shape
    leds = shape.local(problem.emitters.position)
    if len(leds) == 0 or (leds[:, 2] < -shape.thickness_mm).any():
        return ""
    own = int(problem.emitters.region[np.linalg.norm(leds, axis=1).argmin()])
    medium, skin = problem.media[own], problem.skin
    if medium.kind != Kind.SCATTERS:
        return ""
    shaded = shape.local(problem.walls.centroids[skin])[:, 2] < -shape.thickness_mm
    glowing = problem.walls.areas_mm2[skin] * problem.glows[skin]
    if float(glowing[shaded].sum()) < WORTH * float(glowing.sum()):
        return ""
    gap_mm = max(_gap_mm(problem, skin, shape), shape.bore_mm / 2)
    gap = gap_mm * float(medium.mu_t_reduced_per_mm.min())
    hidden = skin[shaded & (glowing > 0)]
    deep = _half_width_mm(shape) > SHADOW * _behind_mm(problem, hidden, shape)
    if gap >= GAP and not deep:
        return ""
    heights = problem.walls.triangles[hidden][:, :, 2]
    where = (
        f"the surface behind board {board.name}, from {heights.min():.0f} to {heights.max():.0f} "
        "mm height: light gets there only "
    )
    if gap >= GAP:
        return (
            f"{where}round the board. Quick may show it a tenth too bright, and places that are "
            "far darker than the rest a third"
        )
    return (
        f"{where}by the gap beside the board, {gap_mm:.1f} mm or {gap:.2g} transport lengths wide "
        f"(quick needs {GAP:g}). Quick may show it a third too bright, single places more"
    )


def _half_width_mm(shape: BoardShape) -> float:
    """Return half the width of a board, of a ring that of its band [mm]."""
    return (min(shape.size_mm) - shape.bore_mm) / (4 if shape.bore_mm else 2)


def _behind_mm(problem: BodyProblem, faces: IntArray, shape: BoardShape) -> float:
    """Return how far the nearest of some faces is from the middle of a board's back [mm]."""
    local = shape.local(problem.walls.centroids[faces]) + np.array([0, 0, shape.thickness_mm])
    return float(np.linalg.norm(local, axis=1).min(initial=np.inf))


def _gap_mm(problem: BodyProblem, skin: IntArray, shape: BoardShape) -> float:
    """Return how far the rim of a board's back is from the walls beside it, as a rule [mm]."""
    leaning = np.abs(problem.walls.normals[skin] @ shape.frame[:3, 2])
    beside = skin[leaning < BESIDE]
    if len(beside) == 0:
        return np.inf
    corners, number = np.unique(problem.walls.faces[beside], return_inverse=True)
    walls = Mesh.single_part(problem.walls.vertices[corners], number.reshape(-1, 3))
    return float(np.median(nearest_on(walls, _rim_mm(shape, -shape.thickness_mm))[0]))


def _rim_mm(shape: BoardShape, height_mm: float) -> FloatArray:
    """Return points along the rim of a board, so high over its front, (n, 3) float [mm]."""
    length, width = (size / 2 for size in shape.size_mm)
    if shape.is_round:
        turn = 2 * np.pi * np.arange(ROUND) / ROUND
        flat = length * np.column_stack([np.cos(turn), np.sin(turn)])
    else:
        corners = np.array([[length, width], [-length, width], [-length, -width], [length, -width]])
        sides = np.roll(corners, -1, axis=0) - corners
        along = np.cumsum(np.linalg.norm(sides, axis=1))
        at = along[-1] * (np.arange(ROUND) + 0.5) / ROUND
        knots, ring = np.append(0.0, along), np.vstack([corners, corners[:1]])
        flat = np.column_stack([np.interp(at, knots, ring[:, k]) for k in (0, 1)])
    local = np.column_stack([flat, np.full(ROUND, height_mm)])
    return np.asarray(local @ shape.frame[:3, :3].T + shape.frame[:3, 3])
