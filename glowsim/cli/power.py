"""`glowsim power`: currents, batteries, wiring, fuse, data."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import click
from rich.console import Console

from glowsim.cli.common import (
    battery_option,
    console,
    json_option,
    out_folder,
    out_option,
    print_each,
    print_json,
    print_title,
    progress_line,
    scene_argument,
    table_of,
    verbose_option,
)
from glowsim.cli.figure_table import FigureTable
from glowsim.cli.levels import Wish, answers_of, print_answers
from glowsim.electrics.data_wires import cut_rows
from glowsim.electrics.export_pins import pins_header
from glowsim.electrics.loads import in_one_piece
from glowsim.electrics.power import Currents, Electrics, PowerReport, WiringReport, power_report
from glowsim.electrics.power_words import (
    battery_words,
    fuse_words,
    gauge_words,
    hours_words,
    limits_words,
    wiring_words,
)
from glowsim.electrics.report_json import power_json
from glowsim.files import write_whole
from glowsim.scene import read_scene


@click.command(
    name="power",
    epilog="Examples:\n\n  glowsim power scenes/thistle_staff.toml\n\n"
    "  glowsim power my_prop.toml --hours 8   (the level that lasts so long)\n\n"
    "  glowsim power my_prop.toml --verbose   (every board, every piece of wire)\n\n"
    "  glowsim power my_prop.toml --json > power.json",
)
@scene_argument
@click.option(
    "--header",
    type=click.Path(dir_okay=False, path_type=Path),
    help="Write the pin plan as a C header for the controller.",
)
@click.option(
    "--hours",
    type=click.FloatRange(0, 1000, min_open=True),
    help="Say which level lasts so long, and which battery can run your settings.",
)
@click.option("--zone", help="With --hours: turn this zone alone up or down.")
@click.option("--cool", is_flag=True, help="Say which level keeps every temperature limit.")
@click.option(
    "--lit",
    "lit_ratio",
    type=click.FloatRange(0, 1000, min_open=True),
    help="Say which level gives this brightness in the scene's room: glow and room light over "
    "white paper (1.7 begins to glow, 3 strongly, 10 is bright).",
)
@battery_option
@out_option
@json_option
@verbose_option
def command(
    scene: Path,
    header: Path | None,
    hours: float | None,
    zone: str | None,
    cool: bool,
    lit_ratio: float | None,
    battery: str,
    out: Path | None,
    as_json: bool,
    verbose: bool,
) -> None:
    """Say what SCENE draws, which battery can run it and for how long, and how its wires do.

    Reads [power], [wiring], [controller] and [[pulses]] of the scene; nothing is solved or
    drawn. With --hours, --cool or --lit it works backwards: the level that lasts so long, stays so
    cool or looks so bright, and which batteries of the catalogue can run it, the lightest first.
    """
    scene_file = read_scene(scene).on_battery(battery)
    electrics = Electrics(scene_file)
    if zone is not None and hours is None:
        raise click.UsageError("--zone goes with --hours")
    if hours is not None or cool or lit_ratio is not None:
        saved = out_folder(out, scene_file.stem) / "glow.npz"
        wish = Wish(hours, zone or "", cool, lit_ratio)
        with progress_line() as tell:
            answers = answers_of(electrics, wish, saved, tell)
        if as_json:
            print_json({"title": electrics.plan.title, "levels": [a.as_json() for a in answers]})
        else:
            print_answers(console(), electrics, answers, verbose)
        return
    report = power_report(electrics)
    if header is not None:
        data = report.data
        text = pins_header(data.outputs, report.boards, report.course, report.title)
        write_whole(header, text.encode())
    if as_json:
        print_json(power_json(report))
        return
    screen = console()
    print_title(screen, report.title, ": power")
    print_each(screen, "note", report.notes)
    if not report.boards:
        screen.print("No body of this scene has a light: it draws nothing.")
        return
    screen.print(_currents(report, verbose))
    for line in limits_words(report.boards):
        screen.print(line)
    _batteries(screen, report)
    if report.wiring:
        _wiring(screen, report, report.wiring, verbose)
    elif report.fuse:
        screen.print(fuse_words(report.fuse))
    _data(screen, report)
    print_each(screen, "caution", report.cautions)


def _currents(report: PowerReport, each_board: bool) -> FigureTable:
    table = table_of(
        "Current at full supply voltage (mA)",
        ("zone",),
        ("boards", "LEDs", "idle", "average", "brightest", "at your\nsettings", "full\nwhite"),
    )
    rows: list[Currents] = []
    for zone in report.zones:
        rows.append(zone)
        mine = [board for board in report.boards_alone if board.zone == zone.name]
        kinds = dict.fromkeys((b.leds, b.idle_ma, b.drawn_ma, b.white_ma) for b in mine)
        if each_board or (len(kinds) > 1 and len(mine) <= 4):
            rows += [replace(b, name=f"  {b.name}") for b in mine]
        elif len(mine) > 1 and len(kinds) == 1:
            rows.append(replace(mine[0], name="  each board"))
    if len(report.zones) > 1:
        rows.append(report.total)
    for row in rows:
        figures = (row.idle_ma, row.average_ma, row.peak_ma, row.drawn_ma, row.white_ma)
        table.add_row(row.name, str(row.boards), str(row.leds), *(f"{v:.0f}" for v in figures))
    table.caption = (
        "idle: LEDs dark. average, brightest: over the pulses, and at the moment that draws most. "
        "Lots sold under one number differ by 1.6 times: measure one board"
    )
    return table


def _batteries(screen: Console, report: PowerReport) -> None:
    if report.choice:
        screen.print(battery_words(report.choice))
    table = table_of(
        "Other batteries, same wires" if report.choice else "Batteries",
        ("battery", "fit", "why, or what to watch"),
        ("g", "hours", "range"),
    )
    remarks: list[str] = []
    for choice in report.choices:
        hours, span = hours_words(choice.run) if choice.verdict != "no" else ("-", "-")
        mark = ""
        if choice.run.note and choice.verdict != "no":
            if choice.run.note not in remarks:
                remarks.append(choice.run.note)
            mark = " " + "*" * (1 + remarks.index(choice.run.note))
        mass_g = choice.pack.mass_g
        grams = "?" if mass_g is None else f"{mass_g:.0f}"
        table.add_row(choice.pack.label, choice.verdict, choice.why, grams, hours + mark, span)
    notes = [f"{'*' * k} {text}" for k, text in enumerate(remarks, start=1)]
    table.caption = "\n".join(["g: of the cells alone", *notes])
    screen.print(table)


def _wiring(screen: Console, report: PowerReport, wiring: WiringReport, verbose: bool) -> None:
    drawn, white = wiring.drawn, wiring.white
    table = table_of(
        f"At the boards, battery {report.state_of_charge} ({wiring.harness.kind}; "
        f"{drawn.supply_v:.2f} V at the supply at your settings, {white.supply_v:.2f} V at full "
        "white)",
        ("board",),
        ("V at your\nsettings", "light left\nR G B", "V full\nwhite", "light left\nR G B"),
    )
    shown = [mine[0] for mine in in_one_piece(range(len(report.boards)), report.boards)]
    if not verbose and len(shown) > 12:
        table.caption = f"the 6 worst of {len(shown)}; --verbose shows all"
        shown = sorted(shown, key=lambda n: drawn.board_v[n])[:6]
    for n in shown:
        table.add_row(
            report.boards[n].whole,
            f"{drawn.board_v[n]:.2f}",
            _percents(drawn.share[n]),
            f"{white.board_v[n]:.2f}",
            _percents(white.share[n]),
        )
    screen.print(table)
    lines = [*wiring_words(wiring), *gauge_words(wiring, report.fuse)]
    for line in [*lines, *([fuse_words(report.fuse)] if report.fuse else [])]:
        screen.print(line)
    if verbose:
        screen.print(_runs(report, wiring))
    screen.print(_cut_list(report))


def _percents(share: object) -> str:
    values = [f"{100 * v:.0f}" for v in share]  # type: ignore[attr-defined]
    return f"{values[0]} %" if len(set(values)) == 1 else " ".join(values) + " %"


def _runs(report: PowerReport, wiring: WiringReport) -> FigureTable:
    table = table_of(
        "Runs of wire",
        ("from", "to", "gauge", "boards there"),
        ("mm", "mA full white", "V at its end at your settings"),
    )
    harness = wiring.harness
    for k, run in enumerate(harness.every_run):
        table.add_row(
            run.start,
            run.end,
            run.gauge,
            str(len({report.boards[n].whole for n in run.boards})),
            f"{run.length_mm:.0f}",
            f"{abs(wiring.run_ma[k]):.0f}",
            f"{wiring.drawn.node_v[harness.nodes.index(run.end)]:.2f}",
        )
    return table


def _cut_list(report: PowerReport) -> FigureTable:
    table = table_of("Wire to cut, ends included", ("gauge", "conductors", "for"), ("mm", "pieces"))
    total_mm: dict[tuple[str, str], float] = {}
    for row in cut_rows(report.cut_list):
        shown = "; ".join(row.runs[:2]) + (" ..." if len(row.runs) > 2 else "")
        names, each = " + ".join(row.conductors), " of each" if len(row.conductors) > 1 else ""
        table.add_row(row.gauge, names, shown, f"{row.length_mm:.0f}", f"{row.count}{each}")
        for name in row.conductors:
            kind = ("data" if name == "data" else "plus and of minus", row.gauge)
            share = 1 if name == "data" else 0.5
            total_mm[kind] = total_mm.get(kind, 0.0) + share * row.length_mm * row.count
    table.caption = "in all: " + ", ".join(
        f"of {kind} {mm / 1000:.1f} m of {gauge}" for (kind, gauge), mm in total_mm.items()
    )
    return table


def _data(screen: Console, report: PowerReport) -> None:
    data = report.data
    if data.outputs:
        screen.print(_pins(report))
    for note in data.notes:
        screen.print(note)
    if data.sharing:
        screen.print("Written into the scene, with the names of your pins, this plan is:")
        screen.print(data.as_toml)


def _pins(report: PowerReport) -> FigureTable:
    data = report.data
    whose = "as written in the scene" if data.written else "a plan"
    table = table_of(
        f"Pins: {whose} (wanted: {data.frames_per_second:g} frames a second)",
        ("pin", "boards, in the order of the data", "zones"),
        ("LEDs", "first\nwire mm", "ms a\nframe", "most\nframes/s"),
    )
    lead = {(w.output, w.to_board): w.length_mm for w in data.wires if w.from_board is None}
    for out in data.outputs:
        for k, row in enumerate(out.rows):
            first = k == 0
            names = list(dict.fromkeys(report.boards[n].whole for n in row))
            shown = " > ".join(names) if len(names) <= 3 else f"{names[0]} > ... > {names[-1]}"
            length = lead.get((out.name, row[0]))
            table.add_row(
                out.name if first else "  same data",
                f"{len(names)}: {shown}",
                ", ".join(out.zones) if first else "",
                str(out.led_count),
                "-" if length is None else f"{length:.0f}",
                f"{out.frame_ms:.2f}" if first else "",
                f"{out.most_frames_per_second:.0f}" if first else "",
            )
    table.caption = (
        f"one pin serves {data.most_leds} LEDs at that rate; a frame takes "
        f"{data.memory_bytes} bytes, twice that if the next is made meanwhile"
    )
    return table
