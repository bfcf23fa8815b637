"""Whether a photo shows the outline of a lit piece where its points say that it is."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from glowsim.calibration.image import Frame, UnreadableError
from glowsim.calibration.pose import Pose
from glowsim.calibration.response import Response
from glowsim.geometry.mesh import FloatArray

BLURRED = 0.45
"""Rise of the outline from 20 to 80 %, over the half breadth, in a sharp image 0.1 to 0.25."""
NO_OUTLINE = 1.0
"""The same from which there is none: a photo of something else."""
AGAIN, BRIGHTER = 0.5, 4.0
"""Of the light of the piece, from which it is bright again beyond its outline, and from which what
is beside the stretch is no part of it."""
LEAST_PX = 20
"""Pixels beyond the outline that are looked at, at least."""


@dataclass(frozen=True)
class _Edge:
    """Where light falls off beside a piece.

    rise  : how far the fall from 80 to 20 % reaches, over where it passes 50 %; None where light
            does not fall
    alone : whether it is nowhere brighter, and stays dark for two breadths of the piece beyond
    """

    rise: float | None
    alone: bool


def check_outline(
    pose: Pose, frame: Frame, response: Response, points: FloatArray, across: FloatArray
) -> None:
    """Raise UnreadableError where there is no outline of the piece beside a stretch, where it
    rises too slowly from the dark, or where there are more of them than one piece has.

    points : (m, 3) float, along the stretch;  across : (3,) float, the way across it
    """
    found = []
    for point in points[[len(points) // 4, len(points) // 2]]:
        for side in (-1.0, 1.0):
            reach = pose.pixels(np.array([point, point + side * across]))
            step = (reach[1] - reach[0]) / np.linalg.norm(reach[1] - reach[0])
            line = np.floor(reach[0] + step * np.arange(0, max(frame.size))[:, None]).astype(int)
            inside = ((line >= 0) & (line < np.array(frame.size))).all(axis=1)
            line = line[: int(inside.argmin()) if not inside.all() else len(line)]
            light = response(frame.codes[line[:, 1], line[:, 0]] / frame.full).sum(axis=1)
            found.append(_edge(light))
    if problem := _problem(found):
        raise UnreadableError(problem, "images", 0, "file")


def _problem(found: list[_Edge]) -> str:
    """Say what is wrong with the edges that were found, or nothing."""
    if 2 * sum(not edge.alone for edge in found) > len(found):
        return (
            "beside the stretch dark and bright alternate: is this a photo of the lit piece "
            "alone, with dark around it, and are the points right?"
        )
    rises = [edge.rise for edge in found if edge.rise is not None]
    if not rises:
        return (
            "beside the stretch it is nowhere darker: is this a photo of the lit piece, with dark "
            "on both sides of it, and are the points right?"
        )
    rise = float(np.median(rises))
    if rise > NO_OUTLINE:
        return (
            "no sharp outline is where the points say the piece is: is this a photo of it, and are "
            "the points right?"
        )
    if rise > BLURRED:
        return (
            "the image is blurred: the outline of the piece fades over "
            f"{100 * rise:.0f} % of its half width; focus by hand, on a stand"
        )
    return ""


def _edge(light: FloatArray) -> _Edge:
    """Return how light falls off from the middle of the piece outward.

    light : (n,) float, of the pixels of a line
    """
    level = light / max(float(np.median(light[:5])), 1e-12)
    brighter = bool((level > BRIGHTER).mean() > 0.05)
    if len(level) < 8 or not (level < 0.2).any():
        return _Edge(None, not brighter)
    low = int((level < 0.2).argmax())
    half = int((level < 0.5).argmax())
    high = max((k for k in range(half) if level[k] > 0.8), default=0)
    beyond = level[low : low + max(4 * half, LEAST_PX)]
    alone = not brighter and (beyond > AGAIN).mean() < 0.05
    return _Edge((low - high) / max(half, 1), bool(alone))
