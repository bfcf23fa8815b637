r"""Where? Positions, directions and levels of the boards in one body.

    from glowsim import read_scene
    from glowsim.decisions.placing import place
    answer = place(read_scene("scenes/thistle_staff.toml"), "spike", 4, board="rgb_5050_18ma")
    print(*answer.text, sep="\n")

`answer.text_of_scene` is the scene with the boards moved; `answer.write()` puts it in a new file
beside the old one.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np

from glowsim.decisions.alike import bodies_alike
from glowsim.decisions.bound import Bound, Gap
from glowsim.decisions.lights import lit
from glowsim.decisions.objective import Wish, p5_over_mean
from glowsim.decisions.placed_scene import matched
from glowsim.decisions.placer import Expected, Placer, pattern_light
from glowsim.decisions.polish import Placement
from glowsim.decisions.relit import Relit
from glowsim.decisions.response import Responses
from glowsim.decisions.room import Room
from glowsim.decisions.sensitivity import patch_luminance
from glowsim.decisions.step import judged, warmed
from glowsim.decisions.trial import Trial, sizes_alike
from glowsim.decisions.words import (
    bound_words,
    does,
    heat_words,
    named_boards,
    share,
    too_hot_words,
)
from glowsim.decisions.worth import verdict, weigh
from glowsim.errors import SceneError
from glowsim.scene import Light, Placing, SceneFile
from glowsim.transport.build import Report
from glowsim.transport.plan import plan_of
from glowsim.transport.prepared import PreparedProp
from glowsim.transport.reference import Goal
from glowsim.transport.solve import REFERENCE_GOAL, solve
from glowsim.transport.sure import Sure

MOST_BOARDS = 200


@dataclass(frozen=True)
class Move:
    """What becomes of one board, in the body's own frame.

    was_mm, was_facing : None for a board that is new;  mm : how far it moves
    level : drive over the pattern's
    """

    name: str
    was_mm: tuple[float, ...] | None
    was_facing: tuple[float, ...] | None
    to_mm: tuple[float, ...]
    facing: tuple[float, ...]
    mm: float | None
    level: float


@dataclass(frozen=True, kw_only=True)
class Placed(Relit):
    """A placement, solved.

    expected  : by the response matrix;  bound : what no number of boards can beat
    lights    : the boards, in the body's own frame;  moves : what becomes of each
    placer    : candidates and responses;  removed : lights that are gone
    reference : 5 %/mean by the reference solver, if asked
    """

    board: str
    placement: Placement
    expected: Expected
    bound: Bound
    lights: tuple[Light, ...]
    moves: tuple[Move, ...]
    removed: tuple[str, ...]
    placer: Placer
    reference: float | None = None

    @property
    def label(self) -> str:
        """What was placed, in a few words."""
        return f"{len(self.moves)} x {self.board}"

    @property
    def target(self) -> float:
        """Evenness wanted."""
        return self.plan.scene_file.scene.findings.evenness_target

    @cached_property
    def gap(self) -> Gap:
        """What lies between the placement and the bound."""
        return self.placer.gap(self.placement, self.after.even)

    @cached_property
    def text(self) -> tuple[str, ...]:
        """What a maker should know, in sentences."""
        return tuple(_words(self))

    def as_json(self) -> dict[str, Any]:
        """Return plain data."""
        return super().as_json() | {
            "board": self.board,
            "count": len(self.moves),
            "evenness_target": self.target,
            "predicted_p5_over_mean": round(self.expected.even, 5),
            "predicted_off_by": round(self.expected.off_by, 5),
            "reference_p5_over_mean": self.reference,
            "bound_p5_over_mean": round(self.bound.percent, 5),
            "bound_least_over_mean": round(self.bound.least, 5),
            "bound_off_by": round(self.bound.off_by, 5),
            "levels_freed_p5_over_mean": round(self.gap.freed, 5),
            "best_mixture_p5_over_mean": round(self.gap.mixture.even, 5),
            "best_mixture_boards": self.gap.mixture.count,
            "boards": [vars(move) for move in self.moves],
            "removed": list(self.removed),
        }


def place(
    scene_file: SceneFile,
    body: str | None,
    count: int,
    *,
    board: str | None = None,
    wish: Wish | None = None,
    placing: Placing | None = None,
    seed: int = 0,
    reference: Goal | None = None,
    sure: Sure | None = None,
    report: Report = lambda text: None,
) -> Placed:
    """Place `count` boards in a body as well as can be found, and confirm it by a fresh solve.

    body      : its name, or that of one of its copies; may be left out where one body alone has
                lights, or all that do are alike. All bodies like it get the same boards
    board     : another board of the catalogue than the body's first light
    placing   : where boards may go; the body's own if left out
    reference : confirm with the reference solver too, up to this goal
    sure      : judge before and after by the reference solver where quick is a rough guide
    Raises SceneError, MaterialError, GeometryError or SolveError for what cannot be done.
    """
    check_count(count)
    plan = plan_of(scene_file)
    numbers = bodies_alike(plan, body)
    number = numbers[0]
    light = pattern_light(plan, number, board)
    wish = wish or Wish()
    rules = placing or scene_file.scene.bodies[number].placing or Placing()
    report("looking for room")
    prop = PreparedProp(seed)
    Room(plan, number, prop.problem(plan, number), light, rules, wish).check(count)
    responses = Responses(plan, number, report=report, prop=prop)
    trial = Trial(responses, numbers, report, sure)
    report("solving the scene as it is")
    before = trial.judged(scene_file, 0)
    responses.see(before.glow)
    placer = Placer(plan, number, responses, light, rules, wish, seed, report)
    report("placing")
    placement, expected = placer.place(count)
    new = lit(scene_file, numbers, placer, placement, before, report)
    report("confirming")
    after = trial.judged(new.scene_file, count)
    before = warmed(before, plan.catalogue)
    after = replace(after, heat=new.heat)
    old = scene_file.scene.bodies[number].lights
    answer = Placed(
        plan=plan,
        numbers=numbers,
        wish=wish,
        before=before,
        after=after,
        drive_factor=new.factor,
        verdict=weigh(before, after, wish),
        text_of_scene=new.text,
        responses=responses,
        poses=placer.sites.poses,
        board=light.board,
        placement=placement,
        expected=expected,
        bound=placer.bound,
        lights=tuple(new.lights),
        moves=_moves(old, new.lights, placement),
        removed=_removed(old, new.lights),
        placer=placer,
    )
    if reference is not None:
        report("confirming with the reference solver")
        answer = replace(
            answer, reference=_by_reference(answer, new.scene_file, seed, reference, report)
        )
    return answer


def _words(answer: Placed) -> list[str]:
    """Return the answer in sentences: what is reached, what stands in the way, what heat says."""
    count, even, off = len(answer.moves), answer.after.even, answer.after.evenness.off_by
    said = list(answer.verdict.sentences)
    if answer.worth:
        said.insert(
            0,
            f"{named_boards(count, answer.board)} in {answer.bodies} {does(count, 'is', 'are')} "
            f"off by x {off:.3g} (before: x {answer.before.evenness.off_by:.3g}; expected x "
            f"{answer.expected.off_by:.3g}) and {does(count, 'reaches', 'reach')} 5%/mean "
            f"{share(even)} (before: {share(answer.before.even)}; expected "
            f"{share(answer.expected.even)}): {verdict(answer.after)}.",
        )
    if answer.reference is not None:
        said.append(
            f"The reference solver says {answer.reference:.2f}, read from patches of the surface."
        )
    said.append(bound_words(answer.gap, answer.target, answer.board, count, answer.wish))
    stray = float(answer.placer.aim.stray(answer.placement.luminance[None])[0])
    if stray > 0:
        least = answer.plan.scene_file.scene.findings.whole_dark_ratio
        said.append(
            f"What must stay dark reaches {100 * stray:.0f} % of the glow's mean at most; "
            + ("that is dark enough." if stray <= least else f"up to {100 * least:.0f} % is dark.")
        )
    if answer.worth:
        said += heat_words(answer.after, answer.drive_factor, answer.wish.first)
    else:
        said += too_hot_words(answer.before)
    said += answer.after.trust_words("solve with --sure, or make a test piece")
    return said


def check_count(count: int) -> None:
    """Raise SceneError for a number of boards that is out of range."""
    if not 1 <= count <= MOST_BOARDS:
        raise SceneError(f"{count} boards cannot be placed; ask for 1 to {MOST_BOARDS}")


def _moves(old: Sequence[Light], new: Sequence[Light], placement: Placement) -> tuple[Move, ...]:
    moves = []
    for light, match, level in zip(new, matched(old, new), placement.levels, strict=True):
        was = None if match is None else old[match]
        way = None if was is None else np.asarray(light.position_mm) - np.asarray(was.position_mm)
        moves.append(
            Move(
                light.name or "",
                None if was is None else was.position_mm,
                None if was is None else was.direction,
                light.position_mm,
                light.direction,
                None if way is None else float(np.linalg.norm(way)),
                float(level),
            )
        )
    return tuple(moves)


def _removed(old: Sequence[Light], new: Sequence[Light]) -> tuple[str, ...]:
    kept = {match for match in matched(old, new) if match is not None}
    return tuple(light.name or f"light {k + 1}" for k, light in enumerate(old) if k not in kept)


def _by_reference(answer: Placed, new: SceneFile, seed: int, goal: Goal, report: Report) -> float:
    """Return 5 %/mean by the reference solver, read from the means of patches: the noise of
    single faces would make the darkest of them look darker than they are."""
    responses = answer.responses
    sizes = sizes_alike(responses, answer.numbers)
    glow = solve(new, method="reference", sizes=sizes, seed=seed, goal=goal, report=report)
    count, material = len(answer.moves), answer.body.material
    step = judged(glow, new, answer.numbers[0], count, material, answer.plan.catalogue)
    face, area = responses.faces_cd_m2(patch_luminance(responses, step) / responses.wanted)
    return round(p5_over_mean(face, area), 5)


__all__ = ["REFERENCE_GOAL", "Move", "Placed", "Wish", "place"]
