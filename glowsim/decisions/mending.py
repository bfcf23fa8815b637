"""What would help? Changes to a prop as drawn, each tried before it is recommended.

Every change is solved, by drafts on fewer faces, and held against the body as drawn solved the same
way; what is told is the figure as drawn times what the change did. Light from other faces across
the air stays as it fell, in proportion. Against full solves that is good to some percent.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from importlib.metadata import version
from typing import Any

import numpy as np
from scipy.spatial import cKDTree

from glowsim.decisions.effort import coarse_sizes
from glowsim.decisions.outcomes import Seen, Tried
from glowsim.decisions.remedies import Remedies, Remedy
from glowsim.electrics.as_wired import kept_by
from glowsim.errors import GlowsimError
from glowsim.findings import (
    Evenness,
    Eye,
    Finding,
    Findings,
    Look,
    evenness_of,
    findings_of,
    looks_of,
)
from glowsim.findings.account import energy_account
from glowsim.findings.wanted import fade_of
from glowsim.geometry.mesh import FloatArray
from glowsim.scene import Body, SceneFile
from glowsim.transport.build import Report
from glowsim.transport.clear import carries_light
from glowsim.transport.fit import fits
from glowsim.transport.names import digest
from glowsim.transport.plan import Plan, plan_of
from glowsim.transport.prepared import PreparedProp
from glowsim.transport.problem import BodyProblem, Kind
from glowsim.transport.quick.quality import DRAFT
from glowsim.transport.result import BodyGlow, SurfaceGlow

FACES, CELLS = 2500, 8000
"""Faces and cells of a body that is tried, about."""
MOST_TRIES, MOST_IN_AIR = 7, 3
"""Changes tried on one body, and on one lit from air, which takes longer."""
MOST_IN_ALL, FEWEST = 24, 2
"""Changes tried on a prop of many bodies in all, but so many on each at least."""
MOST_TOLD = 4
EDITION = 3
"""Of what is tried and how it is told; what another edition kept is tried again."""


@dataclass(frozen=True)
class Mended:
    """What was tried on a prop, in words.

    suggestions : by a finding's number what to do about it, and where that has a light, if it does
    also        : what helps besides, and what was tried in vain
    stamp       : of the scene and glow that this is about
    bodies      : by a finding's number the body with what is suggested, faces and cells as they
                  were; only where it has just been tried
    """

    suggestions: dict[int, tuple[str, tuple[float, ...] | None]]
    also: tuple[str, ...]
    stamp: str
    bodies: Mapping[int, Body] = field(default_factory=dict, compare=False)

    def put_into(self, findings: Findings) -> Findings:
        """Return findings with what was tried in place of estimates."""
        return replace(
            findings, found=tuple(map(self.put_into_one, findings.found)), also=self.also
        )

    def put_into_one(self, finding: Finding) -> Finding:
        """Return a finding with what was tried in place of an estimate; a leak's has none."""
        told = (finding.suggestion, finding.suggested_mm)
        words, place = self.suggestions.get(finding.number, told)
        return replace(finding, suggestion=words, suggested_mm=place)

    def as_json(self) -> dict[str, Any]:
        """Return plain data."""
        asked = {str(number): list(told) for number, told in self.suggestions.items()}
        return {"stamp": self.stamp, "suggestions": asked, "also": list(self.also)}

    @classmethod
    def kept(cls, plain: Any, stamp: str) -> Mended | None:
        """Return what `as_json` gave if it is about this stamp, else None."""
        try:
            if plain["stamp"] != stamp:
                return None
            suggestions = {
                int(number): (str(words), None if place is None else tuple(map(float, place)))
                for number, (words, place) in plain["suggestions"].items()
            }
            return cls(suggestions, tuple(map(str, plain["also"])), stamp)
        except (KeyError, TypeError, ValueError):
            return None


def mended(
    scene_file: SceneFile,
    glow: SurfaceGlow,
    findings: Findings,
    *,
    kept: Any = None,
    report: Report = lambda text: None,
) -> Mended:
    """Try what may mend the findings of a scene's glow.

    glow     : as wired
    findings : of the glow; estimates of what may mend them are made here where they are lacking
    kept     : what `Mended.as_json` gave for an earlier run, used if it is of this
    """
    plan = plan_of(scene_file)
    stamp = _stamp(plan, glow, findings)
    if (known := Mended.kept(kept, stamp)) is not None:
        return known
    if not any(finding.ideas for finding in findings.found):
        findings = findings_of(glow, scene_file.scene)
    suggestions: dict[int, tuple[str, tuple[float, ...] | None]] = {}
    also: list[str] = []
    bodies: dict[int, Body] = {}
    for body, found, tries in tried(plan, glow, findings, report):
        chosen, more = _told(tries, found, body)
        suggestions |= {f.number: _suggestion(chosen.get(f.number), body) for f in found}
        bodies |= {number: one.remedy.body for number, one in chosen.items()}
        also += more
    return Mended(suggestions, tuple(also), stamp, bodies)


