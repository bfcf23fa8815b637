"""Bodies from a drawing: profiles turned, outlines cut from sheet, skins between outlines."""

from __future__ import annotations

from pathlib import Path

import manifold3d
import numpy as np

from glowsim.errors import GeometryError
from glowsim.geometry.curves import distinct, smooth_through
from glowsim.geometry.drawing import read_lines
from glowsim.geometry.hollow import grown_mesh
from glowsim.geometry.lofted import lofted
from glowsim.geometry.mesh import FloatArray, Mesh, from_manifold, to_manifold
from glowsim.geometry.shapes import segments_for, swell_of
from glowsim.geometry.sheets import sheet
from glowsim.geometry.swept import swept
from glowsim.scene.drawn import Course, Cut, Drawn, FromDrawing, Loft, Outline, Turned

LEAST_MM2 = 1e-4
"""A section of less area is none."""
TINY_SHARE = 1e-6
"""Bends of outlines finer than this share of their size are left out."""


def drawn_mesh(shape: FromDrawing, folder: Path, what: str) -> tuple[Mesh, list[str]]:
    """Return the closed mesh of a shape from a drawing in its own frame [mm], and notes.

    A relative path of a drawing starts at `folder`. Raises GeometryError, naming the body as
    `what`, for lines that enclose no body.
    """
    try:
        match shape:
            case Turned():
                mesh, notes = _turned(shape, folder)
            case Cut():
                mesh, notes = _cut(shape, folder)
            case Drawn():
                line, notes = _course(shape.along, folder)
                mesh = swept(line, np.asarray(shape.diameters_mm), shape.round_tip)
            case Loft():
                mesh, notes = _loft(shape, folder)
            case _:
                raise TypeError(f"{shape!r} is no shape from a drawing")
        mesh = Mesh(mesh.vertices * shape.scale, mesh.faces, mesh.part, mesh.part_names)
        if shape.grow_mm > 0:
            mesh = grown_mesh(mesh, shape.grow_mm, what)
        to_manifold(mesh, what)
    except GeometryError as problem:
        text = str(problem)
        raise GeometryError(text if text.startswith(what) else f"{what}: {text}") from None
    return mesh, [type(note)(f"{what}: {note}") for note in notes]


def _turned(shape: Turned, folder: Path) -> tuple[Mesh, list[str]]:
    """Turn a profile of (radius, height) about the z axis, swollen as round shapes are."""
    notes: list[str] = []
    if shape.profile.file is not None:
        lines, notes = read_lines(shape.profile, folder)
        low = np.vstack(lines).min(axis=0)
        lines = [line - low + [shape.inner_radius_mm, 0.0] for line in lines]
    else:
        lines = [_profile(shape.profile)]
    section = section_of([_to_the_axis(line) for line in lines])
    radius, height = section.bounds()[2], section.bounds()[3] - section.bounds()[1]
    segments = segments_for(radius, max(2 * radius, height))
    solid = section.scale((swell_of(segments), 1.0)).revolve(segments)
    if solid.volume() <= 0:
        raise GeometryError("the profile encloses no body")
    mesh = from_manifold(solid)
    flat = np.ptp(mesh.triangles[:, :, 2], axis=1) < 1e-9 * (height + radius)
    at, up = mesh.centroids[:, 2], mesh.normals[:, 2]
    low, high = mesh.bounds[:, 2]
    part = np.ones(len(mesh.faces), dtype=np.int64)
    part[flat & (up < 0) & (at < low + 1e-6 * height)] = 0
    part[flat & (up > 0) & (at > high - 1e-6 * height)] = 2
    return Mesh(mesh.vertices, mesh.faces, part, ("base", "side", "top")), notes


def _profile(outline: Outline) -> FloatArray:
    """Return a profile's points (n, 2) float; ends that are flat as far as the axis stay flat."""
    points = np.asarray(outline.points_mm, dtype=float)
    if not outline.smooth:
        return points
    on_axis = points[:, 0] == 0
    low, high = points[:, 1].min(), points[:, 1].max()
    first = int(on_axis[0] and points[0, 1] == points[1, 1])
    last = len(points) - int(on_axis[-1] and points[-1, 1] == points[-2, 1])
    curve = smooth_through(points[first:last], closed=False)
    # Beside a flat end the curve may not bulge beyond it either.
    flat = np.concatenate([points[:first, 1], points[last:, 1]])
    curve[:, 1] = curve[:, 1].clip(
        low if low in flat else -np.inf, high if high in flat else np.inf
    )
    return np.vstack([points[:first], curve, points[last:]])


