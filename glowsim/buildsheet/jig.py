"""Drilling jigs for a round head: a ring to print, with a guide at every piece's wire hole."""

from __future__ import annotations

import math

import manifold3d
import numpy as np

from glowsim.buildsheet.head import Row
from glowsim.buildsheet.places import CHANNEL_MM
from glowsim.geometry.mesh import Mesh, from_manifold

WALL_MM = 3.0
HALF_BAND_MM = 7.0
"""Half of the height of the ring."""
GUIDE_MM = 8.0
"""How far a guide stands out from the head: long enough to hold a drill straight."""
GUIDE_WALL_MM = 2.5
PLAY_MM = 0.2
"""Between jig and head, and around the drill (common practice for prints)."""
NOTCH_MM = 3.0
SPLIT_MM = 0.6
"""Width of the cut that parts a ring which could not be put on whole."""
SEGMENTS = 180


def jig(row: Row) -> Mesh:
    """Return the jig of one row, in the frame of the head's middle; in two halves where the row
    runs round the head's widest place."""
    radius, lean = row.head_mm + PLAY_MM, math.radians(row.lean_deg)
    level = row.head_mm * math.cos(lean)
    ball = manifold3d.Manifold.sphere
    shell = ball(radius + WALL_MM, SEGMENTS)
    low, high = level - HALF_BAND_MM, level + HALF_BAND_MM
    ring = shell.trim_by_plane([0, 0, 1], low).trim_by_plane([0, 0, -1], -high)
    ring -= _notch(row, high)  # before the guides: one may stand there
    ways = [_way(lean, math.radians(angle)) for angle in row.angle_deg]
    outer_mm = CHANNEL_MM / 2 + PLAY_MM / 2 + GUIDE_WALL_MM
    for way in ways:
        ring += _rod(way, row.head_mm - WALL_MM, radius + GUIDE_MM, outer_mm)
    ring -= ball(radius, SEGMENTS)
    for way in ways:
        ring -= _rod(way, 0.5 * row.head_mm, radius + 2 * GUIDE_MM, (CHANNEL_MM + PLAY_MM) / 2)
    if low < 0 < high:
        ring -= _split(row, low, high)
    return from_manifold(ring)


def on_whole(row: Row) -> bool:
    """Whether the ring slips on in one piece."""
    level = row.head_mm * math.cos(math.radians(row.lean_deg))
    return abs(level) >= HALF_BAND_MM


def jig_words(row: Row) -> str:
    """Return how to use a jig."""
    lower = row.above_mm - HALF_BAND_MM
    put = "slips on whole" if on_whole(row) else "comes in two halves, taped together round it"
    return (
        f"drilling jig for {row.names[0]} to {row.names[-1]}, to print: {put}; its lower edge "
        f"stands {lower:.1f} mm above {row.head}'s lowest point all round, the notch towards +x. "
        f"Bore Ø {CHANNEL_MM:.0f} mm through the guides, towards its middle"
    )


def _way(lean: float, turn: float) -> np.ndarray:
    """Return the unit vector out from the head's middle to a piece, (3,) float."""
    return np.array(
        [math.sin(lean) * math.cos(turn), math.sin(lean) * math.sin(turn), math.cos(lean)]
    )


def _rod(way: np.ndarray, start: float, end: float, radius: float) -> manifold3d.Manifold:
    """Return a rod along a way out from the middle, between two distances."""
    lean = math.degrees(math.acos(float(np.clip(way[2], -1, 1))))
    turn = math.degrees(math.atan2(way[1], way[0]))
    rod = manifold3d.Manifold.cylinder(end - start, radius, circular_segments=64)
    return rod.translate([0, 0, start]).rotate([0, lean, 0]).rotate([0, 0, turn])


def _notch(row: Row, high: float) -> manifold3d.Manifold:
    """Return the notch in the upper edge towards +x."""
    far = row.head_mm + 3 * GUIDE_MM
    box = manifold3d.Manifold.cube([far, NOTCH_MM, 2 * NOTCH_MM], False)
    return box.translate([0, -NOTCH_MM / 2, high - NOTCH_MM])


def _split(row: Row, low: float, high: float) -> manifold3d.Manifold:
    """Return the cuts that part a ring: at the strip's seam, and opposite, clear of the guides."""
    far = row.head_mm + 3 * GUIDE_MM
    half = manifold3d.Manifold.cube([far, SPLIT_MM, high - low + 2], False)
    half = half.translate([0, -SPLIT_MM / 2, low - 1])
    gaps = len(row.angle_deg)
    step = row.angle_deg[1] - row.angle_deg[0]
    across = row.seam_deg + step * (gaps // 2)
    return half.rotate([0, 0, row.seam_deg]) + half.rotate([0, 0, across])
