"""The `glowsim` command. Commands are imported when they are run, so that help is quick."""

from __future__ import annotations

import gc
import importlib

import click

COMMANDS = {
    "demo": "Copy the demo scenes to a folder of yours and light one.",
    "check": "Validate a scene, repair its meshes, print sizes, depths and doubts.",
    "glow": "Solve a scene: findings, pictures and exports.",
    "live": "Play with the light in a browser: drag a board, the glow follows.",
    "thickness": "How thick a wall or layer, how deep a light, how large a body glows evenly.",
    "modules": "How many light boards, each number at its best places, and what none can beat.",
    "place": "Where to put a number of light boards: a new scene, pictures, moves in mm.",
    "agreement": "Compare the quick solver with the reference: by how much it is off, and where.",
    "turntable": "Turn the lit prop around: an animated picture.",
    "power": "Currents, batteries and run-times, wiring, fuse, data outputs.",
    "trace": "A board stays dark or flickers: what it may be, where to measure, what to read.",
    "pulse": "Move the zones: an animation, a chart, flash count, tables for a controller.",
    "heat": "How warm each buried board gets, how soon, and its limit.",
    "sheet": "A build sheet for the bench: templates, tables, wiring, tests, cautions.",
    "calibrate": "Learn a material from readings of a test piece: an entry of your own.",
    "catalogue": "List materials, coats, boards, batteries and wires with their sources.",
    "explain": "What a key of the scene file means: its unit, limits, an example.",
    "schema": "Print the JSON Schema of scene files, for editors.",
}


class _Lazy(click.Group):
    """A group that knows its commands by name and loads one when it is needed."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, name: str) -> click.Command | None:
        if name not in COMMANDS:
            return None
        # Imports leave next to no rubbish, and looking for it takes a tenth of their time.
        gc.disable()
        try:
            module = importlib.import_module(f"glowsim.cli.{name}")
        finally:
            gc.enable()
        command: click.Command = module.command
        return command

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        if args and args[0] not in COMMANDS and not args[0].startswith("-"):
            from glowsim.errors import did_you_mean

            ctx.fail(f"there is no command '{args[0]}'{did_you_mean(args[0], COMMANDS)}")
        return super().resolve_command(ctx, args)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section("Commands"):
            formatter.write_dl(list(COMMANDS.items()))


@click.group(
    cls=_Lazy,
    context_settings={"help_option_names": ["-h", "--help"]},
    epilog="Start with: glowsim demo",
)
@click.version_option(package_name="glowsim", message="%(prog)s %(version)s")
def cli() -> None:
    """Shows where an LED-lit prop will glow, burn a hot spot or stay dark, before you cut."""
