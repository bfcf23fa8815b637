"""`glowsim check`: is the scene sound, before anything is solved?"""

from __future__ import annotations

from pathlib import Path

import click

from glowsim.cli.common import (
    console,
    json_option,
    print_each,
    print_json,
    print_title,
    progress_line,
    scene_argument,
    table_of,
)
from glowsim.cli.figure_table import FigureTable
from glowsim.errors import SceneError
from glowsim.findings.inspection import BodyCheck, inspect, told
from glowsim.scene import SceneFile, read_scene
from glowsim.transport.plan import plan_of


@click.command(
    name="check",
    epilog="Examples:\n\n  glowsim check scenes/moon_orb.toml\n\n"
    "  glowsim check my_prop.toml --json > check.json",
)
@scene_argument
@json_option
def command(scene: Path, as_json: bool) -> None:
    """Validate SCENE, repair its meshes and say how, and print sizes, weights and depths."""
    scene_file = read_scene(scene)
    plan = plan_of(scene_file)
    electric = _electric(scene_file)
    with progress_line() as report:
        checks = inspect(plan, report)
    if as_json:
        print_json(
            {"title": plan.title, "bodies": [check.as_json() for check in checks]}
            | ({"electrics": list(electric)} if electric else {})
        )
    else:
        _print(plan.title, checks, electric)
    faults = [
        str(scene_file.fault(("bodies", number, "lights", misfit.light), told(check, misfit)))
        for number, check in enumerate(checks)
        for misfit in check.misfits
        if misfit.blocks
    ]
    if faults:
        raise SceneError("\n".join(faults) + "\nMove these boards, or make room for them.")


def _print(title: str, checks: tuple[BodyCheck, ...], electric: tuple[str, ...]) -> None:
    screen = console()
    print_title(screen, title, f": {_verdict(checks)}")
    screen.print(_bodies(checks))
    if any(check.lights for check in checks):
        screen.print(_lights(checks))
    if any(check.regions for check in checks):
        screen.print(_regions(checks))
    for check in checks:
        print_each(screen, "note", check.notes)
    doubts = [(check.name, doubt) for check in checks for doubt in _doubts(check)]
    doubts += [("electrics", doubt) for doubt in electric]
    for name, doubt in doubts:
        screen.print(f"suspicious: {name}: {doubt.removeprefix(f'{name}: ')}")
    screen.print(f"{len(doubts)} thing{'s' if len(doubts) != 1 else ''} to look at")


def _verdict(checks: tuple[BodyCheck, ...]) -> str:
    fits = not any(misfit.blocks for check in checks for misfit in check.misfits)
    return "the scene file is sound" if fits else "the scene file reads well, but boards do not fit"


def _doubts(check: BodyCheck) -> list[str]:
    looks = [told(check, misfit) for misfit in check.misfits if not misfit.blocks]
    return [*check.suspicious, *looks]


def _electric(scene_file: SceneFile) -> tuple[str, ...]:
    """Check a scene's battery and wires; return what is doubtful about them. Raises SceneError."""
    if scene_file.scene.power is None and scene_file.scene.wiring is None:
        return ()
    from glowsim.electrics.doubts import electric_doubts
    from glowsim.electrics.power import Electrics

    return electric_doubts(Electrics(scene_file))


def _bodies(checks: tuple[BodyCheck, ...]) -> FigureTable:
    table = table_of(
        "Bodies", ("body", "kind", "material"), ("size mm", "cm3", "weight g", "thickness")
    )
    for check in checks:
        name = check.name if check.copies == 1 else f"{check.name} (x{check.copies})"
        size = " x ".join(f"{s:g}" for s in check.size_mm)
        weight = "?" if check.weight_g is None else f"{check.weight_g:.3g}"
        optical = "" if check.optical is None else f" = {check.optical:.2g} l*"
        table.add_row(
            name,
            check.kind,
            f"{check.material}\n({check.confidence})",
            size,
            f"{check.volume_cm3:.4g}",
            weight,
            f"{check.thickness_mm:.3g} mm{optical}",
        )
    table.caption = "l* = transport lengths: how often light turns round on its way through"
    return table


def _lights(checks: tuple[BodyCheck, ...]) -> FigureTable:
    table = table_of(
        "Lights, in each body's own frame",
        ("body", "light", "board", "sits in"),
        ("LEDs", "centre mm", "below surface mm"),
    )
    for check in checks:
        for light, _ in check.rows:
            centre = ", ".join(f"{c:g}" for c in light.centre_mm)
            table.add_row(
                check.name,
                light.name,
                light.board,
                light.inside,
                str(light.leds),
                centre,
                f"{light.depth_mm:.1f}",
            )
    return table


def _regions(checks: tuple[BodyCheck, ...]) -> FigureTable:
    table = table_of("Regions of the surface", ("body", "region", "what"), ("cm2", "share"))
    for check in checks:
        for region in check.regions:
            area, share = f"{region.area_mm2 / 100:.3g}", f"{100 * region.share:.2g} %"
            table.add_row(check.name, region.name, region.covers, area, share)
    return table
