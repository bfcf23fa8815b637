"""From a scene to bodies as heat sees them: substances, boards, wires, what is covered up."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from glowsim.catalogue import Coat, Material
from glowsim.electrics.heat_body import AIR, HeatBody, Lead, Substance, laid_out
from glowsim.electrics.heat_forms import fin_k_w
from glowsim.errors import GeometryError
from glowsim.geometry.boards import board_frame, board_solid, outline_mm, way_out_mm
from glowsim.geometry.body import Solid, region_of, solid_of
from glowsim.geometry.inside import inside_closed
from glowsim.geometry.mesh import FloatArray, Mesh
from glowsim.geometry.patterns import copies_of
from glowsim.geometry.regions import ROOM
from glowsim.transport.build import body_problem
from glowsim.transport.plan import Plan
from glowsim.transport.sizes import CELLS_ACROSS_WALL, cell_for_mm
from glowsim.units import M_PER_MM

STILL_AIR_W_MK = 0.026
"""Conductivity of air at room temperature (textbook, from memory)."""
ASSUMED_W_MK = 0.2
"""Conductivity of a core whose surface says nothing of what is below it: most plastics."""
ASSUMED_J_M3K = 1.5e6
"""Heat capacity of a substance without density or specific heat: most solid plastics."""
COVER_MM = 1.0
"""A face with another body this near in front of it gives off no heat."""
CELLS_ACROSS_BOARD = 8
"""A board of 23 mm in foam comes out 7 % too cool with 6 cells across it, 3 % with 9."""
WORTH_SAYING = 0.01
"""A smaller share of covered surface is not told."""
WIRE_W_M2K = 15.0
"""Film coefficient of a thin insulated wire in still air (common practice, no source)."""
INSULATION_MM = 1.0
"""Added to a wire's diameter by its insulation."""


@dataclass(frozen=True)
class HeatPart:
    """A different body of the scene: what heat needs, and what was assumed."""

    body: HeatBody
    solid: Solid
    notes: tuple[str, ...]
    conductivity_factor: float


def heat_part(plan: Plan, number: int, outers: dict[str, Mesh]) -> HeatPart:
    """Return body `number` of a scene ready for its heat to be solved.

    outers : outer surface of every different body, by its key.
    Raises SceneError, MaterialError or GeometryError naming file, line and key.
    """
    scene_file = plan.scene_file
    notes: list[str] = []
    spec, heat = scene_file.scene.bodies[number], scene_file.scene.heat
    solid = solid_of(scene_file, number)
    own, is_sheet, factor = _own_substance(plan, number, notes)
    inserts = [(solid.hollow, AIR)] if solid.hollow is not None else []
    if solid.core is not None and spec.infill is not None:
        inserts.append((solid.core, _of_infill(own, spec.infill.share, notes)))
    for k, (insert, mesh) in enumerate(zip(spec.inserts, solid.inserts, strict=True)):
        name = insert.material or insert.coat
        inserts.append((mesh, AIR if name is None else _substance(plan, (number, k), name, notes)))
    boards = [_board_mesh(plan, number, k) for k in range(len(spec.lights))]
    cell_mm = _cell_mm(plan, number, solid)
    try:
        body = laid_out(
            spec.name,
            solid.outer,
            inserts,
            boards,
            substance=own,
            cell_mm=cell_mm,
            skin_w_m2k=heat.skin_w_m2k,
            openings_w_m2k=heat.skin_w_m2k if is_sheet else 0.0,
        )
    except GeometryError as fault:
        raise scene_file.fault(("bodies", number), str(fault)) from None
    body = _with_leads(plan, body, solid, notes)
    body = _covered(plan, body, plan.keys[number], outers, notes)
    return HeatPart(body, solid, tuple(dict.fromkeys(notes)), factor)


def _cell_mm(plan: Plan, number: int, solid: Solid) -> float:
    """Return the edge of the grid's cells: that of the light's, finer where boards are small.

    Across a thin wall the temperature hardly changes, so a shell does with one cell in place of
    light's two.
    """
    spec = plan.scene_file.scene.bodies[number]
    of_light = body_problem(plan, number, fitted=False).cell_mm
    if solid.wall_mm is not None:
        return CELLS_ACROSS_WALL * of_light
    across = [
        min(outline_mm(plan.catalogue.board(light.board), light.led_count)) for light in spec.lights
    ]
    return max(
        min(of_light, min(across) / CELLS_ACROSS_BOARD), min(cell_for_mm([solid.outer]), of_light)
    )


def _own_substance(plan: Plan, number: int, notes: list[str]) -> tuple[Substance, bool, float]:
    """Return a body's own substance, whether it is a lantern of thin sheet, and how far off its
    conductivity may be, as a factor."""
    name = plan.scene_file.scene.bodies[number].material
    if name not in plan.catalogue.materials:
        return AIR, True, 1.3
    factor = plan.catalogue.material(name).thermal_conductivity_factor
    return _substance(plan, (number, None), name, notes), False, factor


def _of_infill(plastic: Substance, share: float, notes: list[str]) -> Substance:
    """Return what an infill is to heat: along its walls it conducts by their share, and still air
    between them (rule of mixtures, upper bound; across them less)."""
    notes.append("infill is taken to conduct as its plastic and still air do side by side")
    return Substance(
        f"infill of {plastic.name}",
        share * plastic.conductivity_w_mk + (1 - share) * STILL_AIR_W_MK,
        share * plastic.capacity_j_m3k,
        plastic.service_c,
    )


