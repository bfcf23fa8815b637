"""An outline cut from a sheet, its edges square, rounded, chamfered or swelling to a lens.

The surface is laid from the outline inward, along lines of one distance from the edge, each with
the height the edge's section has there; so any outline will do, with any number of holes.
"""

from __future__ import annotations

import manifold3d
import numpy as np

from glowsim.errors import GeometryError
from glowsim.geometry.mesh import FloatArray, IntArray, Mesh

LEAST_EDGE = 1 / 40
"""Share of the thickness that stays at a rounded edge or a lens's."""
ROUNDING_STEPS = 14
LENS_STEPS = 28
ROUND_CHORDS = 48
"""Chords of a full turn about a corner of the outline that points inward."""
FINE_SHARE = 2e-5
"""Bends of lines finer than this share of the outline are left out."""
NEAR_RIDGE = 0.995
"""The last line of a lens lies this share of the way in."""
PARTS = ("front", "back", "edge")


def sheet(
    section: manifold3d.CrossSection, thickness_mm: float, edge: str, edge_mm: float | None
) -> Mesh:
    """Return the closed mesh of a cut sheet [mm]: its outline in x and z, thickness along y.

    Raises GeometryError for a lens too thick for its outline.
    """
    inward, half = _edge_section(section, thickness_mm, edge, edge_mm)
    rings = _rings(section, inward)
    flat, height, faces, ring = _terraced(rings)
    y = half[height]
    count = len(flat)
    vertices = np.vstack(
        [np.column_stack([flat[:, 0], s * y, flat[:, 1]]) for s in (-1.0, 1.0)]
    )  # the front faces -y
    walls = _walls(rings[0], count)
    on_edge = np.full(len(faces), edge in ("rounded", "chamfered")) & (ring < len(inward) - 1)
    part = np.concatenate(
        [np.where(on_edge, 2, 0), np.where(on_edge, 2, 1), np.full(len(walls), 2)]
    )
    return Mesh(vertices, np.vstack([faces, faces[:, ::-1] + count, walls]), part, PARTS)


def _edge_section(
    section: manifold3d.CrossSection, thickness_mm: float, edge: str, edge_mm: float | None
) -> tuple[FloatArray, FloatArray]:
    """Return distances from the edge, and half the thickness at each, (k,) float [mm]."""
    half = thickness_mm / 2
    least = LEAST_EDGE * thickness_mm
    if edge == "square":
        return np.zeros(1), np.full(1, half)
    if edge == "chamfered":
        reach = min(edge_mm or thickness_mm / 4, half - least)
        return np.array([0.0, reach]), np.array([half - reach, half])
    if edge == "rounded":
        radius = min(edge_mm or half, half)
        turn = np.linspace(0, np.pi / 2, ROUNDING_STEPS + 1)
        height = half - radius + radius * np.sin(turn)
        return radius * (1 - np.cos(turn)), np.maximum(height, min(least, half))
    widest = widest_mm(section)
    kept = max((edge_mm or thickness_mm / 20) / 2, least / 2)
    swell = half - kept
    if swell > widest:
        raise GeometryError(
            f"thickness_mm {thickness_mm:g} swells beyond half a circle: the outline is only "
            f"{2 * widest:.3g} mm wide; take less, or edge = 'rounded'"
        )
    if swell <= 0:
        return np.zeros(1), np.full(1, half)
    inward = widest * np.append(np.arange(LENS_STEPS) / LENS_STEPS, NEAR_RIDGE)
    radius = (widest**2 + swell**2) / (2 * swell)
    rise = np.sqrt(np.maximum(radius**2 - (widest - inward) ** 2, 0)) - (radius - swell)
    return inward, kept + np.maximum(rise, 0)


def widest_mm(section: manifold3d.CrossSection) -> float:
    """Return the radius of the largest circle within a plane region [mm], by halving."""
    left, low, right, high = section.bounds()
    inside, outside = 0.0, min(right - left, high - low) / 2 * 1.001
    for _ in range(18):
        middle = (inside + outside) / 2
        if _inset(section, middle).is_empty():
            outside = middle
        else:
            inside = middle
    return inside


def _inset(section: manifold3d.CrossSection, by_mm: float) -> manifold3d.CrossSection:
    return (
        section.offset(-by_mm, manifold3d.JoinType.Round, 2.0, ROUND_CHORDS) if by_mm else section
    )


def _rings(section: manifold3d.CrossSection, inward: FloatArray) -> list[list[FloatArray]]:
    """Return the lines at each distance from the edge, until there is nothing left."""
    rings = []
    left, low, right, high = section.bounds()
    fine = FINE_SHARE * max(right - left, high - low)
    for distance in inward:
        inner = _inset(section, float(distance))
        inner = inner.simplify(fine) if distance else inner
        if inner.is_empty():
            break
        rings.append([np.asarray(polygon, dtype=float) for polygon in inner.to_polygons()])
    return rings


def _terraced(
    rings: list[list[FloatArray]],
) -> tuple[FloatArray, IntArray, IntArray, IntArray]:
    """Fill the plane between the lines, and within the last ones.

    Returns points (n, 2), the number of the ring each point is of, (n,), faces (m, 3), and the
    ring each face begins at, (m,).
    """
    points = [np.vstack(ring) for ring in rings]
    start = np.concatenate([[0], np.cumsum([len(p) for p in points])])
    faces, ring_of = [], []
    for k, ring in enumerate(rings):
        inner = rings[k + 1] if k + 1 < len(rings) else []
        order = np.concatenate(
            [
                start[k] + np.arange(len(points[k])),
                *[
                    start[k + 1] + first + np.arange(len(loop))[::-1]
                    for first, loop in _with_starts(inner)
                ],
            ]
        ).astype(np.int64)
        loops = [*ring, *[np.ascontiguousarray(loop[::-1]) for loop in inner]]
        new = np.asarray(manifold3d.triangulate(loops), np.int64).reshape(-1, 3)
        faces.append(order[new])
        ring_of.append(np.full(len(new), k))
    height = np.repeat(np.arange(len(rings)), [len(p) for p in points])
    return np.vstack(points), height, np.vstack(faces), np.concatenate(ring_of)


def _with_starts(loops: list[FloatArray]) -> list[tuple[int, FloatArray]]:
    starts = np.concatenate([[0], np.cumsum([len(loop) for loop in loops])]).astype(int)
    return [(int(first), loop) for first, loop in zip(starts, loops, strict=False)]


def _walls(rim: list[FloatArray], behind: int) -> IntArray:
    """Return the faces along the very edge, between front points and those `behind` them."""
    walls = []
    for first, loop in _with_starts(rim):
        a = first + np.arange(len(loop))
        b = np.roll(a, -1)
        walls += [np.column_stack([b, a, a + behind]), np.column_stack([b, a + behind, b + behind])]
    return np.vstack(walls)
