"""`glowsim agreement`: the quick solver beside the reference."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from pathlib import Path
from typing import Literal

import click
import numpy as np
from PIL.Image import Image
from rich.console import Console

from glowsim.cli.common import (
    Asked,
    console,
    json_option,
    print_json,
    print_title,
    print_written,
    progress_line,
    shown_options,
    table_of,
)
from glowsim.cli.figure_table import FigureTable
from glowsim.cli.reference import (
    check_fresh,
    goal_of,
    reference_options,
    solve_by_reference,
)
from glowsim.errors import SolveError
from glowsim.files import write_whole, written_together
from glowsim.findings import Agreement, agreement_of, comparisons_of
from glowsim.findings.agreement import LEAST_OF_MEAN, OFF, BodyAgreement
from glowsim.findings.slices import SURE, Ratio
from glowsim.geometry.mesh import at_mm
from glowsim.pictures import Compared, Mark, Studio, Words, ratio_map, save_picture
from glowsim.scene import SceneFile
from glowsim.transport.plan import plan_of
from glowsim.transport.problem import BANDS
from glowsim.transport.reference import Goal
from glowsim.transport.result import SurfaceGlow
from glowsim.transport.solve import REFERENCE_GOAL, solve
from glowsim.transport.store import load_glow

ANY = Goal(noise=None, seconds=0.0)
"""A goal that every result has reached."""


@click.command(
    name="agreement",
    epilog="Examples:\n\n  glowsim agreement scenes/moon_orb.toml\n\n"
    "  glowsim agreement my_prop.toml --time 300 --resume   (more photons, less noise)",
)
@shown_options(
    size="1280x960",
    of="Of a picture.",
    pictures="Draw a map of the difference on each body.",
    page=True,
)
@reference_options
@click.option("--fresh", is_flag=True, help="Solve both again, whatever the folder holds.")
@json_option
def command(
    asked: Asked,
    noise: float | None,
    seconds: float | None,
    photons: int | None,
    resume: bool,
    plain: bool,
    fresh: bool,
) -> None:
    """Say how far the quick solver is from the reference on SCENE, and where.

    Both results are taken from the folder where it holds them, and solved where it does not. The
    summary stays in the folder: later quick runs of bodies like these say how far they were off.
    """
    scene_file, wires, folder, seed = asked.scene_file, asked.wires, asked.folder, asked.seed
    goal = goal_of(noise, seconds, photons)
    saved = folder / "reference.npz"
    check_fresh(fresh, resume)
    if goal == REFERENCE_GOAL and not resume and not fresh and _holds(saved, scene_file, seed):
        goal = ANY
    reference = solve_by_reference(scene_file, saved, goal, seed, resume, plain, fresh)
    with progress_line() as report:
        quick = solve(scene_file, seed=seed, saved=asked.quick, fresh=fresh, report=report)
        report("comparing")
        quick, reference = wires.show(quick), wires.show(reference)
        found = agreement_of(quick, reference, scene_file.scene.room)
        names = ["agreement.json"]
        with written_together(folder) as part:
            _write(found, part / names[0])
            for body in found.bodies if asked.pictures else ():
                report(f"drawing the map of {body.body}")
                studio = Studio(_alone(quick, body), scene_file.scene, asked.backend)
                names.append(f"agreement-{_plain_name(body.body)}.png")
                save_picture(_map(studio, body, asked.size), part / names[-1])
        written = [folder / name for name in names]
    if asked.as_json:
        print_json(
            found.as_json() | {"supply": quick.supply, "files": [str(path) for path in written]}
        )
        return
    _print(console(), found, quick.supply or "as driven")
    print_written(written)


def _holds(saved: Path, scene_file: SceneFile, seed: int) -> bool:
    """Return whether a result file holds photons of every lit body of the scene."""
    if not saved.exists():
        return False
    try:
        glow = load_glow(saved)
    except SolveError:
        return False
    plan = plan_of(scene_file)
    return glow.seed == seed and set(plan.distinct) <= {body.key for body in glow.bodies}


def _write(found: Agreement, path: Path) -> None:
    data = found.as_json() | comparisons_of(found)
    write_whole(path, json.dumps(data, indent=2, ensure_ascii=False).encode())


def _alone(glow: SurfaceGlow, body: BodyAgreement) -> SurfaceGlow:
    """Return the glow of one copy of a body, upright in its own frame."""
    copy = next(copy for copy in glow.copies if copy.name == body.copies[0])
    return replace(glow, copies=(replace(copy, transform=np.eye(4)),))


def _map(studio: Studio, body: BodyAgreement, size: tuple[int, int]) -> Image:
    """Return the map of the ratio on one body."""
    marks = []
    if body.worst:
        kind: Literal["hot", "dark"] = "hot" if body.worst.ratio.value > 1 else "dark"
        place = np.array(body.worst.body_place_mm)
        marks.append(Mark(1, kind, place, f"{_said(body.worst.ratio)} % at {at_mm(place)}"))
    words = Words(
        f"Quick against the reference, beyond noise, in patches of {body.patch_mm:.2g} mm: "
        f"{body.body}",
        {"hot": "worst place: quick too bright", "dark": "worst place: quick too dark"},
        "white: no difference can be told   hatched: quick too dark   "
        "grey: dark, not meant to glow, or too few photons"
        + (f"   {studio.glow.supply}" if studio.glow.supply else ""),
    )
    return ratio_map(studio, {body.copies[0]: Compared(*body.faces)}, words, marks, size)


def _plain_name(name: str) -> str:
    return re.sub(r"\W+", "-", name).strip("-").lower()


def _print(screen: Console, found: Agreement, supply: str) -> None:
    """Print the agreement as a maker should read it."""
    print_title(screen, found.title, f": the quick solver beside the reference, {supply}")
    table = table_of(
        "Quick is too bright (+) or too dark (-) by so many percent",
        ("body",),
        ("all light", *BANDS, "as a rule", "worst slice", "worst place", "at mm"),
    )
    for body in found.bodies:
        worst = body.worst
        table.add_row(
            body.body,
            _said(body.let_out),
            *(_said(ratio) if ratio else "dark" for ratio in body.bands),
            f"{'< ' * body.usual_below}{100 * body.usual:.1f}",
            _said(max((s.luminance for s in body.judged), key=_sure_first)),
            _said(worst.ratio) if worst else f"none over {_percent(SURE * body.noise)}",
            ", ".join(f"{c:z.0f}" for c in worst.body_place_mm) if worst else "",
        )
    widths = ", ".join(f"{body.patch_mm:.2g} mm on {body.name}" for body in found.bodies)
    table.caption = (
        "± one standard error of the reference; a slice counts from two of them on, the worst of "
        "many places from what chance brings. As a rule: root mean square over patches "
        f"({widths}). What is darker than {_percent(LEAST_OF_MEAN)} % of the mean is not judged."
    )
    screen.print(table)
    for body in found.bodies:
        screen.print(_slices(body))
    for body in found.bodies:
        screen.print(_verdict(body))


def _sure_first(ratio: Ratio) -> tuple[float, float]:
    """Order ratios by what is sure, then by how far off they seem in standard errors."""
    return ratio.surely_off, ratio.off / max(ratio.noise, 1e-12)


def _slices(body: BodyAgreement) -> FigureTable:
    table = table_of(
        f"{body.body}: slices along {body.axis} (luminance in cd/m2, quick too bright by percent)",
        (),
        ("from mm", "to mm", "quick", "reference", "too bright by", *BANDS),
        names=2,
    )
    for part in body.slices:
        table.add_row(
            f"{part.from_mm:g}",
            f"{part.to_mm:g}",
            f"{part.quick_cd_m2:.3g}",
            f"{part.reference_cd_m2:.3g}",
            _said(part.luminance),
            *(_said(ratio) if ratio else "dark" for ratio in part.bands),
        )
    return table


def _verdict(body: BodyAgreement) -> str:
    off = f"{100 * body.worst_off:.0f} %"
    none = (
        f"no difference over {off} is sure" if body.worst_off > 0.005 else "no difference is sure"
    )
    known = f"single places are known to {_percent(body.noise)} %"
    if body.misjudged:
        return (
            f"{body.body}: quick is off by {off} or more at its worst, although it finds nothing "
            f"to be careful about: take it as a rough guide here ({known})"
        )
    if body.worst_off > OFF:
        return (
            f"{body.body}: quick is off by {off} or more at its worst, and says itself that it is "
            f"a rough guide ({known})"
        )
    if body.trust:
        return f"{body.body}: quick calls itself a rough guide, yet {none} ({known})"
    return f"{body.body}: quick holds, {none} ({known})"


def _said(ratio: Ratio) -> str:
    """Return how far quick is off, in percent, with its error."""
    if not np.isfinite(ratio.noise) or ratio.noise > 0.5:
        return "too few photons"
    digits = 1 if ratio.noise < 0.02 else 0
    return f"{100 * (ratio.value - 1):+.{digits}f} ± {_percent(ratio.noise)}"


def _percent(share: float) -> str:
    return f"{100 * share:.0f}" if share >= 0.0095 else f"{100 * share:.1g}"
