"""Line drawings in millimetres, drawn alike on a PDF page and in a browser."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np

from glowsim.geometry.mesh import FloatArray

Colour = tuple[float, float, float]
INK: Colour = (0.1, 0.1, 0.12)
GREY: Colour = (0.55, 0.55, 0.58)
LIGHT: Colour = (0.8, 0.36, 0.0)
"""Boards and LEDs: dark enough to survive a grey print."""


@dataclass(frozen=True)
class Path:
    """A line through points, (n, 2) float [mm]; closed ones may be filled."""

    points: FloatArray
    closed: bool = False
    width_mm: float = 0.25
    colour: Colour = INK
    dash_mm: tuple[float, ...] = ()
    fill: Colour | None = None


@dataclass(frozen=True)
class Round:
    """A circle."""

    centre: tuple[float, float]
    radius_mm: float
    width_mm: float = 0.25
    colour: Colour = INK
    dash_mm: tuple[float, ...] = ()
    fill: Colour | None = None


@dataclass(frozen=True)
class Words:
    """A line of text; `at` is on its base line."""

    at: tuple[float, float]
    text: str
    size_mm: float = 2.8
    anchor: Literal["start", "middle", "end"] = "start"
    colour: Colour = INK
    turned_deg: float = 0.0


Item = Path | Round | Words
TAB_MM = 8.0
"""By which the parts of a strip of paper overlap."""


@dataclass
class Drawing:
    """Items within a rectangle, lower left corner at (0, 0), y upward [mm]."""

    width_mm: float
    height_mm: float
    items: list[Item] = field(default_factory=list)

    def add(self, *items: Item) -> None:
        """Add items."""
        self.items.extend(items)

    def line(self, *points: tuple[float, float], **style: object) -> None:
        """Add a line through points."""
        self.add(Path(np.array(points, dtype=float), **style))  # type: ignore[arg-type]

    def words(self, x: float, y: float, text: str, **style: object) -> None:
        """Add a line of text."""
        self.add(Words((x, y), text, **style))  # type: ignore[arg-type]

    def place(self, other: Drawing, x: float, y: float) -> None:
        """Add another drawing with its lower left corner at a point."""
        self.items.extend(moved(other.items, x, y))


def paper_strip(
    drawing: Drawing, length_mm: float, low_mm: float, high_mm: float, tab: bool = True
) -> None:
    """Add a strip of paper that begins at x = 1 mm, with its middle line, and with a tab at its end
    that the next part, or its own beginning, is glued over."""
    end, middle = 1 + length_mm, (low_mm + high_mm) / 2
    box = [(1, low_mm), (end, low_mm), (end, high_mm), (1, high_mm)]
    drawing.add(Path(np.array(box, dtype=float), True, 0.3))
    if tab:
        far = end + TAB_MM
        edge = [(end, low_mm + 1), (far, low_mm + 2), (far, high_mm - 2), (end, high_mm - 1)]
        drawing.line(*edge, width_mm=0.2, colour=GREY)
    drawing.line((1, middle), (end, middle), width_mm=0.15, dash_mm=(4, 1), colour=GREY)


def moved(items: Iterable[Item], x: float, y: float) -> list[Item]:
    """Return items moved by (x, y)."""
    out: list[Item] = []
    for item in items:
        if isinstance(item, Path):
            out.append(replace(item, points=item.points + np.array([x, y])))
        elif isinstance(item, Round):
            out.append(replace(item, centre=(item.centre[0] + x, item.centre[1] + y)))
        else:
            out.append(replace(item, at=(item.at[0] + x, item.at[1] + y)))
    return out


def turned(drawing: Drawing) -> Drawing:
    """Return a drawing turned by a quarter to the left, at the same size."""
    high = drawing.height_mm

    def point(at: tuple[float, float]) -> tuple[float, float]:
        return high - at[1], at[0]

    out: list[Item] = []
    for item in drawing.items:
        if isinstance(item, Path):
            turned_points = np.column_stack([high - item.points[:, 1], item.points[:, 0]])
            out.append(replace(item, points=turned_points))
        elif isinstance(item, Round):
            out.append(replace(item, centre=point(item.centre)))
        else:
            out.append(replace(item, at=point(item.at), turned_deg=item.turned_deg + 90))
    return Drawing(high, drawing.width_mm, out)
