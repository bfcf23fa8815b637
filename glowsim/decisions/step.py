"""One step of a sweep: a variant solved and judged."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from glowsim.catalogue import Catalogue
from glowsim.decisions.heat import PowerLimit, heat_limit, limit_at_place
from glowsim.electrics.as_wired import as_tried, evened, not_carried
from glowsim.findings import Evenness, Findings, Look, ReadsAsLit, findings_of, grade_of, looks_of
from glowsim.findings.unevenness import Grade
from glowsim.geometry.hollow import nearest_on
from glowsim.plain import picked
from glowsim.scene import SceneFile
from glowsim.transport.exchange import settle
from glowsim.transport.problem import Copy
from glowsim.transport.result import SurfaceGlow
from glowsim.transport.solvers import QUICK, REFERENCE


@dataclass(frozen=True)
class Step:
    """A value of the varied quantity, and what came of it.

    value    : of what is varied [mm], or how many boards
    glow     : of the whole prop, as wired;  scene_file : the variant
    copies   : of the varied body
    findings : of the varied body alone
    led_depth_mm : of the shallowest LED below the outer surface
    darkest_mm : from which height to which the darkest twentieth of the glowing surface lies, in
                 the body's own frame
    weight_g : of one copy's own material, None where its density is not known
    trust    : what makes the solver a rough guide here; empty where it holds
    heat     : what a limit of power means, None for lights that are off: the scene's rule of thumb,
               or what boards bear at their places
    not_carried : why the scene's battery cannot run the variant, '' where it can or none is named
    """

    material: str
    value: float
    scene_file: SceneFile
    glow: SurfaceGlow
    copies: tuple[Copy, ...]
    findings: Findings
    led_depth_mm: float
    darkest_mm: tuple[float, float]
    weight_g: float | None
    trust: tuple[str, ...]
    heat: PowerLimit | None
    not_carried: str = ""

    @property
    def evenness(self) -> Evenness:
        """The body's figures of evenness."""
        return self.findings.bodies[0]

    @property
    def even(self) -> float:
        """5th percentile over mean."""
        return self.evenness.p5_over_mean

    @property
    def worse_end(self) -> float:
        """What the evenness target is held against: both ends count."""
        return self.evenness.worse_end

    @property
    def grade(self) -> Grade:
        """How even the body is: 'even', 'fair' or 'patchy'."""
        assert self.evenness.grade is not None, "findings grade every body"
        return self.evenness.grade

    @property
    def enough(self) -> bool:
        """Whether the body is even enough."""
        return self.evenness.enough

    @property
    def lit(self) -> ReadsAsLit:
        """Whether the body reads as lit."""
        return self.findings.lit[0]

    @property
    def escape_fraction(self) -> float:
        """Share of the body's light, in lumens, that leaves through its surface."""
        account = self.findings.account
        return float(account.escaped_lm.sum() / max(account.emitted_lm.sum(), 1e-12))

    @property
    def hot_spots(self) -> int:
        """How many hot spots are listed."""
        return sum(finding.kind == "hot spot" for finding in self.findings.found)

    @property
    def dark_gaps(self) -> int:
        """How many dark gaps are listed."""
        return sum(finding.kind == "dark gap" for finding in self.findings.found)

    @property
    def by_reference(self) -> bool:
        """Whether the reference solver solved the body."""
        return self.glow.bodies[self.copies[0].body].by_reference

    def trust_words(self, advice: str) -> list[str]:
        """Return how far the step can be trusted, in sentences, and what else to do about it."""
        because = "; ".join(self.trust)
        if self.by_reference:
            noise = max(self.findings.noise.values(), default=0.0)
            said = (
                "Solved by the reference solver, since quick is a rough guide there: single bright "
                f"faces are known to {100 * noise:.2g} %."
            )
            return [said, *([f"Be careful: {because}."] if because else [])]
        if not because:
            return []
        return [f"The quick solver is a rough guide there ({because}): {advice}."]

    def mean_at_cd_m2(self, factor: float) -> float:
        """Return the mean luminance with all lights turned up by a factor."""
        return factor * self.evenness.mean_cd_m2

    def grade_at(self, factor: float) -> str:
        """Return how the body reads with all lights turned up by a factor."""
        back = self.lit.ratio / self.lit.on_off
        return grade_of(factor * (self.lit.ratio - back) + back)

    def as_json(self) -> dict[str, Any]:
        """Return plain data."""
        figures = self.evenness
        heat = self.heat
        return {
            "material": self.material,
            "value_mm": self.value,
            **picked(figures, p5_over_mean=5, u0=5, off_by=5),
            "grade": self.grade,
            **picked(figures, within_share=5, too_dark_share=5, too_bright_share=5),
            **picked(figures, mean_cd_m2=5, least_cd_m2=5),
            "let_out_share": round(self.escape_fraction, 5),
            **picked(self, "hot_spots", "dark_gaps"),
            "reads_as": self.lit.grade,
            "x_white_paper": round(self.lit.ratio, 5),
            **picked(self, weight_g=4, led_depth_mm=3),
            "darkest_from_mm": round(self.darkest_mm[0], 1),
            "darkest_to_mm": round(self.darkest_mm[1], 1),
            "hottest_board_w": None if heat is None else round(heat.power_w, 4),
            "above_heat_limit": bool(heat and heat.exceeded),
            "solver": REFERENCE if self.by_reference else QUICK,
            "supply": self.glow.supply,
            "battery_cannot_run_it": self.not_carried,
            "rough_guide_because": list(self.trust),
        }


