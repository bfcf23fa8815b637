"""Stencils at full size: what a picture laid on a body covers, as seen from where it is laid on."""

from __future__ import annotations

from pathlib import Path

import manifold3d
import numpy as np

from glowsim.buildsheet.drawing import Drawing, moved
from glowsim.buildsheet.drawing import Path as Line
from glowsim.buildsheet.places import BodyPlaces
from glowsim.errors import GeometryError
from glowsim.geometry.curves import area_within
from glowsim.geometry.mesh import FloatArray
from glowsim.geometry.outlines import shadow_mm
from glowsim.geometry.stencil import outlines_of, view_from
from glowsim.geometry.where import cut_out, nothing_there, region_on
from glowsim.scene import Picture, Where

MARGIN_MM = 4.0
HEAD_MM = 16.0
"""Room above for its words."""
WORDS_MM = 165.0
"""Width that the words need."""
SIMPLER_MM = 0.05
"""Less than a scalpel follows."""
COVERED = (0.8, 0.8, 0.82)
TEXT_MM = 2.6
ALL_ROUND = 0.1
"""What a picture covers looks so little one way, as a mean of unit normals, that it goes round."""
SLANT_DEG = 80.0
"""What is seen at a greater slant turns away."""
LITTLE = 0.01
"""A smaller share that turns away is not worth a word."""


def stencils(places: BodyPlaces, folder: Path) -> list[Drawing]:
    """Return a drawing of each picture among a body's masks.

    folder : that pictures' paths start at. Raises GeometryError for one that cannot be read.
    """
    return [
        _drawn(places, mask.where, mask.name or mask.coat, folder)
        for mask in places.spec.masks
        if mask.where.picture is not None
    ]


def wrapped_mm(
    places: BodyPlaces, where: Where, folder: Path
) -> tuple[list[FloatArray], FloatArray, float]:
    """Return what a picture laid by texture covers, as seen from where most of it looks, each
    (n, 2) float [mm]; that way, (3,) unit; and the share of it that turns away from there."""
    outer = places.solid.outer
    surface, held = cut_out(outer, region_on(outer, where, folder, places.spec.mesh))
    area = surface.areas_mm2 * held
    if not held.any():
        raise GeometryError(f"{places.name}: {nothing_there(where, surface)}")
    toward = np.round((area @ surface.normals) / area.sum(), 2)
    if np.linalg.norm(toward) < ALL_ROUND:
        toward = -surface.normals[int(area.argmax())]
    toward = toward / np.linalg.norm(toward)
    facing = surface.normals @ toward > np.cos(np.radians(SLANT_DEG))
    seen = surface.triangles[held & facing] @ view_from(toward.tolist())[:2].T
    shape = manifold3d.CrossSection(list(seen), manifold3d.FillRule.NonZero).simplify(SIMPLER_MM)
    away = float(area[~facing].sum() / area.sum())
    return [np.asarray(p, dtype=float) for p in shape.to_polygons()], toward, away


def covered_mm(
    places: BodyPlaces, picture: Picture, folder: Path
) -> tuple[list[FloatArray], list[FloatArray]]:
    """Return what a picture covers of a body as seen from where it is laid on, and the body's own
    outlines, each (n, 2) float [mm]: right and up. Holes run the other way round."""
    rows = view_from(picture.seen_from)
    outer = places.solid.outer
    body = shadow_mm(outer, rows, places.name)
    laid = [line @ rows[:2].T for line in outlines_of(picture, folder, outer)]
    shape = manifold3d.CrossSection(laid, manifold3d.FillRule.EvenOdd).simplify(SIMPLER_MM)
    found = shape ^ manifold3d.CrossSection(body, manifold3d.FillRule.NonZero)
    return [np.asarray(p, dtype=float) for p in found.to_polygons()], body


def _drawn(places: BodyPlaces, where: Where, name: str, folder: Path) -> Drawing:
    picture = where.picture
    assert picture is not None, "only pictures have stencils"
    away, toward = 0.0, np.asarray(picture.seen_from, dtype=float)
    if picture.by_texture:
        covered, toward, away = wrapped_mm(places, where, folder)
        body = shadow_mm(places.solid.outer, view_from(toward.tolist()), places.name)
    else:
        covered, body = covered_mm(places, picture, folder)
    low = np.concatenate(body).min(axis=0)
    wide, tall = np.ptp(np.concatenate(body), axis=0)
    drawing = Drawing(max(wide + 2 * MARGIN_MM, WORDS_MM), tall + 2 * MARGIN_MM + HEAD_MM)
    # The larger first, so that holes and what lies in them come out on top.
    for points in sorted(covered, key=lambda p: -abs(area_within(p))):
        fill = COVERED if area_within(points) > 0 else (1.0, 1.0, 1.0)
        drawing.add(Line(points, True, 0.25, fill=fill))
    for points in body:
        drawing.add(Line(points, True, 0.35))
    drawing.items = moved(drawing.items, MARGIN_MM - low[0], MARGIN_MM - low[1])
    side = ", ".join(f"{c:.2g}" for c in toward)
    drawing.words(
        0, drawing.height_mm - 3.5, f"{places.name}: stencil for {name}, from ({side})", size_mm=3.2
    )
    loose = any(area_within(points) < 0 for points in covered)
    both = ", and on the far side behind it" if picture.sides == "both" else ""
    drawing.words(
        0,
        drawing.height_mm - 8,
        "Cut out the grey, hold it flat where the outline meets the body's own, and paint straight "
        f"through it{both}.",
        size_mm=TEXT_MM,
    )
    words = "Leave bridges to what would fall out. " if loose else ""
    if away > LITTLE:
        words += f"{100 * away:.0f} % of it turns away from there and is not on it: carry it on."
    if words:
        drawing.words(0, drawing.height_mm - 12, words, size_mm=TEXT_MM)
    return drawing
