"""`glowsim thickness`: how thick a wall, how deep a light, how large a body."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import click
from rich.progress import Progress

from glowsim.cli.common import (
    Asked,
    LengthType,
    console,
    json_option,
    notice,
    print_json,
    print_written,
    shown_options,
    verbose_option,
)
from glowsim.cli.reference import PATIENCE_S, answer_goal, sure_of, sure_option
from glowsim.cli.thickness_tables import print_thickness
from glowsim.decisions.odds import counted
from glowsim.decisions.sweep import cluster, local_processes
from glowsim.decisions.thickness import Report, Thickness, thickness
from glowsim.files import written_together
from glowsim.pictures import save_picture
from glowsim.pictures.writing import write_file


@click.command(
    name="thickness",
    epilog="Examples:\n\n  glowsim thickness scenes/moon_orb.toml --from 0.8 --to 4\n\n"
    "  glowsim thickness scenes/moon_orb.toml --from 1 --to 4 --material pla_white "
    "--material pla_natural\n\n"
    "  glowsim thickness scenes/thistle_staff.toml --body spike --vary size --from 70 --to 160",
)
@click.option("--body", help="Whose thickness.  [default: the only body with lights]")
@click.option(
    "--from", "from_mm", type=LengthType(), required=True, help="Thinnest: mm, or '1 in'."
)
@click.option("--to", "to_mm", type=LengthType(), required=True, help="Thickest.")
@click.option(
    "--steps", type=int, default=8, show_default=True, help="Values tried, ends included."
)
@click.option(
    "--vary",
    type=click.Choice(("wall", "depth", "around", "size")),
    help="wall: of a shell, or the solid skin over a print's infill. depth: of the lights behind "
    "the surface they face. around: material added all round. size: longest side, in proportion, "
    "lights fixed.  [default: wall of a shell, around a solid, depth in a lantern of sheet]",
)
@click.option(
    "--material", "materials", multiple=True, help="Compare this one; may be given several times."
)
@click.option("--dask", metavar="ADDRESS", help="Solve on a Dask cluster you trust.")
@click.option(
    "--workers",
    type=click.IntRange(1, 64),
    default=2,
    show_default=True,
    help="Steps solved at a time on this machine.",
)
@click.option(
    "--reference", is_flag=True, help="Ask the slow, sure solver too at what is recommended."
)
@sure_option
@click.option(
    "--time",
    "seconds",
    type=click.FloatRange(1, 86_400),
    help=f"Seconds for each answer of the reference solver.  [default: {PATIENCE_S:g}]",
)
@shown_options(size="480x360", of="Of each picture.", pictures="Draw the chart and the sheet.")
@json_option
@verbose_option
def command(
    asked: Asked,
    body: str | None,
    from_mm: float,
    to_mm: float,
    steps: int,
    vary: Any,
    materials: tuple[str, ...],
    dask: str | None,
    workers: int,
    reference: bool,
    sure: bool,
    seconds: float | None,
    verbose: bool,
) -> None:
    """Vary a thickness in SCENE step by step and say which is the least that glows evenly enough.

    Writes a table, a chart and a sheet of pictures at one exposure. Finished steps are kept: a
    sweep that was stopped goes on where it was.
    """
    if seconds and not (reference or sure):
        raise click.UsageError(
            "--time is for the reference solver; add --reference or --sure, or leave it out"
        )
    wires, folder = asked.wires, asked.folder
    with _progress() as report:
        with _executor(dask, workers) as executor:
            answer = thickness(
                asked.scene_file,
                body,
                from_mm=from_mm,
                to_mm=to_mm,
                steps=steps,
                vary=vary,
                materials=materials,
                seed=asked.seed,
                executor=executor,
                folder=folder / "steps",
                check=answer_goal(seconds) if reference else None,
                sure=sure_of(sure, seconds if sure else None, folder),
                report=report,
            )
        odds = counted(answer.neighbours, lambda text: report(text, 0, 1))
        with written_together(folder) as part:
            made = _tables(answer, part)
            if asked.pictures:
                made += _drawn(answer, part, asked, report)
        files = [folder / path.name for path in made]
    if asked.as_json:
        print_json(
            answer.as_json()
            | ({"known": list(odds)} if odds else {})
            | {"wiring": wires.as_json(), "files": [str(file) for file in files]}
        )
        return
    wires.print_headline(console())
    print_thickness(console(), answer, verbose)
    console().print(*odds, sep="\n", end="\n" if odds else "")
    print_written(files)


@contextmanager
def _executor(dask: str | None, workers: int) -> Iterator[Any]:
    """Give what solves the steps: a cluster, processes here, or nothing for this process."""
    if dask:
        with cluster(dask) as executor:
            yield executor
    elif workers > 1:
        with local_processes(workers) as executor:
            yield executor
    else:
        yield None


@contextmanager
def _progress() -> Iterator[Report]:
    """Show how far the work has come, on terminals only."""
    with Progress(console=notice(), disable=not notice().is_terminal, transient=True) as bar:
        task = bar.add_task("starting", total=None)

        def report(doing: str, done: int, total: int) -> None:
            bar.update(task, description=doing, completed=done, total=total)

        yield report


def _tables(answer: Thickness, folder: Path) -> list[Path]:
    """Write the figures as CSV and JSON; return the files."""
    rows = [_row(step.as_json(), False) for step in answer.steps]
    rows += [_row(advice.step.as_json(), advice.worth) for advice in answer.advice]
    text = io.StringIO()
    writer = csv.DictWriter(text, list(rows[0]), lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    plain = json.dumps(answer.as_json(), indent=2, ensure_ascii=False)
    files = [folder / "thickness.csv", folder / "thickness.json"]
    for file, content in zip(files, (text.getvalue(), plain), strict=True):
        write_file(file, content.encode())
    return files


def _row(step: dict[str, Any], recommended: bool) -> dict[str, Any]:
    because = "; ".join(step["rough_guide_because"])
    return step | {"rough_guide_because": because, "recommended": recommended}


def _drawn(answer: Thickness, folder: Path, asked: Asked, report: Report) -> list[Path]:
    """Draw the chart and the sheet; return the files."""
    from glowsim.decisions.thickness_pictures import thickness_chart, thickness_sheet

    files = [folder / "thickness.png", folder / "thickness_sheet.png"]
    save_picture(thickness_chart(answer), files[0])
    save_picture(thickness_sheet(answer, asked.size, asked.backend, report), files[1])
    return files
