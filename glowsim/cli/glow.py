"""`glowsim glow`: solve a scene, judge it, draw it."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import click

from glowsim.cli.common import (
    SizeType,
    Wires,
    backend_option,
    console,
    json_option,
    notice,
    out_folder,
    out_option,
    print_json,
    progress_line,
    scene_argument,
    seed_option,
    supply_options,
    verbose_option,
)
from glowsim.cli.reference import (
    check_fresh,
    earlier_comparisons,
    goal_of,
    reference_options,
    solve_by_reference,
)
from glowsim.cli.tables import print_findings
from glowsim.files import written_whole
from glowsim.findings import Findings, findings_of
from glowsim.pictures import Studio, bright_map, export_glow, marks_of, save_picture
from glowsim.scene import SceneFile, read_scene
from glowsim.transport.result import SurfaceGlow
from glowsim.transport.solve import REFERENCE_GOAL, solve


@click.command(
    name="glow",
    epilog="Examples:\n\n  glowsim glow scenes/thistle_staff.toml\n\n"
    "  glowsim glow my_prop.toml --out /tmp/try1 --size 1600x1200\n\n"
    "  glowsim glow my_prop.toml --no-pictures --json > findings.json\n\n"
    "  glowsim glow my_prop.toml --reference --time 300   (slow and sure; Ctrl-C keeps what is "
    "done)\n\n"
    "  glowsim glow my_prop.toml --reference --noise 0.01 --resume",
)
@scene_argument
@out_option
@click.option(
    "--size", type=SizeType(), default="1280x960", show_default=True, help="Of pictures, in pixels."
)
@click.option("--pictures/--no-pictures", default=True, help="Draw pictures and write meshes.")
@backend_option
@click.option(
    "--reference",
    is_flag=True,
    help="Follow photons instead of the quick approximation.  "
    "[default: to 2 % noise, or for 60 seconds]",
)
@reference_options
@click.option("--fresh", is_flag=True, help="Solve again, whatever the folder holds.")
@supply_options
@seed_option
@json_option
@verbose_option
def command(
    scene: Path,
    out: Path | None,
    size: tuple[int, int],
    pictures: bool,
    backend: str,
    reference: bool,
    noise: float | None,
    seconds: float | None,
    photons: int | None,
    resume: bool,
    plain: bool,
    fresh: bool,
    battery: str,
    seed: int,
    as_json: bool,
    verbose: bool,
) -> None:
    """Solve SCENE and say where it glows, where it burns and where it stays dark.

    Writes the result, the findings, a photo, a brightness map and meshes for viewers to one
    folder. Bodies that have not changed since the folder's last result are not solved again.
    What the reference solver finds stands beside it, in files of its own.
    """
    goal = goal_of(noise, seconds, photons)
    if not reference and (resume or plain or goal != REFERENCE_GOAL):
        raise click.UsageError(
            "--noise, --time, --photons, --resume and --plain are for the reference solver; "
            "add --reference, or leave them out"
        )
    check_fresh(fresh, resume)
    scene_file = read_scene(scene).on_battery(battery)
    wires = Wires(scene_file)
    folder = out_folder(out, scene_file.stem)
    files = _Files(folder, reference)
    if fresh:
        files.result.unlink(missing_ok=True)
    if reference:
        glow = solve_by_reference(scene_file, files.result, goal, seed, resume, plain)
    with progress_line() as report:
        if not reference:
            glow = solve(scene_file, seed=seed, saved=files.result, report=report)
        report("judging")
        glow = wires.show(glow)
        findings = findings_of(glow, scene_file.scene, earlier_comparisons(folder))
        told = findings.as_json() | {"wiring": wires.as_json()}
        _write_json(told, files.findings)
        written = [files.result, files.findings]
        reason = ""
        if pictures:
            more, reason = _draw(glow, scene_file, findings, files, size, backend, report)
            written += more
    if as_json:
        print_json(told | {"files": [str(path) for path in written]})
    else:
        wires.print_headline(console())
        print_findings(console(), findings, verbose)
        if verbose:
            console().print(f"solved in {glow.seconds:.1f} s; pictures by {reason}", markup=False)
        if wires.loss:
            console().print(f"note: {wires.loss}", markup=False)
        console().print("Written:", *(f"\n  {path}" for path in written), markup=False, sep="")
    if "cannot be used" in reason:
        notice().print(f"note: pictures drawn by {reason}", markup=False)


class _Files:
    """Where the results of a solver go; those of the two solvers stand side by side."""

    def __init__(self, folder: Path, reference: bool) -> None:
        name, start = ("reference", "reference-") if reference else ("glow", "")
        self.result = folder / f"{name}.npz"
        self.findings = folder / f"{start}findings.json"
        self.photo = folder / f"{start}photo.png"
        self.brightness = folder / f"{start}brightness.png"
        self.meshes = (folder / f"{name}.glb", folder / f"{name}.ply")


def _draw(
    glow: SurfaceGlow,
    scene_file: SceneFile,
    findings: Findings,
    files: _Files,
    size: tuple[int, int],
    backend: str,
    report: Any,
) -> tuple[list[Path], str]:
    """Draw and export everything; return the files and how faces were found."""
    report("setting up the camera")
    studio = Studio(glow, scene_file.scene, backend)
    report("drawing the photo")
    save_picture(studio.photo(size), files.photo)
    report("drawing the brightness map")
    marks = marks_of(findings.found)
    save_picture(bright_map(studio, scene_file.scene, marks, size), files.brightness)
    report("writing meshes")
    for path in files.meshes:
        exposure = studio.exposure_cd_m2
        export_glow(glow, scene_file.scene, path, exposure_cd_m2=exposure)
    return [files.photo, files.brightness, *files.meshes], studio.reason


def _write_json(data: dict[str, Any], path: Path) -> None:
    with written_whole(path) as temporary:
        temporary.write_text(json.dumps(data, indent=2, ensure_ascii=False), encoding="utf-8")
