"""How many? Each number of boards at its best places, and what no number of them can beat.

from glowsim import read_scene
from glowsim.decisions.modules import modules
answer = modules(read_scene("scenes/thistle_staff.toml"), "spike", most=6)
print(*answer.text, sep="\\n")
"""

from __future__ import annotations

import tempfile
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path
from typing import Any

from glowsim.decisions.bound import Bound, Gap
from glowsim.decisions.placer import Placer, Report, Wish, body_number, pattern_light
from glowsim.decisions.placing import Trial, check_count, drive_factor, lights_of
from glowsim.decisions.response import Responses
from glowsim.decisions.step import Step
from glowsim.decisions.words import bound_words, does, heat_words, named_boards
from glowsim.decisions.worth import (
    NO_GAIN,
    as_good_as_best,
    change,
    clearly_better,
    figures,
    off_log,
    verdict,
    wanted,
)
from glowsim.errors import SceneError
from glowsim.geometry.patterns import copies_of
from glowsim.scene import Body, Light, Placing, SceneFile
from glowsim.transport.plan import Plan, plan_of

JOINTS_PER_WIRE = 2
"""One at each end of the lead to the board before (common practice, no source)."""
WIRES = {"rgb": 3, "white": 2}
"""Supply, ground and, for addressable colours, data (common practice, no source)."""


@dataclass(frozen=True)
class Count:
    """One number of one kind of board, at the best places found, solved.

    predicted : 5 %/mean by the response matrix;  factor : what the drive was multiplied with
    current_ma, power_w : of all boards of one body, as driven;  leds, joints : of one body
    places_mm : of the boards, in the body's own frame;  gap : what is left up to the bound
    """

    board: str
    count: int
    step: Step
    predicted: float
    factor: float
    current_ma: float
    power_w: float
    leds: int
    joints: int
    places_mm: tuple[tuple[float, ...], ...]
    gap: Gap

    def as_json(self) -> dict[str, Any]:
        """Return plain data."""
        plain = self.step.as_json()
        del plain["value_mm"]
        return {
            "board": self.board,
            "count": self.count,
            "predicted_p5_over_mean": round(self.predicted, 5),
            "drive_factor": round(self.factor, 5),
            "current_ma": round(self.current_ma, 2),
            "power_w": round(self.power_w, 4),
            "leds": self.leds,
            "joints": self.joints,
            "places_mm": [list(place) for place in self.places_mm],
        } | plain


@dataclass(frozen=True)
class Modules:
    """The answer.

    before : the body as the scene has it;  counts : by board, then number
    bounds : by board;  missing : why a number or a board was left out
    bodies : how many copies of the body the prop has
    """

    plan: Plan
    number: int
    wish: Wish
    before: Step
    counts: tuple[Count, ...]
    bounds: dict[str, Bound]
    missing: tuple[str, ...]
    bodies: int

    @property
    def body(self) -> Body:
        """The body as the scene has it."""
        return self.plan.scene_file.scene.bodies[self.number]

    @property
    def target(self) -> float:
        """Evenness wanted."""
        return self.plan.scene_file.scene.findings.evenness_target

    def of(self, board: str) -> tuple[Count, ...]:
        """Return the counts of one board."""
        return tuple(count for count in self.counts if count.board == board)

    @cached_property
    def chosen(self) -> Count | None:
        """The recommended one: of those even enough the least power if that is what comes first,
        otherwise the fewest boards to solder; None if none is even enough."""
        enough = [c for c in self.counts if c.step.enough]
        if self.wish.first == "power":
            lit = [
                c for c in enough if c.step.lit.ratio >= 0.999 * c.step.findings.limits.glow_ratio
            ]
            return min(lit or enough, key=lambda c: (c.power_w, c.joints), default=None)
        return min(enough, key=lambda c: (c.joints, c.power_w), default=None)

    @cached_property
    def best(self) -> Count:
        """The most even one; of those that are hardly less even the fewest boards."""
        near = as_good_as_best([c.step for c in self.counts])
        some = [c for c in self.counts if any(c.step is step for step in near)]
        return min(some, key=lambda c: (c.joints, off_log(c.step)))

    @cached_property
    def advised(self) -> Count | None:
        """The one to build; None if none is worth it, so that the body is to be left as it is."""
        shown = self.chosen or self.best
        spares = self.chosen is not None and shown.count < len(self.body.lights)
        return shown if spares or clearly_better(shown.step, self.before) else None

    @cached_property
    def text(self) -> tuple[str, ...]:
        """What a maker should know, in sentences."""
        return tuple(_words(self))

    def as_json(self) -> dict[str, Any]:
        """Return plain data."""
        chosen = self.chosen
        return {
            "body": self.body.name,
            "bodies": self.bodies,
            "first": self.wish.first,
            "evenness_target": self.target,
            "before": self.before.as_json(),
            "counts": [count.as_json() for count in self.counts],
            "bounds": {
                name: {
                    "p5_over_mean": round(bound.percent, 5),
                    "least_over_mean": round(bound.least, 5),
                }
                for name, bound in self.bounds.items()
            },
            "recommended": None if chosen is None else [chosen.board, chosen.count],
            "worth_it": self.advised is not None,
            "left_out": list(self.missing),
            "text": list(self.text),
        }


