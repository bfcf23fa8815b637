"""`glowsim place`: where to put a given number of light boards."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import click
from rich.console import Console

from glowsim.cli.boards import boards_table, placing_of, placing_options, wish_of
from glowsim.cli.common import (
    KEY,
    SizeType,
    Wires,
    backend_option,
    console,
    json_option,
    off_text,
    out_folder,
    out_option,
    print_each,
    print_json,
    print_title,
    print_written,
    progress_line,
    scene_argument,
    seed_option,
    short,
    short_share,
    supply_options,
    table_of,
    titled,
)
from glowsim.cli.figure_table import FigureTable
from glowsim.cli.reference import sure_of, sure_option, sure_seconds_option
from glowsim.decisions.placing import Placed, place
from glowsim.decisions.worth import wanted
from glowsim.files import written_together
from glowsim.pictures import save_picture
from glowsim.pictures.writing import write_file
from glowsim.scene import read_scene
from glowsim.transport.plan import plan_of
from glowsim.transport.reference import Goal


@click.command(
    name="place",
    epilog="Examples:\n\n"
    "  glowsim place scenes/thistle_staff.toml --count 4 --board rgb_5050_18ma\n\n"
    "  glowsim place scenes/moon_orb.toml --count 3 --directions any --symmetry 3\n\n"
    "  glowsim place my_prop.toml --body wing --count 6 --levels free --reference 60",
)
@scene_argument
@click.option("--count", type=int, required=True, help="How many boards.")
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
@out_option
@click.option(
    "--size", type=SizeType(), default="640x480", show_default=True, help="Of each picture."
)
@click.option("--pictures/--no-pictures", default=True, help="Draw before, after and sections.")
@backend_option
@supply_options
@seed_option
@json_option
def command(
    scene: Path,
    count: int,
    board: str | None,
    body: str | None,
    first: str,
    directions: str,
    levels: str,
    depth: float | None,
    clearance: float | None,
    symmetry: int | None,
    reference: float | None,
    sure: bool,
    seconds: float | None,
    out: Path | None,
    size: tuple[int, int],
    pictures: bool,
    backend: str,
    battery: str,
    seed: int,
    as_json: bool,
) -> None:
    """Place COUNT light boards in a body of SCENE so that it glows as evenly as can be.

    All lights of the body are placed anew, as boards of one kind driven as its first light, and
    all bodies like it alike. Where that is worth doing, a new scene is written beside the old one,
    which stays as it is, and pictures before and after; otherwise it says to leave it.
    """
    scene_file = read_scene(scene).on_battery(battery)
    wires = Wires(scene_file)
    folder = out_folder(out, scene_file.stem)
    asked = sure_of(sure, seconds, folder)
    with progress_line() as report:
        answer = place(
            scene_file,
            body,
            count,
            board=board,
            wish=wish_of(first, directions, levels),
            placing=placing_of(plan_of(scene_file), body, depth, clearance, symmetry),
            seed=seed,
            sure=asked,
            reference=None if reference is None else Goal(seconds=reference),
            report=report,
        )
        with written_together(folder) as part:
            drawn = _drawn(answer, part, size, backend, report) if pictures else []
            # The new scene last: it is a file of its own, and the set names it.
            scenes = [answer.write()] if answer.worth else []
            plain = answer.as_json() | {"wiring": wires.as_json()}
            plain |= {"new_scene": str(scenes[0]) if scenes else None}
            names = ["place.json", *(path.name for path in drawn)]
            write_file(part / names[0], json.dumps(plain, indent=2, ensure_ascii=False).encode())
        files = [*scenes, *(folder / name for name in names)]
    if as_json:
        print_json(plain | {"files": [str(file) for file in files]})
        return
    wires.print_headline(console())
    _print(console(), answer)
    print_written(files)


def _drawn(
    answer: Placed, folder: Path, size: tuple[int, int], backend: str, report: Any
) -> list[Path]:
    from glowsim.decisions.placing_pictures import before_after, mending

    report("drawing what would mend it")
    files = [folder / "mend_before.png"]
    save_picture(mending(answer), files[0])
    if answer.worth:
        files += [folder / "mend_after.png", folder / "place.png"]
        save_picture(mending(answer, after=True), files[1])
        report("drawing before and after")
        save_picture(before_after(answer, size, backend), files[2])
    return files


def _print(screen: Console, answer: Placed) -> None:
    print_title(screen, answer.plan.title, ": where?")
    screen.print(_figures(answer))
    if answer.worth:
        screen.print(_boards(answer))
        if answer.removed:
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


def _figures(answer: Placed) -> FigureTable:
    table = table_of(
        titled(
            f"{answer.bodies} before and after (luminance in cd/m2)", answer.after.findings.supply
        ),
        ("",),
        (
            *("boards", "glow", "off by", "5%/mean", "U0", "mean", "hot", "dark", "looks"),
            *("board W", "°C", "W"),
        ),
    )
    after = "after" if answer.worth else "best found"
    for name, step in (("before", answer.before), (after, answer.after)):
        figures, heat = step.evenness, step.heat
        lights = [step.glow.lights[k] for k in step.copies[0].lights]
        table.add_row(
            name,
            str(len(lights)),
            step.grade,
            off_text(figures.off_by),
            short_share(figures.p5_over_mean),
            short_share(figures.u0),
            short(figures.mean_cd_m2),
            str(step.hot_spots),
            str(step.dark_gaps),
            step.lit.grade,
            "off" if heat is None else f"{heat.power_w:.2g}{' !' if heat.exceeded else ''}",
            "" if heat is None or heat.board_c is None else f"{heat.board_c:.0f}",
            f"{sum(light.power_w for light in lights):.2g}",
        )
    table.caption = (
        f"even enough: {wanted(answer.before)}; {KEY}; board W, °C: the "
        "warmest board, on average over its pulses, ! above what heat allows there"
    )
    return table


def _boards(answer: Placed) -> FigureTable:
    moves = answer.moves
    more = {
        "was at": [
            "new" if move.was_mm is None else ", ".join(f"{c:.1f}" for c in move.was_mm)
            for move in moves
        ],
        "moves mm": ["" if move.mm is None else f"{move.mm:.1f}" for move in moves],
    }
    if answer.wish.free_levels:
        more["level"] = [f"{100 * move.level:.0f} %" for move in moves]
    return boards_table(answer.lights, more)
