"""`glowsim live`: the prop in a browser on this machine."""

from __future__ import annotations

import logging
import threading
import webbrowser
from contextlib import suppress
from pathlib import Path

import click

from glowsim.errors import GlowsimError


@click.command(
    name="live",
    epilog="Examples:\n\n  glowsim live scenes/thistle_staff.toml\n\n"
    "  glowsim live   (begin with nothing)\n\n  glowsim live horn.stl   (begin with a mesh)\n\n"
    "  glowsim live my_readings.toml   (click points in photos of a test piece)\n\n"
    "  glowsim live my_prop.toml --no-browser --port 8123",
)
@click.argument("scene", required=False, type=click.Path(dir_okay=False, path_type=Path))
@click.option("--browser/--no-browser", default=True, help="Open the page in the browser.")
@click.option(
    "--port", type=click.IntRange(0, 65535), default=0, help="Port to serve at.  [default: any]"
)
def command(scene: Path | None, browser: bool, port: int) -> None:
    """Play with the light of SCENE in a browser: drag a board, the glow follows.

    Without a scene, or with a mesh file in its place, the page begins with a shape, a material and
    a board, and writes a first scene into this folder.

    With a readings file in its place, the page shows the photos of a test piece: points of it are
    clicked and dragged, and the material is learnt as by `glowsim calibrate`.

    The page is served to this machine alone, at an address nobody can guess, until Ctrl-C. A
    scene file stays as it is: what is saved goes beside it under a new name.
    """
    logging.getLogger("nicegui").setLevel(logging.ERROR)
    try:
        from glowsim.live.serve import Server
    except ModuleNotFoundError as missing:
        if missing.name not in ("nicegui", "fastapi", "uvicorn", "starlette"):
            raise
        raise GlowsimError(
            "the page needs a library that is not installed; install it with: "
            "pip install 'glowsim[live]'"
        ) from None
    server = Server(scene, port)
    click.echo(f"{scene.name if scene else 'The page'} is at {server.address}")
    click.echo("Ctrl-C stops.")
    if browser:
        threading.Timer(0.8, webbrowser.open, [server.address]).start()
    with suppress(KeyboardInterrupt):
        server.run()
    click.echo("stopped")
    server.leave()
