"""Bodies for physics checks, built without a scene file."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from glowsim.geometry.hollow import hollow_mesh
from glowsim.geometry.mesh import Mesh
from glowsim.geometry.regions import ROOM, cut_into_regions
from glowsim.transport.problem import AIR, BARE, BodyProblem, Emitters, Kind, Layer, Medium


def medium(
    mu_a: float | Sequence[float],
    mu_s_reduced: float | Sequence[float],
    g: float = 0.0,
    n: float = 1.0,
) -> Medium:
    """Return a scattering medium, the same in all bands unless three values are given."""
    return Medium(
        "test",
        Kind.SCATTERS,
        np.broadcast_to(np.asarray(mu_a, float), (3,)).copy(),
        np.broadcast_to(np.asarray(mu_s_reduced, float), (3,)).copy(),
        g,
        n,
    )


def opaque(reflectance: float) -> Medium:
    """Return an opaque core of the given diffuse reflectance."""
    return Medium(
        "core", Kind.OPAQUE, np.zeros(3), np.zeros(3), reflectance=np.full(3, reflectance)
    )


def emitters(
    positions: Sequence[Sequence[float]],
    direction: Sequence[float] = (0.0, 0.0, 1.0),
    region: int = 0,
    exponent: float = 1.0,
    both_ways: bool = False,
) -> Emitters:
    """Return one light per position; `both_ways` makes each an isotropic point."""
    places = np.asarray(positions, float)
    ways = np.asarray(direction, float) / np.linalg.norm(direction)
    count = len(places)
    if both_ways:
        return Emitters(
            np.repeat(places, 2, axis=0),
            np.tile(np.stack([ways, -ways]), (count, 1)),
            np.zeros(2 * count),
            np.repeat(np.arange(count), 2),
            np.full(2 * count, 0.5),
            np.full(2 * count, region),
        )
    return Emitters(
        places,
        np.tile(ways, (count, 1)),
        np.full(count, exponent),
        np.arange(count),
        np.ones(count),
        np.full(count, region),
    )


def body(
    outer: Mesh,
    media: Sequence[Medium],
    lights: Emitters,
    *,
    inserts: Sequence[Mesh] = (),
    cell_mm: float,
    face_mm: float,
    layers: Sequence[Layer] = (),
) -> BodyProblem:
    """Return a body problem; the first layer, if any, covers the whole skin."""
    regions = cut_into_regions(outer, list(inserts), face_mm, "test body")
    kinds = np.array([m.kind for m in media] + [Kind.AIR])
    both_air = (kinds[regions.inside] == Kind.AIR) & (kinds[regions.outside] == Kind.AIR)
    keep = ~(both_air & (regions.outside != ROOM))
    walls = Mesh.single_part(regions.walls.vertices, regions.walls.faces[keep])
    coat = np.full(len(walls.faces), BARE)
    outside = regions.outside[keep]
    if layers:
        coat[outside == ROOM] = 0
    return BodyProblem(
        name="test body",
        media=tuple(media),
        solids=regions.solids,
        walls=walls,
        inside=regions.inside[keep],
        outside=outside,
        coat=coat,
        layers=tuple(layers),
        glows=outside == ROOM,
        part=np.zeros(len(coat), dtype=np.int64),
        part_names=("surface",),
        whiteness=np.zeros((len(coat), 3)),
        outer=outer,
        wall_mm=None,
        emitters=lights,
        cell_mm=cell_mm,
    )


def shell(
    outer: Mesh,
    material: Medium,
    wall_mm: float,
    lights: Emitters,
    *,
    cell_mm: float,
    face_mm: float,
) -> BodyProblem:
    """Return a hollow shell with lights in its air (region 1)."""
    inner, _ = hollow_mesh(outer, wall_mm, "test shell")
    return body(outer, [material, AIR], lights, inserts=[inner], cell_mm=cell_mm, face_mm=face_mm)
