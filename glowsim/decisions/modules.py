r"""How many? Each number of boards at its best places, and what no number of them can beat.

from glowsim import read_scene
from glowsim.decisions.modules import modules
answer = modules(read_scene("scenes/thistle_staff.toml"), "spike", most=6)
print(*answer.text, sep="\n")
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path
from typing import Any

from glowsim.decisions.alike import bodies_alike, named_all
from glowsim.decisions.bound import Bound
from glowsim.decisions.chain_counts import chain_counts, chain_of
from glowsim.decisions.lights import lit
from glowsim.decisions.modules_count import Count, joints_of
from glowsim.decisions.objective import Wish
from glowsim.decisions.placed_scene import write_beside
from glowsim.decisions.placer import Placer, pattern_light
from glowsim.decisions.placing import check_count
from glowsim.decisions.response import Responses
from glowsim.decisions.room import Room
from glowsim.decisions.step import Step, warmed
from glowsim.decisions.trial import Trial
from glowsim.decisions.words import bound_words, does, heat_words, named_boards, share
from glowsim.decisions.worth import (
    Verdict,
    as_good_as_best,
    figures,
    off_log,
    verdict,
    wanted,
    weigh,
)
from glowsim.errors import SceneError
from glowsim.scene import Body, Light, Placing, SceneFile
from glowsim.transport.build import Report
from glowsim.transport.plan import Plan, plan_of
from glowsim.transport.prepared import PreparedProp
from glowsim.transport.problem import BodyProblem
from glowsim.transport.sure import Sure


@dataclass(frozen=True)
class Modules:
    """The answer.

    before : the body as the scene has it;  counts : by board, then number
    bounds : by board, none for a chain along a path;  missing : why a number or a board was left
             out
    numbers : the bodies of the scene that are alike, that which is judged first
    """

    plan: Plan
    numbers: tuple[int, ...]
    wish: Wish
    before: Step
    counts: tuple[Count, ...]
    bounds: dict[str, Bound]
    missing: tuple[str, ...]

    @property
    def body(self) -> Body:
        """The body that is judged, as the scene has it."""
        return self.plan.scene_file.scene.bodies[self.numbers[0]]

    @property
    def bodies(self) -> int:
        """How many copies of such bodies the prop has."""
        every = self.plan.scene_file.scene.bodies
        return sum(every[k].copy_count for k in self.numbers)

    @property
    def target(self) -> float:
        """Evenness wanted."""
        return self.plan.scene_file.scene.findings.evenness_target

    @property
    def boards(self) -> tuple[str, ...]:
        """The kinds of board that were counted."""
        return tuple(dict.fromkeys(count.board for count in self.counts))

    def of(self, board: str) -> tuple[Count, ...]:
        """Return the counts of one board."""
        return tuple(count for count in self.counts if count.board == board)

    @cached_property
    def carried(self) -> tuple[Count, ...]:
        """Those that the scene's battery runs as well as the body as it is; all if it runs none."""
        if self.before.not_carried:
            return self.counts
        return tuple(c for c in self.counts if not c.step.not_carried) or self.counts

    @cached_property
    def chosen(self) -> Count | None:
        """The recommended one: of those even enough that the battery runs the least power if that
        is what comes first, otherwise the fewest boards to solder; None if none is even enough."""
        enough = [c for c in self.carried if c.step.enough]
        if self.wish.first == "power":
            lit = [
                c for c in enough if c.step.lit.ratio >= 0.999 * c.step.findings.limits.glow_ratio
            ]
            return min(lit or enough, key=lambda c: (c.power_w, c.joints), default=None)
        return min(enough, key=lambda c: (c.joints, c.power_w), default=None)

    @cached_property
    def best(self) -> Count:
        """The most even one that the battery runs; of those that are hardly less even the fewest
        boards."""
        near = as_good_as_best([c.step for c in self.carried])
        some = [c for c in self.carried if any(c.step is step for step in near)]
        return min(some, key=lambda c: (c.joints, off_log(c.step)))

    @property
    def shown(self) -> Count:
        """The recommended one, or the most even."""
        return self.chosen or self.best

    @property
    def neighbours(self) -> tuple[tuple[str, Step], ...]:
        """The number shown, one less and one more of the same board, each named."""
        shown = self.shown
        near = [c for c in self.of(shown.board) if abs(c.count - shown.count) <= 1]
        return tuple((named_boards(c.count, c.board), c.step) for c in near)

    @cached_property
    def verdict(self) -> Verdict:
        """Whether the one shown is worth doing; fewer boards that are even enough are too."""
        spares = self.chosen is not None and self.shown.count < len(self.body.lights)
        return weigh(self.before, self.shown.step, self.wish, spares)

    @property
    def advised(self) -> Count | None:
        """The one to build; None if none is worth it, so that the body is to be left as it is."""
        return self.shown if self.verdict.worth else None

    @cached_property
    def text(self) -> tuple[str, ...]:
        """What a maker should know, in sentences."""
        return tuple(_words(self))

    def write(self) -> Path:
        """Write the scene with the one shown beside the old one, under a free name; return its
        path. Whether that is worth doing, `verdict` says."""
        name = Path(self.plan.scene_file.toml.name)
        return write_beside(name, "placed", self.shown.text_of_scene)

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
                    "off_by": round(bound.off_by, 5),
                }
                for name, bound in self.bounds.items()
            },
            "worth_doing": self.verdict.worth,
            "recommended": None if chosen is None else [chosen.board, chosen.count],
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
    sure: Sure | None = None,
    report: Report = lambda text: None,
) -> Modules:
    """Place 1 to `most` boards, each number as well as can be found, and solve each; of a chain
    along a path, each number spread evenly along it.

    board_names : kinds to compare; the body's first light's if left out
    sure        : judge each number by the reference solver where quick is a rough guide
    Raises SceneError, MaterialError, GeometryError or SolveError for what cannot be done.
    """
    check_count(most)
    plan = plan_of(scene_file)
    numbers = bodies_alike(plan, body)
    number = numbers[0]
    if (chain := chain_of(scene_file.scene.bodies[number])) is not None:
        kinds = list(board_names) or [scene_file.scene.bodies[number].lights[chain].board]
        wish = wish or Wish()
        before, counts, missing = chain_counts(
            plan, scene_file, numbers, most, kinds, wish, seed, sure, report
        )
        return Modules(plan, numbers, wish, before, tuple(counts), {}, tuple(missing))
    names: list[str | None] = [*dict.fromkeys(board_names)] or [None]
    lights = [pattern_light(plan, number, name) for name in names]
    wish = wish or Wish()
    rules = placing or scene_file.scene.bodies[number].placing or Placing()
    report("looking for room")
    prop = PreparedProp(seed)
    problem = prop.problem(plan, number)
    able: list[tuple[Light, list[int]]] = []
    missing = []
    for light in lights:
        fitting, why_not = _fitting(plan, number, problem, light, rules, wish, most)
        able.append((light, fitting))
        missing += why_not
    if not any(fitting for _, fitting in able):
        raise SceneError("\n".join(missing))
    responses = Responses(plan, number, report=report, prop=prop)
    counts = []
    bounds: dict[str, Bound] = {}
    trial = Trial(responses, numbers, report, sure)
    report("solving the scene as it is")
    before = warmed(trial.judged(scene_file, 0), plan.catalogue)
    responses.see(before.glow)
    for light, fitting in able:
        if fitting:
            placer = Placer(plan, number, responses, light, rules, wish, seed, report)
            bounds[light.board] = placer.bound
        for k in fitting:
            found = _tried(placer, k, scene_file, trial, before, numbers, report)
            if isinstance(found, str):
                missing.append(found)
            else:
                counts.append(found)
    if not counts:
        raise SceneError("\n".join(missing))
    return Modules(plan, numbers, wish, before, tuple(counts), bounds, tuple(missing))


