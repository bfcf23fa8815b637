"""`glowsim modules`: how many light boards, each number at its best places."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click
from rich.console import Console

from glowsim.cli.boards import (
    PlacingAsked,
    boards_table,
    placing_options,
    refuse_for_paths,
    written_set,
)
from glowsim.cli.common import (
    Asked,
    Wires,
    console,
    json_option,
    off_text,
    print_each,
    print_json,
    print_title,
    print_written,
    progress_line,
    short_share,
    shown_options,
    table_of,
    titled,
)
from glowsim.cli.figure_table import FigureTable
from glowsim.cli.reference import sure_of, sure_option, sure_seconds_option
from glowsim.cli.step_columns import KEY, STEP_COLUMNS, step_cells
from glowsim.decisions.alike import body_number
from glowsim.decisions.chain_counts import chain_of
from glowsim.decisions.modules import Modules, modules
from glowsim.decisions.odds import counted
from glowsim.decisions.worth import figures, wanted
from glowsim.pictures import save_picture
from glowsim.scene import Light
from glowsim.transport.plan import plan_of


@click.command(
    name="modules",
    epilog="Examples:\n\n  glowsim modules scenes/thistle_staff.toml --max 6\n\n"
    "  glowsim modules scenes/thistle_staff.toml --board rgb_5050_18ma --board round_7\n\n"
    "  glowsim modules my_prop.toml --body wing --max 8 --first power",
)
@click.option("--max", "most", type=int, default=6, show_default=True, help="Most boards tried.")
@click.option(
    "--board",
    "board_names",
    multiple=True,
    help="A board of the catalogue; may be given several times.  [default: the first light's]",
)
@click.option(
    "--write", is_flag=True, help="Write a new scene with the boards of the answer, as place does."
)
@placing_options
@sure_option
@sure_seconds_option
@shown_options(size="480x360", of="Of each picture.", pictures="Draw the chart and the sheet.")
@json_option
def command(
    asked: Asked,
    most: int,
    board_names: tuple[str, ...],
    write: bool,
    where: PlacingAsked,
    sure: bool,
    seconds: float | None,
) -> None:
    """Say how many light boards a body of SCENE needs, and what no number of them can beat.

    Of a chain along a path, each number is spread evenly along it, and what else shines in that
    body stays.
    """
    scene_file, wires = asked.scene_file, asked.wires
    surely = sure_of(sure, seconds, asked.folder)
    number = body_number(plan_of(scene_file), where.body)
    own = scene_file.scene.bodies[number]
    if chain_of(own) is not None:
        refuse_for_paths(scene_file, number, where)
    with progress_line() as report:
        answer = modules(
            scene_file,
            where.body,
            most=most,
            board_names=board_names,
            wish=where.wish,
            placing=where.placing(own),
            seed=asked.seed,
            sure=surely,
            report=report,
        )
        odds = counted(answer.neighbours, report)
        new_wires = Wires(answer.shown.step.scene_file)
        plain, files = written_set(
            asked.folder,
            "modules",
            answer,
            write and answer.verdict.worth,
            wires.as_json_with(new_wires) | ({"known": list(odds)} if odds else {}),
            lambda part: _drawn(answer, part, asked, report) if asked.pictures else [],
        )
    if asked.as_json:
        print_json(plain | {"files": [str(file) for file in files]})
        return
    wires.print_headline(console())
    wires.print_change(console(), new_wires)
    _print(console(), answer)
    console().print(*odds, sep="\n", end="\n" if odds else "")
    if write and not answer.verdict.worth:
        console().print("No new scene is written: the one there is stays as it is.")
    print_written(files)


def _drawn(answer: Modules, folder: Path, asked: Asked, report: Any) -> list[Path]:
    from glowsim.decisions.modules_pictures import modules_chart, modules_sheet

    report("drawing")
    files = [folder / "modules.png", folder / "modules_sheet.png"]
    save_picture(modules_chart(answer), files[0])
    save_picture(modules_sheet(answer, asked.size, asked.backend), files[1])
    return files


def _print(screen: Console, answer: Modules) -> None:
    print_title(screen, answer.plan.title, ": how many boards?")
    screen.print(
        f"'{answer.body.name}' as it is: {figures(answer.before)} ({answer.before.grade}), mean "
        f"{answer.before.evenness.mean_cd_m2:.3g} cd/m2."
    )
    for board in answer.boards:
        screen.print(_table(answer, board))
    for reason in answer.missing:
        screen.print(f"left out: {reason}")
    for sentence in answer.text:
        screen.print(sentence)
    shown = answer.shown
    free = answer.wish.free_levels
    levels = {"level": [_level(light) for light in shown.lights]} if free else {}
    screen.print(boards_table(shown.lights, levels))
    print_each(screen, "caution", shown.step.findings.cautions)


def _level(light: Light) -> str:
    """Return how far the light's strongest colour is turned up."""
    drive = light.drive
    return f"{100 * max(drive.red, drive.green, drive.blue):.0f} %"


def _table(answer: Modules, board: str) -> FigureTable:
    bound = answer.bounds.get(board)
    table = table_of(
        titled(
            f"{board} (luminance in cd/m2; of one '{answer.body.name}')",
            answer.shown.step.findings.supply,
        ),
        (),
        (*("", "boards", *STEP_COLUMNS, "LEDs", "joints", "mA", "W"),),
        names=2,
    )
    for row in answer.of(board):
        table.add_row(
            "->" if row is answer.advised else "",
            str(row.count),
            *step_cells(row.step),
            str(row.leds),
            str(row.joints),
            f"{row.current_ma:.0f}",
            f"{row.power_w:.2g}",
        )
    if bound is not None:
        limits = (f"< {short_share(figure)}" for figure in (bound.percent, bound.least))
        limits = (text.replace("< <", "<") for text in limits)
        table.add_row("", "any", "", f"> {off_text(bound.off_by)}", *limits)
    arrow = "fewest that are even enough" if answer.chosen else "best, but not even enough"
    table.caption = (
        (f"-> {arrow}: " if answer.advised else "no ->, none is worth it: ")
        + f"{wanted(answer.before)} are wanted; {KEY}{'; ' if bound is None else '. '}"
        + (
            "each number is spread evenly along its path"
            if bound is None
            else "any: no number of these boards, each at its own level, can beat that"
        )
    )
    return table
