"""How much of a body's surface each mask and each named region of the scene covers."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from glowsim.geometry.holes import open_edges
from glowsim.geometry.labels import bearing
from glowsim.geometry.mesh import FloatArray, IntArray
from glowsim.scene import Body
from glowsim.transport.problem import BodyProblem

LITTLE = 0.01
"""A region of a smaller share of the surface is probably not what was meant (common practice, no
source)."""
TEETH = 24
"""A border of fewer edges is drawn so on purpose."""
TEETH_DEG, TEETH_SHARE = 25.0, 0.2
"""A border in saw teeth turns by more than this at more than this share of its corners."""


@dataclass(frozen=True)
class RegionCheck:
    """One region of a body's surface: what covers it, its area, and that as a share of all.

    is_line : drawn as a line, and so small on purpose
    """

    name: str
    covers: str
    area_mm2: float
    share: float
    is_line: bool = False


def region_checks(body: Body, problem: BodyProblem) -> tuple[RegionCheck, ...]:
    """Return the areas of a body's masks, of `glow_where` and of `dark_where`."""
    areas, named = problem.walls.areas_mm2, problem.named
    whole = float(areas[problem.skin].sum())
    words = _words(body)
    held = [*named.masks, *(faces for faces in (named.glow, named.dark) if faces is not None)]
    checks = []
    for (name, covers), (_, where), faces in zip(words, body.regions, held, strict=True):
        area = float(areas[faces].sum())
        checks.append(RegionCheck(name, covers, area, area / whole, where.line_mm is not None))
    return tuple(checks)


def _words(body: Body) -> list[tuple[str, str]]:
    """Return the names of a body's regions, and what covers each."""
    words = [(mask.name or f"mask {k + 1}", mask.coat) for k, mask in enumerate(body.masks)]
    words += [("glow_where", "meant to glow")] * (body.glow_where is not None)
    return words + [("dark_where", "must stay dark")] * (body.dark_where is not None)


def in_teeth(body: Body, problem: BodyProblem) -> list[str]:
    """Return what to say of regions by the groups of a mesh file that end in saw teeth: such a
    region ends where its triangles do."""
    outer, said = problem.outer, []
    for (name, _), (_, where) in zip(_words(body), body.regions, strict=True):
        if body.mesh is None or where.part is None:
            continue
        mine = np.isin(outer.part, bearing(where.part, outer.part_names))
        turns, lengths = _turns(outer.vertices, open_edges(outer.faces[mine]))
        if len(turns) >= TEETH and np.mean(turns > TEETH_DEG) > TEETH_SHARE:
            said.append(
                f"{name} ends in teeth of {np.median(lengths):.2g} mm, along the triangles of "
                f"'{where.part}' as the file has them; a picture, or colours painted at corners, "
                "end where they say"
            )
    return said


def _turns(vertices: FloatArray, edges: IntArray) -> tuple[FloatArray, FloatArray]:
    """Return by how much a border turns from each edge, (k, 2), to the next [degrees], and the
    edges' lengths [mm]; where it crosses itself, one of the ways."""
    way = vertices[edges[:, 1]] - vertices[edges[:, 0]]
    length = np.linalg.norm(way, axis=1)
    order = np.argsort(edges[:, 0])
    after = order[np.searchsorted(edges[order, 0], edges[:, 1]).clip(max=len(order) - 1)]
    cosine = np.einsum("kd,kd->k", way, way[after]) / np.maximum(length * length[after], 1e-12)
    return np.degrees(np.arccos(np.clip(cosine, -1, 1))), length


def too_small(regions: Sequence[RegionCheck]) -> list[str]:
    """Return what to say of regions that cover next to nothing."""
    return [
        f"{region.name} covers only {region.area_mm2:.3g} mm2, {100 * region.share:.2g} % of the "
        "surface; look at its limits"
        for region in regions
        if region.share < LITTLE and not (region.is_line and region.area_mm2 > 0)
    ]
