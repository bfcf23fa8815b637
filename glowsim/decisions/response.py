"""What a board at any place does to a body's surface: the response matrix, patch by patch."""

from __future__ import annotations

from dataclasses import replace
from functools import cached_property

import numpy as np
from scipy import sparse

from glowsim.decisions.allowed import Allowed
from glowsim.decisions.boards import BoardKind, Poses
from glowsim.decisions.crossing import Crossing, crossing_of
from glowsim.decisions.effort import THOROUGH, Effort
from glowsim.decisions.objective import Aim, First, logarithm
from glowsim.decisions.patches import clusters, eye_over, samples, slopes
from glowsim.errors import SceneError
from glowsim.findings.patches import eye_mm
from glowsim.findings.unevenness import off_by
from glowsim.findings.wanted import wanted_level
from glowsim.geometry.hollow import depth_mm
from glowsim.geometry.mesh import FloatArray, IntArray
from glowsim.geometry.patchwork import Patchwork
from glowsim.optics.emission import square_on
from glowsim.optics.photometry import luminance_of_emitter_cd_m2
from glowsim.scene import Room, Thresholds
from glowsim.transport.build import Report
from glowsim.transport.clear import refuse_guide
from glowsim.transport.plan import Plan, plan_of
from glowsim.transport.prepared import PreparedProp
from glowsim.transport.problem import BodyProblem, BoolArray, Emitters, Kind
from glowsim.transport.quick.adjoint import Adjoint
from glowsim.transport.result import SurfaceGlow, emission_index
from glowsim.transport.sizes import Sizes, cell_for_mm, face_size_mm

DARK_PATCHES = 30
FAST_RAYS = 1024


