"""What to read next, and the plan before anything was read: for `glowsim calibrate`."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from glowsim.cli.common import console, print_json, print_written, progress_line, table_of

if TYPE_CHECKING:
    from glowsim.calibration.learn import Learnt
    from glowsim.calibration.plan import Gain
    from glowsim.geometry.mesh import FloatArray

COUNT_OPEN = 0.25
"""Boards, one deviation, from which a number of boards is said to hang on the material."""
LETTERS = {"mean": "its mean brightness", "evenness": "its 5%/mean"}


def next_sentences(
    learnt: Learnt, prop: Path | None, tell: Callable[[str], None] = lambda text: None
) -> list[str]:
    """Return which reading would narrow what a maker asks most, in sentences.

    prop : a scene whose bodies of the learnt material are asked about; without one, the length in
           which light falls to a tenth. Raises SceneError for a scene without such a body.
    """
    from glowsim.calibration import plan as plans
    from glowsim.calibration.lit_rod import rod_readings
    from glowsim.transport.problem import BANDS

    base, bench = learnt.base, learnt.file.bench
    every = list(plans.optics_of(base))
    for one in learnt.bands:
        every[BANDS.index(one.band)] = one.fitted.optics
    known = plans.known_of(base, {one.band: one.fitted.covariance for one in learnt.bands})
    if prop is None:
        bands = [BANDS.index(one.band) for one in learnt.bands]
        middle = bands[len(bands) // 2]
        reach = f"how far light reaches in {BANDS[middle]}"
        return [_next(plans.gains(every, known, plans.decay_question(every, middle)), reach)]
    asked, counts = _asked(prop, (bench.name, bench.material), tell)
    tell("weighing a photo")
    more = rod_readings(tuple(every))
    said = [_next(plans.gains(every, known, slopes, more), what) for what, slopes in asked.items()]
    for body, slopes in counts.items():
        gains = plans.gains(every, known, slopes, more)
        if gains[0].before < COUNT_OPEN:
            said.append(
                f"How many boards '{body}' needs hardly depends on the material any more "
                f"({plans.boards(gains[0].before)})."
            )
        else:
            said.append(_next(gains, f"how many boards '{body}' needs", plans.boards))
    return said


def _asked(
    prop: Path, names: tuple[str, str], tell: Callable[[str], None]
) -> tuple[dict[str, FloatArray], dict[str, FloatArray]]:
    """Return what may be asked of a prop's bodies of a material: questions by their words, and
    those about the number of boards by body."""
    from glowsim.decisions.count_question import count_questions
    from glowsim.decisions.linear import questions_of
    from glowsim.errors import SceneError
    from glowsim.scene import read_scene

    scene_file = read_scene(prop)
    asked = {
        f"'{body}': {LETTERS[figure]}": slopes
        for (body, material), figures in questions_of(scene_file).items()
        if material in names
        for figure, slopes in figures.items()
    }
    if not asked:
        raise SceneError(f"{prop}: no lit body is of '{names[0]}' or '{names[1]}'; name another")
    counted = count_questions(scene_file, names, tell)
    return asked, {body: slopes for (body, _), slopes in counted.items()}


def _next(gains: list[Gain], what: str, said: Callable[[float], str] | None = None) -> str:
    """Return the most telling reading, or that none is worth its minutes, in a sentence."""
    from glowsim.calibration import plan as plans

    best, said = gains[0], said or plans.percent
    if best.worth:
        return plans.told(best, what, said)
    return f"Known well enough: {what}, to {said(best.before)}; more readings hardly help."


def print_plan(scene: Path, out: Path | None, as_json: bool) -> None:
    """Print what is worth measuring of a scene's materials and write a sheet for the bench."""
    from glowsim.buildsheet.bench_sheet import bench_sheet
    from glowsim.buildsheet.pdf import pdf
    from glowsim.calibration import plan as plans
    from glowsim.calibration.lit_rod import rod_readings
    from glowsim.decisions.linear import questions_of
    from glowsim.files import write_whole
    from glowsim.scene import read_scene
    from glowsim.transport.plan import plan_of

    scene_file = read_scene(scene)
    catalogue = plan_of(scene_file).catalogue
    folder = out if out is not None else Path(f"{scene.stem}-plan")
    plain: list[dict[str, Any]] = []
    written: list[Path] = []
    with progress_line() as tell:
        tell("asking what depends on the materials")
        for (body, name), figures in _each_material(questions_of(scene_file)).items():
            material = catalogue.material(name)
            every, known = plans.optics_of(material), plans.known_of(material, {})
            tell(f"weighing a photo of {name}")
            more = rod_readings(every)
            mean, evenness = (
                plans.gains(every, known, figures[key], more) for key in ("mean", "evenness")
            )
            path = folder / f"{name}.pdf"
            write_whole(path, pdf(bench_sheet(scene_file.stem, name, every, mean, "mean"), "A4"))
            written.append(path)
            plain.append({"body": body, "material": name, "readings": _weighed(mean, evenness)})
    if as_json:
        print_json({"materials": plain, "written": [str(path) for path in written]})
        return
    for one in plain:
        _print_one(one)
    print_written(written)


def _weighed(mean: list[Gain], evenness: list[Gain]) -> list[dict[str, Any]]:
    """Return what each reading would tell of both questions, the best for the mean first."""
    other = {gain.candidate.words: gain for gain in evenness}
    return [
        {
            "read": gain.candidate.words,
            "minutes": gain.candidate.minutes,
            "mean_sd": [gain.before, gain.after],
            "evenness_sd": [
                other[gain.candidate.words].before, other[gain.candidate.words].after,
            ],
        }
        for gain in mean
    ]  # fmt: skip


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
        f"What is worth reading of {one['material']}, for '{one['body']}'",
        ["read"],
        ["minutes", "mean, now", "then", "5%/mean, now", "then"],
    )
    for row in one["readings"]:
        figures = [percent(sd) for key in ("mean_sd", "evenness_sd") for sd in row[key]]
        table.add_row(row["read"], f"{row['minutes']:g}", *figures)
    table.caption = (
        "how far the glow's mean and its 5%/mean may be off either way, for what is not known of "
        "the material: now, and after that reading; what tells most for its minutes comes first"
    )
    console().print(table)


def print_check(readings: Path, out: Path | None, as_json: bool) -> None:
    """Print where photos of a finished prop differ from what was predicted, and draw it."""
    from glowsim.calibration.check_page import check_page
    from glowsim.calibration.readings import read_readings
    from glowsim.calibration.subject import check_photos
    from glowsim.files import write_whole

    file = read_readings(readings)
    with progress_line() as tell:
        found = check_photos(file, tell)
        tell("drawing")
        picture = check_page([one.compared for one in found])
    path = (out if out is not None else Path(f"{readings.stem}-check")) / "check.png"
    write_whole(path, lambda place: picture.save(place, "PNG"))
    if as_json:
        print_json(
            {
                "photos": [
                    {
                        "words": one.sentences,
                        "parts": one.parts,
                        "places": one.compared.points.tolist(),
                        "photo_over_prediction": np.exp(one.compared.off).tolist(),
                        "causes": [{"cause": c.words, "gain": c.gain} for c in one.causes],
                    }
                    for one in found
                ],
                "written": [str(path)],
            }
        )
        return
    for one in found:
        console().print(*one.sentences, sep="\n")
    print_written([path])
