"""Lines of SVG and DXF drawings in mm, y upward. A file is read, never written."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from glowsim.errors import GeometryError, did_you_mean
from glowsim.geometry.curves import CHORD_SHARE, chained, chords_of
from glowsim.geometry.mesh import FloatArray
from glowsim.geometry.meshfile import is_file
from glowsim.geometry.scaling import POSSIBLE_MM, unit_by_size
from glowsim.scene.drawn import FileLines
from glowsim.units import mm_per_unit

KINDS = ("svg", "dxf")
MM_PER_PX = 25.4 / 96
"""CSS Values and Units 3, section 5.2: 1in = 96px; SVG 1.1 and 2 take their units from there."""
SAYS_LENGTH = ("mm", "cm", "in", "pt", "pc", "q")
"""Endings of an SVG's width or height that make its numbers lengths; px and none do not."""
JOIN_SHARE = 1e-4
"""Ends nearer than this share of the drawing are joined."""
AGREES = 0.01
"""A stated length and that of the drawing may differ by this share."""

# AutoCAD DXF reference, HEADER section, $INSUNITS: 0 is 'Unitless'.
_DXF_UNITS = {1: "in", 2: "ft", 4: "mm", 5: "cm", 6: "m", 13: "um"}


@dataclass(frozen=True)
class _Drawing:
    """Lines with the names each answers to, y upward, in the drawing's own numbers."""

    lines: list[tuple[frozenset[str], FloatArray]]
    unit: str | None
    """The unit the file itself says, or None."""
    guesses: dict[str, float]
    """What the numbers may mean where it says none: mm per number, the likeliest first."""


def read_lines(spec: FileLines, folder: Path) -> tuple[list[FloatArray], list[str]]:
    """Return the chosen lines of a drawing, each (n, 2) float [mm], and notes.

    A closed line ends in the point it begins with. Raises GeometryError if the file is missing or
    broken, if nothing answers to the path that was asked for, or if its size is not as stated.
    """
    path = _path_of(str(spec.file), folder)
    kind = path.suffix.lower().lstrip(".")
    if kind not in KINDS:
        raise GeometryError(
            f"'{path.suffix}' is not a drawing that can be read; save it as SVG or DXF"
        )
    if not is_file(path):
        raise GeometryError(f"there is no drawing {path}")
    try:
        drawing = _svg(path) if kind == "svg" else _dxf(path)
    except Exception as problem:
        # The readers raise what they like on broken files.
        reason = " ".join(str(problem).split())[:120] or type(problem).__name__
        raise GeometryError(
            f"{path.name} cannot be read as {kind.upper()}: {reason}; save it again"
        ) from None
    lines = _chosen(drawing, spec.path, path.name)
    largest = max(float(np.ptp(np.vstack(lines), axis=0).max()), 1e-300)
    if not np.isfinite(largest):
        raise GeometryError(f"{path.name} holds coordinates that are not numbers; save it again")
    factor, notes = _mm_per_number(drawing, spec, np.ptp(np.vstack(lines), axis=0), path.name)
    if not POSSIBLE_MM[0] <= factor * largest <= POSSIBLE_MM[1]:
        raise GeometryError(
            f"{path.name}: its lines are {factor * largest:.4g} mm large, which is no part of a "
            "prop; look at units, or say height_mm"
        )
    return [factor * line for line in chained(lines, JOIN_SHARE * largest)], notes


def file_digest(folder: Path, name: str) -> str:
    """Return a digest of a drawing's content, empty if it cannot be read."""
    try:
        return hashlib.sha256(_path_of(name, folder).read_bytes()).hexdigest()
    except (OSError, ValueError):
        return ""  # whoever reads its lines says so


def _path_of(name: str, folder: Path) -> Path:
    try:
        return folder / Path(name).expanduser()
    except RuntimeError:  # a '~' that belongs to nobody
        return folder / name


def _chosen(drawing: _Drawing, wanted: str | None, name: str) -> list[FloatArray]:
    lines = [line for names, line in drawing.lines if wanted is None or wanted in names]
    if not drawing.lines:
        raise GeometryError(f"{name} holds no lines; text must be turned into paths first")
    if not lines:
        known = sorted(set().union(*(names for names, _ in drawing.lines)))
        there = ", ".join(known[:12]) or "none has a name"
        raise GeometryError(
            f"{name} has no path or layer '{wanted}'{did_you_mean(str(wanted), known)} "
            f"(there: {there})"
        )
    return lines


