"""Where inside a body more or less light would mend a hot spot or a dark gap.

With g the response of the place and m that of the whole glow to light at x, each per unit of
power and relative to its present luminance, the place over the mean changes by g(x) - m(x) per
unit of light added at x. Both are the adjoint fields of their patches. Positive: more light there
lifts a dark gap; for a hot spot the sign is turned, so that positive always mends.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from PIL import Image

from glowsim.decisions.boards import Poses
from glowsim.decisions.response import Responses
from glowsim.decisions.step import Step
from glowsim.decisions.words import sentence
from glowsim.errors import SceneError
from glowsim.findings import Finding, looks_of
from glowsim.geometry.body import region_of
from glowsim.geometry.mesh import FloatArray, at_mm
from glowsim.pictures.section import MarkKind, Section, SectionMark, draw_sections
from glowsim.transport.problem import BoolArray, Kind

NEAR_SHARE = 0.08
"""A mark within this share of the body's size of a section counts as lying on it."""
SAMPLES = 220
"""Samples along the longer side of a section in material."""
STRONG = 97.0
"""Percentile of the effects that takes the full colour."""
AIR_SAMPLES = 34
"""The same where light stands in air, which takes rays from every sample."""
AIR_RAYS = 1000
_NAMES = "xyz"
_PLANES = ((0, 2), (1, 2), (0, 1))


@dataclass(frozen=True)
class PlaceToMend:
    """The place to be mended.

    hot : a hot spot, which less light would mend;  weight : (patches,) float, adds up to 1
    suggested_mm : where `glow` tries a light against the finding, (3,) float, if anywhere
    """

    hot: bool
    words: str
    point_mm: FloatArray
    weight: FloatArray
    suggested_mm: FloatArray | None = None


