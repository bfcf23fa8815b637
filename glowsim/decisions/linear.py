"""How the light of every face follows the coefficients of materials, by two more solves of each."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from glowsim.catalogue import Material
from glowsim.findings import Evenness, Eye, Look, evenness, looks_of
from glowsim.findings.wanted import fade_of
from glowsim.geometry.mesh import FloatArray
from glowsim.scene import SceneFile
from glowsim.transport.plan import Plan, plan_of
from glowsim.transport.prepared import PreparedProp
from glowsim.transport.result import SurfaceGlow

STEP = 0.1
"""Of a slope, in the logarithm of a coefficient."""


@dataclass(frozen=True)
class LinearSurface:
    """A lit body whose logarithm of light is linear in ln mu_a and ln mu_s' of its materials.

    band  : (3, k) float, light of each face in each band;  luminance : (k,) float, their sum and
            what comes across the air [cd/m2]
    along : (2, 3, k) float for each material, slopes of ln of `band`
    """

    name: str
    eye: Eye
    luminance: FloatArray
    glows: np.ndarray
    band: FloatArray
    along: tuple[FloatArray, ...]

    def figures(self, moves: Sequence[FloatArray]) -> Evenness:
        """Return the figures with coefficients moved.

        moves : (3, 2) float for each material, by which ln mu_a and ln mu_s' grow in each band
        """
        log = sum(np.einsum("bc,cbk->bk", m, a) for m, a in zip(moves, self.along, strict=True))
        total = np.maximum(self.band.sum(axis=0), 1e-30)
        changed = (self.band * np.exp(log)).sum(axis=0) / total
        own = (self.luminance * changed)[self.glows]
        eye = self.eye
        return evenness(
            self.name, own, eye.patchwork.area, wanted=eye.wanted,
            seen=eye.blurred(own / eye.wanted), factor=eye.limits.even_factor,
        )  # fmt: skip

    def slopes(self) -> dict[str, FloatArray]:
        """Return slopes of ln of the mean and of ln of 5 %/mean by the first material's
        coefficients, (3, 2) float each."""
        found = {"mean": np.zeros((3, 2)), "evenness": np.zeros((3, 2))}
        rest = [np.zeros((3, 2)) for _ in self.along[1:]]
        for place in np.ndindex(3, 2):
            step = np.zeros((3, 2))
            step[place] = STEP
            more, less = (self.figures([sign * step, *rest]) for sign in (1.0, -1.0))
            found["mean"][place] = np.log(more.mean_cd_m2 / less.mean_cd_m2) / (2 * STEP)
            ratio = max(more.p5_over_mean, 1e-9) / max(less.p5_over_mean, 1e-9)
            found["evenness"][place] = np.log(ratio) / (2 * STEP)
        return found


def linear_surface(
    prepared: PreparedProp,
    plan: Plan,
    number: int,
    names: Sequence[str],
    look: Look,
    glow: SurfaceGlow,
) -> LinearSurface:
    """Return a body's light about its materials as they are; raises what a solve may raise.

    number, look : of the body, in the scene and as lit;  names : the materials that may move
    """
    scene = plan.scene_file.scene
    body, flux = look.body, glow.flux_lm(look.copies[0])
    each = (body.diffuse + body.direct) * flux[:, :, None]
    band = each.sum(axis=0)
    # Lights together, by the share each has: the slope of a face in a band.
    share = each / np.maximum(band, 1e-30)
    along = tuple(
        np.einsum("lbk,clbk->cbk", share, _slopes(prepared, plan, number, name)) for name in names
    )
    eye = Eye(look, scene.room, scene.findings, fade_of(scene, look.copies[0].of))
    return LinearSurface(look.name, eye, look.luminance_cd_m2, look.glows, band, along)


def questions_of(scene_file: SceneFile) -> dict[tuple[str, str], dict[str, FloatArray]]:
    """Return, by lit body and its material, the slopes of mean and evenness: what a maker may ask.

    Bodies of opaque or coated sheet are left out. Raises what a solve may raise.
    """
    plan = plan_of(scene_file)
    prepared = PreparedProp()
    glow = prepared.glow(plan)
    found = {}
    for look in looks_of(glow, scene_file.scene.room):
        name = look.copies[0].of
        number = scene_file.scene.numbers[name]
        material = scene_file.scene.bodies[number].material
        if material in plan.catalogue.materials and (name, material) not in found:
            surface = linear_surface(prepared, plan, number, [material], look, glow)
            found[name, material] = surface.slopes()
    return found


def _slopes(prepared: PreparedProp, plan: Plan, number: int, name: str) -> FloatArray:
    """Return slopes of ln of each light's response by ln mu_a and ln mu_s' of a material.

    (2, lights, 3, k) float
    """
    here = _response(prepared, plan, number)
    entry = plan.catalogue.material(name)
    moved = []
    for key in ("mu_a_per_mm", "mu_s_reduced_per_mm"):
        more = [float(np.exp(STEP)) * value for value in getattr(entry, key)]
        changed = plan_of(_with_entry(plan.scene_file, name, entry, {key: more}), plan.sizes)
        there = _response(prepared, changed, number)
        moved.append(np.log(there / here) / STEP)
    return np.array(moved)


def _response(prepared: PreparedProp, plan: Plan, number: int) -> FloatArray:
    glow = prepared.body_glow(plan, number)
    return np.maximum((glow.diffuse + glow.direct).astype(float), 1e-30)


def _with_entry(
    scene_file: SceneFile, name: str, entry: Material, changes: dict[str, Any]
) -> SceneFile:
    """Return the scene with some figures of a material changed."""
    table = entry.model_dump(exclude_none=True) | changes
    for key in ("measured_transmittance", "measured_thickness_mm"):
        table.pop(key, None)
    scene = scene_file.scene
    materials = scene.materials | {name: table}
    return replace(scene_file, scene=scene.model_copy(update={"materials": materials}))
