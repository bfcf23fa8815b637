"""What stands on the sheet of one prop, in the order a maker needs it."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from PIL import Image

from glowsim.buildsheet.blocks import (
    Block,
    BuildSheet,
    Drawn,
    FullSize,
    Grid,
    Items,
    Para,
    Section,
    Shown,
)
from glowsim.buildsheet.data_diagram import data_drawings
from glowsim.buildsheet.head import rows_of, strips
from glowsim.buildsheet.making import making_steps
from glowsim.buildsheet.paper import area_mm
from glowsim.buildsheet.parts import material_cautions, parts_grid
from glowsim.buildsheet.places import BodyPlaces
from glowsim.buildsheet.seats import Seat
from glowsim.buildsheet.steps import after_first_night, full_white_words, steps
from glowsim.buildsheet.template import figures_of
from glowsim.buildsheet.wiring_diagram import wiring_drawings
from glowsim.catalogue.cautions import all_cautions, caution
from glowsim.electrics.data_wires import cut_rows
from glowsim.electrics.heat import BoardHeat, HeatReport
from glowsim.electrics.power import PowerReport
from glowsim.electrics.power_words import battery_words, fuse_words, gauge_words, wiring_words
from glowsim.geometry.mesh import FloatArray
from glowsim.transport.plan import Plan
from glowsim.transport.problem import Copy

MOST_LETTERS = 40
"""Of a name in a page's title."""


@dataclass(frozen=True)
class Prop:
    """All that is known of a prop once everything has been worked out.

    bodies   : every different body, with how many copies stand of it
    copies   : every copy, in the prop's frame;  seats : how it sits on others, by its name
    pictures : each with its caption;  heat : None where it could not be worked out, and why
    trouble  : what to do when a board is not right
    files    : names of the mesh files beside the sheet, each with what it is
    """

    plan: Plan
    bodies: tuple[tuple[BodyPlaces, int], ...]
    copies: tuple[Copy, ...]
    seats: dict[str, tuple[Seat, ...]]
    power: PowerReport
    heat: HeatReport | None
    why_no_heat: str
    pictures: tuple[tuple[Image.Image, str], ...]
    findings: tuple[str, ...]
    trouble: tuple[Block, ...]
    files: tuple[tuple[str, str], ...]
    notes: tuple[str, ...]

    @property
    def lit(self) -> tuple[tuple[BodyPlaces, int], ...]:
        """The bodies with lights."""
        return tuple(row for row in self.bodies if row[0].lights)


def build_sheet(prop: Prop, paper: str) -> BuildSheet:
    """Return the sheet of a prop for a paper; raises SceneError for an unknown one."""
    sections = [
        Section("Before you start", _start(prop)),
        Section("How it will look", tuple(Shown(*shown) for shown in prop.pictures)),
        Section("Parts", _parts(prop)),
        Section("Power", _power(prop)),
        Section("Wiring", _wiring(prop)),
        Section("Where the lights go", _positions(prop)),
        Section("Heat", _heat(prop)),
        Section(
            "Build and test, one step at a time",
            (Items(steps(prop.power, making_steps(prop.lit)), ticks=True),),
        ),
        Section("When a board is not right", prop.trouble),
        Section("After the first night", (Items(after_first_night(prop.heat), ticks=True),)),
        Section("Cautions", (_cautions(),)),
        Section("Templates at full size", _templates(prop, area_mm(paper))),
    ]
    return BuildSheet(prop.plan.title, tuple(s for s in sections if s.blocks))


