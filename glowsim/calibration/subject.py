"""The prop of a photo that is to be checked, as its scene has it."""

from __future__ import annotations

from functools import partial
from pathlib import Path

import numpy as np

from glowsim.calibration.bench import CLEAREST_PER_MM, Bench
from glowsim.calibration.check import Checked, checked
from glowsim.calibration.compare import Report
from glowsim.calibration.forward import Optics
from glowsim.calibration.image import UnreadableError
from glowsim.calibration.lit import Photo
from glowsim.calibration.prop import TestPiece
from glowsim.calibration.readings import ReadingsFile
from glowsim.scene import SceneFile, read_scene
from glowsim.transport.build import body_problem
from glowsim.transport.plan import Plan, plan_of
from glowsim.transport.problem import BANDS

THINNER = 0.85
"""Of a wall, that is tried."""


def check_photos(file: ReadingsFile, report: Report = lambda text: None) -> list[Checked]:
    """Return every photo of a readings file beside what its scene foretells.

    Raises ReadingsError for photos that cannot be used, and what a scene or a solve may raise.
    """
    found = []
    for number, photo in enumerate(file.bench.photos):
        at = ("photos", number)
        if not photo.images:
            raise file.fault((*at, "images"), "a photo to check needs images and points")
        try:
            found.append(_one(photo, file.folder, report))
        except UnreadableError as problem:
            raise file.fault((*at, *problem.at), str(problem)) from None
        except ValueError as problem:
            raise file.fault(at, str(problem)) from None
    if not found:
        raise file.fault(("photos",), "there is no photo to check")
    return found


def _one(photo: Photo, folder: Path, report: Report) -> Checked:
    scene_file = read_scene(folder / photo.scene)
    names = [body.name for body in scene_file.scene.bodies]
    if photo.body is None and len(names) > 1:
        raise UnreadableError(f"the scene has several bodies ({', '.join(names)}); give 'body'")
    if photo.body is not None and photo.body not in names:
        raise UnreadableError(f"the scene has no body '{photo.body}'", "body")
    number = 0 if photo.body is None else names.index(photo.body)
    report("shaping the prop")
    plan = plan_of(scene_file)
    body = scene_file.scene.bodies[number]
    entry = plan.catalogue.material(body.material)
    band = BANDS.index(photo.band)
    optics = Optics(
        max(entry.mu_a_per_mm[band], CLEAREST_PER_MM),
        max(entry.mu_s_reduced_per_mm[band], CLEAREST_PER_MM),
        entry.g,
        entry.refractive_index,
    )
    piece = _piece(plan, number, band, optics)
    thinner = None
    if body.wall_mm is not None:
        wall = THINNER * body.wall_mm
        thinner = body.wall_mm - wall, partial(_thinned, scene_file, number, wall, band, optics)
    return checked(photo, folder, piece, optics, entry.covariance[band], thinner, report)


def _piece(plan: Plan, number: int, band: int, optics: Optics) -> TestPiece:
    problem = body_problem(plan, number)
    weight, factor = Bench.weight(plan, number, band, problem.emitters.light_count)
    if not np.sum(weight) > 0:
        raise UnreadableError(f"no light of the prop is lit in {BANDS[band]}", "band")
    material = plan.scene_file.scene.bodies[number].material
    return TestPiece(problem, material, band, weight, optics, factor)


def _thinned(
    scene_file: SceneFile, number: int, wall_mm: float, band: int, optics: Optics
) -> TestPiece:
    return _piece(plan_of(_with_wall(scene_file, number, wall_mm)), number, band, optics)


def _with_wall(scene_file: SceneFile, number: int, wall_mm: float) -> SceneFile:
    body = scene_file.scene.bodies[number]
    return scene_file.with_body(number, body.model_copy(update={"wall_mm": wall_mm}))