def _fitting(
    plan: Plan,
    number: int,
    problem: BodyProblem,
    light: Light,
    rules: Placing,
    wish: Wish,
    most: int,
) -> tuple[list[int], list[str]]:
    """Return which numbers of a board, `most` at most, find room, and why the others do not."""
    try:
        room = Room(plan, number, problem, light, rules, wish)
    except SceneError as fault:
        return [], [str(fault)]
    able = [k for k in range(1, most + 1) if room.fits(k)]
    lacking = [str(k) for k in range(1, most + 1) if k not in able]
    if not lacking:
        return able, []
    try:
        room.check(int(lacking[0]))
    except SceneError as fault:
        said = [str(fault)]
    if len(lacking) > 1 and able:
        said.append(f"{problem.name}: nor do {', '.join(lacking[1:])} boards '{light.board}'")
    return able, said


def _tried(
    placer: Placer,
    count: int,
    scene_file: SceneFile,
    trial: Trial,
    before: Step,
    numbers: tuple[int, ...],
    report: Report,
) -> Count | str:
    """Return one count, placed and solved, or why it cannot be."""
    kind = placer.kind
    report(f"placing {named_boards(count, kind.name)}")
    try:
        placement, expected = placer.place(count)
        new = lit(scene_file, numbers, placer, placement, before, report)
        report(f"confirming {named_boards(count, kind.name)}")
        step = trial.judged(new.scene_file, count)
    except SceneError as fault:
        return str(fault)
    levels = new.factor * placement.levels
    return Count(
        kind.name,
        count,
        replace(step, heat=new.heat),
        expected,
        new.factor,
        sum(kind.supply_ma(float(level)) for level in levels),
        sum(kind.power_w(float(level)) for level in levels),
        count * kind.led_count,
        count * joints_of(kind.board),
        tuple(new.lights),
        new.text,
        placer.gap(placement, step.even),
    )


def _words(answer: Modules) -> list[str]:
    chosen = answer.chosen
    of_all = named_all(answer.plan.scene_file, answer.numbers)
    said = []
    if chosen is not None:
        said.append(
            f"{named_boards(chosen.count, chosen.board)} in {of_all} "
            f"{does(chosen.count, 'is', 'are')} enough: "
            f"{figures(chosen.step)}{_expected(chosen)}: {verdict(chosen.step)}. That takes "
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
        more = "can"
        if not answer.bounds:
            # Along a path nothing tells what limits them.
            able, more = [best.board], "may"
        if able and best.count == tried:
            said.append(f"More of them {more} be: try --max {2 * tried} with {' or '.join(able)}.")
    passed = [c for c in answer.counts if c not in answer.carried]
    if passed:
        which = ", ".join(named_boards(c.count, c.board) for c in passed)
        said.append(f"Passed over, for the battery: {which}. {passed[0].step.not_carried}")
    said += answer.verdict.sentences
    for board in answer.bounds:
        mine = answer.of(board)
        if mine:
            top = max(mine, key=lambda c: c.step.even)
            assert top.gap is not None, "where there is a bound"
            said.append(bound_words(top.gap, answer.target, board, top.count, answer.wish))
    shown = answer.shown
    said += heat_words(shown.step, shown.factor, answer.wish.first)
    said += shown.step.trust_words("make a test piece before you commit, or solve with --sure")
    return said


def _expected(count: Count) -> str:
    """Return what was foretold of a number of boards, in brackets, '' for nothing."""
    if count.expected is None:
        return ""
    return f" (expected {share(count.expected.even)} and x {count.expected.off_by:.3g})"