def warmed(step: Step, catalogue: Catalogue) -> Step:
    """Return a step with what its body's boards bear at their places, in place of the rule of
    thumb."""
    name = step.copies[0].of
    return replace(step, heat=limit_at_place(step.scene_file, catalogue, name, step.heat))


def judged(
    glow: SurfaceGlow,
    scene_file: SceneFile,
    number: int,
    value: float,
    material: str,
    catalogue: Catalogue,
) -> Step:
    """Return the step that a solved variant amounts to; `number` is the varied body.

    Raises SceneError if no face of the body is meant to glow.
    """
    scene = scene_file.scene
    copies = tuple(copy for copy in glow.copies if copy.of == scene.bodies[number].name)
    body = glow.bodies[copies[0].body]
    lights = [glow.lights[k] for copy in copies for k in copy.lights]
    glow = as_tried(glow, scene_file)
    settle(glow)
    shown, name = glow, scene.bodies[number].name
    findings = findings_of(shown, scene, of=name)
    if len(findings.bodies) > 1:
        # Copies differ by what the wires leave each: judged is the body as it shines on the mean.
        shown = evened(glow, copies)
        findings = findings_of(shown, scene, of=name)
    if not findings.bodies:
        raise scene_file.fault(
            ("bodies", number), f"nothing of the surface of '{body.name}' is meant to glow"
        )
    entry = catalogue.materials.get(material)
    density = entry.density_kg_m3 if entry else None
    known = density is not None and body.volume_mm3 is not None
    depth, _, _ = nearest_on(body.surface, body.led_mm)
    return Step(
        material,
        value,
        scene_file,
        glow,
        copies,
        findings,
        float(np.min(depth)),
        _darkest(looks_of(shown, scene.room, of=name)[0], findings.bodies[0].p5_cd_m2),
        float((body.volume_mm3 or 0.0) * (density or 0.0) * 1e-6) if known else None,
        body.trust,
        heat_limit(lights, catalogue, scene.findings.buried_power_w),
        not_carried(scene_file),
    )


def judged_at_place(
    glow: SurfaceGlow,
    scene_file: SceneFile,
    number: int,
    value: float,
    material: str,
    catalogue: Catalogue,
) -> Step:
    """Return the step that a solved variant amounts to, with what its boards bear at their places;
    raises as `judged` does."""
    return warmed(judged(glow, scene_file, number, value, material, catalogue), catalogue)


def _darkest(look: Look, limit_cd_m2: float) -> tuple[float, float]:
    """Return the heights between which the glowing surface is darker than a limit [mm]."""
    dark = look.glows & (look.luminance_cd_m2 <= limit_cd_m2)
    heights = look.body.surface.triangles[dark][:, :, 2]
    return (float(heights.min()), float(heights.max())) if dark.any() else (0.0, 0.0)
