"""`glowsim pulse`: the zones in motion."""

from __future__ import annotations

from contextlib import contextmanager
from pathlib import Path
from typing import Any

import click
import numpy as np
from rich.progress import Progress

from glowsim.cli.common import (
    Asked,
    console,
    json_option,
    notice,
    print_json,
    print_written,
    progress_line,
    shown_options,
    verbose_option,
)
from glowsim.cli.pulse_tables import print_pulse, pulse_json
from glowsim.decisions.flashes import FLASH_SIZE, flashes_in
from glowsim.electrics.as_wired import headline, loss_words, wired
from glowsim.electrics.export import c_header, keyframes_csv
from glowsim.electrics.export_pins import pin_lines
from glowsim.electrics.power import Electrics
from glowsim.electrics.pulse_report import (
    PulseReport,
    current_ma,
    levels_as_wired,
    pulse_report,
)
from glowsim.errors import SceneError
from glowsim.files import write_whole, written_together
from glowsim.pictures import Studio, save_picture
from glowsim.pictures.inks import FAINT_INK, line_colour
from glowsim.pictures.pulsed import (
    own_light_view,
    pulse_frames,
    pulsed_studio,
)
from glowsim.pictures.strips import Strip, strip_chart
from glowsim.pictures.turntable import write_moving
from glowsim.scene import SceneFile
from glowsim.transport.solve import solve

CHART_POINTS = 1800


@click.command(
    name="pulse",
    epilog="Examples:\n\n  glowsim pulse scenes/thistle_staff.toml\n\n"
    "  glowsim pulse my_prop.toml --seconds 10 --fps 25 --size 480x360 --file glow.mp4\n\n"
    "  glowsim pulse my_prop.toml --turns 1   (the prop turns meanwhile)\n\n"
    "  glowsim pulse my_prop.toml --no-pictures   (figures and tables for a controller only)",
)
@shown_options(size="480x360", pictures="Draw the animation and the chart.")
@click.option(
    "--file",
    "target",
    type=click.Path(path_type=Path),
    help="Animation to write: .webp, .gif, .mp4, or a name without an ending for a folder of "
    "frames.  [default: pulse.webp in the results' folder]",
)
@click.option(
    "--seconds", type=click.FloatRange(0.1, 600), default=10.0, show_default=True, help="To show."
)
@click.option(
    "--fps", type=click.FloatRange(1, 120), default=25.0, show_default=True, help="Frames a second."
)
@click.option(
    "--turns",
    type=click.FloatRange(0, 100),
    default=0.0,
    show_default=True,
    help="How often the prop turns meanwhile.",
)
@click.option(
    "--nearest",
    "nearest_mm",
    type=click.FloatRange(50, 100_000),
    default=500.0,
    show_default=True,
    help="Distance of the nearest viewer, for the area that flashes, in mm.",
)
@click.option(
    "--despite-flashes",
    is_flag=True,
    help="Draw the animation even if it flashes more than three times a second.",
)
@json_option
@verbose_option
def command(
    asked: Asked,
    target: Path | None,
    seconds: float,
    fps: float,
    turns: float,
    nearest_mm: float,
    despite_flashes: bool,
    verbose: bool,
) -> None:
    """Let the zones of SCENE move as its [[pulses]] say, at one fixed exposure.

    Writes an animation, a strip chart, keyframes as CSV and a table in C for a controller; counts
    flashes; says what it draws on average. Nothing is solved again for it. An animation that
    flashes too often is held back. Ctrl-C keeps the frames that are finished.
    """
    scene_file, pictures = asked.scene_file, asked.pictures
    if not scene_file.scene.pulses:
        raise SceneError(
            f'{asked.scene}: has no [[pulses]]; add one, such as zone = "{_some_zone(scene_file)}" '
            'with pattern = "swell"'
        )
    electrics = Electrics(scene_file)
    report = pulse_report(electrics, seconds=seconds, frames_per_second=fps)
    with progress_line() as tell:
        glow = solve(scene_file, seed=asked.seed, saved=asked.quick, report=tell)
        shown, loss = wired(glow, electrics), loss_words(electrics)
        note = f"drawn {loss or shown.supply}" if shown.supply else ""
        tell("taking the light apart")
        # For one small view it does not pay to start OpenGL.
        studio = Studio(shown, scene_file.scene, asked.backend if pictures else "embree")
        groups = [member.lights for member in report.moving]
        camera = studio.camera(FLASH_SIZE)
        if pictures:
            pulsed = pulsed_studio(studio, groups)
            view = pulsed.view(camera)
        else:
            view = own_light_view(studio, groups, camera)
        tell("counting flashes")
        flashes = flashes_in(studio, view, report, nearest_mm)
    held_back = not despite_flashes and any(found.too_many for found in flashes.values())
    frames = None
    if pictures and not held_back:
        levels = levels_as_wired(electrics, report, glow)
        note += ", at full levels; each frame with the loss at its own" if loss else ""
        frames = pulse_frames(
            pulsed, levels, size=asked.size, exposure_cd_m2=studio.exposure_cd_m2, turns=turns
        )
    written = _write_set(report, electrics, asked.folder, pictures, frames, target)
    if asked.as_json:
        files = [str(file) for file in written]
        print_json(pulse_json(report, flashes, nearest_mm) | {"wired": note, "files": files})
        return
    for words in headline(electrics):
        console().print(words, style="bold")
    print_pulse(console(), report, flashes, nearest_mm, note)
    if pictures and held_back:
        console().print(
            "The animation is not drawn: on a screen it would flash in somebody's face. "
            "--despite-flashes draws it."
        )
    if verbose:
        console().print(f"pictures by {studio.reason}")
    print_written(written)


