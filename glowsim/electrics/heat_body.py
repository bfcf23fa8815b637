"""A body as heat sees it: its regions, what they conduct, and where heat gets out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.sparse.csgraph import connected_components

from glowsim.geometry.hollow import nearest_on
from glowsim.geometry.mesh import FloatArray, IntArray, Mesh
from glowsim.geometry.regions import ROOM, Regions, cut_into_regions

AIR_GAP_MM = 1e-3
"""Hollows nearer to each other than this are one."""


@dataclass(frozen=True)
class Substance:
    """What a region is made of.

    conductivity_w_mk : 0 for what is taken as of one temperature: the air of a hollow, a board
    capacity_j_m3k    : density times specific heat
    service_c         : the warmest it should be for long, if known
    """

    name: str
    conductivity_w_mk: float
    capacity_j_m3k: float = 0.0
    service_c: float | None = None


AIR = Substance("air", 0.0, 1.2e3)
"""1.2 kg/m3 times 1000 J/kgK."""
BOARD = Substance("board", 0.0, 2.0e6)
"""A light board, taken as of one temperature: glass fibre 1.6 mm thick with copper of 35 um on both
sides conducts along itself as 0.07/1.6 x 400 = 17 W/mK, hundreds of times better than foam.
Capacity: 1850 kg/m3 times 1100 J/kgK (handbook values, from memory)."""


@dataclass(frozen=True)
class Lead:
    """Copper wires that run straight from a board out of its body.

    start_mm, end_mm : (3,) float;  copper_mm2 : of all the wires together
    free_w_k : what they give off beyond the end, per kelvin there [W/K]
    """

    start_mm: FloatArray
    end_mm: FloatArray
    copper_mm2: float
    free_w_k: float


@dataclass(frozen=True)
class HeatBody:
    """One body, cut, with what heat needs.

    substances : of each region;  boards : the region of each light board
    lump       : (regions,) int, -1 for regions that conduct; those of one temperature are
                 numbered, first the boards, then the hollows
    skin_w_m2k : (m,) float, film coefficient of each wall face towards the room; 0 where it is
                 covered or an opening
    leads      : per board, the wires that leave it, or None
    cell_mm    : edge of the grid's cells
    """

    name: str
    regions: Regions
    substances: tuple[Substance, ...]
    boards: tuple[int, ...]
    lump: IntArray
    skin_w_m2k: FloatArray
    leads: tuple[Lead | None, ...]
    cell_mm: float

    @property
    def lump_count(self) -> int:
        """How many boards and hollows there are."""
        return int(self.lump.max()) + 1

    @property
    def conducting(self) -> dict[int, Mesh]:
        """The solids of the regions that conduct, by region."""
        solids = enumerate(self.regions.solids)
        return {k: s for k, s in solids if s is not None and self.lump[k] < 0}

    def touching(self, region: int) -> list[int]:
        """Return the regions that border on a board: those that conduct, and hollows."""
        inside, outside = self.regions.inside, self.regions.outside
        near = np.concatenate([outside[inside == region], inside[outside == region]])
        return [int(k) for k in np.unique(near[near != ROOM]) if k not in self.boards]


def laid_out(
    name: str,
    outer: Mesh,
    inserts: Sequence[tuple[Mesh, Substance]],
    boards: Sequence[Mesh],
    *,
    substance: Substance,
    cell_mm: float,
    skin_w_m2k: float,
    openings_w_m2k: float = 0.0,
    leads: Sequence[Lead | None] = (),
) -> HeatBody:
    """Cut a body, its inserts and its boards into regions, and say how its skin gives off heat.

    openings_w_m2k : film coefficient of where a hollow borders on the room: that of the sheet of
                     a lantern. 0 keeps openings shut: the air of an open hollow stands still.
    Raises GeometryError as `cut_into_regions` does.
    """
    face_mm = max(4 * cell_mm, float(outer.size_mm.max()) / 25)
    tools = [mesh for mesh, _ in inserts] + list(boards)
    regions = cut_into_regions(outer, tools, face_mm, name)
    substances = (substance, *(s for _, s in inserts), *(BOARD for _ in boards))
    first = 1 + len(inserts)
    numbers = tuple(range(first, first + len(boards)))
    lump = _lumps(regions, substances, numbers)
    is_air = np.array([s is AIR for s in substances])
    film = np.where(is_air[regions.inside], openings_w_m2k, skin_w_m2k)
    film = np.where(regions.outside == ROOM, film, 0.0)
    return HeatBody(
        name,
        regions,
        substances,
        numbers,
        lump,
        film,
        tuple(leads) or (None,) * len(boards),
        cell_mm,
    )


def _lumps(regions: Regions, substances: Sequence[Substance], boards: tuple[int, ...]) -> IntArray:
    """Number the boards and the hollows; regions of air that touch are one hollow."""
    count, solids = len(substances), regions.solids
    links = np.zeros((count, count), dtype=bool)
    airs = [k for k in range(count) if substances[k] is AIR and solids[k] is not None]
    for place, one in enumerate(airs):
        for other in airs[place + 1 :]:
            links[one, other] = _touch(solids[one], solids[other])
    _, label = connected_components(links, directed=False)
    lump = np.full(count, -1, dtype=np.int64)
    lump[list(boards)] = np.arange(len(boards))
    _, hollow = np.unique(label[airs], return_inverse=True)
    lump[airs] = len(boards) + hollow
    return lump


def _touch(one: Mesh | None, other: Mesh | None) -> bool:
    assert one is not None, "regions cut away whole are left out"
    assert other is not None, "regions cut away whole are left out"
    apart = (one.bounds[0] > other.bounds[1] + AIR_GAP_MM) | (
        other.bounds[0] > one.bounds[1] + AIR_GAP_MM
    )
    if apart.any():
        return False
    gap, _, _ = nearest_on(one, other.vertices)
    return bool(gap.min() < AIR_GAP_MM)
