"""The quick solver: first flight, diffusion on a cut-cell grid, cavity exchange."""

from __future__ import annotations

import numpy as np

from glowsim.transport.boards import region_names
from glowsim.transport.hollows import Entering, entering_by, lamps_of, pieces_of
from glowsim.transport.problem import BodyProblem
from glowsim.transport.quick.arrangement import BodyResponse
from glowsim.transport.quick.quality import DRAFT, FULL, Quality
from glowsim.transport.quick.solve import QuickBody
from glowsim.transport.quick.trust import trust_of
from glowsim.transport.result import Account, BodyGlow, body_glow, is_hole, unlit_body

__all__ = ["DRAFT", "FULL", "BodyResponse", "Quality", "QuickBody", "entering_of", "solve_body"]


def solve_body(
    problem: BodyProblem,
    seed: int = 0,
    ready: QuickBody | None = None,
    quality: Quality = FULL,
) -> BodyGlow:
    """Return the glow of one body. Raises SolveError if a solve does not converge.

    ready : the same body, other lights aside, prepared before
    A draft, which nobody judges by, comes without a line of trust.
    """
    if problem.emitters.light_count == 0:
        return unlit_body(problem)
    quick = ready or QuickBody(problem, seed)
    response = quick.respond(problem.emitters, problem.boards, quality)
    direct_share = float(response.direct.sum(axis=2).mean())
    return body_glow(
        problem,
        response.diffuse,
        response.direct,
        response.direct_moment,
        _account(problem, response),
        trust_of(problem, direct_share) if quality.judged else (),
        surface=quick.surface(problem),
        judged=quality.judged,
    )


def entering_of(problem: BodyProblem, seed: int = 0, ready: QuickBody | None = None) -> Entering:
    """Return what light from the room that comes in through a body's openings does to its surface.

    ready : the same body, other lights aside, prepared before
    Raises SolveError if a solve does not converge.
    """
    quick = ready or QuickBody(problem, seed)
    surface = quick.surface(problem)
    lid = pieces_of(surface, is_hole(problem)[problem.skin])
    response = quick.arranged(problem.boards).entered(lamps_of(problem, lid, seed))
    out = (response.diffuse + response.direct) / np.maximum(surface.areas_mm2, 1e-12)
    return entering_by(problem, surface, lid, out)


def _account(problem: BodyProblem, response: BodyResponse) -> Account:
    hole = is_hole(problem)[problem.skin]
    leaving = response.diffuse + response.direct
    return Account(
        region_names(problem),
        response.absorbed,
        response.in_coats,
        leaving[:, :, ~hole].sum(axis=2),
        leaving[:, :, hole].sum(axis=2),
        response.lost,
    )