def _start(prop: Prop) -> tuple[Block, ...]:
    power = prop.power.total
    bodies = sum(count for _, count in prop.lit)
    blocks: list[Block] = [
        Para(caution("sheet"), strong=True),
        Para(
            f"{bodies} lit piece{'s' if bodies != 1 else ''}, {power.boards} light "
            f"board{'s' if power.boards != 1 else ''}, {power.leds} LEDs; "
            f"{power.average_ma / 1000:.2f} A on average in the show, {power.peak_ma / 1000:.2f} A "
            "at its brightest moment. Lengths are millimetres."
        ),
    ]
    if prop.findings:
        blocks.append(Para("What the light will do, from the scene as it stands:"))
        blocks.append(Items(prop.findings))
    blocks.append(Para("Files beside this sheet:"))
    blocks.append(Items(tuple(f"{name}: {what}" for name, what in prop.files)))
    if prop.notes:
        blocks.append(Para("Repairs and assumptions:"))
        blocks.append(Items(prop.notes))
    return tuple(blocks)


def _parts(prop: Prop) -> tuple[Block, ...]:
    cautions = material_cautions(prop.plan, prop.bodies)
    grid = parts_grid(prop.plan, prop.bodies, prop.power)
    return (grid, *(Para(text) for text in cautions))


def _power(prop: Prop) -> tuple[Block, ...]:
    power = prop.power
    rows = [*power.zones, power.total] if len(power.zones) > 1 else list(power.zones)
    grid = Grid(
        ("zone", "boards", "LEDs", "dark mA", "show, average mA", "show, brightest mA"),
        tuple(
            (
                row.name,
                str(row.boards),
                str(row.leds),
                *(f"{v:.0f}" for v in (row.idle_ma, row.average_ma, row.peak_ma)),
            )
            for row in rows
        ),
        (3, 1, 1, 1, 1.6, 1.7),
    )
    blocks: list[Block] = [grid, Para(full_white_words(power, prop.heat), strong=True)]
    if power.choice is not None:
        blocks.append(Para(battery_words(power.choice), strong=power.choice.verdict == "no"))
    else:
        fit = [c for c in power.choices if c.verdict in ("yes", "with care")][:4]
        blocks.append(Para("The scene names no battery ([power]). These would carry it:"))
        blocks.append(
            Items(
                tuple(
                    f"{c.pack.label}: {c.run.hours:.1f} h" + (f" ({c.why})" if c.why else "")
                    for c in fit
                )
                or ("none of the usual ones",)
            )
        )
    if power.fuse is not None:
        blocks.append(Para(fuse_words(power.fuse)))
    blocks += [Para(note) for note in power.data.notes]
    # The heat has a section of its own.
    elsewhere = (caution("sheet"), caution("heat"))
    blocks += [Para(text) for text in power.cautions if text not in elsewhere]
    return tuple(blocks)


def _wiring(prop: Prop) -> tuple[Block, ...]:
    wiring = prop.power.wiring
    if wiring is None:
        return (
            Para(
                "The scene says nothing about wires. Add a table [wiring] (bus, chain, star or "
                "tree, with lengths and gauge), and a diagram, the voltage at each board and a cut "
                "list stand here."
            ),
        )
    fuse = prop.power.fuse
    words = "fuse" if fuse is None else f"fuse T {fuse.fuse_a:g} A, close to the battery's plus"
    drawings = wiring_drawings(wiring, prop.power.boards, words)
    decided = gauge_words(wiring, fuse)
    blocks: list[Block] = [
        Para(line, strong=bool(wiring.gauge.faults) and k == 0) for k, line in enumerate(decided)
    ]
    blocks += [
        Drawn(
            drawing,
            f"Supply ({wiring.harness.kind}). Every line is a pair, plus and minus. Squares are "
            "boards, dots are joints.",
        )
        for drawing in drawings
    ]
    blocks += _data(prop.power)
    blocks.append(
        Grid(
            ("done", "gauge", "length mm", "of each", "conductors", "for"),
            tuple(
                (
                    "☐",
                    row.gauge,
                    f"{row.length_mm:.0f}",
                    str(row.count),
                    ", ".join(row.conductors),
                    _runs(row.runs),
                )
                for row in cut_rows(prop.power.cut_list)
            ),
            (0.7, 1.1, 1.2, 0.9, 2.2, 5),
            "Wire to cut, 40 mm included for the joints at both ends",
        )
    )
    blocks += [Para(line) for line in wiring_words(wiring)]
    return tuple(blocks)


