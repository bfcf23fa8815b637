"""Regions of a surface as the scene says them: the faces they hold, cut where they end."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from glowsim.errors import GeometryError
from glowsim.geometry.cuts import BoolArray, Surface, ball, cut_at, height
from glowsim.geometry.facing import Facing, facing_of
from glowsim.geometry.hollow import nearest_on
from glowsim.geometry.labels import bearing, single_names
from glowsim.geometry.lines import along_line_mm, cut_along_line
from glowsim.geometry.mesh import FloatArray, IntArray, Mesh
from glowsim.geometry.meshparts import SHOWN
from glowsim.geometry.painted import Painted, painted_of
from glowsim.geometry.stencil import Stencil, stencil_of
from glowsim.scene.bodies import MeshFile
from glowsim.scene.where import Where


@dataclass(frozen=True)
class Region:
    """A region of a surface: what the scene says, and what of that ends between corners of faces.

    stencil : its picture, in place;  painted : its colour, painted at the corners of a mesh
    facing  : the way it faces, on a surface that runs on smoothly
    """

    where: Where
    stencil: Stencil | None = None
    painted: Painted | None = None
    facing: Facing | None = None


def region_on(outer: Mesh, where: Where, folder: Path, mesh_file: MeshFile | None = None) -> Region:
    """Return a region of a body's surface.

    mesh_file : what the body comes from, for its colours and its texture coordinates
    Raises GeometryError where its picture is of no use.
    """
    picture, colour = where.picture, where.colour
    return Region(
        where,
        None if picture is None else stencil_of(picture, folder, outer, mesh_file),
        None if colour is None else painted_of(colour, mesh_file, folder),
        where.facing and facing_of(outer, where.facing, where.facing_within_deg),
    )


def faces_where(region: Region, walls: Mesh, parts: IntArray, names: tuple[str, ...]) -> BoolArray:
    """Return which faces lie in a region of the surface, (m,) bool.

    parts : (m,) int, named part of each face. Raises GeometryError for a part or colour that is
    not there.
    """
    where = region.where
    chosen = np.ones(len(walls.faces), dtype=bool)
    centre = walls.centroids
    for key, name in (("part", where.part), ("colour", where.colour and where.colour.lower())):
        if name is None:
            continue
        bear = bearing(name, names)
        if not bear:
            known = [n for n in single_names(names) if n.startswith("#") == (key == "colour")]
            there = ", ".join(known[:SHOWN]) + (", ..." if len(known) > SHOWN else "")
            there = there if len(names) > 1 and known else "none; use above_mm, facing or a ball"
            raise GeometryError(f"this body has no {key} '{name}' ({key}s: {there})")
        if key == "colour" and region.painted is not None:
            chosen &= region.painted.covers(centre)
        else:
            chosen &= np.isin(parts, bear)
    if where.above_mm is not None:
        chosen &= centre[:, 2] > where.above_mm
    if where.below_mm is not None:
        chosen &= centre[:, 2] < where.below_mm
    if where.centre_mm is not None and where.radius_mm is not None:
        chosen &= np.linalg.norm(centre - where.centre_mm, axis=1) < where.radius_mm
    if region.facing is not None:
        chosen &= region.facing.covers(centre)
    elif where.facing is not None:
        way = np.asarray(where.facing) / np.linalg.norm(where.facing)
        chosen &= walls.normals @ way > np.cos(np.radians(where.facing_within_deg))
    if where.line_mm is not None:
        chosen &= along_line_mm(centre, where.line_mm) < where.line_width_mm / 2
    if region.stencil is not None:
        chosen &= region.stencil.covers(centre)
        chosen[chosen] = region.stencil.sees(centre[chosen], walls.normals[chosen])
    return chosen


def cut_for(surface: Surface, region: Region, chosen: BoolArray, normals: FloatArray) -> Surface:
    """Return a surface with its faces cut where a region ends between corners: at a height, a ball,
    a picture's outline, the edge of a line, a painted border, a limit of facing. Named parts and
    painted faces go by whole ones.

    chosen : (f,) bool, which of the faces there were at first are cut;  normals : (f, 3), theirs
    """
    where, stencil = region.where, region.stencil
    if where.line_mm is not None:
        surface = cut_along_line(surface, where.line_mm, where.line_width_mm)
    limits = [height(mm) for mm in (where.above_mm, where.below_mm) if mm is not None]
    if where.centre_mm is not None and where.radius_mm is not None:
        limits.append(ball(where.centre_mm, where.radius_mm))
    limits += [bent.limit for bent in (region.painted, region.facing) if bent is not None]
    for limit in limits:
        surface = cut_at(surface, limit, chosen)
    if stencil is not None:
        surface = _cut_under(surface, stencil, chosen, normals)
    return surface


def cut_out(outer: Mesh, region: Region) -> tuple[Mesh, BoolArray]:
    """Return a body's surface with its faces cut where a region ends, and which of them it holds,
    (m,) bool; raises as `faces_where`."""
    whole = np.ones(len(outer.faces), dtype=bool)
    cut = cut_for(Surface.of(outer.vertices, outer.faces), region, whole, outer.normals)
    mesh = Mesh.single_part(cut.vertices, cut.faces)
    return mesh, faces_where(region, mesh, outer.part[cut.was], outer.part_names)


def _cut_under(
    surface: Surface, stencil: Stencil, chosen: BoolArray, normals: FloatArray
) -> Surface:
    """Return a surface cut along a picture's outline, as far as it looks the way that counts, and
    where what the picture covers turns away."""

    def some(faces: FloatArray | BoolArray) -> BoolArray:
        """Return which of the faces there were at first have some of the faces there are."""
        return np.asarray(np.bincount(surface.was, faces, len(chosen)) > 0)

    shown = stencil.shown
    if shown is None:
        middles = surface.vertices[surface.faces].mean(axis=1)
        return cut_at(
            surface, stencil.limit, chosen & some(stencil.sees(middles, normals[surface.was]))
        )
    seen = np.any(shown.covers(surface.vertices)[surface.faces], axis=1)
    surface = cut_at(surface, stencil.limit, chosen & some(seen))
    covered = stencil.covers(surface.vertices[surface.faces].mean(axis=1))
    return cut_at(surface, shown.limit, chosen & some(covered))


def nothing_there(where: Where, walls: Mesh) -> str:
    """Say why a region of a surface holds no face of it."""
    if where.line_mm is not None:
        line = np.asarray(where.line_mm, dtype=float)
        off_mm = nearest_on(walls, line)[0]
        place = ", ".join(f"{c:g}" for c in line[int(off_mm.argmax())])
        return (
            f"its line meets no face of the body: its point ({place}) lies {off_mm.max():.2g} mm "
            "off the surface; give points on it"
        )
    (x, y, z), (to_x, to_y, to_z) = walls.bounds
    if where.picture is not None and where.picture.by_texture:
        return "its picture covers no face of the body by its mesh file's texture coordinates"
    if where.picture is not None:
        return (
            f"its picture covers no face of the body, which reaches from x = {x:.3g} to "
            f"{to_x:.3g}, y = {y:.3g} to {to_y:.3g} and z = {z:.3g} to {to_z:.3g} mm; look at "
            "seen_from, middle_mm and its size"
        )
    return f"covers no face of the body, which reaches from z = {z:.3g} to {to_z:.3g} mm"
