"""The reference solver: Monte Carlo transport of weighted photon packets.

It follows light scattering by scattering, without approximation but for its own noise, which
every figure carries. Slow where the quick solver is good, right where that is not.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import replace

from glowsim.errors import SolveError
from glowsim.transport.hollows import Entering, entering_by, lamps_of, pieces_of
from glowsim.transport.problem import BodyProblem
from glowsim.transport.reference.glow import glow_of
from glowsim.transport.reference.goal import Goal, Progress, Report
from glowsim.transport.reference.noise import noise_of
from glowsim.transport.reference.tallies import Tallies
from glowsim.transport.result import BodyGlow, is_hole, skin_mesh

DEFAULT_GOAL = Goal()
ENTERING_PHOTONS = 10_000
"""Through each piece of an opening: what it adds to a glow is a part of it."""
__all__ = ["Goal", "Progress", "Report", "Tallies", "entering_of", "noise_of", "solve_body"]


def solve_body(
    problem: BodyProblem,
    *,
    seed: int = 0,
    goal: Goal = DEFAULT_GOAL,
    earlier: Tallies | None = None,
    jumps: bool = True,
    report: Report = lambda progress: None,
    stop: Callable[[], bool] = lambda: False,
) -> tuple[BodyGlow, Tallies]:
    """Return the glow of one body, with the standard error of every face, and all tallies.

    seed    : the same seed gives the same numbers, on any number of threads, and whether
              photons are followed in one go or in several
    earlier : tallies to go on from with new photons; they are taken over and added to
    jumps   : cross clear material in single steps (see `jumps`): the same within 0.1 %, sooner
    report  : told how far it is, some times a second
    stop    : asked now and then whether to stop early

    Ctrl-C stops early too: what is done is returned, with `stopped` set in the tallies. Raises
    SolveError if `earlier` belongs to another body, seed or way of walking, or if there is no
    compiler.
    """
    started = time.perf_counter()
    report(Progress("compiling", 0.0, 0, float("inf"), 0.0))
    # Compiled code is loaded only where it is needed.
    try:
        from glowsim.transport.reference.run import Follower
    except ModuleNotFoundError as missing:
        if missing.name != "numba":
            raise
        raise SolveError(
            "the reference solver needs the compiler numba, which is not installed (there is no "
            "build of it for Macs with Intel processors); the quick solver does without"
        ) from None
    follower = Follower(problem, seed=seed, jumps=jumps, earlier=earlier)
    tallies = follower.follow_until(goal, report, stop, started)
    return glow_of(problem, tallies), tallies


def entering_of(
    problem: BodyProblem,
    *,
    seed: int = 0,
    jumps: bool = True,
    photons: int = ENTERING_PHOTONS,
    report: Report = lambda progress: None,
) -> Entering:
    """Return what light from the room that comes in through a body's openings does to its surface.

    photons : through each piece of an opening, at least
    Ctrl-C raises KeyboardInterrupt. Raises SolveError if there is no compiler.
    """
    lid = pieces_of(skin_mesh(problem), is_hole(problem)[problem.skin])
    lit = replace(problem, emitters=lamps_of(problem, lid, seed))
    goal = Goal(noise=None, photons=photons)
    glow, tallies = solve_body(lit, seed=seed, goal=goal, jumps=jumps, report=report)
    if tallies.stopped:
        raise KeyboardInterrupt
    return entering_by(problem, glow.surface, lid, glow.diffuse + glow.direct)
