"""What `check` tells before anything is solved: sizes, weights, depths, and what looks wrong."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from glowsim.catalogue import Material
from glowsim.findings.fictions import fictions
from glowsim.findings.light_rows import LightCheck, light_rows, strip_groups
from glowsim.findings.surface_regions import RegionCheck, in_teeth, region_checks, too_small
from glowsim.geometry.body import solid_of
from glowsim.geometry.hollow import depth_mm
from glowsim.geometry.notes import Doubt
from glowsim.scene import Body, Light
from glowsim.transport.build import Report, body_problem
from glowsim.transport.fit import Misfit, misfits
from glowsim.transport.leds import LIFT_MM
from glowsim.transport.neighbours import boards_in_neighbours
from glowsim.transport.plan import Plan
from glowsim.transport.problem import BodyProblem, Kind, centres_mm

CROWDED_MM = 1.0
"""LED boards nearer than this to the surface leave no room for glue or wire."""


@dataclass(frozen=True, kw_only=True)
class BodyCheck:
    """One body of the scene.

    thickness_mm : wall of a shell, or the mean half chord of a solid
    lights       : one by one;  rows : as they are listed, LEDs of one strip together
    misfits      : boards that cannot be built where they stand, or want a second look
    optical      : that thickness in transport mean free paths, thinnest band
    weight_g     : of the body's own material, None where its density is not known
    """

    name: str
    copies: int
    kind: str
    material: str
    confidence: str
    size_mm: tuple[float, ...]
    volume_cm3: float
    weight_g: float | None
    thickness_mm: float
    optical: float | None
    faces: int
    cell_mm: float
    lights: tuple[LightCheck, ...]
    rows: tuple[tuple[LightCheck, tuple[int, ...]], ...]
    regions: tuple[RegionCheck, ...]
    notes: tuple[str, ...]
    suspicious: tuple[str, ...]
    misfits: tuple[Misfit, ...]

    def as_json(self) -> dict[str, Any]:
        """Return plain data; a misfit's `light` is the number of a row of `lights`."""
        row_of = {n: k for k, (_, numbers) in enumerate(self.rows) for n in numbers}
        plain = {key: value for key, value in vars(self).items() if key != "rows"}
        return plain | {
            "lights": [vars(row) for row, _ in self.rows],
            "regions": [vars(region) for region in self.regions],
            "misfits": [
                misfit.as_json()
                | {"light": row_of[misfit.light], "name": self.lights[misfit.light].name}
                for misfit in self.misfits
            ],
        }


def inspect(plan: Plan, report: Report = lambda text: None) -> tuple[BodyCheck, ...]:
    """Return what can be said of each body of a scene without solving it.

    Raises SceneError, MaterialError or GeometryError naming file, line and key.
    """
    scene = plan.scene_file.scene
    problems: dict[str, BodyProblem] = {}
    for key, number in plan.distinct.items():
        report(f"shaping {scene.bodies[number].name}")
        problems[key] = body_problem(plan, number, fitted=False)
    checks = (
        _checked(plan, body, problems[key], body.copy_count)
        for body, key in zip(scene.bodies, plan.keys, strict=True)
    )
    beware = fictions(scene)
    copies, _ = plan.copies([centres_mm(problem.emitters) for problem in problems.values()])
    reach: dict[str, tuple[str, ...]] = {}
    if len(copies) > 1:
        solids = [solid_of(plan.scene_file, n) for n in plan.distinct.values()]
        reach = boards_in_neighbours(plan, solids, copies)
    return tuple(
        replace(
            check,
            notes=(*check.notes, *([beware[check.name]] if check.name in beware else [])),
            suspicious=(*check.suspicious, *reach.get(check.name, ())),
        )
        for check in checks
    )


def doubts(plan: Plan, number: int) -> tuple[str, ...]:
    """Return what looks wrong with body `number` of a scene; raises as `inspect` does."""
    body = plan.scene_file.scene.bodies[number]
    check = _checked(plan, body, body_problem(plan, number, fitted=False), 1)
    return (*check.suspicious, *(told(check, misfit) for misfit in check.misfits))


def told(check: BodyCheck, misfit: Misfit) -> str:
    """Return what is wrong with a board, its light named."""
    return f"{check.lights[misfit.light].name} {misfit.what}"


