r"""Where along their paths? The strips and chains of one body, slid along the paths they lie on.

    from glowsim import read_scene
    from glowsim.decisions.sliding import slide
    answer = slide(read_scene("scenes/moth_mask.toml"), "mask")
    print(*answer.text, sep="\n")

Every start along each path is looked at by the light read backwards, as boards are when they are
placed; the best few are solved, and the best of those is weighed against the scene as it is.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np

from glowsim.catalogue import Catalogue
from glowsim.decisions.alike import bodies_alike, relit
from glowsim.decisions.boards import Poses
from glowsim.decisions.effort import Effort
from glowsim.decisions.lights import drive_factor, turned
from glowsim.decisions.objective import Aim, Wish
from glowsim.decisions.relit import Relit
from glowsim.decisions.response import Responses
from glowsim.decisions.starts import Starts
from glowsim.decisions.step import Step, warmed
from glowsim.decisions.trial import Trial
from glowsim.decisions.words import heat_words, share, too_hot_words
from glowsim.decisions.worth import figure, verdict, weigh
from glowsim.errors import GlowsimError, SceneError
from glowsim.geometry.mesh import FloatArray
from glowsim.geometry.strips import PathStrip, path_strips
from glowsim.scene import Body, Light, SceneFile
from glowsim.transport.build import Report
from glowsim.transport.fit import fits
from glowsim.transport.plan import Plan, plan_of
from glowsim.transport.prepared import PreparedProp
from glowsim.transport.sure import Sure

LEAST_ROOM_MM = 1.0
"""A strip that can be slid by less than this stays where it is."""
FINALISTS = 3
"""Choices that are solved."""
MOST_TRIED = 40
"""Choices whose fit is looked at in search of those."""


@dataclass(frozen=True)
class Slide:
    """What becomes of one strip.

    was_mm, start_mm : how far along its path it begins;  last_mm : where it may at the farthest
    first_led_mm, last_led_mm : where its ends' LEDs then are, in the body's frame
    """

    name: str
    was_mm: float
    start_mm: float
    last_mm: float
    first_led_mm: tuple[float, ...]
    last_led_mm: tuple[float, ...]


@dataclass(frozen=True, kw_only=True)
class Slid(Relit):
    """Strips slid along their paths, solved; the drive is that of all the body's lights."""

    slides: tuple[Slide, ...]

    @property
    def label(self) -> str:
        """What was done, in a few words."""
        return "slid" if len(self.slides) > 1 else f"slid to {self.slides[0].start_mm:g} mm"

    @cached_property
    def text(self) -> tuple[str, ...]:
        """What a maker should know, in sentences."""
        return tuple(_words(self))

    def as_json(self) -> dict[str, Any]:
        """Return plain data."""
        return super().as_json() | {"strips": [vars(one) for one in self.slides]}


def slides(body: Body) -> bool:
    """Whether a body as written has strips or chains along paths: these are slid, not placed."""
    return any(light.runs_along for light in body.lights)


def slide(
    scene_file: SceneFile,
    body: str | None = None,
    *,
    wish: Wish | None = None,
    seed: int = 0,
    effort: Effort | None = None,
    sure: Sure | None = None,
    report: Report = lambda text: None,
) -> Slid:
    """Slide the strips of a body along their paths as well as can be found, confirmed by a fresh
    solve. Its other lights stay.

    body : its name, or that of one of its copies; may be left out where one body alone has
           lights, or all that do are alike. All bodies like it get the same
    effort : what the search spends; thorough if left out
    sure : judge by the reference solver where quick is a rough guide
    Raises SceneError, MaterialError, GeometryError or SolveError for what cannot be done.
    """
    plan, wish = plan_of(scene_file), wish or Wish()
    numbers = bodies_alike(plan, body)
    number = numbers[0]
    strips = _with_room(scene_file, plan, number)
    responses = Responses(plan, number, effort, report, PreparedProp(seed))
    trial = Trial(responses, numbers, report, sure)
    report("solving the scene as it is")
    before = trial.judged(scene_file, 0)
    if before.heat is None:
        name = scene_file.scene.bodies[number].name
        raise SceneError(f"{name}: all drive levels of its lights are 0; turn them up first")
    responses.see(before.glow)
    report("sliding the strips")
    looks = Starts(plan, number, strips, responses)
    aim = responses.aim(wish.first, scene_file.scene.findings, scene_file.scene.room)
    best: tuple[FloatArray, Step] | None = None
    for starts in _finalists(scene_file, number, looks, aim, responses):
        report("confirming " + ", ".join(f"{start:g} mm" for start in starts))
        step = trial.judged(_slid(scene_file, numbers, strips, starts, plan.catalogue)[1], 0)
        if best is None or _better(step, best[1], wish):
            best = starts, step
    if best is None:
        raise scene_file.fault(
            ("bodies", number, "lights", strips[0].number),
            f"no other place along its path has room for '{strips[0].name}'; give the path more "
            "length",
        )
    return _answer(scene_file, plan, numbers, strips, before, best, wish, trial, responses)


