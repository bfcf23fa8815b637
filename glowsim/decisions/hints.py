"""Where in a body as it stands more or less light would help: a cloud of places, at once.

The same reading as `sensitivity`, for a body that is ready: two patches alone are read backwards,
the place to be mended and the rest of the glow, so that a whole cloud costs about one solve.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from glowsim.findings import Finding, Look
from glowsim.geometry.body import region_of
from glowsim.geometry.hollow import depth_mm
from glowsim.geometry.mesh import FloatArray
from glowsim.transport.problem import BodyProblem, Kind
from glowsim.transport.quick import QuickBody
from glowsim.transport.quick.adjoint import Adjoint

POINTS, AIR_POINTS = 1500, 250
"""Places in the cloud, about; in a hollow each takes rays of its own."""
AIR_RAYS = 500
BOARD_RAYS = 4000
DARKEST = 0.05
"""Without a finding, this darkest share of the surface is what is to be mended."""
STRONG = 97.0
"""Percentile of the effects that counts as full."""


@dataclass(frozen=True)
class Hints:
    """What light at some places of a body would do for one place of its surface.

    words     : the place that is to be mended, in words
    points_mm : (n, 3) float, in the body's frame, strongest help first
    effect    : (n,) float, -1 to 1: above 0 more light there helps, below 0 less does. On a
                square-root scale: light falls off by factors
    gain_at   : of a point, (3,) float: what the place over the mean is multiplied by when a board
                like the body's first, as bright as all its lights together, shines from there;
                the shadow of that board is left out
    """

    words: str
    points_mm: FloatArray
    effect: FloatArray
    gain_at: Callable[[FloatArray], float]


def hints_of(
    quick: QuickBody, problem: BodyProblem, look: Look, finding: Finding | None, flux_lm: FloatArray
) -> Hints:
    """Return where light would help a body.

    look    : the body as lit;  finding : what is to be mended, its darkest places if None
    flux_lm : (3,) float, of all lights of the body as driven, per band
    Raises SolveError if a solve does not converge.
    """
    near, words = _place(look, finding)
    patch = np.where(near, 1, np.where(look.glows, 0, -1))
    light = look.body.surface.areas_mm2 * np.maximum(look.luminance_cd_m2, 1e-12) * np.pi * 1e-6
    of_place, of_all = float(light[near].sum()), float(light[look.glows].sum())
    points, in_air = _cloud(problem)
    adjoint = Adjoint(quick, patch)
    colour = flux_lm / max(float(flux_lm.sum()), 1e-12)

    def share(weight: tuple[float, float]) -> FloatArray:
        """Return the share of a lumen at each place that leaves the patches, weighted."""
        table = colour[:, None] * np.array(weight)
        if in_air:
            return adjoint.in_air(points, table, AIR_RAYS)
        return adjoint.at(points, table)

    place, rest = share((0.0, 1.0)), share((1.0, 0.0))
    sign = -1.0 if finding is not None and finding.kind == "hot spot" else 1.0
    effect = sign * (place / of_place - (place + rest) / of_all)
    board = problem.emitters.of(0)
    middle = board.position.mean(axis=0)

    def gain_at(point: FloatArray) -> float:
        there = replace(board, position=board.position - middle + point)
        lm = flux_lm @ adjoint.respond(there, BOARD_RAYS)[0]
        return float((1 + lm[1] / of_place) / (1 + lm.sum() / of_all))

    strongest = max(float(np.percentile(np.abs(effect), STRONG)), 1e-30)
    order = np.argsort(-effect)
    shown = np.clip(np.sign(effect) * np.sqrt(np.abs(effect) / strongest), -1.0, 1.0)
    return Hints(words, points[order], shown[order], gain_at)


def _place(look: Look, finding: Finding | None) -> tuple[np.ndarray, str]:
    """Return the faces that are to be mended, (k,) bool, and what they are called."""
    if finding is None:
        limit = np.quantile(look.luminance_cd_m2[look.glows], DARKEST)
        return look.glows & (look.luminance_cd_m2 <= limit), "darkest twentieth"
    apart = np.linalg.norm(look.body.surface.centroids - np.array(finding.body_place_mm), axis=1)
    reach = max(finding.size_mm / 2, float(apart[look.glows].min()))
    words = f"{finding.kind} from {finding.from_mm:.0f} to {finding.to_mm:.0f} mm up"
    return look.glows & (apart <= reach), words


def _cloud(problem: BodyProblem) -> tuple[FloatArray, bool]:
    """Return places spread evenly through what light may stand in, and whether that is air."""
    kinds = problem.kind_of(problem.emitters.region)
    in_air = bool((kinds == Kind.AIR).any())
    wanted = Kind.AIR if in_air else Kind.SCATTERS
    low, high = problem.outer.bounds
    step = float(np.prod(high - low) / (AIR_POINTS if in_air else POINTS) / 2.5) ** (1 / 3)
    axes = [np.arange(a + step / 2, b, step) for a, b in zip(low, high, strict=True)]
    grid = np.stack(np.meshgrid(*axes, indexing="ij"), axis=-1).reshape(-1, 3)
    grid = grid[depth_mm(problem.outer, grid) > 0]
    region = region_of(grid, problem.solids)
    return grid[(region >= 0) & (problem.kind_of(region) == wanted)], in_air
