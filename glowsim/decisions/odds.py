"""What readings of a test piece leave open, carried to a prop's figures.

Two more solves say how the light of every face follows mu_a and mu_s' of a learnt material, in each
band. Samples of what the readings say, both coefficients erring together as they do, then give
samples of the whole surface, and each is judged: no new solves, and no corner cases that the
readings exclude.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from glowsim.catalogue import Material
from glowsim.decisions.linear import LinearSurface, linear_surface
from glowsim.decisions.step import Step
from glowsim.findings import Findings, Look, looks_of
from glowsim.findings.unevenness import grade
from glowsim.geometry.mesh import FloatArray
from glowsim.scene import SceneFile
from glowsim.transport.plan import Plan, plan_of
from glowsim.transport.prepared import PreparedProp
from glowsim.transport.result import SurfaceGlow

SAMPLES = 200
WITHIN = (15.87, 84.13)
"""Percentiles of one deviation."""
SURE = 0.975
"""Share of samples from which a verdict is not said to be open."""

Range = tuple[float, float]


@dataclass(frozen=True)
class Odds:
    """What readings leave open of one body as lit.

    mean_cd_m2, p5_over_mean, off_by, ratio : ranges of one deviation; ratio to white paper
    enough, lit : shares of the samples that are even enough, and that read as lit
    whose       : whose numbers they are
    """

    body: str
    mean_cd_m2: Range
    p5_over_mean: Range
    off_by: Range
    ratio: Range
    enough: float
    lit: float
    whose: str

    @property
    def sentences(self) -> list[str]:
        """What a maker should know."""

        def text(limits: Range) -> str:
            low, high = (f"{value:.3g}" for value in limits)
            return low if low == high else f"{low} to {high}"

        said = [
            f"{self.body}: by what is known of {self.whose}, the mean is {text(self.mean_cd_m2)} "
            f"cd/m2, 5%/mean {text(self.p5_over_mean)}, off by x {text(self.off_by)} (68 %; LEDs "
            "come on top)."
        ]
        if 1 - SURE < self.enough < SURE:
            said.append(f"It is even enough in {tenths(self.enough)} of what the readings allow.")
        if 1 - SURE < self.lit < SURE:
            said.append(f"It looks lit in {tenths(self.lit)} of it.")
        return said

    def as_json(self) -> dict[str, Any]:
        """Return plain data."""
        return dict(vars(self))


def tenths(share: float) -> str:
    """Return a share as a maker says it: '8 in 10'."""
    return f"{min(9, max(1, round(10 * share)))} in 10"


def learnt_materials(plan: Plan, number: int) -> list[str]:
    """Return the materials of a body that were learnt from readings."""
    body = plan.scene_file.scene.bodies[number]
    names = [body.material, *(insert.material for insert in body.inserts if insert.material)]
    found = plan.catalogue.materials
    return [n for n in dict.fromkeys(names) if n in found and found[n].learnt]


def odds_of(
    glow: SurfaceGlow,
    scene_file: SceneFile,
    findings: Findings,
    report: Callable[[str], None] = lambda text: None,
) -> tuple[Odds, ...]:
    """Return what readings leave open of each body of learnt material, as lit.

    glow, findings : of the scene. Raises what a solve may raise.
    """
    plan = plan_of(scene_file)
    bodies = scene_file.scene.bodies
    learnt = {b.name: names for k, b in enumerate(bodies) if (names := learnt_materials(plan, k))}
    if not learnt:
        return ()
    prepared = PreparedProp(glow.seed)
    found = []
    for look in looks_of(glow, scene_file.scene.room):
        names = learnt.get(look.copies[0].of, [])
        if names and any(even.body == look.name for even in findings.bodies):
            report(f"asking what the readings leave open of {look.copies[0].of}")
            number = scene_file.scene.numbers[look.copies[0].of]
            surface = linear_surface(prepared, plan, number, names, look, glow)
            entries = [plan.catalogue.material(name) for name in names]
            found.append(_judged(surface, look, findings, entries))
    return tuple(found)


def counted(
    steps: Sequence[tuple[str, Step]], report: Callable[[str], None] = lambda text: None
) -> tuple[str, ...]:
    """Return, in sentences, which of some variants are even enough in how much of what readings
    leave open; nothing where no material was learnt, or where all are sure.

    steps : what to call each, in words that follow 'With ', and the variant
    """
    said, whose, open_ = [], "", False
    for words, step in steps:
        for one in odds_of(step.glow, step.scene_file, step.findings, report):
            sure = one.enough >= SURE or one.enough <= 1 - SURE
            open_ |= not sure
            every = "all" if one.enough >= SURE else "none" if sure else tenths(one.enough)
            said.append(f"with {words} in {every}")
            whose = one.whose
    if not open_:
        return ()
    return (f"By what is known of {whose}, it is even enough {', '.join(said)} of the cases.",)


def _judged(
    surface: LinearSurface, look: Look, findings: Findings, entries: Sequence[Material]
) -> Odds:
    limits = surface.eye.limits
    number = [even.body for even in findings.bodies].index(look.name)
    spots = sum(
        f.body == look.copies[0].of and f.kind in ("hot spot", "dark gap") for f in findings.found
    )
    lit = findings.lit[number]
    back = lit.ratio / lit.on_off
    mean = surface.figures([np.zeros((3, 2)) for _ in entries]).mean_cd_m2
    rows = []
    for moves in _drawn(entries):
        figures = surface.figures(moves)
        ratio = back + (lit.ratio - back) * figures.mean_cd_m2 / mean
        enough = grade(figures.worse_end, spots, limits) != "patchy"
        rows.append(
            (
                figures.mean_cd_m2, figures.p5_over_mean, figures.off_by, ratio,
                float(enough), float(ratio >= limits.glow_ratio),
            )
        )  # fmt: skip
    table = np.array(rows)
    low, high = np.percentile(table, WITHIN, axis=0)
    ranges = np.array([low, high]).T[:4].tolist()
    light, even, off, paper = ((low, high) for low, high in ranges)
    shares = table.mean(axis=0)[4:]
    whose = " and ".join(f"{entry.label} ({entry.source})" for entry in entries)
    return Odds(look.name, light, even, off, paper, float(shares[0]), float(shares[1]), whose)


def _drawn(entries: Sequence[Material]) -> list[list[FloatArray]]:
    """Return samples of ln mu_a and ln mu_s' about their values, (3, 2) float for each material.

    Bands are taken to err together, since sheets, paper and rulers were the same in all.
    """
    random = np.random.default_rng(0)
    normal = [random.normal(size=(SAMPLES, 1, 2)) for _ in entries]
    roots = [np.linalg.cholesky(entry.covariance) for entry in entries]
    drawn = [
        np.einsum("bij,sbj->sbi", r, n.repeat(3, axis=1))
        for r, n in zip(roots, normal, strict=True)
    ]
    return [[one[sample] for one in drawn] for sample in range(SAMPLES)]