def _mm_per_number(
    drawing: _Drawing, spec: FileLines, size: FloatArray, name: str
) -> tuple[float, list[str]]:
    """Return the scale of a drawing, by its unit, a stated length or a guess that is told."""
    stated = [
        (key, wanted / float(number))
        for key, wanted, number in (
            ("width_mm", spec.width_mm, size[0]),
            ("height_mm", spec.height_mm, size[1]),
        )
        if wanted is not None and number > 1e-9 * size.max()
    ]
    unit = drawing.unit or spec.units
    if drawing.unit and spec.units and drawing.unit != spec.units:
        raise GeometryError(
            f"{name} says its unit is '{drawing.unit}'; leave out units, or use scale"
        )
    if unit is None and not stated:
        unit, doubt = unit_by_size(
            float(size.max()), drawing.guesses, name, "height_mm or units", usual_is_sure=False
        )
        return drawing.guesses[unit], [doubt] if doubt else []
    factor = mm_per_unit(unit) if unit is not None else stated[0][1]
    for key, by_length in stated:
        if abs(by_length / factor - 1) > AGREES:
            k = 0 if key == "width_mm" else 1
            raise GeometryError(
                f"{name}: its lines are {factor * size[k]:.4g} mm "
                f"{'wide' if k == 0 else 'high'}{f' by the unit {unit}' if unit else ''}, and "
                f"{key} says {by_length * size[k]:.4g} mm; correct one of them, or use scale"
            )
    return factor, []


def _svg(path: Path) -> _Drawing:
    import svgelements

    svg = svgelements.SVG.parse(str(path), ppi=96, reify=True)
    own = svg.values.get("attributes", svg.values)
    sizes = [str(own.get(key, "")).strip().lower() for key in ("width", "height")]
    known = any(size.endswith(SAYS_LENGTH) for size in sizes)
    flip = np.array([1.0, -1.0]) * (MM_PER_PX if known else 1.0)
    lines = []
    for names, shape in _svg_shapes(svg, frozenset()):
        for subpath in abs(svgelements.Path(shape)).as_subpaths():  # its transform applied
            line = _flattened(svgelements.Path(subpath)) * flip
            if len(line) > 1:
                lines.append((names, line))
    guesses = {"px": MM_PER_PX, "mm": 1.0, "cm": 10.0, "in": 25.4}
    return _Drawing(lines, "mm" if known else None, guesses)


def _svg_shapes(element: Any, names: frozenset[str]) -> Iterator[tuple[frozenset[str], Any]]:
    """Walk through groups; yield shapes with their own names and those of the groups."""
    import svgelements

    own = [element.id] if getattr(element, "id", None) else []
    own += [str(v) for k, v in (element.values or {}).items() if str(k).endswith("}label")]
    names = names | set(own)
    if isinstance(element, svgelements.Shape):
        yield names, element
    elif isinstance(element, list):
        for inner in element:
            if isinstance(inner, (svgelements.Shape, list)):
                yield from _svg_shapes(inner, names)


def _flattened(path: Any) -> FloatArray:
    """Return the chords of one SVG subpath, (n, 2) float, in its own numbers, y downward."""
    box = path.bbox()
    if box is None:
        return np.zeros((0, 2))
    chord = CHORD_SHARE * max(box[2] - box[0], box[3] - box[1])
    points: list[Any] = []
    for segment in path:
        if type(segment).__name__ == "Move":
            points.append([complex(segment.end).real, complex(segment.end).imag])
            continue
        if segment.start is None or segment.end is None:
            continue
        steps = chords_of(_bend_of(segment), chord)
        at = np.linspace(0, 1, steps + 1)[1:]
        points += [[float(p[0]), float(p[1])] for p in (segment.point(t) for t in at)]
    return np.array(points, dtype=float).reshape(-1, 2)


def _bend_of(segment: Any) -> float:
    """Return a bound on the second derivative of a segment over its parameter from 0 to 1."""
    kind = type(segment).__name__
    if kind == "Arc":
        return float(max(abs(segment.rx), abs(segment.ry)) * segment.sweep**2)
    if kind == "QuadraticBezier":
        a, b, c = (complex(p) for p in (segment.start, segment.control, segment.end))
        return 2 * abs(a - 2 * b + c)
    if kind == "CubicBezier":
        a, b, c, d = (
            complex(p) for p in (segment.start, segment.control1, segment.control2, segment.end)
        )
        return 6 * max(abs(a - 2 * b + c), abs(b - 2 * c + d))
    return 0.0


def _dxf(path: Path) -> _Drawing:
    import ezdxf
    import ezdxf.disassemble
    import ezdxf.filemanagement
    import ezdxf.lldxf.const
    import ezdxf.path
    import ezdxf.recover

    try:
        document = ezdxf.filemanagement.readfile(path)
    except ezdxf.lldxf.const.DXFError:
        document, _ = ezdxf.recover.readfile(path)
    found = []
    for entity in ezdxf.disassemble.recursive_decompose(document.modelspace()):
        try:
            line = ezdxf.path.make_path(entity)
        except TypeError:  # text, dimensions, hatches: no lines to follow
            continue
        if len(line):
            found.append((frozenset([entity.dxf.layer]), line))
    corners = [np.array([[v.x, v.y] for v in p.control_vertices()]) for _, p in found]
    size = float(np.ptp(np.vstack(corners), axis=0).max()) if corners else 1.0
    lines = [
        (names, np.array([[v.x, v.y] for v in p.flattening(max(CHORD_SHARE * size, 1e-12))]))
        for names, sub in found
        for p in sub.sub_paths()
    ]
    unit = _DXF_UNITS.get(int(document.header.get("$INSUNITS", 0)))
    return _Drawing(lines, unit, {"mm": 1.0, "in": 25.4, "cm": 10.0, "m": 1000.0})
