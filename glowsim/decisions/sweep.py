"""Solve many scenes that differ in a little: side by side, each body once, finished ones kept.

Any `concurrent.futures.Executor` will do: local processes, threads, the executor of a Dask
cluster. Without one the scenes are solved one after the other, here.
"""

from __future__ import annotations

import logging
import multiprocessing
import signal
import time
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from concurrent.futures import (
    BrokenExecutor,
    CancelledError,
    Executor,
    Future,
    ProcessPoolExecutor,
    as_completed,
)
from contextlib import contextmanager
from dataclasses import dataclass, replace
from importlib.metadata import version
from itertools import repeat
from pathlib import Path
from typing import Any, TypeVar

from glowsim.errors import GlowsimError, SolveError
from glowsim.scene import SceneFile
from glowsim.transport.build import body_problem
from glowsim.transport.exchange import counting, lacking
from glowsim.transport.hollows import Entering
from glowsim.transport.names import digest
from glowsim.transport.plan import Plan, plan_of
from glowsim.transport.problem import BodyProblem
from glowsim.transport.quick import entering_of, solve_body
from glowsim.transport.result import VERSION, BodyGlow, SurfaceGlow
from glowsim.transport.store import load_glow, save_glow

SOLVER = "quick"
Result = TypeVar("Result")
Progress = Callable[[int, int], None]
"""Told how many bodies are solved, and of how many."""


def solve_scenes(
    scene_files: Sequence[SceneFile],
    *,
    labels: Sequence[str],
    seed: int = 0,
    executor: Executor | None = None,
    folder: Path | None = None,
    progress: Progress = lambda done, total: None,
) -> list[SurfaceGlow]:
    """Return the glow of each scene. Bodies that are alike in several scenes are solved once.

    labels   : what to call each scene in messages
    executor : what solves the bodies, each a job of its own; None solves them here, in turn
    folder   : finished bodies are kept in it, each whole, and taken from it when the same body is
               asked for again with the same seed and version
    progress : told how many bodies are finished
    Raises what `plan_of` and the solver raise; an interrupted sweep keeps what is finished and
    raises KeyboardInterrupt saying so.
    """
    started = time.perf_counter()
    plans = [plan_of(scene_file) for scene_file in scene_files]
    jobs: dict[str, _Job] = {}
    for plan, label in zip(plans, labels, strict=True):
        for key, number in plan.distinct.items():
            jobs.setdefault(key, _Job(plan.scene_file, number, label))
    solved = _kept(jobs, seed, folder)
    progress(len(solved), len(jobs))
    try:
        for key, body in _finished({k: jobs[k] for k in jobs if k not in solved}, seed, executor):
            solved[key] = body
            if folder is not None:
                _keep(body, seed, _file_of(folder, key, seed))
            progress(len(solved), len(jobs))
    except KeyboardInterrupt:
        kept = f" and kept in {folder}; the same command goes on from there" if folder else ""
        raise KeyboardInterrupt(
            f"stopped: {len(solved)} of {len(jobs)} bodies are solved{kept}"
        ) from None
    glows = [_put_together(plan, solved, seed) for plan in plans]
    into = [lacking(glow) for glow in glows]
    short = {key for keys in into for key in keys if solved[key].entering is None}
    for key, found in _entering({k: job for k, job in jobs.items() if k in short}, seed, executor):
        solved[key] = replace(solved[key], entering=found)
        if folder is not None:
            _keep(solved[key], seed, _file_of(folder, key, seed))
    seconds = time.perf_counter() - started
    return [
        counting(glow, keys, lambda key: _known(solved[key])).alike(seconds=seconds)
        for glow, keys in zip(glows, into, strict=True)
    ]


def side_by_side(
    executor: Executor | None, function: Callable[..., Result], *arguments: Iterable[Any]
) -> list[Result]:
    """Return what a function gives for each set of arguments, on an executor or here."""
    if executor is None:
        return list(map(function, *arguments))
    # Not executor.map: that of Dask is pickier about what it maps over than the standard one.
    waiting = [executor.submit(function, *each) for each in zip(*arguments, strict=False)]
    try:
        return [future.result() for future in waiting]
    except BrokenExecutor as problem:
        raise _died(problem) from None


@contextmanager
def local_processes(workers: int = 2) -> Iterator[Executor]:
    """Give an executor of processes on this machine; left early, it stops them at once.

    Processes are spawned: the ray and number libraries do not bear being forked. A script that
    uses this needs the usual `if __name__ == "__main__":` around its own work.
    """
    others = set(multiprocessing.active_children())
    executor = _Processes(
        workers, multiprocessing.get_context("spawn"), initializer=_leave_stopping_to_the_parent
    )
    try:
        yield executor
    except BaseException:
        for process in set(multiprocessing.active_children()) - others:
            process.terminate()
        raise
    finally:
        executor.shutdown()


