"""Placements that are easy to measure and build: whole tenths of a millimetre, and the axis of the
body where that costs next to nothing."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from glowsim.decisions.allowed import Allowed
from glowsim.decisions.polish import Placement
from glowsim.decisions.sites import Sites
from glowsim.geometry.mesh import FloatArray

ON_AXIS_SHARE = 0.3
"""A board is near the axis within this share of half the body's width."""
GIVES = 0.01
"""Share of the score that standing on the axis may cost: less than the prediction is off by."""


def tidied(
    placement: Placement,
    allowed: Allowed,
    rows_of: Callable[[Sites], FloatArray],
    score: Callable[[FloatArray], float],
) -> Placement:
    """Return the placement with places in tenths of a mm, boards near the axis put onto it.

    rows_of : the luminance of each site at full level, (sites, patches), read with many rays
    score   : how good the luminance of the patches is
    """
    rounded = _moved(placement.sites, np.round(placement.sites.poses.position, 1) + 0.0)
    sites = rounded if allowed.allows(rounded.poses).all() else placement.sites
    here = Placement(sites, placement.level, rows_of(sites))
    if allowed.placing.symmetry > 1 or allowed.placing.drill is not None:
        return here
    low, high = allowed.problem.walls.bounds
    near_mm = ON_AXIS_SHARE * 0.5 * float((high - low)[:2].min())
    off = np.linalg.norm(sites.poses.position[:, :2], axis=1)
    for board in np.argsort(off):
        if 0.0 < off[board] <= near_mm:
            here = _centred(here, int(board), allowed, rows_of, score)
    return here


def _centred(
    here: Placement,
    board: int,
    allowed: Allowed,
    rows_of: Callable[[Sites], FloatArray],
    score: Callable[[FloatArray], float],
) -> Placement:
    """Return the placement with a board moved sideways onto the axis if it may and should be."""
    place = here.sites.poses.position.copy()
    place[board, :2] = 0.0
    sites = _moved(here.sites, place)
    alone = sites.poses.at(slice(board, board + 1))
    others = sites.poses.at(np.arange(len(place)) != board)
    if not allowed.allows(alone).all() or allowed.clash(alone, others).any():
        return here
    rows = here.rows.copy()
    rows[board] = rows_of(sites.at(np.array([board])))[0]
    there = Placement(sites, here.level, rows)
    enough = (1.0 - GIVES) * score(here.luminance)
    return there if score(there.luminance) >= enough else here


def _moved(sites: Sites, position: FloatArray) -> Sites:
    return replace(sites, poses=replace(sites.poses, position=position))
