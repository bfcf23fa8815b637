"""Regions of a surface as the scene says them: the faces they hold and the limits they end at."""

from __future__ import annotations

import numpy as np

from glowsim.errors import GeometryError
from glowsim.geometry.cuts import Limit, ball, height
from glowsim.geometry.hollow import nearest_on
from glowsim.geometry.labels import bearing, single_names
from glowsim.geometry.lines import along_line_mm
from glowsim.geometry.mesh import IntArray, Mesh
from glowsim.geometry.meshparts import SHOWN
from glowsim.scene.bodies import Where


def faces_where(where: Where, walls: Mesh, parts: IntArray, names: tuple[str, ...]) -> np.ndarray:
    """Return which faces lie in a region of the surface, (m,) bool.

    parts : (m,) int, named part of each face. Raises GeometryError for a part or colour that is
    not there.
    """
    chosen = np.ones(len(walls.faces), dtype=bool)
    centre = walls.centroids
    for key, name in (("part", where.part), ("colour", where.colour and where.colour.lower())):
        if name is None:
            continue
        bear = bearing(name, names)
        if not bear:
            known = [n for n in single_names(names) if n.startswith("#") == (key == "colour")]
            there = ", ".join(known[:SHOWN]) + (", ..." if len(known) > SHOWN else "")
            there = there if len(names) > 1 and known else "none; use above_mm, facing or a ball"
            raise GeometryError(f"this body has no {key} '{name}' ({key}s: {there})")
        chosen &= np.isin(parts, bear)
    if where.above_mm is not None:
        chosen &= centre[:, 2] > where.above_mm
    if where.below_mm is not None:
        chosen &= centre[:, 2] < where.below_mm
    if where.centre_mm is not None and where.radius_mm is not None:
        chosen &= np.linalg.norm(centre - where.centre_mm, axis=1) < where.radius_mm
    if where.facing is not None:
        way = np.asarray(where.facing) / np.linalg.norm(where.facing)
        chosen &= walls.normals @ way > np.cos(np.radians(where.facing_within_deg))
    if where.line_mm is not None:
        chosen &= along_line_mm(centre, where.line_mm) < where.line_width_mm / 2
    return chosen


def limits_of(where: Where) -> list[Limit]:
    """Return the heights and the ball that end a region of a surface."""
    limits = [height(mm) for mm in (where.above_mm, where.below_mm) if mm is not None]
    if where.centre_mm is not None and where.radius_mm is not None:
        limits.append(ball(where.centre_mm, where.radius_mm))
    return limits


def nothing_there(where: Where, walls: Mesh) -> str:
    """Say why a region of a surface holds no face of it."""
    line_mm = where.line_mm
    if line_mm is None:
        low, high = walls.bounds[:, 2]
        return f"covers no face of the body, which reaches from z = {low:.3g} to {high:.3g} mm"
    off_mm = nearest_on(walls, np.asarray(line_mm, dtype=float))[0]
    place = ", ".join(f"{c:g}" for c in line_mm[int(off_mm.argmax())])
    return (
        f"its line meets no face of the body: its point ({place}) lies {off_mm.max():.2g} mm off "
        "the surface; give points on it"
    )
