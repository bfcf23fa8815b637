"""Readings files as text."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from glowsim.calibration.readings import ReadingsFile, parse_readings

HEAD = """
name = "my_foam"
material = "upholstery_foam_white"
date = 2026-03-14
made = true
"""


def file_of(*tables: str, head: str = HEAD, folder: Path | None = None) -> ReadingsFile:
    """Return a readings file with some tables."""
    return parse_readings("\n".join((head, *tables)), folder or Path.cwd())


def piles(
    thickness: Sequence[float],
    reading: Sequence[float],
    bare: float | None = 1.0,
    band: str = "green",
    hole: float = 40.0,
    more: str = "",
) -> str:
    """Return a table of piles."""
    return "\n".join(
        (
            "[[piles]]",
            f'band = "{band}"',
            f"hole_diameter_mm = {hole!r}",
            f"thickness_mm = {[float(t) for t in thickness]}",
            f"reading = {[float(r) for r in reading]}",
            "" if bare is None else f"bare = {float(bare)!r}",
            more,
        )
    )


def card(reflectance: float, band: str = "green", thickness: float = 100.0, paper=0.85) -> str:
    """Return a table of a card that shows a reflectance."""
    return "\n".join(
        (
            "[[cards]]",
            f'band = "{band}"',
            f"thickness_mm = {thickness!r}",
            f"piece = [{float(reflectance)!r}]",
            f"paper = [{float(paper)!r}]",
            f"paper_reflectance = {float(paper)!r}",
        )
    )