def modules(
    scene_file: SceneFile,
    body: str | None = None,
    *,
    most: int = 6,
    board_names: Sequence[str] = (),
    wish: Wish | None = None,
    placing: Placing | None = None,
    seed: int = 0,
    report: Report = lambda text: None,
) -> Modules:
    """Place 1 to `most` boards, each number as well as can be found, and solve each.

    board_names : kinds to compare; the body's first light's if left out
    Raises SceneError, MaterialError, GeometryError or SolveError for what cannot be done.
    """
    check_count(most)
    plan = plan_of(scene_file)
    number = body_number(plan, body)
    names: list[str | None] = [*dict.fromkeys(board_names)] or [None]
    lights = [pattern_light(plan, number, name) for name in names]
    wish = wish or Wish()
    room = placing or scene_file.scene.bodies[number].placing or Placing()
    responses = Responses(plan, number, room.depth_mm, report=report)
    counts: list[Count] = []
    bounds: dict[str, Bound] = {}
    missing: list[str] = []
    with tempfile.TemporaryDirectory() as folder:
        trial = Trial(responses, number, seed, Path(folder) / "glow.npz", report)
        report("solving the scene as it is")
        before = trial.judged(scene_file, 0)
        for light in lights:
            try:
                placer = Placer(plan, number, responses, light, room, wish, seed, report)
            except SceneError as fault:
                missing.append(str(fault))
                continue
            bounds[light.board] = placer.bound
            for k in range(1, most + 1):
                found = _tried(placer, k, scene_file, trial, before, number, report)
                if isinstance(found, str):
                    missing.append(found)
                else:
                    counts.append(found)
    if not counts:
        raise SceneError("\n".join(missing))
    copies = len(copies_of(scene_file.scene.bodies[number]))
    return Modules(plan, number, wish, before, tuple(counts), bounds, tuple(missing), copies)


def _tried(
    placer: Placer,
    count: int,
    scene_file: SceneFile,
    trial: Trial,
    before: Step,
    number: int,
    report: Report,
) -> Count | str:
    """Return one count, placed and solved, or why it cannot be."""
    kind = placer.kind
    report(f"placing {named_boards(count, kind.name)}")
    try:
        placement, predicted = placer.place(count)
    except SceneError as fault:
        return str(fault)
    factor = drive_factor(placer, placement, before)
    lights = lights_of(placer, placement, scene_file.scene.bodies[number], factor)
    report(f"confirming {named_boards(count, kind.name)}")
    step = trial.judged(_with(scene_file, number, lights), count)
    levels = factor * placement.levels
    return Count(
        kind.name,
        count,
        step,
        predicted,
        factor,
        sum(kind.supply_ma(float(level)) for level in levels),
        sum(kind.power_w(float(level)) for level in levels),
        count * kind.led_count,
        count * WIRES[kind.board.drive] * JOINTS_PER_WIRE,
        tuple(light.position_mm for light in lights),
        placer.gap(placement, step.even),
    )


def _with(scene_file: SceneFile, number: int, lights: Sequence[Light]) -> SceneFile:
    """Return the scene with other lights in one body, in memory alone."""
    scene = scene_file.scene
    bodies = list(scene.bodies)
    bodies[number] = bodies[number].model_copy(update={"lights": tuple(lights)})
    return replace(scene_file, scene=scene.model_copy(update={"bodies": tuple(bodies)}))


def _words(answer: Modules) -> list[str]:
    chosen = answer.chosen
    said = []
    if chosen is not None:
        said.append(
            f"{named_boards(chosen.count, chosen.board)} in '{answer.body.name}' "
            f"{does(chosen.count, 'is', 'are')} enough: "
            f"{figures(chosen.step)} (5%/mean expected {chosen.predicted:.3f}, solved "
            f"{chosen.step.even:.3f}): {verdict(chosen.step)}. That takes "
            f"{chosen.current_ma:.0f} mA, {chosen.power_w:.2g} W and {chosen.joints} solder joints"
            + (f" in each of {answer.bodies}." if answer.bodies > 1 else ".")
        )
    else:
        best = answer.best
        said.append(
            f"None of these is even enough. The best is {named_boards(best.count, best.board)}"
            f": {figures(best.step)}, where {wanted(best.step)} are wanted."
        )
        tried = max(c.count for c in answer.counts)
        able = [name for name, bound in answer.bounds.items() if bound.percent >= answer.target]
        if able and best.count == tried:
            said.append(f"More of them can be: try --max {2 * tried} with {' or '.join(able)}.")
    shown = chosen or answer.best
    said.append(f"Beside what it is now: {change(shown.step, answer.before)}.")
    if answer.advised is None:
        said.append(f"{NO_GAIN}: leave it as it is.")
    for board in answer.bounds:
        mine = answer.of(board)
        if mine:
            top = max(mine, key=lambda c: c.step.even)
            said.append(bound_words(top.gap, answer.target, board, top.count, answer.wish))
    said += heat_words(shown.step, shown.factor, answer.wish.first)
    if shown.step.trust:
        said.append(
            f"The quick solver is a rough guide there ({'; '.join(shown.step.trust)}): make a test "
            "piece before you commit."
        )
    return said