@contextmanager
def cluster(address: str) -> Iterator[Executor]:
    """Give the executor of a Dask cluster whose scheduler listens at `address`.

    Its workers need this project, in the same version, and mesh files at the same paths. Anyone
    who can reach a scheduler can run programs on it: use one in a network you trust.
    Raises SolveError if Dask is not installed or nothing answers.
    """
    try:
        from distributed import Client, KilledWorker
    except ImportError:
        raise SolveError(
            "a Dask cluster needs the package 'distributed', which is not installed: "
            "pip install 'glowsim[dask]', or leave --dask out to use this machine"
        ) from None
    # It would print the whole course of every fault that is told in one sentence here.
    logging.getLogger("distributed.client").setLevel(logging.CRITICAL)
    try:
        client = Client(address, timeout=10, set_as_default=False)
    except (OSError, TimeoutError, ValueError) as problem:
        raise SolveError(
            f"no Dask scheduler answers at '{address}' ({problem}); start one with "
            "'dask scheduler' and give the address it prints"
        ) from None
    with client:
        if not client.scheduler_info()["workers"]:
            raise SolveError(
                f"the Dask scheduler at '{address}' has no workers; start one with "
                f"'dask worker {address}'"
            )
        executor = client.get_executor(pure=False)
        try:
            yield executor
        except (KilledWorker, CancelledError) as problem:
            reason = str(problem) or "its scheduler or its workers are gone"
            raise SolveError(
                f"the Dask cluster at '{address}' gave up: {reason}; what is finished is kept"
            ) from None
        finally:
            executor.shutdown(wait=False)


class _Processes(ProcessPoolExecutor):
    """Processes that Ctrl-C does not reach from their first moment on, where the system can."""

    def submit(self, *call: Any, **named: Any) -> Future[Any]:
        """Submit a call. A process that this starts inherits that Ctrl-C is held back."""
        if not hasattr(signal, "pthread_sigmask"):  # Windows
            return super().submit(*call, **named)
        before = signal.pthread_sigmask(signal.SIG_BLOCK, [signal.SIGINT])
        try:
            return super().submit(*call, **named)
        finally:
            signal.pthread_sigmask(signal.SIG_SETMASK, before)


def _leave_stopping_to_the_parent() -> None:
    """Ctrl-C reaches every process of a terminal; the parent alone decides what it means."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)


@dataclass(frozen=True)
class _Job:
    """One body to solve, and what to call its scene."""

    scene_file: SceneFile
    number: int
    label: str


def _done(job: _Job, seed: int, solver: Callable[[BodyProblem, int], Result]) -> Result:
    try:
        return solver(body_problem(plan_of(job.scene_file), job.number), seed)
    except GlowsimError as problem:
        raise type(problem)(f"{job.label}: {problem}") from None


def _entering(
    jobs: Mapping[str, _Job], seed: int, executor: Executor | None
) -> Iterator[tuple[str, Entering]]:
    """Give what light from elsewhere does in the open hollows of bodies, with their keys."""
    found = side_by_side(executor, _done, jobs.values(), repeat(seed), repeat(entering_of))
    yield from zip(jobs, found, strict=True)


def _known(body: BodyGlow) -> Entering:
    assert body.entering is not None, "what counts has been solved"
    return body.entering


def _finished(
    jobs: Mapping[str, _Job], seed: int, executor: Executor | None
) -> Iterator[tuple[str, BodyGlow]]:
    """Give bodies as they are finished, with their keys."""
    if executor is None:
        yield from ((key, _done(job, seed, solve_body)) for key, job in jobs.items())
        return
    waiting = {executor.submit(_done, job, seed, solve_body): key for key, job in jobs.items()}
    given = set()
    try:
        for future in as_completed(waiting):
            given.add(future)
            yield waiting[future], future.result()
    except KeyboardInterrupt:
        for future in set(waiting) - given:
            if future.done() and not future.cancelled() and future.exception() is None:
                yield waiting[future], future.result()
        raise
    except BrokenExecutor as problem:
        raise _died(problem) from None
    finally:
        # A process pool has no way to forget a job and be stopped at once: it stumbles over it.
        if not isinstance(executor, ProcessPoolExecutor):
            for future in waiting:
                future.cancel()


def _died(problem: BrokenExecutor) -> SolveError:
    return SolveError(
        f"a process that works on steps came to an abrupt end ({problem}): too little memory for "
        "so many at once, or a script whose work does not stand under "
        "'if __name__ == \"__main__\":'"
    )


def _put_together(plan: Plan, solved: Mapping[str, BodyGlow], seed: int) -> SurfaceGlow:
    bodies = tuple(solved[key] for key in plan.distinct)
    copies, lights = plan.copies([body.light_mm for body in bodies])
    return SurfaceGlow(plan.title, bodies, copies, lights, SOLVER, seed, 0.0)


def _file_of(folder: Path, key: str, seed: int) -> Path:
    """Return where a body is kept: another seed, solver or version is another file."""
    return folder / f"{digest(key, seed, SOLVER, VERSION, version('glowsim'))}.npz"


def _kept(keys: Iterable[str], seed: int, folder: Path | None) -> dict[str, BodyGlow]:
    """Return the bodies that an earlier sweep finished."""
    kept: dict[str, BodyGlow] = {}
    if folder is None:
        return kept
    for key in keys:
        try:
            body = load_glow(_file_of(folder, key, seed)).bodies[0]
        except SolveError:
            continue
        if body.key == key:
            kept[key] = body
    return kept


def _keep(body: BodyGlow, seed: int, file: Path) -> None:
    try:
        save_glow(SurfaceGlow("", (body,), (), (), SOLVER, seed, 0.0), file)
    except OSError as problem:
        raise SolveError(f"{file}: cannot be written: {problem.strerror}") from None
