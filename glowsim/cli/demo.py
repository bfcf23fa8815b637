"""`glowsim demo`: the demo scenes in a folder of one's own, and one of them lit."""

from __future__ import annotations

from pathlib import Path

import click

from glowsim.cli.common import console
from glowsim.errors import GlowsimError, did_you_mean
from glowsim.files import write_whole

PACKAGE = Path(__file__).resolve().parent.parent
"""Where the program is: an installed one holds the demos, a clone has them beside it."""
KINDS = (".toml", ".obj", ".stl", ".ply", ".svg")
"""Scenes, and what they are made of."""


@click.command(
    name="demo",
    epilog="Examples:\n\n  glowsim demo\n\n  glowsim demo moon_orb --out /tmp/trial",
)
@click.argument("scene", default="thistle_staff")
@click.option(
    "--out",
    type=click.Path(file_okay=False, path_type=Path),
    default="glowsim-demo",
    show_default=True,
    help="Folder for the scenes and what comes of them.",
)
@click.option("--list", "listed", is_flag=True, help="Print the demo scenes and do nothing.")
def command(scene: str, out: Path, listed: bool) -> None:
    """Copy the demo scenes to a folder of yours and light one, SCENE.

    Files that are there already stay as they are: change them as you like.
    """
    source = demo_folder()
    names = sorted(path.stem for path in (source / "scenes").glob("*.toml"))
    if listed:
        console().print("\n".join(names))
        return
    if scene not in names:
        near = did_you_mean(scene, names) or f"; there are: {', '.join(names)}"
        raise GlowsimError(f"there is no demo scene '{scene}'{near}")
    _copy(source, out)
    copied = out / "scenes" / f"{scene}.toml"
    console().print(f"The demo scenes are in {copied.parent}; this is {copied}")
    from glowsim.cli.glow import command as glow

    glow.main(args=[str(copied), "--out", str(out / f"{scene}-glow")], standalone_mode=False)
    console().print(f"Next: glowsim live {copied}")


def demo_folder() -> Path:
    """Return the folder with `scenes` and `assets`, of a clone or of an installed package."""
    installed = PACKAGE / "demos"
    return installed if installed.exists() else PACKAGE.parent


def _copy(source: Path, folder: Path) -> None:
    """Copy scenes and what they are made of; what is there already is its owner's."""
    for room in ("scenes", "assets"):
        for file in sorted((source / room).rglob("*")):
            target = folder / file.relative_to(source)
            if file.suffix in KINDS and not target.exists():
                write_whole(target, file.read_bytes())