def _data(power: PowerReport) -> list[Block]:
    """Return the pin plan: drawn, and what there is to say about it."""
    data = power.data
    whose = "as the scene writes them" if data.written else "a plan: the scene names no pins"
    blocks: list[Block] = [
        Drawn(
            drawing,
            f"Data: which pin feeds which boards ({whose}). Wires lie beside the supply's; every "
            "one is in the cut list.",
        )
        for drawing in data_drawings(data, power.boards)
    ]
    return blocks


def _runs(runs: tuple[str, ...]) -> str:
    shown = "; ".join(runs[:3])
    return shown if len(runs) <= 3 else f"{shown} and {len(runs) - 3} more"


def _positions(prop: Prop) -> tuple[Block, ...]:
    blocks: list[Block] = []
    for places, count in prop.lit:
        foot = places.foot
        name = places.name if count == 1 else f"{places.name} ({count} alike)"
        rows = tuple(
            (
                str(light.number),
                f"{light.name}\n{light.board_name}",
                ", ".join(f"{c:.1f}" for c in light.centre_mm),
                f"{light.height_mm:.1f}",
                f"{light.from_axis_mm:.1f}"
                + ("" if light.from_axis_mm < 0.05 else f" at {light.angle_deg:.0f}°"),
                light.faces,
                f"{light.below_mm:.1f}",
                light.make,
            )
            for light in places.lights
        )
        headings = (
            *("no", "light", "x, y, z", f"above {foot}", "from axis", "faces"),
            *("below surface", "hole or pocket"),
        )
        widths = (0.5, 2.1, 1.7, 1.0, 1.3, 1.4, 1.0, 2.8)
        blocks.append(Grid(headings, rows, widths, name))
        blocks += [
            Para(
                f"Light {light.number} ({light.name}) does not fit: part of its board would stand "
                f"out of {places.name}.",
                strong=True,
            )
            for light in places.lights
            if not light.fits
        ]
        upright = [light for light in places.lights if np.ptp(light.led_mm[:, 2]) > 1]
        for light in upright:
            heights = ", ".join(f"{z - places.foot_mm:.1f}" for z in sorted(light.led_mm[:, 2]))
            blocks.append(Para(f"{light.name}: its LEDs sit {heights} above the {foot}."))
    blocks.append(
        Para(
            "x, y, z: of the LED face's middle, in the body's own frame. Angles run from +x "
            "towards +y, seen from above. Every hole and pocket is open straight down, on the "
            "template as in the mesh: put the board in from there and plug the hole behind it with "
            "the same material, as the light was worked out without the hole."
        )
    )
    blocks += _feet(prop)
    if len(prop.copies) > 1:
        blocks.append(_copies(prop))
    return tuple(blocks)


def _feet(prop: Prop) -> list[Block]:
    """Return how the pieces sit on what carries them."""
    blocks: list[Block] = []
    for places, _ in prop.lit:
        mine = [prop.seats.get(copy.name, ()) for copy in prop.copies if copy.of == places.name]
        for foot in places.feet:
            how = "It is cut so in the mesh; by hand, rub it on coarse paper laid round the head."
            blocks.append(Para(f"{places.name}: {foot.words}. {how}"))
        if not places.feet and any(mine):
            blocks.append(
                Para(
                    f"{places.name}: its copies sit differently on what carries them, so the mesh "
                    "has a flat foot; fit each in its place."
                )
            )
        blocks += [
            Para(f"{seat.piece}: a board of it would stand in {seat.head}.", strong=True)
            for seats in mine
            for seat in seats
            if seat.foot.blocks
        ]
    return blocks


