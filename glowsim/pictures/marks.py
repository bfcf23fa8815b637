"""Numbered marks on a picture: a triangle for a hot spot, a square for a dark gap, a diamond for
a light leak."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Literal, Protocol

import numpy as np
from PIL import ImageDraw

from glowsim.geometry.mesh import FloatArray
from glowsim.geometry.rays import RayTarget
from glowsim.pictures.camera import Camera
from glowsim.pictures.inks import INK, PAPER
from glowsim.pictures.text import font, text_width

Kind = Literal["hot", "dark", "leak"]
KIND_WORDS: dict[Kind, str] = {"hot": "hot spot", "dark": "dark gap", "leak": "light leak"}
_ANGLES = np.radians([-60, -120, 60, 120, 0, 180, -30, -150, 30, 150, -90, 90])


@dataclass(frozen=True)
class Mark:
    """A place worth pointing at.

    point_mm : (3,) float, in the prop's frame, on its surface
    label    : what the list under the picture says about it
    elsewhere_mm : (n, 3) float, places that show the same; one of them serves where the first is
                   hidden
    """

    number: int
    kind: Kind
    point_mm: FloatArray
    label: str = ""
    elsewhere_mm: FloatArray = field(default_factory=lambda: np.zeros((0, 3)))


class Found(Protocol):
    """What a finding must tell to be marked; `kind` is one of the words of KIND_WORDS."""

    @property
    def number(self) -> int:
        """As it is counted in tables."""
        ...

    @property
    def kind(self) -> str:
        """One of the words of KIND_WORDS."""
        ...

    @property
    def label(self) -> str:
        """What is written beside the mark."""
        ...

    @property
    def prop_place_mm(self) -> Sequence[float]:
        """Where on the prop."""
        ...

    @property
    def elsewhere_mm(self) -> Sequence[Sequence[float]]:
        """Where it is found again on equal copies."""
        ...


def marks_of(found: Sequence[Found]) -> list[Mark]:
    """Return a mark for each finding, which knows its places on other copies too."""
    kinds = {words: kind for kind, words in KIND_WORDS.items()}
    return [
        Mark(
            f.number,
            kinds[f.kind],
            np.array(f.prop_place_mm),
            f.label,
            np.reshape(f.elsewhere_mm, (-1, 3)),
        )
        for f in found
    ]


def marks_seen(
    marks: Sequence[Mark], camera: Camera, rays: RayTarget, slack_mm: float
) -> np.ndarray:
    """Return which marks lie on the side that a camera sees, (n,) bool.

    slack_mm : how far below the surface that is met first a mark may lie.
    """
    if not marks:
        return np.zeros(0, dtype=bool)
    away = np.array([mark.point_mm for mark in marks], dtype=float) - camera.eye_mm
    length = np.linalg.norm(away, axis=1)
    eye = np.broadcast_to(camera.eye_mm, away.shape)
    hits = rays.first_hits(eye, away / length[:, None])
    return hits.distance_mm > length - slack_mm


def draw_symbol(
    draw: ImageDraw.ImageDraw, kind: str, x: float, y: float, size_px: float, filled: bool
) -> None:
    """Draw a triangle (hot), square (dark) or diamond (leak) about a point, hollow or `filled`."""
    half = size_px / 2
    if kind == "hot":
        corners = [(x, y - half * 1.15), (x + half, y + half * 0.75), (x - half, y + half * 0.75)]
    elif kind == "leak":
        corners = [
            (x, y - half * 1.1),
            (x + half * 0.8, y),
            (x, y + half * 1.1),
            (x - half * 0.8, y),
        ]
    else:
        side = half * 0.85
        corners = [(x - side, y - side), (x + side, y - side), (x + side, y + side)]
        corners.append((x - side, y + side))
    line = max(1, round(size_px / 7))
    draw.polygon(corners, fill=INK if filled else None, outline=PAPER, width=line + 2)
    if filled:
        middle_x = sum(c[0] for c in corners) / len(corners)
        middle_y = sum(c[1] for c in corners) / len(corners)
        inner = [
            (middle_x + 0.72 * (cx - middle_x), middle_y + 0.72 * (cy - middle_y))
            for cx, cy in corners
        ]
        draw.polygon(inner, fill=INK)
    else:
        draw.polygon(corners, outline=INK, width=line)


def draw_marks(
    draw: ImageDraw.ImageDraw,
    marks: Sequence[Mark],
    filled: np.ndarray,
    camera: Camera,
    size_px: float,
) -> None:
    """Draw marks where they lie, each with its number on a leader beside it.

    filled : (n,) bool; the others are drawn hollow. Numbers keep clear of each other
    and of the symbols where there is room.
    """
    if not marks:
        return
    places, _ = camera.project(np.array([mark.point_mm for mark in marks], dtype=float))
    taken = [_box(x, y, size_px, size_px) for x, y in places]
    spots = []
    for mark, (x, y) in zip(marks, places, strict=True):
        width = text_width(str(mark.number), size_px) + size_px * 0.4
        spot = _free_spot(x, y, width, size_px, taken, camera.size)
        taken.append(_box(*spot, width, size_px))
        spots.append(spot)
        draw.line([x, y, *spot], PAPER, max(3, round(size_px / 5)))
        draw.line([x, y, *spot], INK, max(1, round(size_px / 12)))
    for mark, (x, y), spot, solid in zip(marks, places, spots, filled, strict=True):
        draw_symbol(draw, mark.kind, x, y, size_px * 0.8, bool(solid))
        draw.text(
            spot,
            str(mark.number),
            INK,
            font(size_px),
            anchor="mm",
            stroke_width=max(2, round(size_px / 7)),
            stroke_fill=PAPER,
        )


Box = tuple[float, float, float, float]


def _box(x: float, y: float, width: float, height: float) -> Box:
    return (x - width / 2, y - height / 2, x + width / 2, y + height / 2)


def _free_spot(
    x: float, y: float, width: float, height: float, taken: Sequence[Box], size: tuple[int, int]
) -> tuple[float, float]:
    """Return the middle of the nearest place for a number that covers the least."""
    best, least = (x, y), np.inf
    for ring in (1.6, 2.4, 3.4, 4.6):
        for angle in _ANGLES:
            spot = (x + ring * height * np.cos(angle), y + ring * height * np.sin(angle))
            box = _box(*spot, width, height)
            covered = sum(_overlap(box, other) for other in taken)
            outside = width * height - _overlap(box, (0, 0, *size))
            cost = covered + 10 * outside + ring
            if cost < least:
                best, least = spot, cost
    return best


def _overlap(a: Box, b: Box) -> float:
    across = min(a[2], b[2]) - max(a[0], b[0])
    down = min(a[3], b[3]) - max(a[1], b[1])
    return max(across, 0.0) * max(down, 0.0)