def tried(
    plan: Plan, glow: SurfaceGlow, findings: Findings, report: Report = lambda text: None
) -> Iterator[tuple[str, list[Finding], list[Tried]]]:
    """Yield each body on which something stands out, what that is, and what was tried."""
    prop = PreparedProp(glow.seed)
    looks = {look.name: look for look in looks_of(glow, plan.scene_file.scene.room)}
    asked: dict[str, tuple[Evenness, list[Finding]]] = {}
    for figures in findings.bodies:
        mine = (f for f in findings.found if f.body == figures.body)
        found = [f for f in mine if f.kind != "light leak" and not f.within_noise]
        if found:
            # Copies that look otherwise are changed alike: the first look stands for all.
            asked.setdefault(looks[figures.body].copies[0].of, (figures, found))
    for name, (figures, found) in asked.items():
        most = max(FEWEST, MOST_IN_ALL // len(asked))
        bench = _Bench(plan, glow, looks[figures.body], figures, found, prop)
        yield name, found, bench.tries(most, report)


def _told(
    tries: Sequence[Tried], found: Sequence[Finding], body: str
) -> tuple[dict[int, Tried], list[str]]:
    """Return what mends each finding best, by number, and what to say of the body besides."""
    helping = sorted((t for t in tries if t.helps), key=lambda t: t.after.off_by)[:MOST_TOLD]
    vain = [t for t in tries if t not in helping]
    chosen = {}
    for finding in found:
        mine = [t for t in helping if finding.number in t.mended]
        if mine:
            chosen[finding.number] = mine[0]
    in_vain = "; ".join(_briefly(t) for t in vain)
    also = [f"{body}: {t.words}" for t in helping if t not in chosen.values()]
    if not helping:
        tried = f"; tried: {in_vain}" if in_vain else ""
        also.append(f"{body}: leave it as it is, as far as simple changes go{tried}")
    elif in_vain:
        also.append(f"{body}: tried and no clear gain: {in_vain}")
    return chosen, also


def _suggestion(one: Tried | None, body: str) -> tuple[str, tuple[float, ...] | None]:
    """Return what to do about a finding, and where that has a light, if it does."""
    if one is not None:
        return one.words, one.remedy.place_mm
    return f"leave it: no change that was tried mends it and makes '{body}' clearly more even", None


def _briefly(tried: Tried) -> str:
    share = tried.after.mean / tried.before.mean
    return f"{tried.remedy.words} (off by x {tried.after.off_by:.3g}, mean {100 * share:.0f} %)"


class _Bench:
    """One body to try changes on."""

    def __init__(
        self,
        plan: Plan,
        glow: SurfaceGlow,
        look: Look,
        figures: Evenness,
        found: Sequence[Finding],
        prop: PreparedProp,
    ) -> None:
        self._plan, self._glow, self._look, self._prop = plan, glow, look, prop
        self._found = found
        self._name = look.copies[0].of
        self._number = plan.scene_file.scene.numbers[self._name]
        self._kept = kept_by(plan.scene_file, self._name)
        surface = look.body.surface
        self._rows = np.nonzero(look.glows)[0]
        self._across = (cKDTree(surface.centroids[self._rows]), look.across_cd_m2[self._rows])
        self._own_mean = self._mean(look.luminance_cd_m2 - look.across_cd_m2)
        self._as_drawn = self._figures(look, figures)

    def tries(self, most: int, report: Report) -> list[Tried]:
        """Return what was tried and what came of it; nothing where nothing can be."""
        problem = self._prop.problem(self._plan, self._number)
        self._sizes = _sizes(problem)
        self._fitted = fits(problem)
        remedies = self._remedies(problem, most)
        if not remedies:
            return []
        report(f"trying what would help '{self._name}'")
        drawn = self._tried(self._plan.scene_file.scene.bodies[self._number])
        if drawn is None:
            return []
        tries = []
        for k, remedy in enumerate(remedies):
            report(f"trying what would help '{self._name}': {k + 1} of {len(remedies)}")
            there = self._tried(remedy.body)
            if there is not None:
                after = self._as_drawn.times(drawn, there)
                tries.append(Tried(remedy, self._as_drawn, after))
        return tries

    def _remedies(self, problem: BodyProblem, most: int) -> list[Remedy]:
        """Return what is tried on the body."""
        remedies = Remedies(self._plan, self._number, problem, self._found)
        if carries_light(problem):
            return remedies.of_guide(self._look.body)
        account = energy_account(replace(self._glow, copies=self._look.copies))
        in_air = (problem.kind_of(problem.emitters.region) == Kind.AIR).any()
        return remedies.listed(account)[: min(most, MOST_IN_AIR if in_air else MOST_TRIES)]

    def _tried(self, body: Body) -> Seen | None:
        """Return the body as it shines after a change; None where that cannot be built."""
        sized = body.model_copy(update=self._sizes)
        try:
            plan = plan_of(self._plan.scene_file.with_body(self._number, sized))
            if self._fitted and not fits(self._prop.problem(plan, self._number)):
                return None
            return self._seen(plan, self._prop.body_glow(plan, self._number, DRAFT))
        except GlowsimError:
            return None

    def _seen(self, plan: Plan, body: BodyGlow) -> Seen | None:
        room, limits = plan.scene_file.scene.room, plan.scene_file.scene.findings
        look = self._look_of(plan, body)
        if look is None:
            return None
        own = self._mean(look.luminance_cd_m2, look)
        tree, across = self._across
        fallen = np.zeros(len(look.glows))
        fallen[look.glows] = across[tree.query(body.surface.centroids[look.glows])[1]]
        fallen *= own / max(self._own_mean, 1e-12)
        look = replace(look, luminance_cd_m2=look.luminance_cd_m2 + fallen)
        eye = Eye(look, room, limits, fade_of(plan.scene_file.scene, self._name))
        return self._figures(look, evenness_of(eye))

    def _look_of(self, plan: Plan, body: BodyGlow) -> Look | None:
        """Return how one copy of a body looks by its own light, on the wires' mean."""
        order = list(plan.distinct.values())
        none = np.zeros((len(plan.scene_file.scene.bodies), 3))
        centres = [
            body.light_mm if plan.keys[k] == plan.keys[self._number] else none.repeat(64, 0)
            for k in order
        ]
        copies, lights = plan.copies(centres)
        copy = replace(next(copy for copy in copies if copy.of == self._name), body=0)
        lights = tuple(replace(light, drive=light.drive * self._kept) for light in lights)
        glow = replace(self._glow, bodies=(body,), copies=(copy,), lights=lights)
        return next(iter(looks_of(glow, plan.scene_file.scene.room, across=False)), None)

    def _figures(self, look: Look, even: Evenness) -> Seen:
        mean = self._mean(look.luminance_cd_m2, look)
        surface = self._look.body.surface
        rows = np.nonzero(look.glows)[0]
        tree = cKDTree(look.body.surface.centroids[rows])
        places = {}
        for finding in self._found:
            faces = finding.faces
            assert faces is not None, "findings of a glow know their faces"
            area = surface.areas_mm2[faces]
            near = rows[tree.query(surface.centroids[faces])[1]]
            places[finding.number] = float(area @ look.luminance_cd_m2[near] / area.sum()) / mean
        return Seen(
            even.off_by, even.within_share, even.mean_cd_m2, even.least_cd_m2,
            even.greatest_cd_m2, places,
        )  # fmt: skip

    def _mean(self, luminance: FloatArray, look: Look | None = None) -> float:
        look = look or self._look
        area = look.body.surface.areas_mm2 * look.glows
        return float(area @ luminance / max(float(area.sum()), 1e-12))


def _sizes(problem: BodyProblem) -> Mapping[str, float]:
    """Return faces and cells of a body that changes are tried on."""
    sizes = coarse_sizes(problem, FACES, CELLS)
    return {"detail_mm": sizes.face_mm, "cell_mm": sizes.cell_mm}


def _stamp(plan: Plan, glow: SurfaceGlow, findings: Findings) -> str:
    """Return what tells one scene and glow from another."""
    scene = plan.scene_file.scene.model_dump_json()
    figures = [f"{even.body} {even.off_by:.4f} {even.mean_cd_m2:.4f}" for even in findings.bodies]
    solved = [plan.keys, plan.scene_file.battery, glow.solver, glow.seed]
    return digest(scene, figures, solved, version("glowsim"), EDITION)