def _some_zone(scene_file: SceneFile) -> str:
    zones = [light.zone_of(0) for body in scene_file.scene.bodies for light in body.lights]
    return zones[0] if zones else "all"


@contextmanager
def _bar(count: int) -> Any:
    """Give a function that shows how many frames are finished, on terminals only."""
    with Progress(console=notice(), disable=not notice().is_terminal) as bar:
        task = bar.add_task("drawing frames", total=count)

        def show(done: int, _: int) -> None:
            bar.update(task, completed=done)

        yield show


def _write_set(
    report: PulseReport,
    electrics: Electrics,
    folder: Path,
    pictures: bool,
    frames: Any,
    target: Path | None,
) -> list[Path]:
    """Write tables, chart and animation, to the folder at once; return the files.

    frames : of the animation, or None for none of it;  target : where it goes, if not there
    """
    with written_together(folder) as part:
        made = _write_tables(report, electrics, part)
        if pictures:
            made.append(part / "pulse_chart.png")
            save_picture(_chart(report, electrics), made[-1])
        if frames is not None:
            made.append(target or part / "pulse.webp")
            count = len(report.levels)
            with _bar(count) as progress:
                write_moving(
                    frames,
                    made[-1],
                    frame_count=count,
                    seconds=report.seconds,
                    kept_by=target or folder / "pulse.webp",
                    progress=progress,
                )
    return [folder / path.name if path.parent == part else path for path in made]


def _write_tables(report: PulseReport, electrics: Electrics, folder: Path) -> list[Path]:
    csv_text = keyframes_csv(report.course, report.time_s, report.levels)
    header = c_header(
        report.course,
        report.levels,
        report.colours,
        title=electrics.plan.title,
        frames_per_second=report.frames_per_second,
        pins=pin_lines(electrics.data.outputs, electrics.boards, report.course),
    )
    written = []
    for name, text in (("pulse.csv", csv_text), ("pulse.h", header)):
        path = folder / name
        try:
            write_whole(path, text.encode())
        except OSError as problem:
            raise SceneError(f"{path}: cannot be written: {problem.strerror}") from None
        written.append(path)
    return written


def _chart(report: PulseReport, electrics: Electrics) -> Any:
    fine = report.course.levels(np.linspace(0, report.seconds, CHART_POINTS))
    strips = [
        Strip(member.name, fine[:, k], 1.0, line_colour(report.colours[k]), f"mean {mean:.2f}")
        for k, (member, mean) in enumerate(
            zip(report.course.members, report.mean_levels, strict=True)
        )
    ]
    current = current_ma(electrics, fine)
    limit_ma = report.limit_ma
    top = float(max(electrics.total_drawn_ma, current.max(), 1.1 * (limit_ma or 0.0)))
    words = f"mean {report.average_ma:.0f}" + (
        "" if limit_ma is None else f"\nlimit {limit_ma:.0f}"
    )
    strips.append(Strip("current, mA", current, top, FAINT_INK, words, limit_ma))
    return strip_chart(
        strips, report.seconds, f"{electrics.plan.title}: levels (share of light) over time"
    )
