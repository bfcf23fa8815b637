"""The bench sheet of `glowsim calibrate --plan`: what to read, how, and a card of marks."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from glowsim.buildsheet.blocks import Block, BuildSheet, FullSize, Grid, Items, Para, Section
from glowsim.buildsheet.drawing import INK, Colour, Drawing, Path
from glowsim.calibration.forward import Optics
from glowsim.calibration.lit_rod import Rod, rod_of
from glowsim.calibration.marks import CORNERS, MARK_MM, RING_MM, SQUARE_MM
from glowsim.calibration.plan import (
    CALLIPERS_MM,
    HOLE_MM,
    LEAST_SHARE,
    RULER_MM,
    Gain,
    height_error_mm,
    percent,
    thicknesses_mm,
)

CARD_MM = (160.0, 160.0)
PAPER: Colour = (1.0, 1.0, 1.0)


def bench_sheet(
    title: str, material: str, every: Sequence[Optics], gains: Sequence[Gain], what: str
) -> BuildSheet:
    """Return the sheet for a material of a prop.

    gains : readings that could be made, the most telling first;  what : the question they narrow
    """
    rod = rod_of(every[1])
    piece = () if rod is None else (_piece(rod),)
    rows = tuple(
        (g.candidate.words, f"{g.candidate.minutes:g}", percent(g.before), percent(g.after))
        for g in gains
    )
    weighed: tuple[Block, ...] = (
        Para(
            f"Any of these tells more about {material} than the catalogue or earlier readings; the "
            f"first tell most for their minutes. In per cent: how far the prop's {what} may be "
            "off either way, now and after that reading."
        ),
        Grid(("read", "minutes", f"{what}, now", "then"), rows, (6.0, 1.2, 2.0, 2.0)),
    )
    return BuildSheet(
        f"{material}, for {title}",
        (
            Section("What is worth reading", weighed),
            Section("Before you begin", (Items(_BEFORE, ticks=True),)),
            Section("Piles over a hole", (Items(_piles(every[1]), ticks=True),)),
            Section("A thick piece beside white paper", (Items(_CARD, ticks=True),)),
            Section(
                "A lit piece, photographed",
                (
                    Items((*piece, *_PHOTO), ticks=True),
                    Para(_MARKS),
                    FullSize("Marks card", (marks_card(),), ""),
                ),
            ),
        ),
        "Bench sheet",
    )


_BEFORE = (
    "A dark room, black cloth behind and below.",
    "One colour at a time: red alone, then green, then blue. Never compare colours by a light "
    "meter: only ratios within one colour count.",
    "Camera or phone by hand: ISO, shutter, focus and white balance fixed; HDR, night mode and "
    "flash off; raw if there is.",
    "Write down what was read, with what, and the date, in a readings file: glowsim schema "
    "--readings prints what it may say; scenes/readings/white_foam.toml is an example.",
)
_CARD = (
    "A piece as thick as you have, at least twice as thick as light reaches, on black cloth.",
    "White paper beside it in even light, not the glossy kind. Photograph both straight on.",
    "Swap the two and photograph again: the mean of both takes uneven light away.",
    "Read the linear value of each: piece = [...], paper = [...].",
)
_PHOTO = (
    "Piece upright on the card's cross, x and y along the card's; no mark hidden.",
    "Camera on a stand 500 to 700 mm away, 200 to 400 mm above the card, lens at 1x.",
    "One photo by room light, the whole card in it: card = { file = ... }. Then move nothing.",
    "Dark: three shutter times, each 8 times the one before, and one with the LED off.",
    "The same view at drive 255, 128, 64 and 32, if the controller dims by pulses: [[levels]].",
    "No camera: press the meter on five places up the piece instead, in one colour: [[lux]].",
)
_MARKS = "Print the card at 100 %, measure its bar (if not 100 mm: bar_mm = ...) and lay it flat."


def _piles(optics: Optics) -> tuple[str, ...]:
    named = ", ".join(f"{d:g}" for d in thicknesses_mm(optics)[:-1])
    soft = height_error_mm(optics) == RULER_MM
    tool = f"A ruler beside each pile (do not press it), to {RULER_MM:g} mm"
    if not soft:
        tool = f"Callipers on each pile, to {CALLIPERS_MM:g} mm"
    return (
        f"A tube, black inside, the LED at one end and a round hole of {HOLE_MM:g} mm at the "
        "other, 100 mm or more away; LEDs enough for 1000 lx at the bare hole, or a camera.",
        "The meter on the middle of the hole, nothing between: this is 'bare'. It is worth more "
        "than three more piles.",
        f"Piles of {named} and {thicknesses_mm(optics)[-1]:g} mm (or as near as you have) on the "
        "hole, 60 mm of margin all round, the meter on the middle. No light from the side.",
        f"{tool}, as it lies: thickness_mm = [...] and height_error_mm = "
        f"{height_error_mm(optics):g}. Sheets added up, good to 3 % each, double the "
        "uncertainty of how far light reaches.",
        f"Leave out a pile through which less than a {1 / LEAST_SHARE:.0f}th of the bare light "
        "comes: the thickest, in the colour that gets through least.",
    )


def _piece(rod: Rod) -> str:
    lit = f"one board {0.25 * rod.diameter_mm:.0f} mm above its foot, on its axis"
    return f"The piece: the prop's own, or {rod.words}, {lit}; write it as a scene."


def marks_card() -> Drawing:
    """Return the card, at full size: a cross in the middle, four marks with their places."""
    width, height = CARD_MM
    card = Drawing(width, height)
    x0, y0 = 0.5 * width, 0.5 * height
    card.line((0, 0), (width, 0), (width, height), (0, height), (0, 0))
    card.line((x0 - 6, y0), (x0 + 6, y0))
    card.line((x0, y0 - 6), (x0, y0 + 6))
    inner, outer = RING_MM
    for number, (x, y) in enumerate(CORNERS.tolist()):
        at = x0 + x * MARK_MM, y0 + y * MARK_MM
        if number == 0:
            card.add(_square(at, outer, INK), _square(at, inner, PAPER))
        card.add(_square(at, SQUARE_MM, INK))
        card.words(
            at[0], at[1] - y * 18.0 - 1.0, f"({x * MARK_MM:g}, {y * MARK_MM:g})", anchor="middle"
        )
    card.line((x0 - 50, y0 - 30), (x0 + 50, y0 - 30), width_mm=0.5)
    for end in (-50, 50):
        card.line((x0 + end, y0 - 32), (x0 + end, y0 - 28), width_mm=0.5)
    card.words(x0, y0 - 28, "100 mm", anchor="middle")
    return card


def _square(at: tuple[float, float], side_mm: float, colour: Colour) -> Path:
    corners = np.array(at) + 0.5 * side_mm * CORNERS
    return Path(corners, closed=True, width_mm=0.0, colour=colour, fill=colour)
