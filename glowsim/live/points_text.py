"""What is clicked in the photos of a readings file, as that file says it: comments are kept."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import tomlkit

_PHOTO = re.compile(r"^[ \t]*\[\[[ \t]*photos[ \t]*\]\]", re.MULTILINE)
_OTHER = re.compile(
    r"^[ \t]*\[{1,2}(?![ \t]*photos\.)[ \t]*[A-Za-z_][\w.\-]*[ \t]*\]", re.MULTILINE
)
"""The head of any table that is no part of a photo's."""
PointMm = tuple[float, float, float]


@dataclass(frozen=True)
class Click:
    """A point of the piece, in its own frame, and its pixel; None until it was clicked."""

    at_mm: PointMm
    pixel: tuple[float, float] | None = None


@dataclass(frozen=True)
class Clicks:
    """What is clicked in one photo: points of the piece, and the ends of the stretch that is read,
    None where patches are."""

    points: tuple[Click, ...] = ()
    from_mm: PointMm | None = None
    to_mm: PointMm | None = None

    @property
    def known(self) -> tuple[Click, ...]:
        """The points that were clicked."""
        return tuple(point for point in self.points if point.pixel is not None)


def text_with(text: str, photos: dict[int, Clicks]) -> str:
    """Return a readings file's text with clicks in place of those it holds, by photo number.

    Points that were not clicked are left out. Nothing but the photos' own tables is touched.
    """
    starts = [found.start() for found in _PHOTO.finditer(text)]
    if len(starts) <= max(photos):  # written as one list in brackets
        document: Any = tomlkit.parse(text)
        for number, clicks in photos.items():
            _set_clicks(document["photos"][number], clicks)
        return tomlkit.dumps(document)
    for number in sorted(photos, reverse=True):
        start = starts[number]
        after = _OTHER.search(text, text.index("]]", start))
        end = after.start() if after else len(text)
        part: Any = tomlkit.parse(text[start:end])
        _set_clicks(part["photos"][0], photos[number])
        text = text[:start] + tomlkit.dumps(part) + text[end:]
    return text


def _set_clicks(table: Any, clicks: Clicks) -> None:
    if "card" not in table:
        _set_points(table, clicks.known)
    for key, value in (("from_mm", clicks.from_mm), ("to_mm", clicks.to_mm)):
        if value is not None and _differs(table.get(key), value):
            table[key] = _plain(value)


def _set_points(table: Any, points: Sequence[Click]) -> None:
    """Change the pixels of points that are there; write all anew where other points are meant."""
    old = table.get("points", [])
    same = len(old) == len(points) and not any(
        _differs(one.get("at_mm"), point.at_mm) for one, point in zip(old, points, strict=True)
    )
    if same:
        for one, point in zip(old, points, strict=True):
            assert point.pixel is not None
            if _differs(one.get("pixel"), point.pixel):
                one["pixel"] = _plain(point.pixel)
        return
    rows = tomlkit.array()
    for point in points:
        assert point.pixel is not None
        row = tomlkit.inline_table()
        row.update({"pixel": _plain(point.pixel), "at_mm": _plain(point.at_mm)})
        rows.append(row)
    rows.multiline(True)
    table.pop("points", None)
    table["points"] = rows


def _differs(old: Any, new: Sequence[float]) -> bool:
    return old is None or len(old) != len(new) or [float(v) for v in old] != list(new)


def _plain(values: Sequence[float]) -> list[float | int]:
    return [int(v) if float(v).is_integer() else v for v in values]
