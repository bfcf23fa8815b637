"""The quick solver: first flight, diffusion on a cut-cell grid, cavity exchange."""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping

import numpy as np

from glowsim.transport.problem import BodyProblem, Problem
from glowsim.transport.quick.solve import BodyResponse, QuickBody
from glowsim.transport.quick.trust import trust_of
from glowsim.transport.result import (
    Account,
    BodyGlow,
    SurfaceGlow,
    body_glow,
    is_hole,
    surface_glow,
)

__all__ = ["BodyResponse", "QuickBody", "solve_quick"]


def solve_quick(
    problem: Problem,
    seed: int = 0,
    known: Mapping[str, BodyGlow] | None = None,
    report: Callable[[str], None] = lambda text: None,
) -> SurfaceGlow:
    """Solve a prop with the quick solver; each different body once.

    known : glows of bodies solved before, by key; those are taken as they are.
    Raises SolveError if a solve does not converge.
    """
    started = time.perf_counter()
    bodies = []
    for body in problem.bodies:
        if known and body.key and body.key in known:
            bodies.append(known[body.key])
            continue
        report(f"lighting {body.name}")
        bodies.append(_solved(body, seed))
    return surface_glow(problem, tuple(bodies), "quick", seed, time.perf_counter() - started)


def _solved(problem: BodyProblem, seed: int) -> BodyGlow:
    if problem.emitters.light_count == 0:
        return _unlit(problem)
    response = QuickBody(problem, seed).respond(problem.emitters)
    direct_share = float(response.direct.sum(axis=2).mean())
    return body_glow(
        problem,
        response.diffuse,
        response.direct,
        response.heading,
        _account(problem, response),
        trust_of(problem, direct_share),
    )


def _account(problem: BodyProblem, response: BodyResponse) -> Account:
    hole = is_hole(problem)[problem.skin]
    leaving = response.diffuse + response.direct
    return Account(
        tuple(m.name for m in problem.media),
        response.absorbed,
        response.in_coats,
        leaving[:, :, ~hole].sum(axis=2),
        leaving[:, :, hole].sum(axis=2),
        response.lost,
    )


def _unlit(problem: BodyProblem) -> BodyGlow:
    """Return the glow of a body without lights: none."""
    faces, regions = len(problem.skin), len(problem.media)
    none = np.zeros((0, 3))
    account = Account(
        tuple(m.name for m in problem.media), np.zeros((0, 3, regions)), none, none, none, none
    )
    nothing = np.zeros((0, 3, faces))
    return body_glow(problem, nothing, nothing, np.zeros((0, faces, 3)), account, ())
