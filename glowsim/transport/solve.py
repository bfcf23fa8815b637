"""Solve a scene, reusing what an earlier result already holds."""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Literal

from glowsim.errors import SolveError
from glowsim.scene import SceneFile
from glowsim.transport.long_run import LongRun, Watch, nothing_seen
from glowsim.transport.plan import plan_of
from glowsim.transport.prepared import PreparedProp
from glowsim.transport.reference import Goal
from glowsim.transport.result import BodyGlow, SurfaceGlow
from glowsim.transport.sizes import Sizes
from glowsim.transport.solvers import REFERENCE
from glowsim.transport.store import load_glow, load_tallies, save_glow
from glowsim.transport.sure import made_sure

REFERENCE_GOAL = Goal(noise=0.02, seconds=60.0)
"""Where the reference solver stops if nothing is asked for."""


def solve(
    scene_file: SceneFile,
    *,
    method: Literal["quick", "reference"] = "quick",
    seed: int = 0,
    saved: str | os.PathLike[str] | None = None,
    goal: Goal = REFERENCE_GOAL,
    resume: bool = False,
    fresh: bool = False,
    jumps: bool = True,
    sizes: Mapping[int, Sizes] | None = None,
    prop: PreparedProp | None = None,
    sure: Goal | None = None,
    photons: Path | None = None,
    report: Callable[[str], None] = lambda text: None,
    watch: Watch = nothing_seen,
) -> SurfaceGlow:
    """Return the glow of a scene; bodies that are alike are solved once.

    method : quick, or the reference solver: slow, without approximation but for its noise
    saved  : a result file. Bodies that it holds, unchanged in all that matters to light and
             solved with the same method and seed, are taken from it; afterwards it holds this
             scene.
    goal   : when the reference solver stops
    resume : let the reference solver go on from the photons in `saved`. Without it, too few
             photons in `saved` are an error: they are neither thrown away nor followed again.
    fresh  : take nothing from `saved`; it keeps what it holds until the new result is whole
    jumps  : let the reference solver cross clear material in single steps; without, it follows
             every scattering, which takes longer and changes nothing that can be told
    sizes  : faces and cells of bodies, by number, where the scene does not say
    prop   : what has been kept ready for the quick solver, whose seed then counts
    sure   : solve by the reference solver just those bodies on which quick is a rough guide, up to
             this goal, whose time they share; the others stay quick's
    photons : with `sure`, the reference solver's own result file, as `saved` is to it alone
    report, watch : told what is being worked on, and how far the reference solver is
    Raises SceneError, MaterialError, GeometryError or SolveError. Ctrl-C in the reference solver
    raises KeyboardInterrupt that says what `saved` holds now.
    """
    plan = plan_of(scene_file, sizes)
    file = None if saved is None else Path(saved)
    if method == REFERENCE:
        return LongRun(plan, goal, seed, file, resume, report, watch, jumps, fresh).solve()
    prop = prop or PreparedProp(seed)
    earlier = _earlier(file, prop.seed, report) if file and not fresh else None
    known = {body.key: body for body in earlier.bodies if body.key} if earlier else {}
    glow = prop.glow(plan, known=known, like=earlier, report=report)
    if file and any(_is_new(body, known) for body in glow.bodies):
        save_glow(glow, file)
    return made_sure(
        plan, glow, sure, seed=prop.seed, saved=photons, resume=resume, jumps=jumps,
        fresh=fresh, report=report, watch=watch,
    )  # fmt: skip


def _is_new(body: BodyGlow, known: Mapping[str, BodyGlow]) -> bool:
    """Return whether a body, or what light does in its open hollow, is not in a file yet."""
    there = known.get(body.key)
    return there is None or (body.entering is not None and there.entering is None)


def keep_what_is_known(solved: SurfaceGlow, since: SurfaceGlow, saved: Path) -> None:
    """Let the result file of quick's answer say too what was worked out of its faces since.

    since : made from `solved`, as wired for one
    """
    if since.known_air.keys() - solved.known_air.keys():
        save_glow(since.relit(solved), saved)


def _earlier(saved: Path, seed: int, report: Callable[[str], None]) -> SurfaceGlow | None:
    """Return an earlier result of quick's, None where it cannot be used."""
    if not saved.exists():
        return None
    try:
        earlier = load_glow(saved)
    except SolveError as problem:
        report(str(problem))
        return None
    # A run of the reference alone has its photons beside it; it is another answer.
    return None if earlier.seed != seed or load_tallies(saved) else earlier
