"""`glowsim heat`: how warm each board gets where it is buried, and what that is too much for."""

from __future__ import annotations

from pathlib import Path

import click

from glowsim.cli.common import (
    console,
    json_option,
    out_folder,
    out_option,
    print_each,
    print_json,
    print_title,
    print_written,
    progress_line,
    scene_argument,
    table_of,
    verbose_option,
)
from glowsim.cli.figure_table import FigureTable
from glowsim.electrics.heat import BoardHeat, HeatReport, heat_of
from glowsim.electrics.heat_section import heat_section
from glowsim.pictures import heat_map, save_picture
from glowsim.scene import SceneFile, read_scene
from glowsim.transport.plan import plan_of


@click.command(
    name="heat",
    epilog="Examples:\n\n  glowsim heat scenes/thistle_staff.toml\n\n"
    "  glowsim heat my_prop.toml --no-picture --json > heat.json\n\nThe scene's table [heat] says "
    "how warm the room is (room_c), how the prop is used (contact = none, touched, held or worn), "
    "and which copper wires carry heat away (leads, lead_gauge, lead_free_mm).",
)
@scene_argument
@out_option
@click.option("--picture/--no-picture", default=True, help="Draw a cut through the hottest board.")
@json_option
@verbose_option
def command(scene: Path, out: Path | None, picture: bool, as_json: bool, verbose: bool) -> None:
    """Work out how warm every light board of SCENE gets, how soon, and against which limits.

    Steady heat in still air, all electrical power taken as heat; with pulses in the scene their
    average counts.
    """
    scene_file = read_scene(scene)
    with progress_line() as report:
        found = heat_of(scene_file, report=report)
        written = out_folder(out, scene_file.stem) / "heat.png"
        if picture:
            report("drawing the cut")
            _draw(found, scene_file, written)
    if as_json:
        files = [str(written)] if picture else []
        print_json(found.as_json() | {"files": files, "cautions": list(found.cautions)})
        return
    print_heat(found, verbose)
    if picture:
        print_written([written])


def print_heat(found: HeatReport, verbose: bool) -> None:
    """Print a heat report."""
    screen, heat = console(), found.settings
    print_title(
        screen,
        found.title,
        f": heat in a room of {heat.room_c:g} °C, skin film {heat.skin_w_m2k:g} W/m2K, "
        f"{found.judged}",
    )
    rows = _alike(found.boards)
    screen.print(_boards(rows))
    for board, names in rows:
        who = names[0] if len(names) == 1 else f"{names[0]} (and {len(names) - 1} more like it)"
        words = f"{who}, in {board.buried_in or 'nothing'}: {board.verdict}"
        if board.limits:
            worst = board.limits[0]
            words += f" ({worst.what}: {worst.found_c:.0f} °C, limit {worst.limit_c:.0f} °C)"
        screen.print(words)
    if verbose:
        for board, _ in rows:
            screen.print(_limits(board))
    print_each(screen, "note", found.notes)
    screen.print(
        "Paths for the heat: a hollow around the board, an aluminium plate behind it, copper leads "
        "(leads in [heat]), vents, a lower drive or a pulse."
    )
    screen.print(
        f"Rises are good to a factor of about {found.error_factor:.2g}: conductivities and the "
        "still air are estimates. Computed: steady conduction on a grid as the glow's, and the way "
        "there from a few slow modes. Not computed: sun, draughts, clothing, neighbouring "
        "bodies' own heat, faults."
    )
    print_each(screen, "caution", found.cautions)


def _alike(boards: tuple[BoardHeat, ...]) -> list[tuple[BoardHeat, list[str]]]:
    """Return boards whose figures print alike as one row, with their names."""
    rows: dict[tuple[object, ...], tuple[BoardHeat, list[str]]] = {}
    for board in boards:
        light = board.name.partition(":")[2]
        key = (board.body, light, f"{board.power_w:.2g}", f"{board.board_c:.0f}")
        rows.setdefault(key, (board, []))[1].append(board.name)
    return list(rows.values())


def _boards(rows: list[tuple[BoardHeat, list[str]]]) -> FigureTable:
    table = table_of(
        "Light boards, once warm (temperatures in °C)",
        ("board",),
        (
            "W",
            "board",
            "chips",
            "skin",
            "limit W",
            "full W",
            "board at full",
            "90 % after",
            "in 5 min",
        ),
    )
    for board, names in rows:
        table.add_row(
            board.name if len(names) == 1 else f"{board.name} (x{len(names)})",
            f"{board.power_w:.2g}",
            f"{board.board_c:.0f}",
            "-" if board.chip_c is None else f"{board.chip_c:.0f}",
            f"{board.skin_c:.0f}",
            f"{board.bearable_w:.2g}" if board.allowed_share < float("inf") else "-",
            f"{board.full_power_w:.2g}",
            f"{board.full_board_c:.0f}",
            _time(board.minutes),
            "-" if board.soon_share is None else f"{100 * board.soon_share:.0f} %",
        )
    table.caption = (
        "limit W: average power at which its tightest limit is reached, all boards of the body "
        "turned down alike. full W: everything full white; far above a limit a temperature is "
        "theoretical. 90 % after, in 5 min: how soon it is warm, and what a bench test of five "
        "minutes would see."
    )
    return table


def _limits(board: BoardHeat) -> FigureTable:
    table = table_of(f"Limits of {board.name}", ("what",), ("limit °C", "found °C", "power at it"))
    for limit in board.limits:
        table.add_row(
            limit.what,
            f"{limit.limit_c:.0f}",
            f"{limit.found_c:.0f}",
            f"{100 * limit.allowed_share:.0f} %",
        )
    return table


def _time(minutes: float | None) -> str:
    if minutes is None:
        return "-"
    return f"{minutes:.0f} min" if minutes < 100 else f"{minutes / 60:.1f} h"


def _draw(found: HeatReport, scene_file: SceneFile, path: Path) -> None:
    plan, hottest = plan_of(scene_file), found.hottest
    number = scene_file.scene.numbers[hottest.body]
    section = heat_section(found, plan.scene_file.scene.bodies[number], plan.keys[number], hottest)
    picture = heat_map(
        section.temperature_c,
        section.region,
        section.boards,
        room_c=found.settings.room_c,
        pixel_mm=section.pixel_mm,
        title=f"Cut through {hottest.name}, {found.judged} ({hottest.power_w:.2g} W)",
        caption=f"room {found.settings.room_c:g} °C, still air",
    )
    save_picture(picture, path)
