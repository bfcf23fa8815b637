"""What stands on the sheet of one prop, in the order a maker needs it."""

from __future__ import annotations

import numpy as np

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
from glowsim.buildsheet.laid import laid_along, paper_strips
from glowsim.buildsheet.making import head_step, making_steps
from glowsim.buildsheet.paper import area_mm
from glowsim.buildsheet.parts import material_cautions, parts_grid
from glowsim.buildsheet.places import BodyPlaces
from glowsim.buildsheet.positions import where_the_lights_go
from glowsim.buildsheet.prop import FALLS_SHORT, Prop
from glowsim.buildsheet.stencils import stencils
from glowsim.buildsheet.steps import after_first_night, full_white_words, steps
from glowsim.buildsheet.template import figures_of
from glowsim.buildsheet.wiring_diagram import wiring_drawings
from glowsim.catalogue.cautions import all_cautions, caution
from glowsim.electrics.data_wires import cut_rows
from glowsim.electrics.heat import BoardHeat
from glowsim.electrics.power import PowerReport
from glowsim.electrics.power_words import battery_words, fuse_words, gauge_words, wiring_words

MOST_CARRIERS = 4
MOST_LETTERS = 40
"""Of a name in a page's title."""


def build_sheet(prop: Prop, paper: str) -> BuildSheet:
    """Return the sheet of a prop for a paper; raises SceneError for an unknown one."""
    sections = [
        Section("Before you start", _start(prop)),
        Section("How it will look", tuple(Shown(*shown) for shown in prop.pictures)),
        Section("Parts", _parts(prop)),
        Section("Power", _power(prop)),
        Section("Wiring", _wiring(prop)),
        Section("Where the lights go", where_the_lights_go(prop)),
        Section("Heat", _heat(prop)),
        Section(
            "Build and test, one step at a time",
            (Items(steps(prop.power, _making(prop)), ticks=True),),
        ),
        Section("When a board is not right", prop.trouble),
        Section("After the first night", (Items(after_first_night(prop.heat), ticks=True),)),
        Section("Cautions", (_cautions(),)),
        Section("Templates at full size", _templates(prop, area_mm(paper))),
    ]
    return BuildSheet(prop.plan.title, tuple(s for s in sections if s.blocks))


def _making(prop: Prop) -> tuple[str, ...]:
    seats = [seat for mine in prop.seats.values() for seat in mine]
    sockets_in = {seat.head for seat in seats if seat.foot.sunk}
    strips_for = {row.head for row in rows_of(prop.plan.scene_file.scene)}
    return (
        *making_steps(prop.lit),
        *(
            head_step(head, head in strips_for, head in sockets_in)
            for head in dict.fromkeys(seat.head for seat in seats)
        ),
    )


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
        ("zone", "boards", "LEDs", "idle mA", "show, average mA", "show, brightest mA"),
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
        short = power.choice.verdict in FALLS_SHORT
        blocks.append(Para(battery_words(power.choice), strong=short))
        blocks += _instead(prop) if short else []
    else:
        fit = [c for c in power.choices if c.verdict in ("yes", "with care")][:4]
        blocks.append(Para("The scene names no battery ([power]). These could run it:"))
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


def _instead(prop: Prop) -> list[Block]:
    """Return which batteries can run the show where the scene's own does not."""
    hours = prop.carried_hours
    if not prop.carriers:
        return [Para(f"No battery of the catalogue can run the show for {hours:g} h.")]
    packs = [
        f"{c.pack.label}: {c.run.hours:.1f} h"
        + ("" if c.pack.mass_g is None else f", {c.pack.mass_g:.0f} g")
        + (f" ({c.why})" if c.why else "")
        for c in prop.carriers[:MOST_CARRIERS]
    ]
    return [
        Para(f"Do not build with it. These can run the show for {hours:g} h, the lightest first:"),
        Items(tuple(packs)),
    ]


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


def _templates(prop: Prop, area: tuple[float, float]) -> tuple[Block, ...]:
    folder = prop.plan.scene_file.folder
    bodies = [
        FullSize(
            _short(places.name) if count == 1 else f"{_short(places.name)} (make {count})",
            (*(figure.drawing for figure in figures_of(places, area)), *stencils(places, folder)),
        )
        for places, count in prop.lit
    ]
    laid = [
        FullSize(
            f"{_short(places.name)}: along its paths",
            tuple(strip for one in along for strip in paper_strips(one, area[0])),
        )
        for places, _ in prop.lit
        if (along := laid_along(places))
    ]
    rows = rows_of(prop.plan.scene_file.scene)
    feet = {places.name: _foot_mm(places) for places, _ in prop.lit}
    drawn = tuple(s for r in rows for s in strips(r, area[0], feet.get(r.body, 0.0)))
    heads = [FullSize("strips for the head", drawn)]
    return (*bodies, *laid, *(heads if rows else ()))


def _foot_mm(places: BodyPlaces) -> float:
    """Return the radius of a foot, 0 for a piece without one."""
    if not places.base:
        return 0.0
    return float(np.linalg.norm(np.concatenate(places.base) - places.axis_mm, axis=1).max())


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
                "-" if board.minutes is None else f"{board.minutes:.0f} min",
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
        "temperature is theoretical: the material fails first."
    )
    notes = [Para(note) for note in heat.notes]
    return (grid, Para(words), *notes, *(Para(text) for text in heat.cautions))


def _cautions() -> Grid:
    rows = tuple((entry.title, entry.text) for entry in all_cautions().values())
    return Grid(("when it comes to", "take care"), rows, (1.4, 6))
