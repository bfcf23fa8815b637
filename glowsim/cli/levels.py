"""Levels found backwards for `glowsim power`: by hours, by temperature, by brightness."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from rich.console import Console

from glowsim.electrics.backwards import (
    Level,
    brightest_factor,
    carriers,
    factors,
    level_at,
    level_for_heat,
    level_for_hours,
    looks_words,
)
from glowsim.electrics.heat import heat_of
from glowsim.electrics.power import HALF_USED, Electrics, PowerReport
from glowsim.electrics.power_words import hours_words
from glowsim.findings import looks_of, reads_as_lit
from glowsim.findings.lit import ReadsAsLit
from glowsim.transport.result import SurfaceGlow
from glowsim.transport.solve import solve

MOST_CARRIERS = 4
ROUNDS = 6
"""Corrections of a level for what the wires take from it."""


@dataclass(frozen=True)
class Wish:
    """What the level has to keep: hours (of one zone), temperatures, brightness in the room."""

    hours: float | None
    zone: str
    cool: bool
    lit_ratio: float | None


@dataclass(frozen=True)
class Answer:
    """A level with what it was wanted for, and how each body reads with it (if a glow is known).

    out_of_reach : what even the brightest level does not give, ''
    """

    wanted: str
    level: Level
    reads: tuple[ReadsAsLit, ...]
    out_of_reach: str = ""

    def as_json(self) -> dict[str, Any]:
        """Return it as plain data."""
        run = self.level.run
        return {
            "wanted": self.wanted,
            "zone": self.level.zone or None,
            "factor": round(self.level.factor, 4),
            "light_share": round(self.level.light, 4),
            "hours": round(run.hours, 3),
            "hours_range": [round(run.low_hours, 3), round(run.high_hours, 3)],
            "ends_by": run.ends_by,
            "reads": [{"body": r.body, "ratio": r.ratio, "grade": r.grade} for r in self.reads],
            "out_of_reach": self.out_of_reach,
        }


def answers_of(
    electrics: Electrics,
    report: PowerReport,
    wish: Wish,
    saved: Path,
    tell: Callable[[str], None],
) -> list[Answer]:
    """Work out the wanted levels; raises SceneError where no level will do."""
    scene_file = electrics.plan.scene_file
    glow = None
    if wish.lit_ratio is not None or saved.exists():
        glow = solve(scene_file, saved=saved, report=tell)
    answers = []
    if wish.hours is not None:
        tell("finding the level that lasts")
        level = level_for_hours(electrics, wish.hours, wish.zone)
        answers.append(Answer(f"for {wish.hours:g} h", level, _reads(electrics, glow, level)))
    if wish.cool:
        level = level_for_heat(electrics, heat_of(scene_file, report=tell))
        wanted = "to keep every temperature limit"
        answers.append(Answer(wanted, level, _reads(electrics, glow, level)))
    if wish.lit_ratio is not None and glow is not None:
        tell("finding the level that looks so")
        answers.append(_lit(electrics, glow, wish.lit_ratio))
    return answers


def _reads(electrics: Electrics, glow: SurfaceGlow | None, level: Level) -> tuple[ReadsAsLit, ...]:
    """Return how each body reads at a level as wired, half used; none without a glow."""
    if glow is None:
        return ()
    scene = electrics.plan.scene_file.scene
    drawn = electrics.drawn * factors(electrics, level.zone, level.factor)
    kept = electrics.circuit.state(electrics.supply.feed(HALF_USED), drawn).share
    share = np.ones((len(glow.lights), 3))
    for board, own, factor in zip(
        electrics.boards, kept, factors(electrics, level.zone, level.factor), strict=True
    ):
        share[list(board.lights)] = own * factor
    dimmed = glow.dimmed(share)
    looks = [look for look in looks_of(dimmed, scene.room) if look.copies[0].lights]
    return tuple(reads_as_lit(look, dimmed, scene.room, scene.findings) for look in looks)


def _lit(electrics: Electrics, glow: SurfaceGlow, ratio: float) -> Answer:
    """Return the level at which the darkest body reaches a ratio to white paper."""
    most = brightest_factor(electrics)
    factor = 1.0
    for _ in range(ROUNDS):
        worst = min(_reads(electrics, glow, level_at(electrics, factor)), key=lambda r: r.ratio)
        back = worst.ratio / worst.on_off
        if ratio <= back:
            factor = 0.0
            break
        factor = min(factor * (ratio - back) / max(worst.ratio - back, 1e-9), most)
    level = level_at(electrics, max(factor, 1e-3))
    reads = _reads(electrics, glow, level)
    worst = min(reads, key=lambda r: r.ratio)
    short = (
        f"'{worst.body}' comes to {worst.ratio:.2g} times white paper at the brightest level that "
        f"this battery and these wires give, not {ratio:g}"
        if worst.ratio < 0.98 * ratio
        else ""
    )
    return Answer(f"for {ratio:g} times white paper in this room", level, reads, short)


def print_answers(
    screen: Console,
    electrics: Electrics,
    report: PowerReport,
    answers: list[Answer],
    hours: float | None,
) -> None:
    """Print levels found backwards, and which batteries carry the level as drawn for some hours."""
    screen.print(f"[bold]{report.title}[/bold]: the level turned round")
    for answer in answers:
        for line in _lines(electrics, answer):
            screen.print(line, markup=False)
    if hours is None:
        return
    found = carriers(electrics, report, hours)
    if not found:
        screen.print(f"No usual battery carries the level as drawn for {hours:g} h.")
        return
    screen.print(f"These carry the level as drawn for {hours:g} h:")
    for choice in found[:MOST_CARRIERS]:
        care = f" ({choice.why})" if choice.why else ""
        screen.print(f"  {choice.pack.label}: {hours_words(choice.run)[0]} h{care}", markup=False)


def _lines(electrics: Electrics, answer: Answer) -> list[str]:
    level = answer.level
    who = f"the zone '{level.zone}' at" if level.zone else "everything at"
    run, looks = level.run, looks_words(level.light)
    hours, span = hours_words(run)
    pack = electrics.supply.label
    lasts = f"It lasts {hours} h ({span} h) on {pack}, until {run.ends_by}."
    if run.hours == 0:
        lasts = f"{pack} does not bear it: {run.ends_by} at once."
    lines = [
        f"{answer.wanted[:1].upper()}{answer.wanted[1:]}: {who} {100 * level.factor:.3g} % of the "
        f"level as drawn. {looks[:1].upper()}{looks[1:]}. {lasts}"
    ]
    drives = dict.fromkeys(
        tuple(np.round(board.drive * level.factor, 3).tolist())
        for board in electrics.boards
        if level.zone in ("", board.zone)
    )
    if len(drives) <= 3:
        words = "; ".join("red {:g}, green {:g}, blue {:g}".format(*drive) for drive in drives)
        lines.append(f"  drive: {words}")
    lines += [
        f"  '{read.body}' reads as: {read.grade} ({read.ratio:.2g} times white paper in this room)"
        for read in answer.reads
    ]
    if not answer.reads:
        lines.append("  How it reads in this room: run `glowsim glow` once, and this says it too.")
    if answer.out_of_reach:
        lines.append(f"  Out of reach: {answer.out_of_reach}.")
    return lines