def _with_room(scene_file: SceneFile, plan: Plan, number: int) -> list[PathStrip]:
    """Return the strips of a body that can be slid; raises SceneError where none can."""
    strips = path_strips(scene_file, number, plan.catalogue)
    free = [strip for strip in strips if strip.last_start_mm >= LEAST_ROOM_MM]
    if not free:
        first = strips[0]
        key = scene_file.scene.bodies[number].lights[first.number].path_key or "path_mm"
        raise scene_file.fault(
            ("bodies", number, "lights", first.number, key),
            f"'{first.name}' has no room to be slid: its path is {first.track.length_mm:.1f} mm "
            "long and it fills it; give a longer path, or fewer "
            + ("boards with a pitch_mm" if first.light.is_chain else "LEDs"),
        )
    return free


def _finalists(
    scene_file: SceneFile, number: int, looks: Starts, aim: Aim, responses: Responses
) -> list[FloatArray]:
    """Return the best choices of starts, apart from each other, whose strips have room there."""
    fitted = fits(responses.problem)
    found: list[tuple[int, ...]] = []
    for chosen in looks.ranked(aim)[:MOST_TRIED]:
        # Neighbours come to the same.
        if any(np.abs(np.subtract(chosen, other)).max() < 2 for other in found):
            continue
        starts, catalogue = looks.at_mm(chosen), responses.plan.catalogue
        slid = _slid(scene_file, (number,), looks.strips, starts, catalogue)[1]
        try:
            problem = responses.prop.problem(plan_of(slid), number)
        except GlowsimError:
            continue
        if fitted and not fits(problem):
            continue
        found.append(chosen)
        if len(found) == FINALISTS:
            break
    return [looks.at_mm(chosen) for chosen in found]


def _slid(
    scene_file: SceneFile,
    numbers: Sequence[int],
    strips: Sequence[PathStrip],
    starts: FloatArray,
    catalogue: Catalogue,
    factor: float = 1.0,
) -> tuple[str, SceneFile]:
    """Return the text of a scene with strips at other starts in bodies of some numbers, and that
    scene; factor : what the drive of all their lights is multiplied with."""
    lights: dict[int, list[Light]] = {}
    for k in numbers:
        mine = list(scene_file.scene.bodies[k].lights)
        for strip, start in zip(strips, starts, strict=True):
            update = {"start_mm": round(float(start), 1)}
            mine[strip.number] = mine[strip.number].model_copy(update=update)
        lights[k] = [turned(light, factor, catalogue.board(light.board)) for light in mine]
    return relit(scene_file, lights, f"{scene_file.stem}-placed.toml")


def _better(new: Step, old: Step, wish: Wish) -> bool:
    """Whether one solved step is better than another by what comes first."""
    if wish.first == "evenness":
        return new.evenness.off_by < old.evenness.off_by
    return figure(new, wish) > figure(old, wish)


def _answer(
    scene_file: SceneFile,
    plan: Plan,
    numbers: tuple[int, ...],
    strips: Sequence[PathStrip],
    before: Step,
    best: tuple[FloatArray, Step],
    wish: Wish,
    trial: Trial,
    responses: Responses,
) -> Slid:
    """Return the best choice, turned to what the wish and heat have it at, weighed."""
    starts, after = best
    text, new = _slid(scene_file, numbers, strips, starts, plan.catalogue)
    after, before = warmed(after, plan.catalogue), warmed(before, plan.catalogue)
    assert after.heat is not None, "its lights are on, as before"
    mean = after.evenness.mean_cd_m2
    factor = drive_factor(wish, before, after.heat, mean)
    if factor != 1.0:
        text, new = _slid(scene_file, numbers, strips, starts, plan.catalogue, factor)
        heat = after.heat.turned(factor, scene_file.scene.heat.room_c)
        after = replace(trial.judged(new, 0), heat=heat)
    slides = []
    for strip, start in zip(strips, starts, strict=True):
        places = [piece.position_mm for piece in strip.pieces(float(start))]
        slides.append(
            Slide(strip.name, strip.light.start_mm, round(float(start), 1),
                  round(strip.last_start_mm, 1), places[0], places[-1])
        )  # fmt: skip
    emitters = responses.problem.emitters
    return Slid(
        plan=plan,
        numbers=numbers,
        wish=wish,
        before=before,
        after=after,
        drive_factor=factor,
        verdict=weigh(before, after, wish),
        text_of_scene=text,
        responses=responses,
        poses=Poses(emitters.position, emitters.direction),
        slides=tuple(slides),
    )


def _words(answer: Slid) -> list[str]:
    """Return the answer in sentences: what is reached, what heat says, how far to trust it."""
    before, after = answer.before, answer.after
    said = list(answer.verdict.sentences)
    if answer.worth:
        to = "; ".join(
            f"'{s.name}' begins {s.start_mm:g} mm along its path in place of {s.was_mm:g} mm"
            for s in answer.slides
        )
        said.insert(
            0,
            f"{to}: {answer.bodies} is off by x {after.evenness.off_by:.3g} (before: x "
            f"{before.evenness.off_by:.3g}) and reaches 5%/mean {share(after.even)} (before: "
            f"{share(before.even)}): {verdict(after)}.",
        )
        said += heat_words(after, answer.drive_factor, answer.wish.first)
    else:
        said += too_hot_words(before)
    return said + after.trust_words("solve with --sure, or make a test piece")
