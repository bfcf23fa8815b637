"""What commands that use the reference solver share: options, progress, earlier comparisons."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import click
from rich.progress import BarColumn, Progress, SpinnerColumn, TextColumn, TimeElapsedColumn

from glowsim.cli.common import notice, progress_line
from glowsim.findings import Comparison, comparisons_from
from glowsim.scene import SceneFile
from glowsim.transport.reference import Goal
from glowsim.transport.reference import Progress as Photons
from glowsim.transport.result import SurfaceGlow
from glowsim.transport.solve import REFERENCE_GOAL, solve
from glowsim.transport.sure import Sure

CALM = 0.01
"""A judged answer's photons end at this noise of bright faces, if its time does not end before."""
PATIENCE_S = 60.0

sure_option = click.option(
    "--sure",
    is_flag=True,
    help="Where quick is only a rough guide, solve by the reference instead: slow, but sure. The "
    "rest stays quick's.",
)

sure_seconds_option = click.option(
    "--time",
    "seconds",
    type=click.FloatRange(1, 86_400),
    help=f"Seconds for each answer of the reference, with --sure.  [default: {PATIENCE_S:g}]",
)

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


def sure_of(sure: bool, seconds: float | None, folder: Path) -> Sure | None:
    """Return what --sure and --time ask for; photons are kept in a folder beneath `folder`."""
    if seconds and not sure:
        raise click.UsageError("--time is for --sure; add it, or leave --time out")
    return Sure(answer_goal(seconds), folder / "steps") if sure else None


def answer_goal(seconds: float | None) -> Goal:
    """Return when the reference solver stops on one of several answers."""
    return Goal(noise=CALM, seconds=seconds or PATIENCE_S)


def solve_by_reference(
    scene_file: SceneFile,
    saved: Path,
    goal: Goal,
    seed: int,
    resume: bool,
    plain: bool,
    fresh: bool = False,
    quick: Path | None = None,
) -> SurfaceGlow:
    """Solve a scene with a progress bar; Ctrl-C says what is kept.

    quick : the quick solver's result file; given, only what quick is not sure of is solved
    """
    screen = notice()
    columns = (
        SpinnerColumn(),
        TextColumn("{task.description}"),
        BarColumn(bar_width=24),
        TextColumn("{task.fields[state]}"),
        TimeElapsedColumn(),
    )
    plain_lines = not screen.is_terminal
    with (
        Progress(*columns, console=screen, disable=plain_lines, transient=True) as bar,
        progress_line(plain_lines) as tell,
    ):
        task = bar.add_task("starting", total=1.0, state="")

        def report(text: str) -> None:
            bar.update(task, description=text)
            tell(text)

        rate = _Rate()

        def watch(body: str, share: float, photons: Photons) -> None:
            state = rate.said(photons)
            bar.update(task, completed=share, state=state)
            tell(f"{body}: {100 * share:.0f} %, {state}")

        if quick is not None:
            return solve(
                scene_file, seed=seed, saved=quick, sure=goal, photons=saved, resume=resume,
                fresh=fresh, jumps=not plain, report=report, watch=watch,
            )  # fmt: skip
        return solve(
            scene_file, method="reference", seed=seed, saved=saved, goal=goal, resume=resume,
            fresh=fresh, jumps=not plain, report=report, watch=watch,
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