def _to_the_axis(line: FloatArray) -> FloatArray:
    """Return a profile closed by way of the axis, unless it is closed in itself."""
    if len(line) > 3 and np.allclose(line[0], line[-1], rtol=0, atol=1e-9):
        return line
    return np.vstack([line, [0.0, line[-1, 1]], [0.0, line[0, 1]]])


def _cut(shape: Cut, folder: Path) -> tuple[Mesh, list[str]]:
    section, notes = _section(shape.outline, folder)
    if shape.outline.file is not None:
        left, low, right, _ = section.bounds()
        section = section.translate((-(left + right) / 2, -low))
    return sheet(section, shape.thickness_mm, shape.edge, shape.edge_mm), notes


def _loft(shape: Loft, folder: Path) -> tuple[Mesh, list[str]]:
    notes: list[str] = []
    loops = []
    for number, item in enumerate(shape.sections):
        section, more = _section(item.outline, folder)
        notes += [note for note in more if note not in notes]
        if section.num_contour() != 1:
            raise GeometryError(
                f"sections[{number}] has {section.num_contour()} outlines; a loft takes one each, "
                "without holes; choose it with path"
            )
        loop = np.asarray(section.to_polygons()[0], dtype=float)
        if item.outline.file is not None:
            loop = loop - (loop.min(axis=0) + loop.max(axis=0)) / 2
        loops.append(loop + item.shift_mm)
    return lofted(loops, np.array([item.height_mm for item in shape.sections])), notes


def _section(outline: Outline, folder: Path) -> tuple[manifold3d.CrossSection, list[str]]:
    """Return the plane region within an outline, and notes."""
    if outline.diameter_mm is not None:
        radius = outline.diameter_mm / 2
        segments = segments_for(radius, 2 * radius)
        return manifold3d.CrossSection.circle(radius * swell_of(segments), segments), []
    if outline.points_mm is not None:
        return section_of([_points(outline)]), []
    lines, notes = read_lines(outline, folder)
    return section_of([_closed(line, str(outline.file)) for line in lines]), notes


def _closed(line: FloatArray, name: str) -> FloatArray:
    """Return a line that is closed or nearly so; raise GeometryError for an open one."""
    gap = float(np.linalg.norm(line[0] - line[-1]))
    if gap > 0.02 * float(np.ptp(line, axis=0).max()):
        ends = " and ".join(f"({x:.4g}, {y:.4g})" for x, y in (line[0], line[-1]))
        raise GeometryError(
            f"{Path(name).name}: an outline must be closed; a line's ends, {ends} mm in the "
            f"drawing, lie {gap:.3g} mm apart. Join them, or choose the outline with path"
        )
    return line


def _points(outline: Outline) -> FloatArray:
    points = np.asarray(outline.points_mm, dtype=float)
    if outline.smooth:
        return smooth_through(points, closed=True)
    return points


def section_of(loops: list[FloatArray]) -> manifold3d.CrossSection:
    """Return the plane region within closed lines; a line within another is a hole.

    Raises GeometryError where they enclose nothing.
    """
    sized = [np.asarray(loop, dtype=np.float64) for loop in loops]
    size = max(float(np.ptp(np.vstack(sized), axis=0).max()), 1e-9)
    section = manifold3d.CrossSection(sized, manifold3d.FillRule.EvenOdd)
    section = section.simplify(TINY_SHARE * size)
    if section.is_empty() or section.area() < max(LEAST_MM2, 1e-9 * size**2):
        raise GeometryError("the outline encloses no area")
    return section


def _course(course: Course, folder: Path) -> tuple[FloatArray, list[str]]:
    """Return a path in space as chords, (n, 3) float [mm], and notes."""
    notes: list[str] = []
    if course.points_mm is not None:
        line = np.asarray(course.points_mm, dtype=float)
        if course.smooth:
            line = smooth_through(line, closed=False)
    else:
        lines, notes = read_lines(course, folder)
        if len(lines) != 1:
            raise GeometryError(
                f"{Path(str(course.file)).name} holds {len(lines)} lines; choose one with path"
            )
        flat = lines[0] if lines[0][0, 1] <= lines[0][-1, 1] else lines[0][::-1]
        flat = flat - flat[0]
        line = np.column_stack([flat[:, 0], 0 * flat[:, 0], flat[:, 1]])
    line = distinct(line)
    if len(line) < 2 or float(np.ptp(line, axis=0).max()) < 0.01:
        raise GeometryError("the path has no length; it needs two points apart")
    return line, notes
