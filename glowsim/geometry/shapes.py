"""Sketch shapes as closed meshes of some thousand faces at most.

Round shapes are swollen until they hold the volume of the round body they stand for.
"""

from __future__ import annotations

import numpy as np
import trimesh

from glowsim.geometry.mesh import FloatArray, IntArray, Mesh
from glowsim.scene.shapes import Blade, Crystal, Dome, Orb, Ring, Rod, Sketch, Slab, Spike

CHORD_ERROR_MM = 0.02
"""Distance between a curve and the chord drawn for it."""
CHORD_ERROR_SHARE = 2e-4
"""The same as a share of the whole shape's size: the greater of the two counts."""
CHORDS = (24, 90)
"""Chords of a full circle, fewest and most."""
LEAST_SHOULDER = 1e-4
"""A blade whose straight part is a smaller share of its length has none."""


def shape_mesh(shape: Sketch) -> Mesh:
    """Return the closed mesh of a sketch shape in its own frame [mm]."""
    match shape:
        case Spike():
            return _spike(shape)
        case Orb():
            return _orb(shape)
        case Rod():
            return _rod(shape)
        case Slab():
            box = trimesh.creation.box(
                extents=(shape.length_mm, shape.width_mm, shape.thickness_mm)
            )
            box.apply_translation((0, 0, shape.thickness_mm / 2))
            return Mesh.single_part(box.vertices, box.faces)
        case Blade():
            return _blade(shape)
        case Crystal():
            return _crystal(shape)
        case Ring():
            return _ring(shape)
        case Dome():
            return _dome(shape)


def segments_for(radius_mm: float, size_mm: float) -> int:
    """Return how many chords a circle gets on a shape of a given size."""
    error_mm = max(CHORD_ERROR_MM, CHORD_ERROR_SHARE * size_mm)
    ratio = min(error_mm / radius_mm, 1.0)
    return int(np.clip(np.ceil(np.pi / np.arccos(1 - ratio)), *CHORDS))


def _arc(start_deg: float, end_deg: float, chords_of_circle: int) -> FloatArray:
    """Return angles along an arc, in radians, both ends included."""
    steps = max(2, int(np.ceil(chords_of_circle * abs(end_deg - start_deg) / 360)))
    return np.radians(np.linspace(start_deg, end_deg, steps + 1))


def _spike(shape: Spike) -> Mesh:
    """A cone whose straight side is tangent to a ball of `tip_radius_mm` at the tip."""
    base, tip = shape.base_diameter_mm / 2, shape.tip_radius_mm
    centre = shape.length_mm - tip
    # The side's normal makes the angle alpha with the base plane: centre*sin + tip = base*cos.
    alpha = np.arccos(tip / np.hypot(base, centre)) - np.arctan2(centre, base)
    angles = _arc(float(np.degrees(alpha)), 90.0, segments_for(tip, shape.length_mm))
    rounded = np.column_stack([tip * np.cos(angles), centre + tip * np.sin(angles)])
    rounded[-1] = [0.0, shape.length_mm]
    rows = 1 if shape.bend_mm == 0 else 32
    side = np.linspace([base, 0.0], rounded[0], rows + 1)[1:-1]
    profile = np.vstack([[0.0, 0.0], [base, 0.0], side, rounded])
    part = np.repeat([0, 1, 2], [1, rows, len(rounded) - 1])
    segments = segments_for(base, max(shape.length_mm, 2 * base))
    mesh = _revolved(profile, segments, part, ("base", "side", "tip"))
    bent = mesh.vertices.copy()
    bent[:, 0] += shape.bend_mm * (bent[:, 2] / shape.length_mm) ** 2
    return Mesh(bent, mesh.faces, mesh.part, mesh.part_names)


def _orb(shape: Orb) -> Mesh:
    radius = shape.diameter_mm / 2
    height = shape.height_mm or shape.diameter_mm
    # An icosphere has 40 or 80 chords around it after three or four divisions.
    fine = segments_for(radius, max(height, shape.diameter_mm)) > 40
    ball = trimesh.creation.icosphere(subdivisions=4 if fine else 3, radius=1.0)
    swell = float(np.cbrt(4 / 3 * np.pi / ball.volume))
    return Mesh.single_part(swell * ball.vertices * [radius, radius, height / 2], ball.faces)


def _rod(shape: Rod) -> Mesh:
    bottom = shape.diameter_mm / 2
    top = (shape.top_diameter_mm or shape.diameter_mm) / 2
    profile = np.array([[0, 0], [bottom, 0], [top, shape.length_mm], [0, shape.length_mm]])
    segments = segments_for(max(bottom, top), max(shape.length_mm, 2 * bottom, 2 * top))
    return _revolved(profile, segments, np.array([0, 1, 2]), ("base", "side", "top"))


def _dome(shape: Dome) -> Mesh:
    radius = shape.diameter_mm / 2
    segments = segments_for(radius, max(shape.height_mm, 2 * radius))
    angles = _arc(0.0, 90.0, max(segments, 40))
    curve = np.column_stack([radius * np.cos(angles), shape.height_mm * np.sin(angles)])
    curve[-1] = [0.0, shape.height_mm]
    profile = np.vstack([[0.0, 0.0], curve])
    part = np.repeat([0, 1], [1, len(curve) - 1])
    return _revolved(profile, segments, part, ("base", "side"))


