"""From a scene to a folder for the bench: PDF, HTML, bodies with pockets, markers of the lights."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

from PIL import Image

from glowsim.buildsheet.blocks import BuildSheet
from glowsim.buildsheet.content import build_sheet
from glowsim.buildsheet.folder import check_free, fill
from glowsim.buildsheet.head import rows_of
from glowsim.buildsheet.html import html
from glowsim.buildsheet.jig import jig, jig_words
from glowsim.buildsheet.meshes import glb, markers, pocketed, stl
from glowsim.buildsheet.paper import paper_size_mm
from glowsim.buildsheet.pdf import pdf, unprintable
from glowsim.buildsheet.places import CHANNEL_MM, BodyPlaces, body_places
from glowsim.buildsheet.prop import FALLS_SHORT, Prop
from glowsim.buildsheet.seats import Seat, bored, seats_of, with_feet
from glowsim.buildsheet.trouble import trouble
from glowsim.electrics.as_wired import headline, loss_words, wired
from glowsim.electrics.carriers import carriers
from glowsim.electrics.heat import HeatReport, heat_of
from glowsim.electrics.power import Electrics, power_report
from glowsim.errors import GlowsimError, SceneError
from glowsim.findings import Findings, findings_of
from glowsim.geometry.body import full_detail, solid_of
from glowsim.geometry.mesh import Mesh
from glowsim.pictures import Studio, bright_map, marks_of
from glowsim.scene import SceneFile
from glowsim.transport.build import Report
from glowsim.transport.plan import Plan
from glowsim.transport.result import SurfaceGlow

PICTURE_SIZE = (1100, 825)
PDF, HTML, LIGHTS = "sheet.pdf", "sheet.html", "lights.glb"
USUAL_HOURS = 3.0
"""How long a battery is wanted to last where the scene does not say."""


@dataclass(frozen=True)
class MadeSheet:
    """A sheet that was written.

    unprintable : letters of it that the PDF has no font for
    """

    sheet: BuildSheet
    files: tuple[Path, ...]
    heat: HeatReport | None
    unprintable: str


def make_sheet(
    scene_file: SceneFile,
    glow: SurfaceGlow,
    folder: Path,
    *,
    paper: str,
    clearance_mm: float,
    backend: str = "auto",
    report: Report = lambda text: None,
) -> MadeSheet:
    """Work out and write the build sheet of a scene to `folder`, whole or not at all.

    Raises SceneError for an unknown paper, a scene without lights, or a folder that holds other
    files of these names; GeometryError, SolveError or PictureError where something cannot be
    worked out.
    """
    paper_size_mm(paper)
    electrics = Electrics(scene_file)
    plan = electrics.plan
    if not electrics.boards:
        raise SceneError(
            f"{scene_file.toml.name}: no body has a light, so there is nothing to build in; add "
            "[[bodies.lights]] to a body"
        )
    check_free(folder, [PDF, HTML, LIGHTS])
    report("placing lights")
    bodies = _bodies(plan, glow, clearance_mm)
    seats = seats_of(bodies, glow.copies)
    bodies = with_feet(bodies, glow.copies, seats)
    lit = [places for places, _ in bodies if places.lights]
    files: dict[str, bytes] = {}
    described: list[tuple[str, str]] = [(PDF, "to print at 100 %"), (HTML, "to read on a screen")]
    for places, name in zip(lit, _file_names([places.name for places in lit]), strict=True):
        report(f"cutting pockets of {places.name}")
        fine = _full_detail(plan, places)
        cut = pocketed(places, fine)
        files[f"{name}.stl"], files[f"{name}.glb"] = stl(cut), glb(cut)
        what = f"{places.name}, {_what_mesh(plan, places)}{_detail(places, fine)}"
        described.append((f"{name}.stl, {name}.glb", what))
    for name, content, what in _heads(scene_file, bodies, glow, seats, files):
        files[name] = content
        described.append((name, what))
    files[LIGHTS] = markers([places for places, _ in bodies], glow.copies)
    described.append((LIGHTS, "boards and LEDs where they belong in the whole prop"))
    heat, why = _heat(scene_file, report)
    pictures, findings = _pictures(scene_file, electrics, glow, backend, report)
    report("writing the sheet")
    power = power_report(electrics)
    hours = (scene_file.scene.power and scene_file.scene.power.wanted_hours) or USUAL_HOURS
    short = power.choice is not None and power.choice.verdict in FALLS_SHORT
    prop = Prop(
        plan=plan,
        bodies=bodies,
        copies=glow.copies,
        seats=seats,
        power=power,
        carriers=carriers(electrics, hours) if short else (),
        carried_hours=hours,
        heat=heat,
        why_no_heat=why,
        pictures=pictures,
        findings=findings,
        trouble=trouble(electrics),
        files=tuple(described),
        notes=glow.notes,
    )
    sheet = build_sheet(prop, paper)
    page = html(sheet)
    files = {PDF: pdf(sheet, paper), HTML: page} | files
    # Every letter of the sheet stands in its HTML.
    return MadeSheet(sheet, tuple(fill(folder, files)), heat, unprintable(page.decode()))


def _heads(
    scene_file: SceneFile,
    bodies: tuple[tuple[BodyPlaces, int], ...],
    glow: SurfaceGlow,
    seats: dict[str, tuple[Seat, ...]],
    taken: Mapping[str, bytes],
) -> Iterator[tuple[str, bytes, str]]:
    """Yield the files of what the pieces sit on: itself with wire holes, jigs to drill them."""
    every = [seat for mine in seats.values() for seat in mine]
    made = [name.removesuffix(".stl") for name in taken if name.endswith(".stl")]
    names = dict.fromkeys(seat.head for seat in every)
    for head in names:
        body = bodies[next(copy.body for copy in glow.copies if copy.name == head)][0]
        mine = [seat for seat in every if seat.head == head]
        made = _file_names([*made, head])
        yield (
            f"{made[-1]}.stl",
            stl(bored(body, mine)),
            f"{head}, with a wire hole Ø {CHANNEL_MM:.0f} mm under each piece, in line with it"
            + (" and a socket for those that are sunk" if any(s.foot.sunk for s in mine) else ""),
        )
    for row in rows_of(scene_file.scene) if names else ():
        made = _file_names([*made, f"jig for {row.names[0]} to {row.names[-1]}"])
        yield f"{made[-1]}.stl", stl(jig(row)), jig_words(row)


def _what_mesh(plan: Plan, places: BodyPlaces) -> str:
    if places.spec.material not in plan.catalogue.materials:
        return "the form its sheet is laid on"
    cut = "its foot cut to sit" if any(not foot.sunk for foot in places.feet) else ""
    if places.making == "cast":
        return f"{cut or 'whole'}, for the mould: its boards are poured in"
    made = any(light.channel for light in places.lights)
    return (
        cut
        + (", " if cut else "")
        + (
            "with pockets, open to the base, and bores cut out"
            if made
            else "whole, as its lights sit in a hollow"
        )
    )


def _full_detail(plan: Plan, places: BodyPlaces) -> Mesh | None:
    """Return a body's own mesh with all its faces, None where what was worked with has them all."""
    if places.spec.material not in plan.catalogue.materials:
        return None
    number = plan.scene_file.scene.bodies.index(places.spec)
    fine = full_detail(plan.scene_file, number)
    same = fine is not None and len(fine.faces) == len(places.solid.outer.faces)
    return None if same else fine


