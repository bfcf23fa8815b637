"""Where? Positions, directions and levels of the boards in one body.

    from glowsim import read_scene
    from glowsim.decisions.placing import place
    answer = place(read_scene("scenes/thistle_staff.toml"), "spike", 4, board="rgb_5050_18ma")
    print(*answer.text, sep="\\n")

`answer.text_of_scene` is the scene with the boards moved; `answer.write()` puts it in a new file
beside the old one.
"""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np

from glowsim.decisions.boards import BoardKind
from glowsim.decisions.bound import Bound, Gap
from glowsim.decisions.objective import p5_over_mean
from glowsim.decisions.placed_scene import free_name, matched, with_lights, write_new
from glowsim.decisions.placer import Placer, Wish, body_number, pattern_light
from glowsim.decisions.polish import Placement
from glowsim.decisions.response import Responses, pinned
from glowsim.decisions.sensitivity import patch_luminance
from glowsim.decisions.step import Step, judged
from glowsim.decisions.words import bound_words, does, heat_words, named_boards, share
from glowsim.decisions.worth import change, verdict
from glowsim.errors import SceneError
from glowsim.scene import Body, Light, Placing, SceneFile
from glowsim.scene.bodies import Drive
from glowsim.transport.plan import Plan, plan_of
from glowsim.transport.reference import Goal
from glowsim.transport.solve import REFERENCE_GOAL, solve

Report = Callable[[str], None]
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


@dataclass(frozen=True)
class Placed:
    """A placement, solved.

    before, after : the body as the scene has it, and with the boards placed
    predicted     : 5 %/mean by the response matrix;  bound : what no number of boards can beat
    drive_factor  : what the boards' drive was multiplied with, for heat or the wish
    placer        : candidates and responses, for a picture of what would mend the rest
    removed       : lights that are gone;  reference : 5 %/mean by the reference solver, if asked
    """

    plan: Plan
    number: int
    board: str
    wish: Wish
    before: Step
    after: Step
    placement: Placement
    predicted: float
    bound: Bound
    drive_factor: float
    moves: tuple[Move, ...]
    removed: tuple[str, ...]
    text_of_scene: str
    placer: Placer
    reference: float | None = None

    @property
    def body(self) -> Body:
        """The body as the scene has it."""
        return self.plan.scene_file.scene.bodies[self.number]

    @property
    def target(self) -> float:
        """Evenness wanted."""
        return self.plan.scene_file.scene.findings.evenness_target

    @property
    def meets(self) -> bool:
        """Whether the placement is even enough."""
        return self.after.enough

    def write(self) -> Path:
        """Write the new scene beside the old one, under a free name; return its path."""
        path = free_name(Path(self.plan.scene_file.toml.name), "placed")
        write_new(path, self.text_of_scene)
        return path

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
        return {
            "body": self.body.name,
            "board": self.board,
            "count": len(self.moves),
            "first": self.wish.first,
            "evenness_target": self.target,
            "meets_target": self.meets,
            "predicted_p5_over_mean": round(self.predicted, 5),
            "reference_p5_over_mean": self.reference,
            "bound_p5_over_mean": round(self.bound.percent, 5),
            "bound_least_over_mean": round(self.bound.least, 5),
            "levels_freed_p5_over_mean": round(self.gap.freed, 5),
            "best_mixture_p5_over_mean": round(self.gap.mixture.even, 5),
            "best_mixture_boards": self.gap.mixture.count,
            "drive_factor": round(self.drive_factor, 5),
            "before": self.before.as_json(),
            "after": self.after.as_json(),
            "boards": [vars(move) for move in self.moves],
            "removed": list(self.removed),
            "text": list(self.text),
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
    report: Report = lambda text: None,
) -> Placed:
    """Place `count` boards in a body as well as can be found, and confirm it by a fresh solve.

    body      : its name; may be left out where one body alone has lights
    board     : another board of the catalogue than the body's first light
    placing   : where boards may go; the body's own if left out
    reference : confirm with the reference solver too, up to this goal
    Raises SceneError, MaterialError, GeometryError or SolveError for what cannot be done.
    """
    check_count(count)
    plan = plan_of(scene_file)
    number = body_number(plan, body)
    light = pattern_light(plan, number, board)
    wish = wish or Wish()
    room = placing or scene_file.scene.bodies[number].placing or Placing()
    responses = Responses(plan, number, room.depth_mm, report=report)
    placer = Placer(plan, number, responses, light, room, wish, seed, report)
    report("placing")
    placement, predicted = placer.place(count)
    with tempfile.TemporaryDirectory() as folder:
        trial = Trial(responses, number, seed, Path(folder) / "glow.npz", report)
        report("solving the scene as it is")
        before = trial.judged(scene_file, 0)
        factor = drive_factor(placer, placement, before)
        lights = lights_of(placer, placement, scene_file.scene.bodies[number], factor)
        text, new = with_lights(
            scene_file, scene_file.toml.text, number, lights, f"{scene_file.stem}-placed.toml"
        )
        report("confirming")
        after = trial.judged(new, count)
    answer = Placed(
        plan, number, light.board, wish, before, after, placement, predicted, placer.bound,
        factor, _moves(scene_file.scene.bodies[number].lights, lights, placement),
        _removed(scene_file.scene.bodies[number].lights, lights), text, placer,
    )  # fmt: skip
    if reference is not None:
        report("confirming with the reference solver")
        answer = replace(answer, reference=_by_reference(answer, new, seed, reference, report))
    return answer


