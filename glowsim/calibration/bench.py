"""From a readings file to series of readings in each band, with their test pieces."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import partial
from typing import Any, TypeVar

import numpy as np

from glowsim.calibration.camera import curve_of
from glowsim.calibration.card import CardSeries
from glowsim.calibration.fit import Prior
from glowsim.calibration.forward import Optics, Series
from glowsim.calibration.image import UnreadableError
from glowsim.calibration.lit import Lux, Photo
from glowsim.calibration.piles import PileSeries
from glowsim.calibration.prop import TestPiece
from glowsim.calibration.readings import Card, Piles, ReadingsFile
from glowsim.calibration.surface import (
    READ_FACE_MM,
    longest_edge_mm,
    lux_series,
    photo_series,
)
from glowsim.catalogue import Material, load_catalogue
from glowsim.errors import GlowsimError
from glowsim.scene import read_scene
from glowsim.transport.build import body_problem
from glowsim.transport.plan import Plan, plan_of
from glowsim.transport.problem import BANDS, BodyProblem, Kind
from glowsim.transport.sizes import MOST_FACES, Sizes

AnyReading = TypeVar("AnyReading", Piles, Card, Photo, Lux)
FACE_MM = 2.5
"""Edge of faces that a test piece is cut into."""
CLEAREST_PER_MM = 1e-6
"""Stands in for no absorption at all: a logarithm needs something to start from."""


def base_of(file: ReadingsFile) -> Material:
    """Return the catalogue's entry that the readings start from; raises ReadingsError."""
    catalogue = load_catalogue()
    if reason := catalogue.fault("material", file.bench.material):
        raise file.fault(("material",), reason)
    return catalogue.material(file.bench.material)


def prior_of(base: Material, band: int) -> Prior:
    """Return what the catalogue believes about a band: its value and range."""
    optics = Optics(
        max(base.mu_a_per_mm[band], CLEAREST_PER_MM),
        max(base.mu_s_reduced_per_mm[band], CLEAREST_PER_MM),
        base.g,
        base.refractive_index,
    )
    factors = np.array([base.mu_a_factor, base.mu_s_reduced_factor])
    return Prior(optics, np.log(np.maximum(factors, 1.05)))


class Bench:
    """The series of a readings file. Test pieces that were built are kept."""

    def __init__(self, file: ReadingsFile, base: Material) -> None:
        """Keep the file and the entry it starts from."""
        self.file, self.base = file, base
        self._pieces: dict[tuple[str, str | None, str], TestPiece] = {}

        try:
            self.camera = curve_of(file.bench.levels)
        except UnreadableError as problem:
            raise file.fault(("levels", *problem.at), str(problem)) from None

    def bands(self) -> list[str]:
        """Return the bands that anything was read in, in the usual order."""
        bench = self.file.bench
        every = (bench.piles, bench.cards, bench.photos, bench.lux)
        read = {one.band for kind in every for one in kind}
        return [band for band in BANDS if band in read]

    def series(self, band: str, report: Callable[[str], None]) -> list[Series]:
        """Return what was read in a band; raises ReadingsError or what a scene may raise."""
        bench = self.file.bench
        found: list[Series] = []
        for _, piles, name in _of_band(bench.piles, band, "piles"):
            found.append(PileSeries(piles, name))
        for _, card, name in _of_band(bench.cards, band, "card"):
            found.append(CardSeries(card, name))
        for k, photo, name in _of_band(bench.photos, band, "photo"):
            report("shaping the piece in the photo")
            make = partial(photo_series, camera=self.camera, folder=self.file.folder)
            found.append(self._surface(photo, ("photos", k), make, name))
        for k, lux, name in _of_band(bench.lux, band, "meter"):
            report("shaping the piece under the meter")
            found.append(self._surface(lux, ("lux", k), lux_series, name))
        return found

    def _surface(
        self, one: Photo | Lux, at: tuple[str, int], make: Callable[..., Any], name: str
    ) -> Series:
        try:
            series: Series = make(one, self._piece(one, at), name)
        except UnreadableError as problem:
            raise self.file.fault((*at, *problem.at), str(problem)) from None
        except ValueError as problem:
            raise self.file.fault(at, str(problem)) from None
        return series

    def _piece(self, one: Photo | Lux, at: tuple[str, int]) -> TestPiece:
        key = (one.scene, one.body, one.band)
        if key not in self._pieces:
            self._pieces[key] = self._built(one, at)
        return self._pieces[key]

    def _built(self, one: Photo | Lux, at: tuple[str, int]) -> TestPiece:
        try:
            scene_file = read_scene(self.file.folder / one.scene)
            plan = plan_of(scene_file)
        except GlowsimError as problem:
            raise self.file.fault((*at, "scene"), str(problem)) from None
        bodies = scene_file.scene.bodies
        names = [body.name for body in bodies]
        if one.body is None and len(bodies) > 1:
            raise self.file.fault(
                at, f"the scene has {len(bodies)} bodies ({', '.join(names)}); give 'body'"
            )
        if one.body is not None and one.body not in names:
            raise self.file.fault((*at, "body"), f"the scene has no body '{one.body}'")
        number = 0 if one.body is None else names.index(one.body)
        body = _finely_cut(plan, number)
        material = self.file.bench.material
        if not any(m.name == material and m.kind == Kind.SCATTERS for m in body.media):
            raise self.file.fault(
                (*at, "scene"),
                f"'{names[number]}' has no part of '{material}': make the test piece of it in the "
                "scene",
            )
        band = BANDS.index(one.band)
        weight, factor = self.weight(plan, number, band, body.emitters.light_count)
        if not weight.sum() > 0:
            raise self.file.fault(
                (*at, "band"), f"no light of '{names[number]}' is lit in {one.band}"
            )
        start = prior_of(self.base, band).optics
        return TestPiece(body, material, band, weight, start, factor)

    @staticmethod
    def weight(plan: Any, number: int, band: int, count: int) -> tuple[np.ndarray, float]:
        """Return the flux of a body's lights in a band [lm], and what it may be off by."""
        name = plan.scene_file.scene.bodies[number].name
        centres = [np.zeros((len(b.lights), 3)) for b in plan.scene_file.scene.bodies]
        copies, lights = plan.copies([centres[k] for k in plan.distinct.values()])
        mine = next(copy for copy in copies if copy.of == name).lights[:count]
        flux = np.array([lights[k].flux_lm[band] * lights[k].drive[band] for k in mine])
        return flux, max((lights[k].flux_factor for k in mine), default=1.0)


def _finely_cut(plan: Plan, number: int) -> BodyProblem:
    """Return the problem of a body, cut into faces that can be read where neither its scene nor its
    size speaks against it."""
    body = body_problem(plan, number)
    if longest_edge_mm(body.walls.triangles[body.skin]) <= READ_FACE_MM:
        return body
    area = float(body.walls.areas_mm2[body.skin].sum())
    # An equilateral triangle of edge e has the area 0.433 e^2.
    face_mm = max(FACE_MM, float(np.sqrt(area / (0.433 * MOST_FACES))))
    sizes = {**plan.sizes, number: Sizes(face_mm, body.cell_mm)}
    return body_problem(replace(plan, sizes=sizes), number)


def _of_band(
    every: Sequence[AnyReading], band: str, kind: str
) -> list[tuple[int, AnyReading, str]]:
    """Return what was read in a band: its place in the file, itself, and what to call it."""
    mine = [(k, one) for k, one in enumerate(every) if one.band == band]
    several = len(mine) > 1
    return [(k, one, f"{kind} {k + 1}" if several else kind) for k, one in mine]
