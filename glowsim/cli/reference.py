"""What commands that use the reference solver share: options, progress, earlier comparisons."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import click
from rich.progress import BarColumn, Progress, SpinnerColumn, TextColumn, TimeElapsedColumn

from glowsim.cli.common import notice
from glowsim.findings import Comparison, comparisons_from
from glowsim.scene import SceneFile
from glowsim.transport.reference import Goal
from glowsim.transport.reference import Progress as Photons
from glowsim.transport.result import SurfaceGlow
from glowsim.transport.solve import REFERENCE_GOAL, solve

_OPTIONS = (
    click.option(
        "--noise",
        type=click.FloatRange(0.0005, 1),
        help="Stop at this relative error of single bright faces, 0.02 for 2 %.",
    ),
    click.option(
        "--time",
        "seconds",
        type=click.FloatRange(1, 7 * 86_400),
        help="Stop after so many seconds, but not before each light has had a first batch.",
    ),
    click.option(
        "--photons",
        type=click.IntRange(1, 10**12),
        help="Stop after so many photons from each light: the same numbers on any machine.",
    ),
    click.option(
        "--resume", is_flag=True, help="Go on from the saved photons with new ones."
    ),
    click.option(
        "--plain",
        is_flag=True,
        help="Follow every scattering, instead of crossing clear material in single steps.",
    ),
)  # fmt: skip


def reference_options(command: Callable[..., Any]) -> Callable[..., Any]:
    """Add the options of the reference solver to a command."""
    for option in reversed(_OPTIONS):
        command = option(command)
    return command


def check_fresh(fresh: bool, resume: bool) -> None:
    """Raise UsageError where --fresh and --resume are both given."""
    if fresh and resume:
        raise click.UsageError("--fresh throws away what --resume would go on from; choose one")


def goal_of(noise: float | None, seconds: float | None, photons: int | None) -> Goal:
    """Return when to stop: at what is asked for, or at what suits if nothing is."""
    if noise is None and seconds is None and photons is None:
        return REFERENCE_GOAL
    return Goal(noise, seconds, photons)


def solve_by_reference(
    scene_file: SceneFile, saved: Path, goal: Goal, seed: int, resume: bool, plain: bool
) -> SurfaceGlow:
    """Solve a scene with a progress bar; Ctrl-C says what is kept."""
    screen = notice()
    columns = (
        SpinnerColumn(),
        TextColumn("{task.description}"),
        BarColumn(bar_width=24),
        TextColumn("{task.fields[state]}"),
        TimeElapsedColumn(),
    )
    with Progress(*columns, console=screen, disable=not screen.is_terminal, transient=True) as bar:
        task = bar.add_task("starting", total=1.0, state="")

        def report(text: str) -> None:
            bar.update(task, description=text)

        rate = _Rate()

        def watch(body: str, share: float, photons: Photons) -> None:
            bar.update(task, completed=share, state=rate.said(photons))

        return solve(
            scene_file, method="reference", seed=seed, saved=saved, goal=goal, resume=resume,
            jumps=not plain, report=report, watch=watch,
        )  # fmt: skip


class _Rate:
    """Photons per second of one body's run; earlier ones do not count."""

    def __init__(self) -> None:
        self._first: tuple[int, float] | None = None

    def said(self, now: Photons) -> str:
        """Return the noise, the photons and how fast they come."""
        if now.what != "photons":
            self._first = None
            return now.what
        if self._first is None or now.seconds < self._first[1]:
            self._first = now.photons, now.seconds
        words = f"noise {100 * now.noise:.2g} %  " if now.noise < 10 else ""
        words += f"{now.photons:,} photons"
        photons, seconds = now.photons - self._first[0], now.seconds - self._first[1]
        return f"{words}  {photons / seconds:,.0f}/s" if photons and seconds > 0.5 else words


def earlier_comparisons(folder: Path) -> tuple[Comparison, ...]:
    """Return comparisons of quick with the reference: this folder's, then those beside it."""
    beside = sorted(set(folder.parent.glob("*-glow/agreement.json")) - {folder / "agreement.json"})
    found: list[Comparison] = []
    for path in (folder / "agreement.json", *beside):
        try:
            found += comparisons_from(json.loads(path.read_text(encoding="utf-8")))
        except (OSError, ValueError):
            continue
    return tuple(found)