def _words(answer: Placed) -> list[str]:
    """Return the answer in sentences: what is reached, what stands in the way, what heat says."""
    count, even = len(answer.moves), answer.after.even
    said = [
        f"{named_boards(count, answer.board)} in '{answer.body.name}' "
        f"{does(count, 'reaches', 'reach')} 5%/mean {share(even)} "
        f"(before: {share(answer.before.even)}; expected {answer.predicted:.3f}, solved "
        f"{even:.3f}): "
        f"{verdict(answer.after)}.",
        f"Beside what it is now: {change(answer.after, answer.before)}.",
    ]
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
    said += heat_words(answer.after, answer.drive_factor, answer.wish.first)
    if answer.after.trust:
        said.append(
            f"The quick solver is a rough guide here ({'; '.join(answer.after.trust)}): confirm "
            "with --reference, or make a test piece."
        )
    return said


def check_count(count: int) -> None:
    """Raise SceneError for a number of boards that is out of range."""
    if not 1 <= count <= MOST_BOARDS:
        raise SceneError(f"{count} boards cannot be placed; ask for 1 to {MOST_BOARDS}")


class Trial:
    """Solves variants of a scene in which one body differs; the others are solved once."""

    def __init__(
        self, responses: Responses, number: int, seed: int, saved: Path, report: Report
    ) -> None:
        """saved : where the last glow is kept meanwhile."""
        self._plan, self._number, self._seed = responses.plan, number, seed
        self._responses = responses
        self._saved, self._report = saved, report
        body = self._plan.scene_file.scene.bodies[number]
        self._sizes = (body.detail_mm or 0.0, body.cell_mm or 0.0)

    def judged(self, scene_file: SceneFile, count: float) -> Step:
        """Return what comes of a variant, on the faces and cells that all are compared on."""
        scene_file = pinned(scene_file, self._number, *self._sizes)
        glow = solve(
            scene_file,
            seed=self._seed,
            saved=self._saved,
            ready=self._responses.fine,
            report=self._report,
        )
        material = scene_file.scene.bodies[self._number].material
        return judged(glow, scene_file, self._number, count, material, self._plan.catalogue)


def drive_factor(placer: Placer, placement: Placement, before: Step) -> float:
    """Return what to multiply the drive of all boards with.

    Evenness first leaves it, unless heat forbids; brightness takes all that heat and the LEDs
    allow; least power takes what makes the body read as lit.
    """
    heat = placer.kind.heat
    assert heat is not None
    if placer.wish.first == "evenness":
        factor = min(1.0, heat.heat_factor)
    elif placer.wish.first == "brightness":
        factor = heat.factor
    else:
        lit = before.lit
        room = lit.ratio / lit.on_off * lit.white_paper_cd_m2
        needed = max(lit.needed_cd_m2 - room, 0.01 * lit.needed_cd_m2)
        mean = float(placer.aim.mean(placement.luminance))
        factor = min(needed / mean, heat.factor)
    # Rounded down, so that what is written is never above the limit.
    return float(np.floor(factor * 1e4) / 1e4)


def lights_of(placer: Placer, placement: Placement, body: Body, factor: float) -> list[Light]:
    """Return the scene's lights for a placement; those that move keep name and zone."""
    pattern = placer.kind.light
    lights = []
    poses, levels = placement.poses, placement.levels
    for k in range(len(poses)):
        lights.append(
            pattern.model_copy(
                update={
                    "position_mm": tuple(round(float(c), 2) + 0.0 for c in poses.position[k]),
                    "direction": tuple(round(float(c), 4) + 0.0 for c in poses.direction[k]),
                    "drive": _scaled(placer.kind, factor * float(levels[k])),
                }
            )
        )
    taken = {light.name for light in body.lights}
    matches = matched(body.lights, lights)
    for k, match in enumerate(matches):
        old = None if match is None else body.lights[match]
        name = old.name if old is not None and old.name else f"board {k + 1}"
        if old is None:
            while name in taken:
                name += "'"
        zone = pattern.zone if old is None else old.zone
        if placer.wish.free_levels:
            zone = f"{pattern.zone} {k + 1}"
        lights[k] = lights[k].model_copy(update={"name": name, "zone": zone})
    return lights


def _scaled(kind: BoardKind, factor: float) -> Drive:
    """Return the pattern's drive times a factor, rounded down."""
    drive = kind.light.drive
    if factor == 1.0:
        return drive
    colours = ("white",) if kind.board.drive == "white" else ("red", "green", "blue")
    return drive.model_copy(
        update={c: float(np.floor(getattr(drive, c) * factor * 1e4 + 1e-6) / 1e4) for c in colours}
    )


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
    responses = answer.placer.responses
    body = responses.plan.scene_file.scene.bodies[answer.number]
    same_faces = pinned(new, answer.number, body.detail_mm or 0.0, body.cell_mm or 0.0)
    glow = solve(same_faces, method="reference", seed=seed, goal=goal, report=report)
    step = judged(
        glow,
        same_faces,
        answer.number,
        len(answer.moves),
        answer.body.material,
        answer.plan.catalogue,
    )
    face, area = responses.faces_cd_m2(patch_luminance(responses, step) / responses.wanted)
    return round(p5_over_mean(face, area), 5)


__all__ = ["REFERENCE_GOAL", "Move", "Placed", "Trial", "Wish", "place"]
