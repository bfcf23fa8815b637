"""How thick? One quantity of one body, step by step, over one or several materials.

Five lines do what `glowsim thickness` does:

    import glowsim
    prop = glowsim.read_scene("scenes/moon_orb.toml")
    answer = glowsim.thickness(prop, from_mm=0.8, to_mm=4, steps=8)
    print([(step.value, step.even, step.weight_g) for step in answer.steps])
    print(answer.advice[0].text)

`answer.steps` holds every step with its findings and its glow. To solve steps side by side, give
an executor: `with glowsim.local_processes(2) as executor: glowsim.thickness(prop, ...,
executor=executor)`, in a script under `if __name__ == "__main__":`.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass
from itertools import repeat
from pathlib import Path
from typing import Any

import numpy as np

from glowsim.catalogue import Catalogue
from glowsim.decisions.advice import Advice, advise
from glowsim.decisions.step import Step, judged, judged_at_place
from glowsim.decisions.sweep import side_by_side, solve_scenes
from glowsim.decisions.vary import Variation, Vary, checked_materials, variation_of
from glowsim.errors import GlowsimError, SceneError
from glowsim.findings.inspection import doubts
from glowsim.geometry.body import solid_of
from glowsim.scene import SceneFile, Thresholds
from glowsim.transport.leds import BodyLeds
from glowsim.transport.plan import catalogue_of, plan_of
from glowsim.transport.reference import Goal
from glowsim.transport.reference import Progress as Photons
from glowsim.transport.result import SurfaceGlow
from glowsim.transport.solve import solve
from glowsim.transport.sure import Sure

MOST_STEPS = 200
LEAST_STEP_MM = 0.01
Report = Callable[[str, int, int], None]
"""Told what is being done, how much of it is finished, and of how much."""


@dataclass(frozen=True)
class Thickness:
    """The answer: every step, and what follows from them for each material.

    before : the body as drawn
    steps  : of the first material from thin to thick, then those of the next
    advice : one for each material
    """

    variation: Variation
    materials: tuple[str, ...]
    before: Step
    steps: tuple[Step, ...]
    advice: tuple[Advice, ...]

    @property
    def body(self) -> str:
        """Name of the body."""
        return self.variation.body.name

    @property
    def limits(self) -> Thresholds:
        """The scene's thresholds."""
        return self.variation.scene_file.scene.findings

    def of(self, material: str) -> tuple[Step, ...]:
        """Return the steps of one material."""
        return tuple(step for step in self.steps if step.material == material)

    @property
    def neighbours(self) -> tuple[tuple[str, Step], ...]:
        """What is recommended for each material, and the steps beside it, each named."""
        found = []
        for advice in self.advice:
            rows = {step.value: step for step in (*self.of(advice.material), advice.step)}
            order = sorted(rows)
            at = order.index(advice.value_mm)
            near = order[max(0, at - 1) : at + 2]
            found += [(f"{mm:g} mm of {advice.material}", rows[mm]) for mm in near]
        return tuple(found)

    def as_json(self) -> dict[str, Any]:
        """Return plain data."""
        return {
            "body": self.body,
            "vary": self.variation.vary,
            "varied": self.variation.varied,
            "now_mm": self.variation.now_mm,
            "evenness_target": self.limits.evenness_target,
            "as_drawn": self.before.as_json(),
            "steps": [step.as_json() for step in self.steps],
            "recommended": [advice.as_json() for advice in self.advice],
        }


