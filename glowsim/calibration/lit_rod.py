"""A photo of a lit rod that could be taken, or a meter pressed on it, for weighing what to read."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from glowsim.calibration.camera import CameraCurve
from glowsim.calibration.fields import Band
from glowsim.calibration.forward import Optics
from glowsim.calibration.lit import Lux, Photo
from glowsim.calibration.plan import (
    LUX_MINUTES,
    PHOTO_MINUTES,
    Candidate,
    beside_paper,
    both,
    round_mm,
)
from glowsim.calibration.prop import TestPiece
from glowsim.calibration.surface import SurfaceSeries, lux_series, photo_series
from glowsim.scene import parse_scene
from glowsim.transport.build import body_problem
from glowsim.transport.plan import plan_of
from glowsim.transport.problem import BodyProblem

DIAMETER, LENGTH = 12.0, 36.0
"""Of the rod, in transport lengths: thick enough for diffusion, long enough to show the fall."""
LEAST_DIAMETER_MM, MOST_DIAMETER_MM = 12.0, 60.0
"""Into a thinner one no board goes, and nobody has a thicker one."""
TUBE_MM, WALL_MM = (30.0, 60.0), 3.0
"""Diameter, length and wall of a closed tube, where a solid rod would be too thin."""
STUFF = "upholstery_foam_white"
"""The entry that the rod is drawn of; the optics asked for take its place."""
PLACES, PRESSED = 12, 5
_BAND: tuple[Band, ...] = ("red", "green", "blue")


@dataclass(frozen=True)
class Rod:
    """A test piece that is lit at its foot; with a wall, a closed tube."""

    diameter_mm: float
    length_mm: float
    wall_mm: float | None

    @property
    def words(self) -> str:
        """What to make."""
        size = f"{self.diameter_mm:g} mm thick and {self.length_mm:g} mm long"
        if self.wall_mm is None:
            return f"a rod {size}"
        return f"a closed tube {size} with a wall of {self.wall_mm:g} mm"


def rod_of(optics: Optics) -> Rod | None:
    """Return the piece to make of a material; None of one so clear that no usual size would do."""
    length = 1.0 / (optics.mu_a_per_mm + optics.mu_s_reduced_per_mm)
    diameter_mm = round_mm(DIAMETER * length)
    if diameter_mm > MOST_DIAMETER_MM:
        return None
    if diameter_mm < LEAST_DIAMETER_MM:
        return Rod(*TUBE_MM, WALL_MM)
    return Rod(diameter_mm, round_mm(LENGTH * length), None)


def rod_readings(every: tuple[Optics, ...]) -> list[Candidate]:
    """Return the photo of a rod, once in each band, a light meter pressed on it, and the photo with
    a piece beside paper.

    every : what is believed of the material in each band
    """
    rod = rod_of(every[1])
    if rod is None:
        return []
    problem = _problem(rod, every[1].n)
    photos, pressed = [], []
    for band, (name, optics) in enumerate(zip(_BAND, every, strict=True)):
        piece = TestPiece(problem, STUFF, band, np.ones(1), optics)
        photos.append((_photo(piece, name, optics, rod),))
        pressed.append((_lux(piece, name, rod),))
    lit = f"{rod.words}, lit at its foot"
    photo = Candidate(f"a photo of {lit}, on the marks card", PHOTO_MINUTES, tuple(photos))
    meter = f"a light meter pressed on {PRESSED} places up {lit}"
    return [
        photo,
        Candidate(meter, LUX_MINUTES, tuple(pressed)),
        both("no meter: ", beside_paper(), photo),
    ]


def _problem(rod: Rod, n: float) -> BodyProblem:
    # Inside a tube every face sees every other: coarser ones will do, light is even there.
    wall, faces = ("", 8) if rod.wall_mm is None else (f"wall_mm = {rod.wall_mm}", 4)
    scene = f"""
[[bodies]]
name = "rod"
shape = {{ kind = "rod", length_mm = {rod.length_mm}, diameter_mm = {rod.diameter_mm} }}
material = "{STUFF}"
detail_mm = {rod.diameter_mm / faces}
{wall}
  [[bodies.lights]]
  board = "rgb_5050_18ma"
  position_mm = [0, 0, {0.25 * rod.diameter_mm}]
"""
    problem = body_problem(plan_of(parse_scene(scene)), 0)
    media = tuple(
        replace(one, refractive_index=n) if one.name == STUFF else one for one in problem.media
    )
    return replace(problem, media=media)


def _photo(piece: TestPiece, band: Band, optics: Optics, rod: Rod) -> SurfaceSeries:
    """Return the series of the photo, as if the rod were what is believed of it."""
    ends = _ends(rod)

    def photo(values: tuple[float, ...]) -> SurfaceSeries:
        one = Photo(
            scene="rod.toml", band=band, from_mm=ends[0], to_mm=ends[1], toward=(1.0, 0.0, 0.0),
            values=values,
        )  # fmt: skip
        return photo_series(one, piece, "photo", CameraCurve(1.0, None), Path())

    guess = photo(tuple(np.linspace(1.0, 0.5, PLACES).tolist()))
    value = guess.foreseen(optics).value
    return photo(tuple(np.exp(value - value.max()).tolist()))


def _lux(piece: TestPiece, band: Band, rod: Rod) -> SurfaceSeries:
    """Return the series of the meter: only the ratios of its readings count."""
    places = tuple(map(tuple, np.linspace(*_ends(rod), PRESSED).tolist()))
    one = Lux(scene="rod.toml", band=band, at_mm=places, reading=(1.0,) * PRESSED)
    return lux_series(one, piece, "meter")


def _ends(rod: Rod) -> tuple[tuple[float, float, float], tuple[float, float, float]]:
    """Return the lower and upper end of the stretch that is read."""
    radius = 0.5 * rod.diameter_mm
    return (radius, 0.0, 0.6 * rod.diameter_mm), (radius, 0.0, rod.length_mm - radius)
