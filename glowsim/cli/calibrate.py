"""`glowsim calibrate`: a material learnt from readings of a test piece."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from glowsim.cli.common import (
    console,
    json_option,
    notice,
    print_json,
    print_written,
    progress_line,
    short,
    table_of,
)

if TYPE_CHECKING:
    from glowsim.calibration.learn import Learnt


@click.command(
    name="calibrate",
    epilog="Examples:\n\n  glowsim calibrate scenes/readings/white_foam.toml\n\n"
    'and in a scene:  materials_from = ["white_foam-learnt/my_foam.toml"]\n\n'
    "  glowsim calibrate my_readings.toml --for my_prop.toml   (and what to read next)\n\n"
    "  glowsim calibrate --plan my_prop.toml   (before anything is measured)",
)
@click.argument(
    "readings", required=False, type=click.Path(exists=False, dir_okay=False, path_type=Path)
)
@click.option(
    "--for",
    "prop",
    type=click.Path(dir_okay=False, path_type=Path),
    help="A scene: say what to read next to know its mean and evenness better, and how many boards "
    "a body needs that has rules for their places (placing).",
)
@click.option(
    "--plan",
    type=click.Path(dir_okay=False, path_type=Path),
    help="A scene: print what is worth measuring of its material, and a sheet for the bench (PDF).",
)
@click.option(
    "--check",
    type=click.Path(dir_okay=False, path_type=Path),
    help="A readings file with a photo of the finished prop: where it differs from what was "
    "predicted, and why.",
)
@click.option(
    "--out",
    type=click.Path(file_okay=False, path_type=Path),
    help="Folder for what is written.  [default: READINGS-learnt (-check) or SCENE-plan, here]",
)
@json_option
def command(
    readings: Path | None,
    prop: Path | None,
    plan: Path | None,
    check: Path | None,
    out: Path | None,
    as_json: bool,
) -> None:
    """Learn a material from readings of a test piece: piles over a hole, a thick piece beside
    white paper, photos of a lit piece. Writes an entry that any scene can name, with its range, and
    a page of pictures. Readings that contradict each other are named, and no entry is written."""
    if sum(one is not None for one in (readings, plan, check)) != 1:
        raise click.UsageError(
            "give a readings file, or --plan with a scene, or --check with a photo of the prop"
        )
    if check is not None:
        from glowsim.cli.bench import print_check

        print_check(check, out, as_json)
        return
    if plan is not None:
        from glowsim.cli.bench import print_plan

        print_plan(plan, out, as_json)
        return
    assert readings is not None
    _learn(readings, prop, out, as_json)


def _learn(readings: Path, prop: Path | None, out: Path | None, as_json: bool) -> None:
    from glowsim.calibration.entry import entry_toml
    from glowsim.calibration.learn import learn
    from glowsim.calibration.page import page
    from glowsim.calibration.readings import read_readings
    from glowsim.cli.bench import next_sentences
    from glowsim.errors import ReadingsError
    from glowsim.files import write_whole

    file = read_readings(readings)
    with progress_line() as tell:
        learnt = learn(file, tell)
        tell("working out what to read next")
        sentences = [] if learnt.alarms else next_sentences(learnt, prop, tell)
        tell("drawing")
        picture = page(learnt)
    folder = out if out is not None else Path(f"{readings.stem}-learnt")
    page_path = folder / "page.png"
    entry_path = folder / f"{file.bench.name}.toml"
    write_whole(page_path, lambda place: picture.save(place, "PNG"))
    written = [page_path]
    refused: ReadingsError | None = None
    try:
        write_whole(entry_path, entry_toml(learnt).encode())
        written.append(entry_path)
    except ReadingsError as problem:
        refused = problem
    if as_json:
        print_json(_as_json(learnt, written) | {"next": sentences})
    else:
        _print(learnt, written, entry_path if refused is None else None, sentences)
    if refused is not None:
        if entry_path.exists():
            notice().print(f"{entry_path} is from an earlier run and is left alone.")
        raise refused


def _print(learnt: Learnt, written: list[Path], entry: Path | None, sentences: list[str]) -> None:
    from glowsim.calibration.words import lines_of, tenth_mm

    screen = console()
    bench = learnt.file.bench
    if bench.made:
        screen.print("These readings were computed, not measured: an example.")
    table = table_of(
        f"{bench.name}, starting from {bench.material}",
        ["band"],
        [
            "absorption mu_a per mm",
            "x/÷",
            "cloudiness mu_s' per mm",
            "x/÷",
            "together",
            "to a tenth mm",
        ],
    )
    for one in learnt.bands:
        optics, sd = one.fitted.optics, one.fitted.sd
        reach, low, high = tenth_mm(one)
        table.add_row(
            one.band,
            f"{optics.mu_a_per_mm:.3g}",
            f"{_factor(sd[0]):.2f}",
            f"{optics.mu_s_reduced_per_mm:.3g}",
            f"{_factor(sd[1]):.2f}",
            f"{one.fitted.correlation:+.2f}",
            f"{short(reach)} ({short(low)} to {short(high)})",
        )
    screen.print(table)
    for line in lines_of(learnt):
        screen.print(line)
    for caution in learnt.cautions:
        screen.print(f"Careful: {caution}.")
    for sentence in sentences:
        screen.print(sentence)
    print_written(written)
    if entry is not None:
        screen.print(f'In a scene: materials_from = ["{entry.as_posix()}"], ', end="")
        screen.print(f'with the path as seen from the scene, and material = "{bench.name}"')


def _factor(sd: float) -> float:
    import math

    return math.exp(float(sd))


def _as_json(learnt: Learnt, written: list[Path]) -> dict[str, Any]:
    from glowsim.calibration.words import lines_of, tenth_mm

    return {
        "name": learnt.file.bench.name,
        "made": learnt.file.bench.made,
        "bands": [
            {
                "band": one.band,
                "mu_a_per_mm": one.fitted.optics.mu_a_per_mm,
                "mu_s_reduced_per_mm": one.fitted.optics.mu_s_reduced_per_mm,
                "covariance_of_logarithms": one.fitted.covariance.tolist(),
                "chance": one.fitted.chance,
                "tenth_mm": tenth_mm(one),
                "readings": [
                    {"reading": label, "deviations": float(off)}
                    for label, off in zip(one.fitted.labels, one.fitted.strangeness, strict=True)
                ],
            }
            for one in learnt.bands
        ],
        "words": lines_of(learnt),
        "alarms": list(learnt.alarms),
        "cautions": list(learnt.cautions),
        "written": [str(path) for path in written],
    }