def _detail(places: BodyPlaces, fine: Mesh | None) -> str:
    """Return what to say about the detail of a mesh that was cut."""
    if fine is not None:
        return f"; from your own mesh at full detail, {len(fine.faces)} faces"
    grown = places.spec.mesh is not None and places.spec.mesh.grow_mm > 0
    return "; from the surface as grown, with fewer faces than your mesh" if grown else ""


def _bodies(
    plan: Plan, glow: SurfaceGlow, clearance_mm: float
) -> tuple[tuple[BodyPlaces, int], ...]:
    """Return the different bodies, in the order of the glow's, with how many copies stand."""
    found = []
    for place, number in enumerate(plan.distinct.values()):
        solid = solid_of(plan.scene_file, number)
        count = sum(copy.body == place for copy in glow.copies)
        found.append((body_places(plan, number, solid, clearance_mm), count))
    return tuple(found)


def _heat(scene_file: SceneFile, report: Report) -> tuple[HeatReport | None, str]:
    """Return the heat, or why it could not be worked out; the sheet then says so."""
    try:
        return heat_of(scene_file, report=report), ""
    except GlowsimError as problem:
        return None, str(problem)


def _pictures(
    scene_file: SceneFile, electrics: Electrics, glow: SurfaceGlow, backend: str, report: Report
) -> tuple[tuple[tuple[Image.Image, str], ...], tuple[str, ...]]:
    """Return the pictures of the prop with their captions, and what is found on it, in words."""
    scene = scene_file.scene
    glow, notes = wired(glow, electrics), [loss_words(electrics), *headline(electrics)]
    report("drawing the prop")
    studio = Studio(glow, scene, backend)
    findings = findings_of(glow, scene)
    page = bright_map(studio, scene, marks_of(findings.found), PICTURE_SIZE)
    room = scene.room
    words = f"In {room.illuminance_lx:g} lx, seen from {room.viewing_distance_mm / 1000:g} m"
    words += f"; {notes[0] or glow.supply}." if glow.supply else "."
    words = " ".join([words, *notes[1:]])
    shown = (
        (studio.photo(PICTURE_SIZE), words),
        (page, "Brightness. Good to a third either way."),
    )
    return shown, listed(findings)


def listed(findings: Findings) -> tuple[str, ...]:
    """Return the findings that `glow` lists, a line each; what would mend them is for `glow` to
    say, which tries it first."""
    lines = [f"{f.number}. {f.body}: {f.kind}, {f.label}." for f in findings.found]
    more = [f"... and {findings.unlisted} lesser ones"] if findings.unlisted else []
    return (*lines, *more)


def _file_names(names: list[str]) -> list[str]:
    """Return file names for bodies: plain letters and digits, each one different."""
    made: list[str] = []
    for name in names:
        plain = re.sub(r"[^A-Za-z0-9]+", "_", name).strip("_").lower() or "body"
        number, tried = 2, plain
        while tried in (*made, "lights", "sheet"):
            tried, number = f"{plain}_{number}", number + 1
        made.append(tried)
    return made
