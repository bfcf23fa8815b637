"""Solve a scene, or bodies of it, with the reference solver: saved as it goes, resumed later."""

from __future__ import annotations

import time
from collections.abc import Callable, Collection
from dataclasses import dataclass, field, replace
from pathlib import Path

from glowsim.errors import SolveError
from glowsim.transport.build import body_problem
from glowsim.transport.exchange import with_hollows
from glowsim.transport.hollows import Entering
from glowsim.transport.plan import Plan
from glowsim.transport.problem import BodyProblem
from glowsim.transport.reference import (
    Goal,
    Progress,
    Tallies,
    entering_of,
    noise_of,
    solve_body,
)
from glowsim.transport.result import BodyGlow, SurfaceGlow, unlit_body
from glowsim.transport.solvers import REFERENCE
from glowsim.transport.store import load_glow, load_tallies, save_glow

SHORTEST_S = 1.0
"""Seconds left over that are worth another turn."""

Watch = Callable[[str, float, Progress], None]
"""Told which body is worked on, how much of the whole run is done, and the body's progress."""


def nothing_seen(body: str, share: float, progress: Progress) -> None:
    """Watch nothing."""


@dataclass
class LongRun:
    """A scene being solved by the reference solver.

    saved  : the result file; what it holds of this scene is used, new photons are added to it
    resume : go on from the photons in `saved`; without it a file that holds too few is an error,
             so that no long run is lost. None goes on where there is something to go on from and
             it has not had its time yet
    jumps  : cross clear material in single steps
    fresh  : begin anew, whatever `saved` holds; it is replaced when there are new photons
    only   : keys of the bodies to solve; of the others nothing is known afterwards but what
             `saved` held, and that is kept
    """

    plan: Plan
    goal: Goal
    seed: int = 0
    saved: Path | None = None
    resume: bool | None = False
    report: Callable[[str], None] = lambda text: None
    watch: Watch = nothing_seen
    jumps: bool = True
    fresh: bool = False
    only: Collection[str] | None = None
    _bodies: dict[str, BodyGlow] = field(default_factory=dict)
    _tallies: dict[str, Tallies] = field(default_factory=dict)
    _problems: dict[str, BodyProblem] = field(default_factory=dict)
    _taken: set[str] = field(default_factory=set)

    def solve(self) -> SurfaceGlow:
        """Follow photons until every body has reached the goal, and return the glow.

        Ctrl-C raises KeyboardInterrupt that says what is kept; `saved` then holds it.
        """
        self._begin()
        spent = 0.0
        try:
            while left := [key for key in self._wanted if not self._reached(key)]:
                for number, key in enumerate(left):
                    bodies = sum(map(self._is_lit, left[number:]))
                    spent += self._go_on(key, self._share_of(spent, bodies), spent)
                if self.goal.seconds is None or self.goal.seconds - spent < SHORTEST_S:
                    break
            return self._with_hollows()
        except KeyboardInterrupt:
            raise KeyboardInterrupt(self._farewell()) from None

    @property
    def _wanted(self) -> list[str]:
        """Keys of the bodies to solve, in the order of the plan."""
        return [key for key in self.plan.distinct if self.only is None or key in self.only]

    def seconds_of(self, key: str) -> float:
        """Return how long one body's photons have been followed."""
        return self._tallies[key].seconds if key in self._tallies else 0.0

    def _begin(self) -> None:
        """Take what the saved file holds of this scene; refuse what would lose or mix photons."""
        if self.fresh and not self.resume:
            return
        if self.saved is None or not self.saved.exists():
            if self.resume:
                raise SolveError(
                    f"there is nothing to go on from: {self.saved or 'no result file'} does not "
                    "exist yet; leave --resume out to start"
                )
            return
        try:
            glow, tables = load_glow(self.saved), load_tallies(self.saved)
        except SolveError as fault:
            if self.resume:
                raise
            self.report(str(fault))
            return
        for body in glow.bodies:
            if body.key in self.plan.distinct and (body.key in tables or not body.light_count):
                self._bodies[body.key] = replace(body, name=self.plan.name_of(body.key))
                if body.light_count:
                    self._tallies[body.key] = Tallies.from_arrays(tables[body.key])
        self._check_begun(glow)

    def _check_begun(self, glow: SurfaceGlow) -> None:
        lit = [key for key in self._bodies if key in self._tallies]
        if not lit:
            if self.resume:
                raise SolveError(
                    f"{self.saved} holds no body of this scene as it is now: it was saved for "
                    f"'{glow.title}' before the scene changed, and its photons say nothing about "
                    "the new one; leave --resume out to start again"
                )
            return
        seed = self._tallies[lit[0]].seed
        if seed != self.seed:
            raise SolveError(
                f"{self.saved} holds photons of seed {seed}, not {self.seed}: give --seed {seed} "
                "to use them, --fresh to start again, or another folder with --out"
            )
        if self._tallies[lit[0]].jumps != self.jumps:
            ways = ("every scattering followed", "clear material crossed in single steps")
            raise SolveError(
                f"{self.saved} holds photons with {ways[not self.jumps]}, not with "
                f"{ways[self.jumps]}: give the same option (--plain or not) to use them, "
                "--fresh to start again, or another folder with --out"
            )
        if self.resume:
            return
        if self._time_was_spent():
            self._taken.update(lit)
        short = [key for key in lit if key in self._wanted and not self._reached(key)]
        if short and self.resume is not None:
            photons = sum(int(self._tallies[key].photons.sum()) for key in lit)
            raise SolveError(
                f"{self.saved} already holds {_counted(photons)} of this scene, with a noise of "
                f"{100 * max(map(self._noise, short)):.2g} % on the bright faces: add --resume to "
                "go on from there, or --fresh to start again"
            )

    def _time_was_spent(self) -> bool:
        lit = [key for key in self._wanted if self._is_lit(key)]
        complete = all(key in self._tallies for key in lit)
        spent = sum(self._tallies[key].seconds for key in lit if key in self._tallies)
        return complete and self.goal.seconds is not None and spent >= 0.9 * self.goal.seconds

    def _reached(self, key: str) -> bool:
        """Return whether a body needs no more photons."""
        if key not in self._bodies:
            return False
        if key not in self._tallies or key in self._taken:
            return True
        photons = self._tallies[key].photons
        enough = self.goal.photons is not None and bool((photons >= self.goal.photons).all())
        calm = self.goal.noise is not None and self._noise(key) <= self.goal.noise
        return enough or calm

    def _noise(self, key: str) -> float:
        """Return the noise of a body's noisiest light."""
        areas = self._bodies[key].surface.areas_mm2
        tallies = self._tallies[key]
        return max((noise_of(tallies, k, areas) for k in range(len(tallies.photons))), default=0.0)

    def _share_of(self, spent: float, bodies: int) -> Goal:
        """Return the goal of the next body, when so many still share the time left."""
        if self.goal.seconds is None:
            return self.goal
        return replace(self.goal, seconds=max(0.0, self.goal.seconds - spent) / max(bodies, 1))

    def _is_lit(self, key: str) -> bool:
        return bool(self.plan.scene_file.scene.bodies[self.plan.distinct[key]].lights)

    def _go_on(self, key: str, goal: Goal, spent: float) -> float:
        """Follow more photons through one body and save; return the seconds that took."""
        name, problem = self.plan.name_of(key), self._problem(key)
        lit = [other for other in self._wanted if self._is_lit(other)]

        def watch(progress: Progress) -> None:
            done = (lit.index(key) + progress.share) / len(lit)
            if self.goal.seconds is not None:
                done = max(done, (spent + progress.seconds) / self.goal.seconds)
            self.watch(name, min(done, 1.0), progress)

        if not self._is_lit(key):
            self._bodies[key] = unlit_body(problem)
            self._save()
            return 0.0
        self.report(f"following photons through {name}")
        started = time.perf_counter()
        body, tallies = solve_body(
            problem,
            seed=self.seed,
            goal=goal,
            earlier=self._tallies.get(key),
            jumps=self.jumps,
            report=watch,
        )
        seconds = time.perf_counter() - started
        # What light from elsewhere does in its hollows needs no more photons than it had.
        known = self._bodies[key].entering if key in self._bodies else None
        self._bodies[key], self._tallies[key] = replace(body, entering=known), tallies
        self._save()
        if tallies.stopped:
            raise KeyboardInterrupt
        return seconds

    def _problem(self, key: str) -> BodyProblem:
        if key not in self._problems:
            self.report(f"shaping {self.plan.name_of(key)}")
            self._problems[key] = body_problem(self.plan, self.plan.distinct[key])
        return self._problems[key]

    def _with_hollows(self) -> SurfaceGlow:
        """Return the glow, with light counted that falls into open hollows where that matters."""
        before = self._glow()
        glow = with_hollows(before, self._entering)
        for old, new in zip(before.bodies, glow.bodies, strict=True):
            if new.entering is not None and old.entering is None:
                self._bodies[new.key] = new
                self._save()
        return glow

    def entering(self, key: str) -> Entering:
        """Return what light does that falls into the open hollows of a body solved here; it is
        followed once and kept in `saved`. Ctrl-C as in `solve`."""
        known = self._bodies[key].entering
        if known is None:
            try:
                known = self._entering(key)
            except KeyboardInterrupt:
                raise KeyboardInterrupt(self._farewell()) from None
            self._bodies[key] = replace(self._bodies[key], entering=known)
            self._save()
        return known

    def _entering(self, key: str) -> Entering:
        problem = self._problem(key)
        self.report(f"following light into the openings of {problem.name}")
        return entering_of(problem, seed=self.seed, jumps=self.jumps)

    def _save(self) -> None:
        """Save what there is, so that a run that is cut short can go on from it."""
        if self.saved and self._tallies:
            tables = {key: tallies.arrays() for key, tallies in self._tallies.items()}
            save_glow(self._glow(), self.saved, tables)

    def _glow(self) -> SurfaceGlow:
        """Return what there is: every body with its copies, or bodies alone while some lack."""
        bodies = tuple(self._bodies[key] for key in self.plan.distinct if key in self._bodies)
        whole = len(bodies) == len(self.plan.distinct)
        copies, lights = self.plan.copies([b.light_mm for b in bodies]) if whole else ((), ())
        seconds = sum(tallies.seconds for tallies in self._tallies.values())
        return SurfaceGlow(self.plan.title, bodies, copies, lights, REFERENCE, self.seed, seconds)

    def _farewell(self) -> str:
        if not self.saved or not self._tallies:
            return "stopped; nothing was finished, nothing is kept"
        photons = sum(int(tallies.photons.sum()) for tallies in self._tallies.values())
        how = "" if self.resume is None else " with --resume"
        return (
            f"stopped: {_counted(photons)} are kept in {self.saved}; the same command{how} goes "
            "on from there"
        )


def _counted(photons: int) -> str:
    for unit, name in ((10**6, "million photons"), (10**3, "thousand photons")):
        if photons >= unit:
            return f"{photons / unit:.3g} {name}"
    return f"{photons} photons"
