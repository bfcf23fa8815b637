"""What to read next, and the plan before anything was read: for `glowsim calibrate`."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from glowsim.cli.common import console, print_json, progress_line, table_of

if TYPE_CHECKING:
    from glowsim.calibration.learn import Learnt
    from glowsim.geometry.mesh import FloatArray

LETTERS = {"mean": "its mean brightness", "evenness": "its 5%/mean"}


def next_sentences(learnt: Learnt, prop: Path | None) -> list[str]:
    """Return which reading would narrow what a maker asks most, in sentences.

    prop : a scene whose bodies of the learnt material are asked about; without one, the length in
           which light falls to a tenth. Raises SceneError for a scene without such a body.
    """
    from glowsim.calibration import plan as plans
    from glowsim.decisions.linear import questions_of
    from glowsim.errors import SceneError
    from glowsim.scene import read_scene
    from glowsim.transport.problem import BANDS

    base, bench = learnt.base, learnt.file.bench
    every = list(plans.optics_of(base))
    for one in learnt.bands:
        every[BANDS.index(one.band)] = one.fitted.optics
    known = plans.known_of(base, {one.band: one.fitted.covariance for one in learnt.bands})
    if prop is None:
        bands = [BANDS.index(one.band) for one in learnt.bands]
        question = plans.decay_question(every, bands[len(bands) // 2])
        asked = {f"how far light reaches in {BANDS[bands[len(bands) // 2]]}": question}
    else:
        found = questions_of(read_scene(prop))
        asked = {
            f"'{body}': {LETTERS[figure]}": slopes
            for (body, material), figures in found.items()
            if material in (bench.name, bench.material)
            for figure, slopes in figures.items()
        }
        if not asked:
            raise SceneError(
                f"{prop}: no lit body is of '{bench.name}' or '{bench.material}'; name another"
            )
    sentences = []
    for what, question in asked.items():
        best = plans.gains(every, known, question)[0]
        if best.worth:
            sentences.append(plans.told(best, what))
        else:
            sd = plans.percent(best.before)
            sentences.append(f"Known well enough: {what}, to {sd}; more readings hardly help.")
    return sentences


def print_plan(scene: Path, out: Path | None, as_json: bool) -> None:
    """Print what is worth measuring of a scene's materials and write a sheet for the bench."""
    from glowsim.buildsheet.bench_sheet import bench_sheet
    from glowsim.buildsheet.pdf import pdf
    from glowsim.calibration import plan as plans
    from glowsim.decisions.linear import questions_of
    from glowsim.files import write_whole
    from glowsim.scene import read_scene
    from glowsim.transport.plan import plan_of

    scene_file = read_scene(scene)
    catalogue = plan_of(scene_file).catalogue
    folder = out if out is not None else Path(f"{scene.stem}-plan")
    with progress_line() as tell:
        tell("asking what hangs on the materials")
        found = questions_of(scene_file)
    plain: list[dict[str, Any]] = []
    written: list[Path] = []
    for (body, name), figures in _each_material(found).items():
        material = catalogue.material(name)
        every = plans.optics_of(material)
        gains = plans.gains(every, plans.known_of(material, {}), figures["mean"])
        evenness = plans.gains(every, plans.known_of(material, {}), figures["evenness"])
        sheet = bench_sheet(scene_file.stem, name, every, gains, "mean")
        path = folder / f"{name}.pdf"
        write_whole(path, pdf(sheet, "A4"))
        written.append(path)
        words = {g.candidate.words: g for g in evenness}
        plain.append(
            {
                "body": body,
                "material": name,
                "readings": [
                    {
                        "read": g.candidate.words,
                        "minutes": g.candidate.minutes,
                        "mean_sd": [g.before, g.after],
                        "evenness_sd": [
                            words[g.candidate.words].before, words[g.candidate.words].after,
                        ],
                    }
                    for g in gains
                ],
            }
        )  # fmt: skip
    if as_json:
        print_json({"materials": plain, "written": [str(path) for path in written]})
        return
    for one in plain:
        _print_one(one)
    console().print("Written:", *(f"\n  {path}" for path in written), markup=False, sep="")


def _each_material(
    found: dict[tuple[str, str], dict[str, FloatArray]],
) -> dict[tuple[str, str], dict[str, FloatArray]]:
    """Return the first body of each material."""
    first: dict[str, tuple[str, str]] = {}
    for key in found:
        first.setdefault(key[1], key)
    return {key: found[key] for key in first.values()}


def _print_one(one: dict[str, Any]) -> None:
    from glowsim.calibration.plan import percent

    table = table_of(
        f"what is worth reading of {one['material']}, for '{one['body']}'",
        ["read"],
        ["minutes", "mean, now", "then", "5%/mean, now", "then"],
    )
    for row in one["readings"]:
        figures = [percent(sd) for key in ("mean_sd", "evenness_sd") for sd in row[key]]
        table.add_row(row["read"], f"{row['minutes']:g}", *figures)
    console().print(table)


def print_check(readings: Path, out: Path | None, as_json: bool) -> None:
    """Print where photos of a finished prop part from what was foreseen, and draw it."""
    from glowsim.calibration.check_page import check_page
    from glowsim.calibration.readings import read_readings
    from glowsim.calibration.subject import check_photos
    from glowsim.files import write_whole

    file = read_readings(readings)
    with progress_line() as tell:
        found = check_photos(file, tell)
        tell("drawing")
        picture = check_page(found)
    path = (out if out is not None else Path(f"{readings.stem}-check")) / "check.png"
    write_whole(path, lambda place: picture.save(place, "PNG"))
    if as_json:
        print_json(
            {
                "photos": [
                    {
                        "words": one.sentences,
                        "parts": one.parts,
                        "places": one.points.tolist(),
                        "photo_over_prediction": np.exp(one.off).tolist(),
                        "causes": [{"cause": c.words, "gain": c.gain} for c in one.causes],
                    }
                    for one in found
                ],
                "written": [str(path)],
            }
        )
        return
    for one in found:
        console().print(*one.sentences, sep="\n", markup=False)
    console().print("Written:", f"\n  {path}", markup=False, sep="")
