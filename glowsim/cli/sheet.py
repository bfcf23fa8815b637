"""`glowsim sheet`: a folder for the bench."""

from __future__ import annotations

import click

from glowsim.buildsheet.paper import PAPERS, paper_size_mm
from glowsim.buildsheet.places import CLEARANCE_MM
from glowsim.buildsheet.sheet import make_sheet
from glowsim.catalogue.cautions import caution
from glowsim.cli.common import (
    Asked,
    console,
    json_option,
    print_json,
    print_written,
    progress_line,
    shown_options,
)
from glowsim.transport.solve import solve


@click.command(
    name="sheet",
    epilog="Examples:\n\n  glowsim sheet scenes/thistle_staff.toml\n\n"
    "  glowsim sheet my_prop.toml --paper Letter --clearance 0.5\n\n"
    "The sheet goes to the folder 'sheet' within the scene's results; a result that is saved there "
    "is used. Files that are not from an earlier sheet are left alone.",
)
@shown_options()
@click.option(
    "--paper",
    default="A4",
    show_default=True,
    help=f"Paper of the PDF: {' or '.join(PAPERS)}.",
)
@click.option(
    "--clearance",
    "clearance_mm",
    type=click.FloatRange(0, 5),
    default=CLEARANCE_MM,
    show_default=True,
    help="Room around each board in its pocket, in mm.",
)
@json_option
def command(asked: Asked, paper: str, clearance_mm: float) -> None:
    """Write the build sheet of SCENE: templates at full size, tables, wiring, tests, cautions.

    A PDF and an HTML page, the bodies as STL and GLB with pockets for boards and bores for wires
    cut out, and the lights as GLB.
    """
    paper_size_mm(paper)
    with progress_line() as report:
        glow = solve(asked.scene_file, seed=asked.seed, saved=asked.quick, report=report)
        made = make_sheet(
            asked.scene_file,
            glow,
            asked.folder / "sheet",
            paper=paper,
            clearance_mm=clearance_mm,
            backend=asked.backend,
            report=report,
        )
    if asked.as_json:
        files = [str(path) for path in made.files]
        heat = None if made.heat is None else made.heat.as_json()
        print_json(
            {
                "title": made.sheet.title,
                "files": files,
                "heat": heat,
                "not_printable": made.unprintable,
            }
        )
        return
    screen = console()
    if made.heat is not None and made.heat.hottest.allowed_share < 1:
        worst = made.heat.hottest
        screen.print(f"heat: {worst.name}: {worst.verdict}")
    screen.print(
        "Print the PDF at 100 % (actual size) and measure the bar at the foot of a template page."
    )
    if made.unprintable:
        screen.print(
            f"note: the PDF has no letters for {' '.join(made.unprintable)} and shows boxes in "
            "their place, as do the pictures; sheet.html shows them in a browser. To print them, "
            "write these names in other letters."
        )
    passed = (
        made.heat.cautions if made.heat is not None and made.heat.hottest.allowed_share < 1 else ()
    )
    for text in (caution("sheet"), *passed):
        screen.print(f"caution: {text}")
    print_written(made.files)
