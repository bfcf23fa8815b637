"""A photo of a lit rod that could be taken, for weighing what to read next."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from glowsim.calibration.camera import CameraCurve
from glowsim.calibration.fields import Band
from glowsim.calibration.forward import Optics
from glowsim.calibration.lit import Photo
from glowsim.calibration.plan import PHOTO_MINUTES, Candidate, round_mm
from glowsim.calibration.prop import TestPiece
from glowsim.calibration.surface import SurfaceSeries, photo_series
from glowsim.scene import parse_scene
from glowsim.transport.build import body_problem
from glowsim.transport.plan import plan_of
from glowsim.transport.problem import BodyProblem

DIAMETER, LENGTH = 12.0, 36.0
"""Of the rod, in transport lengths: thick enough for diffusion, long enough to show the fall."""
LEAST_DIAMETER_MM, MOST_DIAMETER_MM = 12.0, 60.0
"""Into a thinner one no board goes, and nobody has a thicker one."""
PLACES = 12
_BAND: tuple[Band, ...] = ("red", "green", "blue")


def rod_photo(material: str, every: tuple[Optics, ...]) -> Candidate | None:
    """Return the photo of a rod lit at its foot, once in each band; None for a material so dense
    or so clear that no rod of a usual size would do.

    material : an entry of the catalogue that the rod is drawn of;  every : what is believed of it
    """
    length = 1.0 / (every[1].mu_a_per_mm + every[1].mu_s_reduced_per_mm)
    diameter_mm = round_mm(DIAMETER * length)
    if not LEAST_DIAMETER_MM <= diameter_mm <= MOST_DIAMETER_MM:
        return None
    length_mm = round_mm(LENGTH * length)
    problem = _rod(material, diameter_mm, length_mm)
    series = []
    for band, (name, optics) in enumerate(zip(_BAND, every, strict=True)):
        piece = TestPiece(problem, material, band, np.ones(1), optics)
        series.append((_read(piece, name, optics, diameter_mm, length_mm),))
    words = (
        f"a photo of a rod of it, {diameter_mm:g} mm thick and {length_mm:g} mm long, lit at its "
        "foot, on the marks card"
    )
    return Candidate(words, PHOTO_MINUTES, tuple(series))


def _rod(material: str, diameter_mm: float, length_mm: float) -> BodyProblem:
    scene = f"""
[[bodies]]
name = "rod"
shape = {{ kind = "rod", length_mm = {length_mm}, diameter_mm = {diameter_mm} }}
material = "{material}"
detail_mm = {diameter_mm / 8}
  [[bodies.lights]]
  board = "rgb_5050_18ma"
  position_mm = [0, 0, {0.25 * diameter_mm}]
"""
    return body_problem(plan_of(parse_scene(scene)), 0)


def _read(
    piece: TestPiece, band: Band, optics: Optics, diameter_mm: float, length_mm: float
) -> SurfaceSeries:
    """Return the series of the photo, as if the rod were what is believed of it."""
    radius = 0.5 * diameter_mm

    def photo(values: tuple[float, ...]) -> SurfaceSeries:
        one = Photo(
            scene="rod.toml", band=band, from_mm=(radius, 0.0, 0.6 * diameter_mm),
            to_mm=(radius, 0.0, length_mm - radius), toward=(1.0, 0.0, 0.0), values=values,
        )  # fmt: skip
        return photo_series(one, piece, "photo", CameraCurve(1.0, None), Path())

    guess = photo(tuple(np.linspace(1.0, 0.5, PLACES).tolist()))
    value = guess.foreseen(optics).value
    return photo(tuple(np.exp(value - value.max()).tolist()))