def _substance(plan: Plan, at: tuple[int, int | None], name: str, notes: list[str]) -> Substance:
    number, insert = at
    materials = plan.catalogue.materials
    entry: Material | Coat = materials.get(name) or plan.catalogue.coat(name)
    conductivity = entry.thermal_conductivity_w_mk
    if conductivity is None:
        if name in materials:
            keys = ("bodies", number) if insert is None else ("bodies", number, "inserts", insert)
            raise plan.scene_file.fault(
                (*keys, "material"),
                f"heat needs the conductivity of '{name}'; add thermal_conductivity_w_mk to "
                f"[materials.{name}] (foams 0.03 to 0.05, solid plastics 0.13 to 0.25)",
            )
        conductivity = ASSUMED_W_MK
        notes.append(f"what lies below '{name}' is taken to conduct {ASSUMED_W_MK:g} W/mK")
    capacity = ASSUMED_J_M3K
    if entry.density_kg_m3 is not None and entry.specific_heat_j_kgk is not None:
        capacity = entry.density_kg_m3 * entry.specific_heat_j_kgk
    else:
        notes.append(f"'{name}' has no density or specific heat: warm-up times are a rough guess")
    return Substance(name, conductivity, capacity, entry.max_service_c)


def _board_mesh(plan: Plan, number: int, k: int) -> Mesh:
    light = plan.scene_file.scene.bodies[number].lights[k]
    frame = board_frame(light)
    if frame is None:
        raise plan.scene_file.fault(
            ("bodies", number, "lights", k, "along"),
            "points the way the board faces; a board runs across that",
        )
    return board_solid(plan.catalogue.board(light.board), light.led_count).moved(frame)


def _with_leads(plan: Plan, body: HeatBody, solid: Solid, notes: list[str]) -> HeatBody:
    """Return the body with the wires the scene asks for."""
    heat = plan.scene_file.scene.heat
    if heat.leads == 0:
        return body
    fault = plan.catalogue.fault("wire", heat.lead_gauge)
    if fault:
        raise plan.scene_file.fault(("heat", "lead_gauge"), fault)
    area = plan.catalogue.wire(heat.lead_gauge).area_mm2
    outside = math.pi * (2 * math.sqrt(area / math.pi) + INSULATION_MM) * M_PER_MM
    free = 0.0
    if heat.lead_free_mm > 0:
        free = heat.leads / fin_k_w(
            length_mm=heat.lead_free_mm, copper_mm2=area, loss_w_mk=WIRE_W_M2K * outside
        )
    leads: list[Lead | None] = []
    for board in body.boards:
        start, end = _way(body, board, solid.outer)
        conducts = [r for r, s in enumerate(body.regions.solids) if s is not None]
        along = start + np.linspace(0.02, 0.98, 25)[:, None] * (end - start)
        region = region_of(along, body.regions.solids)
        if (
            np.linalg.norm(end - start) < body.cell_mm
            or np.isin(region, [r for r in conducts if body.lump[r] >= 0]).any()
        ):
            notes.append("wires that run through a hollow carry no heat in this sum")
            leads.append(None)
        else:
            leads.append(Lead(start, end, heat.leads * area, free))
    return replace(body, leads=tuple(leads))


def _way(body: HeatBody, board: int, outer: Mesh) -> tuple[FloatArray, FloatArray]:
    """Return where the wires leave a board, at its lowest place, and where its body."""
    solid = body.regions.solids[board]
    assert solid is not None, "a board inside its body has a solid"
    start = solid.centroids[solid.centroids[:, 2].argmin()] - np.array([0.0, 0.0, 0.02])
    return start, way_out_mm(outer, start)


def _covered(
    plan: Plan, body: HeatBody, key: str, outers: dict[str, Mesh], notes: list[str]
) -> HeatBody:
    """Return the body without a film where other bodies cover it, as in its most covered copy."""
    places = [
        (k, transform)
        for k, spec in zip(plan.keys, plan.scene_file.scene.bodies, strict=True)
        for transform in copies_of(spec)
    ]
    walls = body.regions.walls
    skin = np.nonzero((body.regions.outside == ROOM) & (body.skin_w_m2k > 0))[0]
    ahead = walls.centroids[skin] + COVER_MM * walls.normals[skin]
    most, area = np.zeros(len(skin), dtype=bool), 0.0
    for own, (own_key, transform) in enumerate(places):
        if own_key != key:
            continue
        others = [p for n, p in enumerate(places) if n != own]
        covered = _inside_any(ahead @ transform[:3, :3].T + transform[:3, 3], others, outers)
        this = float(walls.areas_mm2[skin[covered]].sum())
        if this > area:
            most, area = covered, this
    if area == 0:
        return body
    share = area / float(walls.areas_mm2[skin].sum())
    if share > WORTH_SAYING:
        notes.append(
            f"{body.name}: {100 * share:.0f} % of its surface is covered by other bodies and gives "
            "off no heat in this sum"
        )
    film = body.skin_w_m2k.copy()
    film[skin[most]] = 0.0
    return replace(body, skin_w_m2k=film)


def _inside_any(
    points: FloatArray, places: list[tuple[str, FloatArray]], outers: dict[str, Mesh]
) -> np.ndarray:
    """Return which points of the prop's frame lie inside any of the bodies, (n,) bool."""
    found = np.zeros(len(points), dtype=bool)
    for key, transform in places:
        mesh = outers[key]
        local = (points - transform[:3, 3]) @ transform[:3, :3]
        near = ((local >= mesh.bounds[0]) & (local <= mesh.bounds[1])).all(axis=1) & ~found
        if near.any():
            found[np.nonzero(near)[0][inside_closed(mesh, local[near])]] = True
    return found