def _copies(prop: Prop) -> Grid:
    rows = []
    for copy in prop.copies:
        x, y, z = copy.transform[:3, 3]
        up = copy.transform[:3, 2]
        tilt, turn = _tilt_and_turn(up)
        seats = prop.seats.get(copy.name, ())
        sits = "; ".join(
            f"{seat.head}, {max(seat.foot.middle_mm, 0):.1f} mm deep in the middle"
            for seat in seats
        )
        rows.append((copy.name, f"{x:.1f}, {y:.1f}, {z:.1f}", f"{tilt:.0f}°", turn, sits or "-"))
    return Grid(
        (
            "piece",
            "its own zero point stands at x, y, z",
            "leans from upright",
            "towards",
            "sits on",
        ),
        tuple(rows),
        (1.6, 2.6, 1.5, 1.2, 3),
        "Where the pieces stand, in the frame of the whole prop",
    )


def _tilt_and_turn(up: FloatArray) -> tuple[float, str]:
    x, y, z = (float(v) for v in up)
    tilt = math.degrees(math.acos(max(-1.0, min(1.0, z))))
    if math.hypot(x, y) < 1e-6:
        return tilt, "-"
    return tilt, f"{math.degrees(math.atan2(y, x)) % 360:.0f}°"


def _templates(prop: Prop, area: tuple[float, float]) -> tuple[Block, ...]:
    bodies = [
        FullSize(
            _short(places.name) if count == 1 else f"{_short(places.name)} (make {count})",
            tuple(figure.drawing for figure in figures_of(places, area)),
        )
        for places, count in prop.lit
    ]
    rows = rows_of(prop.plan.scene_file.scene)
    heads = [FullSize("strips for the head", tuple(s for r in rows for s in strips(r, area[0])))]
    return (*bodies, *(heads if rows else ()))


def _short(name: str) -> str:
    return name if len(name) <= MOST_LETTERS else name[: MOST_LETTERS - 3] + "..."


def _heat(prop: Prop) -> tuple[Block, ...]:
    heat = prop.heat
    if heat is None:
        words = f"Not worked out: {prop.why_no_heat}"
        return (Para(words, strong=True), Para(caution("heat")))
    alike: dict[tuple[object, ...], list[BoardHeat]] = {}
    for board in heat.boards:
        light = board.name.partition(": ")[2]
        alike.setdefault((board.body, light), []).append(board)
    rows = []
    for boards in alike.values():
        board = max(boards, key=lambda b: b.board_c)
        name = board.name
        if len(boards) > 1:
            name += f" (the warmest of {len(boards)})"
        rows.append(
            (
                name,
                f"{board.power_w:.2g}",
                f"{board.board_c:.0f}",
                f"{board.skin_c:.0f}",
                f"{board.full_board_c:.0f}",
                f"{board.minutes:.0f} min",
                f"{board.verdict} ({board.limits[0].what}, {board.limits[0].limit_c:.0f} °C)"
                if board.limits
                else board.verdict,
            )
        )
    grid = Grid(
        ("board", "W", "board °C", "skin °C", "full white °C", "90 % warm after", "verdict"),
        tuple(rows),
        (2.6, 0.7, 0.9, 0.9, 1.1, 1.2, 3.4),
        f"Once warm, in a room of {heat.settings.room_c:.0f} °C, {heat.judged}",
    )
    words = (
        f"Rises are good to a factor of about {heat.error_factor:.2g}. Worked out: steady heat in "
        "still air with all electrical power as heat, and how soon it is reached. Not worked out: "
        "sun, draughts, clothing, the heat of neighbouring bodies, faults. Far above a limit a "
        "temperature is a sum on paper: the material fails first."
    )
    notes = [Para(note) for note in heat.notes]
    return (grid, Para(words), *notes, Para(caution("heat")))


def _cautions() -> Grid:
    rows = tuple((entry.title, entry.text) for entry in all_cautions().values())
    return Grid(("when it comes to", "take care"), rows, (1.4, 6))
