"""`glowsim place`: where to put a given number of light boards."""

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
    print_each,
    print_json,
    print_title,
    print_written,
    progress_line,
    shown_options,
    table_of,
    titled,
)
from glowsim.cli.figure_table import FigureTable
from glowsim.cli.reference import sure_of, sure_option, sure_seconds_option
from glowsim.cli.step_columns import KEY, STEP_COLUMNS, step_cells, watts
from glowsim.decisions.alike import body_number
from glowsim.decisions.placing import Placed, place
from glowsim.decisions.relit import Relit
from glowsim.decisions.sliding import Slid, slide, slides
from glowsim.decisions.step import Step
from glowsim.decisions.worth import wanted
from glowsim.pictures import save_picture
from glowsim.scene import StripPiece
from glowsim.transport.plan import plan_of
from glowsim.transport.reference import Goal


@click.command(
    name="place",
    epilog="Examples:\n\n"
    "  glowsim place scenes/thistle_staff.toml --count 4 --board rgb_5050_18ma\n\n"
    "  glowsim place scenes/moon_orb.toml --count 3 --directions any --symmetry 3\n\n"
    "  glowsim place scenes/moth_mask.toml\n\n"
    "  glowsim place my_prop.toml --body wing --count 6 --levels free --reference 60",
)
@click.option(
    "--count", type=int, help="How many boards; left out for strips along paths, which are slid."
)
@click.option("--board", help="Another board of the catalogue.  [default: the first light's]")
@placing_options
@click.option(
    "--reference",
    type=click.FloatRange(1, 36_000),
    metavar="SECONDS",
    help="Confirm with the reference solver too, for at most so long.",
)
@sure_option
@sure_seconds_option
@shown_options(size="640x480", of="Of each picture.", pictures="Draw before, after and sections.")
@json_option
def command(
    asked: Asked,
    count: int | None,
    board: str | None,
    where: PlacingAsked,
    reference: float | None,
    sure: bool,
    seconds: float | None,
) -> None:
    """Place COUNT light boards in a body of SCENE so that it glows as evenly as can be.

    All lights of the body are placed anew, as boards of one kind driven as its first light, and
    all bodies like it alike. Strips and chains along paths are slid along them instead, and what
    else shines in that body stays. Where that is worth doing, a new scene is written beside the
    old one, which stays as it is, and pictures before and after; otherwise it says to leave it.
    """
    scene_file, wires, seed = asked.scene_file, asked.wires, asked.seed
    surely = sure_of(sure, seconds, asked.folder)
    body, wish = where.body, where.wish
    number = body_number(plan_of(scene_file), body)
    own = scene_file.scene.bodies[number]
    with progress_line() as report:
        answer: Placed | Slid
        if slides(own):
            refuse_for_paths(
                scene_file, number, where, count=count, board=board, reference=reference
            )
            answer = slide(scene_file, body, wish=wish, seed=seed, sure=surely, report=report)
        elif count is None:
            raise click.UsageError("--count says how many boards are placed: give it")
        else:
            answer = place(
                scene_file,
                body,
                count,
                board=board,
                wish=wish,
                placing=where.placing(own),
                seed=seed,
                sure=surely,
                reference=None if reference is None else Goal(seconds=reference),
                report=report,
            )
        new_wires = Wires(answer.after.scene_file)
        plain, files = written_set(
            asked.folder,
            "place",
            answer,
            answer.worth,
            wires.as_json_with(new_wires),
            lambda part: _drawn(answer, part, asked, report) if asked.pictures else [],
        )
    if asked.as_json:
        print_json(plain | {"files": [str(file) for file in files]})
        return
    wires.print_headline(console())
    if answer.worth:
        wires.print_change(console(), new_wires)
    _print(console(), answer)
    print_written(files)


def _drawn(answer: Relit, folder: Path, asked: Asked, report: Any) -> list[Path]:
    from glowsim.decisions.placing_pictures import before_after, mending

    report("drawing what would mend it")
    files = [folder / "mend_before.png"]
    save_picture(mending(answer), files[0])
    if answer.worth:
        files += [folder / "mend_after.png", folder / "place.png"]
        save_picture(mending(answer, after=True), files[1])
        report("drawing before and after")
        save_picture(before_after(answer, asked.size, asked.backend), files[2])
    return files


def _print(screen: Console, answer: Placed | Slid) -> None:
    print_title(screen, answer.plan.title, ": where?")
    screen.print(_figures(answer))
    if answer.worth:
        screen.print(_boards(answer) if isinstance(answer, Placed) else _strips(answer))
        if isinstance(answer, Placed) and answer.removed:
            gone = ", ".join(answer.removed)
            screen.print(f"No longer there: {gone}.")
    for sentence in answer.text:
        screen.print(sentence)
    if not answer.worth:
        screen.print("No new scene is written: the one there is stays as it is.")
        return
    print_each(screen, "caution", answer.after.findings.cautions)
    screen.print(
        "Wires take no light in this model, and a board in a hollow needs a "
        "stick or bracket to sit on. Brightness is good to a third either way."
    )


def _figures(answer: Relit) -> FigureTable:
    table = table_of(
        titled(
            f"{answer.bodies} before and after (luminance in cd/m2)", answer.after.findings.supply
        ),
        ("",),
        ("boards", *STEP_COLUMNS, "board W", "°C", "W"),
    )
    after = "after" if answer.worth else "best found"
    for name, step in (("before", answer.before), (after, answer.after)):
        heat = step.heat
        lights = [step.glow.lights[k] for k in step.copies[0].lights]
        table.add_row(
            name,
            str(_boards_of(step, answer.numbers[0])),
            *step_cells(step),
            watts(step),
            "" if heat is None or heat.board_c is None else f"{heat.board_c:.0f}",
            f"{sum(light.power_w for light in lights):.2g}",
        )
    table.caption = (
        f"even enough: {wanted(answer.before)}; {KEY}; board W, °C: the "
        "warmest board, on average over the pulses, ! above what heat allows there"
    )
    return table


def _boards_of(step: Step, number: int) -> int:
    """Return how many boards a body has: a strip counts as one, a chain board by board."""
    lights = plan_of(step.scene_file).scene_file.scene.bodies[number].lights
    return len(
        {
            -1 - light.strip if isinstance(light, StripPiece) and not light.chained else k
            for k, light in enumerate(lights)
        }
    )


def _boards(answer: Placed) -> FigureTable:
    moves = answer.moves
    more = {
        "was at": [
            "new" if move.was_mm is None else ", ".join(f"{c:z.1f}" for c in move.was_mm)
            for move in moves
        ],
        "moves mm": ["" if move.mm is None else f"{move.mm:.1f}" for move in moves],
    }
    if answer.wish.free_levels:
        more["level"] = [f"{100 * move.level:.0f} %" for move in moves]
    return boards_table(answer.lights, more)


def _strips(answer: Slid) -> FigureTable:
    columns = ("begins at mm", "was at", "may at most", "first at", "last at")
    title = "Along their paths (start_mm), with the places of the first LED or board and the last"
    table = table_of(title, ("",), columns)
    for one in answer.slides:
        ends = (one.first_led_mm, one.last_led_mm)
        table.add_row(
            one.name,
            *(f"{mm:.1f}" for mm in (one.start_mm, one.was_mm, one.last_mm)),
            *(", ".join(f"{c:z.1f}" for c in place) for place in ends),
        )
    return table
