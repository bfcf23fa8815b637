"""Quick where it holds, the reference where it does not: one glow of both solvers."""

from __future__ import annotations

from collections.abc import Callable, Collection
from dataclasses import dataclass, replace
from pathlib import Path

from glowsim.transport.long_run import LongRun, Watch, nothing_seen
from glowsim.transport.plan import Plan
from glowsim.transport.reference import Goal
from glowsim.transport.result import BodyGlow, SurfaceGlow
from glowsim.transport.solvers import solver_of


def rough_bodies(glow: SurfaceGlow, only: Collection[str] | None = None) -> list[str]:
    """Return the keys of the lit bodies on which quick calls itself a rough guide.

    only : keys of the bodies asked about; all if left out
    """
    return [
        body.key
        for body in glow.bodies
        if body.light_count
        and body.trust
        and not body.by_reference
        and (only is None or body.key in only)
    ]


def made_sure(
    plan: Plan,
    glow: SurfaceGlow,
    goal: Goal | None,
    *,
    seed: int = 0,
    only: Collection[str] | None = None,
    saved: Path | None = None,
    resume: bool | None = None,
    jumps: bool = True,
    fresh: bool = False,
    report: Callable[[str], None] = lambda text: None,
    watch: Watch = nothing_seen,
) -> SurfaceGlow:
    """Return quick's glow with the bodies it is not sure of solved by the reference solver.

    The time of the goal is shared by them. What quick holds for stays as it is, to the last bit.
    What light does that falls into the open hollows of a body is its own solver's too; whether it
    is enough to count was told by quick.

    goal  : when the reference solver stops; None returns quick's glow
    only  : keys of bodies; the others stay quick's, rough or not
    saved : a result file of the reference solver, whose photons are used and added to, also those
            of a run that followed all bodies
    resume, jumps, fresh, report, watch : see `LongRun`
    Raises SceneError, MaterialError, GeometryError or SolveError. Ctrl-C raises KeyboardInterrupt
    that says what `saved` holds now.
    """
    rough = rough_bodies(glow, only)
    if goal is None or not rough:
        return glow
    run = LongRun(plan, goal, seed, saved, resume, report, watch, jumps, fresh, rough)
    followed = run.solve()
    sure = {body.key: body for body in followed.bodies if body.key in rough}

    def of_its_solver(body: BodyGlow) -> BodyGlow:
        if body.key not in sure:
            return body
        entering = None if body.entering is None else run.entering(body.key)
        return replace(sure[body.key], name=body.name, entering=entering)

    bodies = tuple(map(of_its_solver, glow.bodies))
    return glow.alike(
        bodies=bodies,
        solver=solver_of(bodies),
        seconds=glow.seconds + sum(run.seconds_of(key) for key in rough),
    )


@dataclass(frozen=True)
class Sure:
    """What is asked of the reference solver where a decision's quick answer is a rough guide.

    goal   : for each body that is judged
    folder : where photons are kept, a file for each body and seed, so that work which was stopped
             goes on where it was
    """

    goal: Goal
    folder: Path | None = None

    def judged(
        self,
        plan: Plan,
        number: int,
        glow: SurfaceGlow,
        seed: int,
        report: Callable[[str], None] = lambda text: None,
        watch: Watch = nothing_seen,
    ) -> SurfaceGlow:
        """Return quick's glow of a plan with body `number` made sure of; raises as `made_sure`."""
        key = plan.keys[number]
        file = None if self.folder is None else self.folder / f"reference-{key[:24]}-{seed}.npz"
        return made_sure(
            plan, glow, self.goal, seed=seed, only=[key], saved=file, report=report, watch=watch
        )
