"""Strips and chains along paths under the hand: shown piece by piece, slid where they lie."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from glowsim.catalogue import Catalogue
from glowsim.geometry.mesh import FloatArray
from glowsim.geometry.strips import PathStrip, path_strips
from glowsim.live import edits
from glowsim.live.edits import BoardAt, Prop
from glowsim.scene import Light, SceneFile

HAND = "start_mm"
"""What a maker measures of a strip: how far along its path it begins."""
LOOK_MM = 0.5
"""Between points of a path that a hand is held against."""


def strip_at(scene_file: SceneFile, at: BoardAt, catalogue: Catalogue) -> PathStrip | None:
    """Return a strip or chain along a path; None for a board that stands at a place of its own.

    Raises SceneError for a path it cannot take.
    """
    if not scene_file.scene.bodies[at.body].lights[at.light].runs_along:
        return None
    strips = path_strips(scene_file, at.body, catalogue)
    return next(strip for strip in strips if strip.number == at.light)


def pieces_of(scene_file: SceneFile, at: BoardAt, catalogue: Catalogue) -> list[Light]:
    """Return a light as the boards it is: the pieces of a strip along a path, or itself."""
    light = scene_file.scene.bodies[at.body].lights[at.light]
    strip = strip_at(scene_file, at, catalogue)
    return [light] if strip is None else strip.pieces(light.start_mm)


def slid_toward(
    prop: Prop, at: BoardAt, strip: PathStrip, place_mm: FloatArray, piece: int = 0
) -> Prop:
    """Return the prop with a strip slid so that one of its pieces is as near to a place as can
    be."""
    track = strip.track
    ways = np.arange(0.0, track.length_mm, LOOK_MM)
    way = float(ways[np.linalg.norm(track.at(ways) - place_mm, axis=1).argmin()])
    return slid_to(prop, at, strip, way - strip.to_first_mm - piece * strip.pitch_mm)


def slid_by(prop: Prop, at: BoardAt, strip: PathStrip, step_mm: Sequence[float]) -> Prop:
    """Return the prop with a strip slid by what of a step lies along it in its middle."""
    start = prop.light(at).start_mm
    pieces = strip.pieces(start)
    along = np.asarray(pieces[len(pieces) // 2].along, dtype=float)
    return slid_to(prop, at, strip, start + float(along @ np.asarray(step_mm, dtype=float)))


def slid_to(prop: Prop, at: BoardAt, strip: PathStrip, start_mm: float) -> Prop:
    """Return the prop with a strip that begins so far along its path, or as nearly as it may."""
    if strip.track.closed:
        start_mm = start_mm % strip.track.length_mm
    start_mm = float(np.clip(start_mm, 0.0, strip.last_start_mm))
    # Rounded down, so that it does not run past the end.
    return edits.slid(prop, at, float(np.floor(start_mm * 10 + 1e-6) / 10))
