"""Photons in batches over several threads, added up in the order of their numbers."""

from __future__ import annotations

import os
import signal
import threading
import time
from collections import deque
from collections.abc import Callable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from concurrent.futures import TimeoutError as NotYet
from contextlib import contextmanager
from dataclasses import replace

import numpy as np

from glowsim.geometry.mesh import FloatArray
from glowsim.transport.problem import BodyProblem
from glowsim.transport.reference.goal import Goal, Progress, Report
from glowsim.transport.reference.kernels import follow
from glowsim.transport.reference.noise import noise_of
from glowsim.transport.reference.packing import Packed, Run, empty_run, packed
from glowsim.transport.reference.tallies import Tallies, work_of

PILOT = 8
"""Photons of each light from which the work of one is guessed."""
PILOT_LIGHTS = 8
BATCH_WORK = 3e6
"""Work in a batch, about, in scatterings: a tenth of a second or two."""
BATCHES = (32, 131_072)
"""Photons in a batch, fewest and most."""
GROWTH = 4
"""A light's photons grow at most by this factor before its noise is looked at again."""
LOOK_SECONDS = 0.2
"""Between two looks at whether to stop."""


class Follower:
    """One body's photons being followed. Close it, or use it in a `with` statement."""

    def __init__(
        self, problem: BodyProblem, *, seed: int, jumps: bool, earlier: Tallies | None
    ) -> None:
        """Prepare; `earlier`, the photons followed before, is taken over and added to."""
        self._problem = problem
        self._packed: Packed = packed(problem, jumps)
        self._areas: FloatArray = problem.walls.areas_mm2[problem.skin]
        self._stop = np.zeros(1, dtype=np.int64)
        self._threads = max(1, os.cpu_count() or 1)
        self._spare = [empty_run(problem) for _ in range(self._threads + 2)]
        self._seed = seed
        if earlier is None:
            batch = self._batch_size()
            self.tallies = Tallies.empty(problem, seed=seed, jumps=jumps, batch=batch)
        else:
            earlier.check_fits(problem, seed=seed, jumps=jumps)
            self.tallies = earlier

    def _batch_size(self) -> int:
        """Return how many photons make a batch, from the work of the first few."""
        run = self._spare[0]
        lights = range(min(PILOT_LIGHTS, self._problem.emitters.light_count))
        run.clear()
        for light in lights:
            self._fill(run, light, 0, PILOT)
        photons = max(1, PILOT * len(lights))
        each = work_of(run.events, photons) / photons
        return int(np.clip(2 ** round(np.log2(BATCH_WORK / each)), *BATCHES))

    def _fill(self, run: Run, light: int, first: int, count: int) -> int:
        """Follow `count` photons, for each group of bands; return how many were."""
        parts = self._packed
        followed = count
        for group in parts.groups:
            followed = min(
                followed,
                follow(
                    first, count, self._seed, light, group.active, self._stop, parts.lamps[light],
                    group.media, parts.coats, parts.walls, parts.grid, run,
                    np.zeros(3), np.zeros(3),
                ),
            )  # fmt: skip
        return followed

    def _batch(self, light: int, first: int) -> Run | None:
        """Follow one batch; None if it was cut short."""
        run = self._spare.pop()
        run.clear()
        if self._fill(run, light, first, self.tallies.batch) == self.tallies.batch:
            return run
        self._spare.append(run)
        return None

    def noise(self, light: int) -> float:
        """Return the noise of one light so far."""
        return noise_of(self.tallies, light, self._areas)

    def follow_until(
        self, goal: Goal, report: Report, stop: Callable[[], bool], started: float
    ) -> Tallies:
        """Follow photons until the goal is reached or a stop is asked for; return the tallies.

        However little time there is, each light has one batch: without any it could not be judged.
        """
        watch = _Watch(self, goal, report, stop, started)
        self._stop[0] = 0
        with ThreadPoolExecutor(self._threads) as pool, _ctrl_c_asks(watch):
            try:
                while batches := list(watch.round()):
                    if not self._run(pool, batches, watch):
                        break
            except KeyboardInterrupt:
                watch.asked_to_stop = True
            finally:
                self._stop[0] = 1
        watch.tell()
        seconds = self.tallies.seconds + time.perf_counter() - started
        return replace(self.tallies, seconds=seconds, stopped=watch.asked_to_stop)

    def _run(self, pool: ThreadPoolExecutor, lights: list[int], watch: _Watch) -> bool:
        """Follow a batch for each entry of `lights`, in order; return False if stopped."""
        begun = self.tallies.photons.copy()
        waiting: deque[tuple[int, Future[Run | None]]] = deque()
        for light in [*lights, *[None] * len(self._spare)]:
            if light is not None:
                waiting.append((light, pool.submit(self._batch, light, int(begun[light]))))
                begun[light] += self.tallies.batch
            full = light is None or len(waiting) == self._threads + 1
            if waiting and full and not self._add(*waiting.popleft(), watch):
                return False
        return True

    def _add(self, light: int, batch: Future[Run | None], watch: _Watch) -> bool:
        """Wait for a batch and add it; return False if it is time to stop."""
        while True:
            try:
                run = batch.result(timeout=LOOK_SECONDS)
                break
            except NotYet:
                if watch.must_stop():
                    return False
        if run is None:
            return False
        self.tallies.add(light, run)
        self._spare.append(run)
        return not watch.must_stop()


