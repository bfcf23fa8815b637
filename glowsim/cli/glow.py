"""`glowsim glow`: solve a scene, judge it, draw it."""

from __future__ import annotations

import hashlib
import json
from dataclasses import replace
from pathlib import Path
from typing import Any, Literal

import click

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
from glowsim.cli.reference import (
    check_fresh,
    earlier_comparisons,
    goal_of,
    reference_options,
    solve_by_reference,
    sure_option,
)
from glowsim.cli.tables import print_findings
from glowsim.decisions.heat import heat_caution
from glowsim.decisions.mending import mended
from glowsim.decisions.odds import odds_of
from glowsim.files import written_together
from glowsim.findings import Findings, findings_of
from glowsim.pictures import Studio, bright_map, export_glow, marks_of, save_picture
from glowsim.pictures.backends import drawn_by_glow
from glowsim.pictures.text import boxes_note
from glowsim.scene import SceneFile
from glowsim.transport.result import SurfaceGlow
from glowsim.transport.solve import REFERENCE_GOAL, keep_what_is_known, solve
from glowsim.transport.store import save_glow


@click.command(
    name="glow",
    epilog="Examples:\n\n  glowsim glow scenes/thistle_staff.toml\n\n"
    "  glowsim glow my_prop.toml --out /tmp/try1 --size 1600x1200\n\n  glowsim glow my_prop.toml "
    "--no-pictures --json > findings.json\n\n  glowsim glow my_prop.toml --reference --time 300   "
    "(slow and sure; Ctrl-C keeps what is done)\n\n  glowsim glow my_prop.toml --reference --noise "
    "0.01 --resume\n\n  glowsim glow my_prop.toml --sure --time 120   (slow only where quick is a "
    "rough guide)",
)
@shown_options(
    size="1280x960",
    of="Of pictures, in pixels.",
    pictures="Draw pictures and write meshes.",
    page=True,
)
@click.option(
    "--suggest/--no-suggest",
    default=True,
    help="Try what would mend the findings; kept in the folder, so tried once only.",
)
@click.option(
    "--reference",
    is_flag=True,
    help="Follow photons instead of the quick approximation.  "
    "[default: to 2 % noise, or for 60 seconds]",
)
@sure_option
@reference_options
@click.option("--fresh", is_flag=True, help="Solve again, whatever the folder holds.")
@json_option
@verbose_option
def command(
    asked: Asked,
    suggest: bool,
    reference: bool,
    sure: bool,
    noise: float | None,
    seconds: float | None,
    photons: int | None,
    resume: bool,
    plain: bool,
    fresh: bool,
    verbose: bool,
) -> None:
    """Solve SCENE and say where it glows, where it burns and where it stays dark.

    Writes the result, the findings, a photo, a brightness map and meshes for viewers to one
    folder. Bodies that have not changed since the folder's last result are not solved again.
    What the reference solver finds stands beside it, in files of its own.
    """
    goal = goal_of(noise, seconds, photons)
    _check_options(reference, sure, resume or plain or goal != REFERENCE_GOAL)
    check_fresh(fresh, resume)
    scene_file, wires, folder, seed = asked.scene_file, asked.wires, asked.folder, asked.seed
    name: Name = "reference" if reference else "sure" if sure else "glow"
    files = _Files(folder, name)
    if reference:
        glow = solve_by_reference(scene_file, files.result, goal, seed, resume, plain, fresh)
    if sure:
        quick, photons_file = files.used
        glow = solve_by_reference(scene_file, photons_file, goal, seed, resume, plain, fresh, quick)
        save_glow(glow, files.result)
    with progress_line() as report:
        if not (reference or sure):
            glow = solve(scene_file, seed=seed, saved=files.result, fresh=fresh, report=report)
        report("judging")
        solved, glow = glow, wires.show(glow)
        # What is tried takes the place of estimates.
        earlier = earlier_comparisons(folder)
        findings = findings_of(glow, scene_file.scene, earlier, estimates=not suggest)
        odds = odds_of(glow, scene_file, findings, report)
        before = _read_json(files.findings)
        findings, tried = _warned(glow, scene_file, findings, before.get("heat"), report)
        if suggest and findings.found:
            answer = mended(scene_file, glow, findings, kept=before.get("tried"), report=report)
            findings, tried["tried"] = answer.put_into(findings), answer.as_json()
        told = findings.as_json() | {"wiring": wires.as_json()} | tried
        if odds:
            told["known"] = [one.as_json() for one in odds]
        reason = ""
        with written_together(folder) as part:
            parts = _Files(part, name)
            if asked.pictures:
                reason = _draw(glow, scene_file, findings, parts, asked, report)
            old = _write_findings(told, scene_file, files, parts)
        if not (reference or sure):
            keep_what_is_known(solved, glow, files.result)
        written = [files.result, files.findings, *(files.drawn if asked.pictures else ())]
    if asked.as_json:
        print_json(told | {"files": [str(path) for path in written]})
    else:
        wires.print_headline(console())
        print_findings(console(), findings, verbose)
        for sentence in (text for one in odds for text in one.sentences):
            console().print(sentence)
        if verbose:
            console().print(f"solved in {glow.seconds:.1f} s; pictures by {reason}")
        if wires.loss:
            console().print(f"note: {wires.loss}")
        if old:
            names = ", ".join(path.name for path in old)
            console().print(f"note: of an earlier result in {folder}: {names}")
        shown = [glow.title, *(copy.name for copy in glow.copies)] if asked.pictures else []
        if boxes := boxes_note(shown):
            console().print(f"note: {boxes}")
        print_written(written)
    if "cannot be used" in reason:
        notice().print(f"note: pictures drawn by {reason}")


