"""`glowsim turntable`: the lit prop, turned around."""

from __future__ import annotations

from pathlib import Path

import click
from rich.progress import Progress

from glowsim.cli.common import Asked, console, notice, progress_line, shown_options, verbose_option
from glowsim.pictures import Studio, write_turntable
from glowsim.pictures.turntable import MOST_FRAMES
from glowsim.transport.solve import solve


@click.command(
    name="turntable",
    epilog="Examples:\n\n  glowsim turntable scenes/moon_orb.toml\n\n"
    "  glowsim turntable my_prop.toml --file turn.gif --frames 36 --seconds 4\n\n"
    "  glowsim turntable my_prop.toml --file frames --size 1280x960   (a folder of PNGs)",
)
@shown_options(size="640x480")
@click.option(
    "--file",
    "target",
    type=click.Path(path_type=Path),
    help="What to write: .webp, .gif, .mp4, or a name without an ending for a folder of frames.  "
    "[default: turntable.webp in the results' folder]",
)
@click.option("--frames", type=click.IntRange(1, MOST_FRAMES), default=72, show_default=True)
@click.option(
    "--seconds", type=click.FloatRange(0.1, 600), default=6.0, show_default=True, help="One turn."
)
@click.option(
    "--exposure",
    type=click.FloatRange(0, min_open=True),
    help="Luminance shown as white, cd/m2.  [default: the scene's, or a fitting one]",
)
@verbose_option
def command(
    asked: Asked,
    target: Path | None,
    frames: int,
    seconds: float,
    exposure: float | None,
    verbose: bool,
) -> None:
    """Turn the lit prop of SCENE around once, at one fixed exposure.

    Ctrl-C keeps the frames that are finished.
    """
    scene_file, wires = asked.scene_file, asked.wires
    path = target or asked.folder / "turntable.webp"
    with progress_line() as report:
        glow = solve(scene_file, seed=asked.seed, saved=asked.quick, report=report)
        glow = wires.show(glow)
        report("setting up the camera")
        studio = Studio(glow, scene_file.scene, asked.backend)
    with Progress(console=notice(), disable=not notice().is_terminal) as bar:
        task = bar.add_task("drawing frames", total=frames)
        write_turntable(
            studio,
            path,
            frame_count=frames,
            seconds=seconds,
            size=asked.size,
            exposure_cd_m2=exposure,
            progress=lambda done, count: bar.update(task, completed=done),
        )
    wires.print_headline(console())
    if wires.loss or glow.supply:
        console().print(f"note: drawn {wires.loss or glow.supply}")
    if verbose:
        console().print(f"faces found by {studio.reason}")
    console().print(f"Written: {path}")
