"""Shapes from a drawing drawn at random, and small SVG and DXF files."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import ezdxf
import numpy as np
from hypothesis import strategies as st

from glowsim.geometry.drawing import read_lines
from glowsim.scene import Outline


def svg_file(folder: Path, inside: str, head: str = 'width="1000mm" height="800mm"') -> Path:
    """Write an SVG; its numbers are millimetres unless `head` says otherwise."""
    path = folder / "drawing.svg"
    view = 'viewBox="0 0 1000 800"' if head.startswith('width="1000mm"') else ""
    name = "http://www.w3.org/2000/svg"
    path.write_text(f'<svg xmlns="{name}" {head} {view}>{inside}</svg>', encoding="utf-8")
    return path


def lines_of(drawing: Path, **keys: Any) -> list[np.ndarray]:
    """Return the lines of a drawing in mm."""
    return read_lines(Outline(file=drawing.name, **keys), drawing.parent)[0]


def arch_dxf(folder: Path, unit: int = 4) -> Path:
    """Write an arch of loose pieces, 50 by 125, on layer 'cut' and a hole on layer 'holes'.

    unit : of the header's $INSUNITS; 4 is mm, 0 is none
    """
    drawing = ezdxf.new()
    drawing.header["$INSUNITS"] = unit
    space = drawing.modelspace()
    cut = {"layer": "cut"}
    space.add_line((0, 0), (50, 0), dxfattribs=cut)
    space.add_line((50, 100), (50, 0), dxfattribs=cut)
    space.add_arc((25, 100), 25, 0, 180, dxfattribs=cut)
    space.add_line((0, 0), (0, 100), dxfattribs=cut)
    space.add_circle((25, 50), 10, dxfattribs={"layer": "holes"})
    space.add_text("not a line")
    path = folder / "arch.dxf"
    drawing.saveas(path)
    return path


def _numbers(reach: float) -> st.SearchStrategy[float]:
    return st.floats(-reach, reach).map(lambda x: round(x, 3)) | st.integers(-3, 3).map(float)


def _flat(low: float = -200.0) -> st.SearchStrategy[list[tuple[float, float]]]:
    first = st.floats(low, 200).map(lambda x: round(x, 3)) | st.integers(int(low > -1) and 0, 3)
    return st.lists(st.tuples(first, _numbers(200)), min_size=2, max_size=9)


def _outlines() -> st.SearchStrategy[dict[str, Any]]:
    points = st.fixed_dictionaries({"points_mm": _flat(), "smooth": st.booleans()})
    return points | st.fixed_dictionaries({"diameter_mm": st.floats(0.1, 300)})


@st.composite
def drawn_shapes(draw: Any) -> dict[str, Any]:
    """Draw the table of any shape from a drawing; many of them enclose nothing."""
    kind = draw(st.sampled_from(["turned", "cut", "drawn", "loft"]))
    size = st.floats(0.1, 120).map(lambda x: round(x, 3))
    table: dict[str, Any] = {"kind": kind}
    if kind == "turned":
        profile = st.fixed_dictionaries({"points_mm": _flat(0.0), "smooth": st.booleans()})
        return table | {"profile": draw(profile)}
    if kind == "cut":
        edge = draw(st.sampled_from(["square", "rounded", "chamfered", "lens"]))
        return table | {"outline": draw(_outlines()), "thickness_mm": draw(size), "edge": edge}
    if kind == "drawn":
        points = st.lists(st.tuples(*[_numbers(200)] * 3), min_size=2, max_size=6)
        along = st.fixed_dictionaries({"points_mm": points, "smooth": st.booleans()})
        diameters = draw(st.lists(size, min_size=1, max_size=4))
        return table | {
            "along": draw(along),
            "diameters_mm": diameters,
            "round_tip": draw(st.booleans()),
        }
    count = draw(st.integers(2, 4))
    steps = [0.0, *np.cumsum([draw(size) for _ in range(count - 1)]).tolist()]
    sections = [{"height_mm": z, "outline": draw(_outlines())} for z in steps]
    return table | {"sections": sections}