def _check_options(reference: bool, sure: bool, for_reference: bool) -> None:
    """Raise UsageError for options that do not go together."""
    if reference and sure:
        raise click.UsageError("--reference solves every body, --sure some of them; choose one")
    if for_reference and not (reference or sure):
        raise click.UsageError(
            "--noise, --time, --photons, --resume and --plain are for the reference solver; "
            "add --reference or --sure, or leave them out"
        )


def _warned(
    glow: SurfaceGlow,
    scene_file: SceneFile,
    findings: Findings,
    before: Any,
    report: Any,
) -> tuple[Findings, dict[str, Any]]:
    """Return findings with how warm boards get among their cautions, and what to keep of that.

    before : what the folder keeps of the heat of an earlier run
    """
    warned = heat_caution(scene_file, glow.lights, before, report)
    cautions = (warned.words, *findings.cautions) if warned.words else findings.cautions
    return replace(findings, cautions=cautions), {"heat": warned.as_json()}


Name = Literal["glow", "reference", "sure"]


class _Files:
    """Where results go; those of quick, of the reference and of both stand side by side.

    used : result files of the solvers that are read and added to
    """

    def __init__(self, folder: Path, name: Name) -> None:
        start = "" if name == "glow" else f"{name}-"
        solvers = ("glow", "reference") if name == "sure" else (name,)
        self.used = [folder / f"{solver}.npz" for solver in solvers]
        self.result = folder / f"{name}.npz"
        self.findings = folder / f"{start}findings.json"
        self.photo = folder / f"{start}photo.png"
        self.brightness = folder / f"{start}brightness.png"
        self.meshes = (folder / f"{name}.glb", folder / f"{name}.ply")
        self.drawn = (self.photo, self.brightness, *self.meshes)


def _draw(
    glow: SurfaceGlow,
    scene_file: SceneFile,
    findings: Findings,
    files: _Files,
    asked: Asked,
    report: Any,
) -> str:
    """Draw and export everything; return how faces were found."""
    report("setting up the camera")
    studio = Studio(glow, scene_file.scene, asked.backend, drawn_by_glow(asked.size))
    report("drawing the photo")
    save_picture(studio.photo(asked.size), files.photo)
    report("drawing the brightness map")
    marks = marks_of(findings.found)
    save_picture(bright_map(studio, scene_file.scene, marks, asked.size), files.brightness)
    report("writing meshes")
    for path in files.meshes:
        exposure = studio.exposure_cd_m2
        export_glow(studio, scene_file.scene, path, exposure_cd_m2=exposure)
    return studio.reason


def _write_findings(
    told: dict[str, Any], scene_file: SceneFile, files: _Files, parts: _Files
) -> list[Path]:
    """Write the findings, with a stamp of the scene and the names of what was drawn from them.

    Pictures and meshes that are there already are named as well if they show this very result.
    Return those that show an earlier one.
    """
    stamp = hashlib.sha256(scene_file.scene.model_dump_json().encode()).hexdigest()[:16]
    data = json.loads(json.dumps(told | {"scene_stamp": stamp}))
    shown = {path.name for path in parts.drawn if path.exists()}
    there = [path for path in files.drawn if path.exists() and path.name not in shown]
    before = _read_json(files.findings)
    kept = before.pop("shown_in", [])
    if before == data:
        shown.update(path.name for path in there if path.name in kept)
    data["shown_in"] = sorted(shown)
    text = json.dumps(data, indent=2, ensure_ascii=False)
    parts.findings.write_text(text, encoding="utf-8")
    return [path for path in there if path.name not in shown]


def _read_json(path: Path) -> dict[str, Any]:
    """Return what a file holds; nothing where it cannot be read."""
    try:
        data = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {}
    return data if isinstance(data, dict) else {}