class Sensitivity:
    """The effect of light at any place on one hot spot or dark gap."""

    def __init__(self, responses: Responses, step: Step) -> None:
        """Take the worst finding of a solved step; without any, the darkest of its surface."""
        self._responses = responses
        self._step = step
        self._middle = patch_middles(responses)
        self._patch_cd_m2 = patch_luminance(responses, step)
        self.place = self._worst()

    def _worst(self) -> PlaceToMend:
        found = [f for f in self._step.findings.found if f.kind != "light leak"]
        glow, luminance = self._responses.glow, self._patch_cd_m2
        if found:
            finding: Finding = found[0]
            point = np.array(finding.body_place_mm)
            near = glow & self._held(finding)
            words = f"{finding.what}, {finding.ratio_to_mean:.2g} times the mean"
            hot = finding.kind == "hot spot"
            wanted = None if finding.suggested_mm is None else np.array(finding.suggested_mm)
        else:
            limit = float(np.quantile(luminance[glow], 0.05))
            near = glow & (luminance <= limit)
            point = np.average(self._middle[near], axis=0, weights=self._responses.area_mm2[near])
            words, hot, wanted = "darkest twentieth of the surface", False, None
        weight = np.where(near, self._responses.area_mm2, 0.0)
        return PlaceToMend(hot, words, point, weight / weight.sum(), wanted)

    def _held(self, finding: Finding) -> BoolArray:
        """Return the patches that a finding takes half of, or else the nearest, (patches,) bool."""
        responses, faces = self._responses, finding.faces
        assert faces is not None, "findings of a glow know their faces"
        faces = faces[responses.patch[faces] >= 0]
        area = responses.problem.walls.areas_mm2[responses.problem.skin][faces]
        own = np.bincount(responses.patch[faces], area, len(responses.area_mm2))
        held = own > responses.area_mm2 / 2
        apart = np.linalg.norm(self._middle - np.array(finding.body_place_mm), axis=1)
        apart[~responses.glow] = np.inf
        held[apart.argmin()] = True
        return np.asarray(held)

    def effect(self, points: FloatArray) -> FloatArray:
        """Return what light added at points does for the place, (n,) float; positive mends.

        Per lumen as the lights are coloured, and relative: 1 means that a lumen there changes
        the place over the mean by its present value. NaN where no light can stand.
        """
        responses, place = self._responses, self.place
        area, luminance = responses.area_mm2, self._patch_cd_m2
        whole = np.where(responses.glow, area, 0.0)
        whole = whole / whole.sum()
        mine = place.weight / area / float(place.weight @ luminance)
        rest = whole / area / float(whole @ luminance)
        sign = -1.0 if place.hot else 1.0
        weight = self._colour()[:, None] * (sign * (mine - rest))[None]
        problem = responses.problem
        region = region_of(points, problem.solids)
        kinds = problem.kind_of(region)
        effect = np.full(len(points), np.nan)
        # Where lights stand now: no board finds room in the wall of a shell, and sections would
        # show specks of it. The room outside counts as air: only what lies in a region is taken.
        held = (region >= 0) & np.isin(kinds, problem.kind_of(problem.emitters.region))
        cloudy, air = held & (kinds == Kind.SCATTERS), held & (kinds == Kind.AIR)
        effect[cloudy] = responses.adjoint.at(points[cloudy], weight)
        if air.any():
            effect[air] = responses.adjoint.in_air(points[air], weight, AIR_RAYS)
        return effect

    def _colour(self) -> FloatArray:
        """Return the share of each band in the light as driven, (3,) float."""
        step = self._step
        lights = [step.glow.lights[k] for k in step.copies[0].lights]
        flux = np.sum([light.flux_lm * light.drive for light in lights], axis=0)
        return flux / flux.sum()

    def meeting(self, poses: Poses) -> tuple[FloatArray, str]:
        """Return the one place that a picture is about, (3,) [mm], and why in words: where `glow`
        tries a light; where it tries none, where among some places light mends most.
        """
        if self.place.suggested_mm is not None:
            return self.place.suggested_mm, "where `glow` tries a light"
        effect = self.effect(poses.position)
        if not np.isfinite(effect).any():
            raise SceneError("there is no place in the body to read the effect of light at")
        return poses.position[int(np.nanargmax(effect))], "where a little more light mends most"

    def picture(self, poses: Poses) -> Image.Image:
        """Return three sections coloured by the effect; poses : places a board may take."""
        best, why = self.meeting(poses)
        low, high = self._responses.problem.outer.bounds
        air = Kind.AIR in self._responses.problem.kind_of(self._responses.problem.emitters.region)
        step = float((high - low).max()) / (AIR_SAMPLES if air else SAMPLES)
        planes = []
        for across, up in _PLANES:
            third = 3 - across - up
            axes = [np.arange(low[k] - step, high[k] + 1.5 * step, step) for k in (across, up)]
            grid = np.zeros((len(axes[1]), len(axes[0]), 3))
            grid[..., across], grid[..., up] = axes[0][None], axes[1][:, None]
            grid[..., third] = best[third]
            effect = self.effect(grid.reshape(-1, 3)).reshape(grid.shape[:2])
            title = f"{_NAMES[third]} = {best[third]:.0f} mm"
            planes.append((title, across, up, axes, effect))
        every = np.abs(np.concatenate([plane[4].ravel() for plane in planes]))
        strongest = np.nanpercentile(every, STRONG)
        # Light falls off by factors: the root shows weaker effects too.
        sections = [
            Section(
                title, _NAMES[a], _NAMES[u], axes[0], axes[1],
                np.clip(np.sign(effect) * np.abs(effect / strongest) ** 0.5, -1.0, 1.0),
            )
            for title, a, u, axes, effect in planes
        ]  # fmt: skip
        kind = "hot" if self.place.hot else "dark"
        return draw_sections(
            sections,
            self._marks(best),
            title=f"{self._responses.problem.name}: what would mend the {self.place.words} at "
            f"{at_mm(self.place.point_mm)}",
            note=f"{'▲' if kind == 'hot' else '■'} the place  ● lights (hollow: off the section)  "
            "Orange: more light here mends it; violet, hatched: less light here does.\n"
            f"The sections meet at {at_mm(best)}, {why}. Colours on a square-root "
            "scale, so that weak effects show." + sentence(self._step.findings.supply),
        )

    def _marks(self, meet: FloatArray) -> list[SectionMark]:
        """Return the lights and the place on sections that meet at a point."""
        near = NEAR_SHARE * float(self._responses.problem.outer.size_mm.max())

        def mark(kind: MarkKind, label: str, point: FloatArray) -> SectionMark:
            places = tuple(point[[a, u]] for a, u in _PLANES)
            off = [abs(float(point[3 - a - u] - meet[3 - a - u])) for a, u in _PLANES]
            return SectionMark(kind, label, places, tuple(k <= near for k in off))

        body = self._step.glow.bodies[self._step.copies[0].body]
        marks = [mark("light", str(k + 1), point) for k, point in enumerate(body.light_mm)]
        words = self.place.words.split(",")[0]
        return [*marks, mark("hot" if self.place.hot else "dark", words, self.place.point_mm)]


def patch_middles(responses: Responses) -> FloatArray:
    """Return the middle of each patch, (patches, 3) float [mm]."""
    problem, patch = responses.problem, responses.patch
    chosen = patch >= 0
    area = problem.walls.areas_mm2[problem.skin][chosen]
    place = problem.walls.centroids[problem.skin][chosen]
    total = np.stack([np.bincount(patch[chosen], area * c) for c in place.T], axis=1)
    return total / responses.area_mm2[:, None]


def patch_luminance(responses: Responses, step: Step) -> FloatArray:
    """Return the luminance of patches in a step solved on the same faces, (patches,) [cd/m2]."""
    look = looks_of(step.glow, step.scene_file.scene.room, of=step.copies[0].of)[0]
    chosen = responses.patch >= 0
    area = responses.problem.walls.areas_mm2[responses.problem.skin]
    total = np.bincount(
        responses.patch[chosen], (area * look.luminance_cd_m2)[chosen], len(responses.area_mm2)
    )
    return np.asarray(total / responses.area_mm2)