class Responses:
    """A body read backwards: patches of its surface and their response to boards anywhere.

    problem : the body;  patch : (skin faces,) int, -1 for none;  area_mm2 : (patches,) float
    glow    : (patches,) bool, meant to glow; the others must stay dark
    wanted, wanted_faces : the level wanted of each patch (1 where it must stay dark) and of each
              glowing face, of mean 1; luminances are over it, so that the aim is an even glow
    ahead   : (skin faces,) float, luminance of diffuse light square-on over that of matt faces
    """

    def __init__(
        self,
        plan: Plan,
        number: int,
        effort: Effort | None = None,
        report: Report = lambda text: None,
        prop: PreparedProp | None = None,
    ) -> None:
        """Solve for the patches of body `number`, thoroughly if no effort is given.

        prop : what has been kept ready of it already
        Raises as `body_problem` does.
        """
        report(f"shaping {plan.scene_file.scene.bodies[number].name}")
        self.prop = prop or PreparedProp()
        self.effort = effort = effort or THOROUGH
        drawn = self.prop.problem(plan, number)
        refuse_guide(drawn, "where boards go")
        self.sizes = {number: effort.sizes(drawn) or as_drawn(drawn)}
        """Faces and cells that all placements are compared on: those `glow` has for the body as it
        is drawn, so that both say the same of it."""
        plan = plan_of(plan.scene_file, self.sizes)
        self.problem: BodyProblem = self.prop.problem(plan, number)
        self.plan: Plan = plan
        body = plan.scene_file.scene.bodies[number]
        skin = self.problem.skin
        glows = self._glows = self.problem.glows[skin]
        if not glows.any():
            raise SceneError(f"{body.name}: nothing of its surface is meant to glow")
        dark = self.problem.named.dark
        dark = np.zeros(len(skin), dtype=bool) if dark is None else dark[skin]
        in_air = (self.problem.kind_of(self.problem.emitters.region) == Kind.AIR).any()
        patches = min(effort.patches, effort.hollow_patches) if in_air else effort.patches
        self.patch, self.glow = _patches(self.problem, glows, dark & ~glows, patches)
        chosen = self.patch >= 0
        areas = self.problem.walls.areas_mm2[skin]
        self.area_mm2: FloatArray = np.asarray(
            np.bincount(self.patch[chosen], areas[chosen]), dtype=float
        )
        self.wanted_faces = wanted_level(body.wanted, self.problem.walls, skin[glows], body.name)
        self.wanted = np.ones(len(self.area_mm2))
        light = np.bincount(self.patch[glows], areas[glows] * self.wanted_faces)
        self.wanted[self.glow] = light / self.area_mm2[self.glow]
        self.ahead = square_on(emission_index(self.problem)[skin])
        seen = np.bincount(self.patch[chosen], (areas * self.ahead)[chosen])
        self._patch_ahead = seen / self.area_mm2
        coarse = _coarse(self.problem, effort.hollow_cells if in_air else effort.cells)
        self.quick = self.prop.quick(coarse, report)
        self.adjoint = Adjoint(self.quick, self.patch, report)
        self.crossing: Crossing | None = None
        """Light across the air, where it matters: `see` finds out."""

    def see(self, glow: SurfaceGlow) -> None:
        """Count light across the air between the faces of a glow, solved on these faces."""
        self.crossing = crossing_of(glow, self.problem.key, self.patch, self.area_mm2)

    def luminance_cd_m2(
        self,
        kind: BoardKind,
        poses: Poses,
        allowed: Allowed,
        rays: int = FAST_RAYS,
    ) -> FloatArray:
        """Return the luminance each board brings to each patch as driven, over what is wanted
        there, (n, patches)."""
        seen = self.seen_of(kind.emitters(poses, allowed.regions_of(poses)), rays)
        return kind.luminance_cd_m2(seen, self.area_mm2) / self.wanted

    def seen_of(self, emitters: Emitters, rays: int = FAST_RAYS) -> FloatArray:
        """Return the share of each light's flux that is seen to leave each patch, as matt faces
        would send it, light across the air included, (lights, 3, patches) float."""
        share = np.maximum(self.adjoint.respond(emitters, rays, self.effort.aimed_rays), 0.0)
        seen = self._patch_ahead * share
        if self.crossing is not None:
            seen = seen + self.crossing.sent_back(share)
        return seen

    def shown_cd_m2(
        self, kind: BoardKind, level: float, diffuse: FloatArray, direct: FloatArray
    ) -> FloatArray:
        """Return the luminance of each glowing face, light across the air included, over what is
        wanted there, (n,) float.

        level : of so many boards together, in that of one as driven
        diffuse, direct : (3, skin faces) float, shares of their flux that leave the faces
        """
        area = self.problem.walls.areas_mm2[self.problem.skin]
        shown = level * kind.luminance_cd_m2(diffuse * self.ahead + direct, area)
        if self.crossing is not None:
            flux = level * kind.flux_lm[:, None] / area
            back = self.crossing.on_faces(flux * diffuse, flux * direct)
            shown = shown + luminance_of_emitter_cd_m2(back)
        return np.asarray(shown[self._glows] / self.wanted_faces)

    def faces_cd_m2(self, patch_cd_m2: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return the luminance of each glowing face for means over patches, and its area.

        patch_cd_m2 : (patches,) float. Each patch keeps its mean.
        """
        glows = self._glows
        rows, area = self.patch[glows], self.problem.walls.areas_mm2[self.problem.skin][glows]
        value = patch_cd_m2[self.glow]
        face = np.exp(self.slopes @ logarithm(value[None])[0])
        mean = np.bincount(rows, area * face) / self.area_mm2[self.glow]
        return face * (value / mean)[rows], area

    def off_by(self, face_cd_m2: FloatArray, room: Room) -> float:
        """Return the factor by which a typical place is off an even glow, as findings have it.

        face_cd_m2 : (n,) float, luminance of the glowing faces over what is wanted there
        """
        seen = self._patchwork.smoothed(face_cd_m2, eye_mm(room))
        return off_by(seen, self._patchwork.area)

    @cached_property
    def _patchwork(self) -> Patchwork:
        chosen = np.zeros(len(self.problem.glows), dtype=bool)
        chosen[self.problem.skin[self._glows]] = True
        return Patchwork(self.problem.walls, chosen)

    @cached_property
    def slopes(self) -> sparse.csr_matrix:
        """The matrix from logarithms of glowing patches to those of their faces."""
        glows = self._glows
        return slopes(self.problem.walls, self.problem.skin[glows], self.patch[glows])

    @property
    def sample_rows(self) -> IntArray:
        """Which of the glowing faces stand for all, (samples,) int."""
        return self._samples[0]

    @cached_property
    def _samples(self) -> tuple[IntArray, FloatArray]:
        glows = self._glows
        return samples(self.problem.walls, self.problem.skin[glows], self.patch[glows])

    def aim(self, first: First, limits: Thresholds, room: Room) -> Aim:
        """Return an aim over the patches, as they are seen in a room."""
        rows, stands = self._samples
        faces = self.problem.skin[self._glows][rows]
        return Aim(
            first,
            self.area_mm2,
            self.glow,
            limits.evenness_target,
            limits.whole_dark_ratio,
            self.slopes[rows],
            stands,
            eye=eye_over(self.problem.walls, faces, stands, eye_mm(room)),
        )


def as_drawn(problem: BodyProblem) -> Sizes:
    """Return faces and cells of a body as it is drawn."""
    leds = depth_mm(problem.outer, problem.emitters.position)
    return Sizes(face_size_mm(problem.outer, problem.wall_mm, leds), problem.cell_mm)


def _coarse(problem: BodyProblem, most_cells: int) -> BodyProblem:
    """Return the problem on a grid of at most so many cells, about."""
    cloudy = [
        solid
        for solid, medium in zip(problem.solids, problem.media, strict=True)
        if solid is not None and medium.kind == Kind.SCATTERS
    ]
    if not cloudy:
        return problem
    return replace(problem, cell_mm=max(problem.cell_mm, cell_for_mm(cloudy, most_cells)))


def _patches(
    problem: BodyProblem, glows: BoolArray, dark: BoolArray, count: int
) -> tuple[IntArray, BoolArray]:
    """Return the patch of each skin face, (k,) int, and which patches glow."""
    patch = np.full(len(glows), -1, dtype=np.int64)
    patch[glows] = clusters(problem.walls, problem.skin[glows], count)
    glowing = int(patch.max()) + 1
    if dark.any():
        patch[dark] = glowing + clusters(problem.walls, problem.skin[dark], DARK_PATCHES)
    return patch, np.arange(int(patch.max()) + 1) < glowing