def thickness(
    scene_file: SceneFile,
    body: str | None = None,
    *,
    from_mm: float,
    to_mm: float,
    steps: int = 8,
    vary: Vary | None = None,
    materials: Sequence[str] = (),
    seed: int = 0,
    executor: Executor | None = None,
    folder: Path | None = None,
    check: Goal | None = None,
    sure: Sure | None = None,
    report: Report = lambda doing, done, total: None,
) -> Thickness:
    """Vary a thickness and say which is the least that is even enough.

    body      : whose; may be left out where one body alone has lights
    vary      : wall, depth, around or size, see `vary`; the most natural if left out
    materials : to compare; the body's own if left out
    executor  : what solves the steps, see `solve_scenes`
    folder    : where finished steps are kept, so that a sweep can be interrupted
    check     : ask the reference solver too at each recommended value, until it reaches this goal
    sure      : judge each step by the reference solver where quick is a rough guide
    Raises SceneError, MaterialError, GeometryError or SolveError for what cannot be done.
    """
    _check_range(from_mm, to_mm, steps)
    variation = variation_of(scene_file, body, vary)
    names = checked_materials(variation, tuple(materials))
    catalogue = catalogue_of(scene_file)
    _check_ends(variation, from_mm, to_mm, catalogue)
    values = values_mm(from_mm, to_mm, steps)
    drawn = (variation.body.material, variation.now_mm)

    def scene_at(material: str, value: float) -> SceneFile:
        return scene_file if (material, value) == drawn else variation.at(value, material)

    def solved(wanted: Sequence[tuple[str, float]], doing: str) -> list[Step]:
        scenes = [scene_at(material, value) for material, value in wanted]
        glows = solve_scenes(
            scenes,
            labels=[f"with {variation.said(value)} of {m}" for m, value in wanted],
            seed=seed,
            executor=executor,
            folder=folder,
            progress=lambda done, total: report(doing, done, total),
        )
        if sure is not None:
            glows = [by_reference_if_rough(s, g) for s, g in zip(scenes, glows, strict=True)]
        report("judging", 0, len(wanted))
        values, names = [value for _, value in wanted], [material for material, _ in wanted]
        numbers, catalogues = repeat(variation.number), repeat(catalogue)
        judge = judged_at_place
        return side_by_side(executor, judge, glows, scenes, numbers, values, names, catalogues)

    def by_reference_if_rough(scene: SceneFile, glow: SurfaceGlow) -> SurfaceGlow:
        assert sure is not None
        return sure.judged(plan_of(scene), variation.number, glow, seed, watch=watch)

    def watch(body: str, done: float, _: Photons) -> None:
        report(f"following photons in {body}", int(100 * done), 100)

    asked = [(name, value) for name in names for value in values]
    before, *found = solved([drawn, *asked], "solving")

    def advice(material: str) -> Advice:
        mine = [step for step in found if step.material == material]
        given = advise(
            variation, mine, before, lambda value: solved([(material, value)], "confirming")[0]
        )
        doubtful = doubts(plan_of(given.step.scene_file), variation.number)
        given = given.also(
            *(f"Look at this before you build: {_ended(doubt)}" for doubt in doubtful)
        )
        return given if check is None else given.beside(by_reference(given.step, check))

    def by_reference(step: Step, goal: Goal) -> Step:
        glow = solve(step.scene_file, method="reference", seed=seed, goal=goal, watch=watch)
        return judged(glow, step.scene_file, variation.number, step.value, step.material, catalogue)

    return Thickness(variation, names, before, tuple(found), tuple(map(advice, names)))


def _ended(sentence: str) -> str:
    return sentence if sentence.endswith((".", "?")) else f"{sentence}."


def values_mm(from_mm: float, to_mm: float, steps: int) -> list[float]:
    """Return evenly spaced values, those between the ends rounded to a tenth of a step."""
    places = 1 - int(np.floor(np.log10((to_mm - from_mm) / (steps - 1))))
    between = np.linspace(from_mm, to_mm, steps)[1:-1]
    return [from_mm, *(round(float(v), places) for v in between), to_mm]


def _check_range(from_mm: float, to_mm: float, steps: int) -> None:
    if not (np.isfinite(from_mm) and np.isfinite(to_mm) and 0 <= from_mm < to_mm):
        raise SceneError(
            f"a sweep runs from a thin to a thick value of 0 mm or more; from {from_mm:g} to "
            f"{to_mm:g} mm does not"
        )
    if not 2 <= steps <= MOST_STEPS:
        raise SceneError(f"a sweep takes 2 to {MOST_STEPS} steps, not {steps}")
    if to_mm - from_mm < LEAST_STEP_MM * (steps - 1):
        raise SceneError(
            f"{steps} steps from {from_mm:g} to {to_mm:g} mm stand less than {LEAST_STEP_MM:g} mm "
            "apart; nothing is made that closely"
        )


def _check_ends(variation: Variation, from_mm: float, to_mm: float, catalogue: Catalogue) -> None:
    """Raise what stands against the ends of the range before anything is solved.

    Between ends that can be made everything can, but for lights that meet something set in.
    """
    ends = {"wall": (to_mm,), "depth": (from_mm, to_mm)}.get(variation.vary, (from_mm,))
    for value in ends:
        scene_file = variation.at(value)
        try:
            solid = solid_of(scene_file, variation.number)
            BodyLeds(scene_file, variation.number, catalogue).depths_mm(solid)
        except GlowsimError as problem:
            raise type(problem)(f"with {variation.said(value)}: {problem}") from None