def _ring(shape: Ring) -> Mesh:
    major, minor = shape.diameter_mm / 2, shape.section_diameter_mm / 2
    size = 2 * (major + minor)
    around, across = segments_for(major + minor, size), min(segments_for(minor, size), 48)
    torus = trimesh.creation.torus(
        major, minor * swell_of(across), major_sections=around, minor_sections=across
    )
    swell = swell_of(around)
    return Mesh.single_part(torus.vertices * [swell, swell, 1.0], torus.faces)


def swell_of(segments: int) -> float:
    """Return the circumradius over the radius of the circle whose area a polygon has."""
    step = 2 * np.pi / segments
    return float(np.sqrt(step / np.sin(step)))


def _crystal(shape: Crystal) -> Mesh:
    radius, point = shape.width_mm / 2, shape.point_mm or shape.length_mm / 3
    profile = np.array(
        [
            [0.0, 0.0],
            [radius, shape.base_point_mm],
            [radius, shape.length_mm - point],
            [0.0, shape.length_mm],
        ]
    )
    parts = np.array([0, 1, 2])
    return _revolved(profile, shape.sides, parts, ("base", "side", "tip"), swell=1.0)


def _blade(shape: Blade) -> Mesh:
    """Sections of a lens (two circular arcs) stacked along z, the last ones narrowing to a tip."""
    outline = _lens_section(shape.width_mm, shape.thickness_mm)
    shoulder = shape.shoulder * shape.length_mm
    narrowing = np.linspace(0, 1, 25)[:-1]
    heights = np.concatenate([[0.0], shoulder + narrowing * (shape.length_mm - shoulder)])
    scales = np.concatenate([[1.0], 1 - narrowing**2])
    # A shoulder too low to make is none: two outlines at one height would close no solid.
    flat = shoulder < LEAST_SHOULDER * shape.length_mm
    if flat:
        heights, scales = heights[1:], scales[1:]
        heights[0] = 0.0
    rings = scales[:, None, None] * outline[None]
    layers = np.dstack([rings, np.broadcast_to(heights[:, None], rings.shape[:2])])
    ends = np.array([[0.0, 0.0, 0.0], [0.0, 0.0, shape.length_mm]])
    vertices = np.vstack([layers.reshape(-1, 3), ends])
    faces, row = stacked_faces(len(heights), len(outline))
    narrow_from = 0 if flat else 1
    part = np.where(row < 0, 0, np.where(row >= narrow_from, 2, 1))
    return Mesh(vertices, faces, part, ("base", "side", "tip"))


def _lens_section(width_mm: float, thickness_mm: float) -> FloatArray:
    """Return a closed outline of two mirrored arcs, counter-clockwise, (n, 2) float [mm].

    The edges keep a twentieth of the thickness, as a cut sheet does.
    """
    edge = thickness_mm / 20
    sagitta = (thickness_mm / 2) - edge
    radius = (width_mm**2 / 4 + sagitta**2) / (2 * sagitta)
    full = segments_for(radius, width_mm)
    chords = max(12, int(full * width_mm / (4 * np.pi * radius)) + 1)
    count = 2 * chords + 1  # one corner stands in the middle, so that the thickness is right
    x = np.linspace(width_mm / 2, -width_mm / 2, count)
    y = edge + np.sqrt(np.maximum(radius**2 - x**2, 0)) - (radius - sagitta)
    return np.vstack([np.column_stack([x, y]), np.column_stack([-x, -y])])


def stacked_faces(rows: int, columns: int) -> tuple[IntArray, IntArray]:
    """Return faces of stacked closed outlines with a centre point below and one above.

    The second array gives each face's row: -1 for the bottom, otherwise the ring below it.
    """
    ring = np.arange(columns)
    ahead = np.roll(ring, -1)
    bottom, top = rows * columns, rows * columns + 1
    faces = [np.column_stack([np.full(columns, bottom), ahead, ring])]
    row_of = [np.full(columns, -1)]
    for row in range(rows - 1):
        low, low_ahead = row * columns + ring, row * columns + ahead
        high, high_ahead = low + columns, low_ahead + columns
        faces += [
            np.column_stack([low, low_ahead, high_ahead]),
            np.column_stack([low, high_ahead, high]),
        ]
        row_of += [np.full(2 * columns, row)]
    last = (rows - 1) * columns
    faces.append(np.column_stack([last + ring, last + ahead, np.full(columns, top)]))
    row_of.append(np.full(columns, rows - 1))
    return np.vstack(faces), np.concatenate(row_of)


def _revolved(
    profile: FloatArray,
    segments: int,
    part: IntArray,
    part_names: tuple[str, ...],
    swell: float | None = None,
) -> Mesh:
    """Turn a profile of (radius, height) points about the z axis.

    The profile starts and ends on the axis; `part` gives the part of each of its edges. The
    polygon of corners is drawn `swell` times as wide as the profile says: unless given, so
    that its area, and the volume, is that of the round body.
    """
    swell = swell or swell_of(segments)
    angle = np.arange(segments) * 2 * np.pi / segments
    rim = profile[1:-1]
    rings = np.stack(
        [
            swell * rim[:, :1] * np.cos(angle),
            swell * rim[:, :1] * np.sin(angle),
            np.broadcast_to(rim[:, 1:], (len(rim), segments)),
        ],
        axis=-1,
    )
    ends = [[0, 0, profile[0, 1]], [0, 0, profile[-1, 1]]]
    vertices = np.vstack([rings.reshape(-1, 3), ends])
    faces, row = stacked_faces(len(rim), segments)
    return Mesh(vertices, faces, np.asarray(part)[row + 1], part_names)