def _checked(plan: Plan, body: Body, problem: BodyProblem, copies: int) -> BodyCheck:
    own = problem.media[0]
    entry: Any = plan.catalogue.materials.get(body.material) or plan.catalogue.coats[body.material]
    solid = problem.solids[0] or problem.outer
    thickness = problem.wall_mm or 2 * solid.volume_mm3 / float(solid.areas_mm2.sum())
    scatters = own.kind == Kind.SCATTERS
    density = entry.density_kg_m3 if isinstance(entry, Material) else None
    lights = _lights(plan, body, problem)
    found = misfits(problem)
    regions = region_checks(body, problem)
    asked = tuple(note for note in problem.notes if isinstance(note, Doubt))
    return BodyCheck(
        name=body.name,
        copies=copies,
        kind=_kind(body, problem, scatters),
        material=body.material,
        confidence=_confidence(entry),
        size_mm=tuple(round(float(s), 1) for s in problem.outer.size_mm),
        volume_cm3=problem.own_volume_mm3 / 1000,
        weight_g=None if density is None else problem.own_volume_mm3 * density * 1e-6,
        thickness_mm=thickness,
        optical=float(own.mu_t_reduced_per_mm.min()) * thickness if scatters else None,
        faces=len(problem.skin),
        cell_mm=problem.cell_mm,
        lights=lights,
        rows=light_rows(body.lights, lights),
        regions=regions,
        notes=(*(n for n in problem.notes if n not in asked), *in_teeth(body, problem)),
        suspicious=(*asked, *_suspicious(plan, body, problem, lights), *too_small(regions)),
        misfits=found,
    )


def _kind(body: Body, problem: BodyProblem, scatters: bool) -> str:
    if not scatters:
        return "sheet lantern" if body.lights else "opaque"
    if any(medium.own_share is not None for medium in problem.media) and body.infill is not None:
        return f"skin {body.infill.skin_mm:.3g} mm, infill {100 * body.infill.share:.0f} %"
    if problem.wall_mm is None:
        return "solid"
    if body.wall_by_height_mm is not None:
        walls = [wall for _, wall in body.wall_by_height_mm]
        return f"shell, wall {min(walls):.3g} to {max(walls):.3g} mm"
    return f"shell, wall {body.wall_mm or problem.wall_mm:.3g} mm"


def _confidence(entry: Any) -> str:
    factor = getattr(entry, "mu_s_reduced_factor", None)
    if factor is not None and max(entry.mu_s_reduced_per_mm) == 0:
        factor = entry.mu_a_factor
    return f"{entry.confidence}, x/÷ {factor:.2g}" if factor else str(entry.confidence)


def _lights(plan: Plan, body: Body, problem: BodyProblem) -> tuple[LightCheck, ...]:
    emitters = problem.emitters
    if not len(emitters.light):
        return ()
    depth = depth_mm(problem.outer, emitters.position)
    checks, first = [], 0
    for number, light in enumerate(body.lights):
        board = plan.catalogue.board(light.board)
        count = len(board.led_offsets_mm(light.led_count))
        mine = slice(first, first + count)
        first += count
        # Of the board's plane, as the scene gives it.
        centre = (emitters.position - LIFT_MM * emitters.direction)[mine].mean(axis=0)
        region = int(emitters.region[mine][int(depth[mine].argmin())])
        checks.append(
            LightCheck(
                light.name or f"light {number + 1}",
                light.board,
                count,
                tuple(round(float(c), 1) + 0.0 for c in centre),
                float(depth[mine].min()),
                problem.media[region].name,
            )
        )
    return tuple(checks)


def _is_off(plan: Plan, light: Light) -> bool:
    drive = light.drive
    if plan.catalogue.board(light.board).drive == "white":
        return drive.white == 0
    return max(drive.red, drive.green, drive.blue) == 0


def _suspicious(
    plan: Plan, body: Body, problem: BodyProblem, lights: tuple[LightCheck, ...]
) -> list[str]:
    """Return what a second pair of eyes would ask about."""
    doubts = []
    crowded = [n for n, light in enumerate(lights) if light.depth_mm < CROWDED_MM]
    for name, mine in strip_groups(body.lights, crowded):
        depth = min(lights[n].depth_mm for n in mine)
        doubts.append(f"{name} lies only {depth:.1f} mm below the surface")
    off = [n for n, light in enumerate(body.lights) if _is_off(plan, light)]
    doubts += [
        f"{name} is turned off: all its drive levels are 0"
        for name, _ in strip_groups(body.lights, off)
    ]
    centres = np.array([light.centre_mm for light in lights]).reshape(-1, 3)
    for k in range(len(centres)):
        near = np.linalg.norm(centres[k + 1 :] - centres[k], axis=1)
        if len(near) and near.min() < 1.0:
            doubts.append(f"{lights[k].name} sits in the same place as another light")
    if not lights and problem.scatters:
        doubts.append("has no light of its own; it is drawn in room light only")
    if problem.wall_mm and problem.cell_mm > problem.wall_mm * 1.01:
        doubts.append(
            f"its wall is thinner than a grid cell ({problem.cell_mm:.2g} mm); give cell_mm"
        )
    return doubts
