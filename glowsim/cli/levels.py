"""Levels found backwards for `glowsim power`: by hours, by temperature, by brightness."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from rich.console import Console

from glowsim.cli.common import print_title, table_of
from glowsim.electrics.backwards import (
    Level,
    brightest_factor,
    factors,
    level_at,
    level_for_heat,
    level_for_hours,
    looks_words,
)
from glowsim.electrics.carriers import carriers
from glowsim.electrics.heat import heat_of
from glowsim.electrics.pack import Choice
from glowsim.electrics.power import Electrics
from glowsim.electrics.power_words import hours_words
from glowsim.electrics.report_json import choice_json
from glowsim.findings import looks_of, reads_as_lit
from glowsim.findings.lit import ReadsAsLit
from glowsim.transport.result import SurfaceGlow
from glowsim.transport.solve import solve

MOST_CARRIERS = 6
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
    carried      : what the packs below carry, and for how long, in words, '' if nobody asked
    carriers     : those packs, the lightest first
    """

    wanted: str
    level: Level
    reads: tuple[ReadsAsLit, ...]
    out_of_reach: str = ""
    carried: str = ""
    carriers: tuple[Choice, ...] = ()

    def as_json(self) -> dict[str, Any]:
        """Return it as plain data."""
        run = self.level.run
        return {
            "wanted": self.wanted,
            "zone": self.level.zone or None,
            "factor": round(self.level.factor, 4),
            "light_share": round(self.level.light, 4),
            "hours": round(run.hours, 3) if run else None,
            "hours_range": [round(run.low_hours, 3), round(run.high_hours, 3)] if run else None,
            "ends_by": run.ends_by if run else None,
            "reads": [{"body": r.body, "ratio": r.ratio, "grade": r.grade} for r in self.reads],
            "out_of_reach": self.out_of_reach,
            "carried": self.carried,
            "carriers": [choice_json(choice) for choice in self.carriers],
        }


def answers_of(
    electrics: Electrics, wish: Wish, saved: Path, tell: Callable[[str], None]
) -> list[Answer]:
    """Work out the wanted levels; raises SceneError where no level will do."""
    scene_file = electrics.plan.scene_file
    glow = None
    if wish.lit_ratio is not None or saved.exists():
        glow = solve(scene_file, saved=saved, report=tell)
    answers = []
    if wish.hours is not None:
        tell("finding the level that lasts")
        wanted = f"for {wish.hours:g} h"
        if electrics.own_pack is None and not wish.zone:
            wanted, level = "at your settings", level_at(electrics, 1.0)
        else:
            level = level_for_hours(electrics, wish.hours, wish.zone)
        answer = Answer(wanted, level, _reads(electrics, glow, level))
        answers.append(_carried(electrics, answer, wish.hours, "your settings", 1.0))
    for answer in _by_light_and_heat(electrics, wish, glow, tell):
        hours = wish.hours or (scene_file.scene.power and scene_file.scene.power.wanted_hours)
        what = f"the level {answer.wanted}"
        answers.append(
            _carried(electrics, answer, hours, what, answer.level.factor) if hours else answer
        )
    return answers


def _by_light_and_heat(
    electrics: Electrics, wish: Wish, glow: SurfaceGlow | None, tell: Callable[[str], None]
) -> Iterator[Answer]:
    if wish.cool:
        heat = heat_of(electrics.plan.scene_file, how_soon=False, report=tell)
        level = level_for_heat(electrics, heat)
        yield Answer("to keep every temperature limit", level, _reads(electrics, glow, level))
    if wish.lit_ratio is not None and glow is not None:
        tell("finding the level that looks so")
        yield _lit(electrics, glow, wish.lit_ratio)


def _carried(
    electrics: Electrics, answer: Answer, hours: float, what: str, factor: float
) -> Answer:
    """Return an answer with the packs that carry a level for so long."""
    found = carriers(electrics, hours, electrics.average_levels() * factor)
    return replace(answer, carried=f"{what} for {hours:g} h", carriers=found)


def _reads(electrics: Electrics, glow: SurfaceGlow | None, level: Level) -> tuple[ReadsAsLit, ...]:
    """Return how each body reads at a level as wired; none without a glow."""
    if glow is None:
        return ()
    scene = electrics.plan.scene_file.scene
    drawn = electrics.drawn * factors(electrics, level.zone, level.factor)
    kept = electrics.circuit.state(electrics.supply.feed(electrics.used), drawn).share
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
    screen: Console, electrics: Electrics, answers: list[Answer], verbose: bool
) -> None:
    """Print levels found backwards, and which batteries carry them."""
    print_title(screen, electrics.plan.title, ": the level for what you ask")
    for answer in answers:
        for line in _lines(electrics, answer):
            screen.print(line)
        if answer.carried:
            _print_carriers(screen, answer, verbose)


def _print_carriers(screen: Console, answer: Answer, verbose: bool) -> None:
    if not answer.carriers:
        screen.print(
            f"No battery of the catalogue can run {answer.carried}, not even eight side by side."
        )
        return
    table = table_of(
        f"These can run {answer.carried}, the lightest first",
        ("battery", "what to watch"),
        ("g", "hours", "range"),
    )
    shown = answer.carriers if verbose else answer.carriers[:MOST_CARRIERS]
    for choice in shown:
        mass_g = choice.pack.mass_g
        grams = "?" if mass_g is None else f"{mass_g:.0f}"
        table.add_row(choice.pack.label, choice.why, grams, *hours_words(choice.run))
    notes = ["g: of the cells alone, without holder, converter and plugs"]
    if any(choice.pack.in_parallel > 1 for choice in shown):
        notes.append("side by side: cells of one kind and age, equally full when they are joined")
    if len(answer.carriers) > len(shown):
        notes.append(f"{len(answer.carriers) - len(shown)} heavier ones: --verbose shows them")
    table.caption = "\n".join(notes)
    screen.print(table)


def _lines(electrics: Electrics, answer: Answer) -> list[str]:
    level = answer.level
    who = f"the zone '{level.zone}' at" if level.zone else "everything at"
    looks, lasts = looks_words(level.light), _lasts(electrics, level)
    lines = [
        f"{answer.wanted[:1].upper()}{answer.wanted[1:]}: {who} {100 * level.factor:.3g} % of "
        f"your settings. {looks[:1].upper()}{looks[1:]}. {lasts}"
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
        f"  how '{read.body}' looks: {read.grade} ({read.ratio:.2g} times white paper in this room)"
        for read in answer.reads
    ]
    if not answer.reads:
        lines.append("  How it looks in this room: run `glowsim glow` once, and this says it too.")
    if answer.out_of_reach:
        lines.append(f"  Out of reach: {answer.out_of_reach}.")
    return lines


def _lasts(electrics: Electrics, level: Level) -> str:
    """Return how long the scene's battery lasts with a level."""
    pack, run = electrics.supply.label, level.run
    if run is None:
        return "The scene names no battery ([power])."
    if run.hours == 0:
        return f"{pack} cannot deliver that: {run.ends_by} at once."
    hours, span = hours_words(run)
    return f"It lasts {hours} h ({span} h) on {pack}, until {run.ends_by}."