class _Watch:
    """Decides what to do next and when to stop, and reports."""

    def __init__(
        self,
        follower: Follower,
        goal: Goal,
        report: Report,
        stop: Callable[[], bool],
        started: float,
    ) -> None:
        self._follower = follower
        self._goal = goal
        self._report = report
        self._stop = stop
        self._started = started
        self.asked_to_stop = False
        self._noise = self._noises()
        self._first = follower.tallies.photons.copy()
        self._told = 0.0

    @property
    def _seconds(self) -> float:
        return time.perf_counter() - self._started

    def _noises(self) -> FloatArray:
        lights = range(len(self._follower.tallies.photons))
        return np.array([self._follower.noise(light) for light in lights])

    def _wanted(self, light: int) -> int:
        """Return how many photons a light should have had after the next round."""
        have = int(self._follower.tallies.photons[light])
        batch = self._follower.tallies.batch
        wanted = float("inf")
        if self._goal.photons is not None:
            wanted = self._goal.photons
        if self._goal.noise is not None:
            excess = self._noise[light] / self._goal.noise
            wanted = min(wanted, have * excess**2 if excess > 1 and have else have)
            wanted = max(wanted, batch) if not have else wanted
        return int(min(wanted, max(GROWTH * have, batch)))

    def round(self) -> Iterator[int]:
        """Yield the light of each batch to follow next; none when the goal is reached."""
        tallies = self._follower.tallies
        if self.must_stop():
            return
        self._noise = self._noises()
        for light in range(len(tallies.photons)):
            lacks = self._wanted(light) - int(tallies.photons[light])
            yield from [light] * max(0, -(-lacks // tallies.batch))

    def must_stop(self) -> bool:
        """Return whether time is up or a stop was asked for; report now and then."""
        if self._seconds - self._told > LOOK_SECONDS:
            self.tell()
        if self._stop():
            self.asked_to_stop = True
        over = self._goal.seconds is not None and self._seconds >= self._goal.seconds
        return self.asked_to_stop or (over and bool((self._follower.tallies.photons > 0).all()))

    def tell(self) -> None:
        """Report how far it is."""
        self._told = self._seconds
        photons = self._follower.tallies.photons
        shares = [0.0]
        if self._goal.seconds:
            shares.append(self._seconds / self._goal.seconds)
        if self._goal.photons and len(photons):
            shares.append(float((photons / self._goal.photons).mean()))
        worst = float(self._noise.max(initial=0.0))
        if self._goal.noise:
            shares.append(min(1.0, self._goal.noise / max(worst, 1e-30)) ** 2)
        self._report(
            Progress("photons", min(1.0, max(shares)), int(photons.sum()), worst, self._seconds)
        )


@contextmanager
def _ctrl_c_asks(watch: _Watch) -> Iterator[None]:
    """Let Ctrl-C ask `watch` to stop, so that it never falls into the adding up of a batch."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return

    def ask(*_: object) -> None:
        watch.asked_to_stop = True

    before = signal.signal(signal.SIGINT, ask)
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before or signal.default_int_handler)
