"""Made-up photos of test pieces of three materials with a card beside them, learnt from again.

What a piece lets out comes from the reference solver, what a thick one sends back from
adding-doubling; the errors are not those that the fit reckons with. `python -m
tests.support.photo_intervals SEED DRAWS [foam resin print]` prints how often 68 % intervals of
ln mu_a and ln mu_s' hold, and by how many deviations fits are off on the mean, under all errors or,
after the names, one alone (`shift`, `depth`, `stray`, `corners`, `each`, `response`, `paper`).
"""

from __future__ import annotations

import sys
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.polynomial import Polynomial

from glowsim.calibration.bench import prior_of
from glowsim.calibration.camera import CameraCurve
from glowsim.calibration.card import CardSeries
from glowsim.calibration.fit import Prior
from glowsim.calibration.forward import Optics, Series
from glowsim.calibration.learn import fit_on_fine_cells
from glowsim.calibration.lit import Photo
from glowsim.calibration.prop import SLOPE, TestPiece, moved_by
from glowsim.calibration.readings import Card
from glowsim.calibration.surface import photo_series
from glowsim.catalogue import load_catalogue
from glowsim.geometry.kept import Kept
from glowsim.scene import parse_scene
from glowsim.transport.build import body_problem
from glowsim.transport.plan import plan_of
from glowsim.transport.reference import Goal, solve_body
from tests.support.doubling import adding_doubling

STUB = """
[[bodies]]
name = "stub"
shape = {{ kind = "rod", length_mm = 48, diameter_mm = 20 }}
material = "{material}"
detail_mm = {detail}
{wall}
  [[bodies.lights]]
  board = "rgb_5050_18ma"
  position_mm = [0, 0, 6]
"""
SPAN, PLACES = (17.0, 38.0), 8
TRUTHS = ((0.4, -0.2, 0.1), (-0.4, 0.2, -0.1))
"""What two materials are of that the photos show and the fit does not know: ln of absorption and
of cloudiness beside the catalogue's, and g."""
GRID, PHOTON_GRID = 0.6, 0.4
ERRORS = ("shift", "depth", "stray", "corners", "each", "response", "paper")


@dataclass(frozen=True)
class Sort:
    """A test piece. photons : of the reference, for each of its materials."""

    material: str
    photons: int
    wall_mm: float | None = None
    detail_mm: float = 2.5

    @property
    def prior(self) -> Prior:
        """What the catalogue says of its material in green."""
        return prior_of(load_catalogue().material(self.material), 1)

    def piece(self) -> Tabled:
        """Return the piece as it is drawn."""
        wall = "" if self.wall_mm is None else f"wall_mm = {self.wall_mm}"
        text = STUB.format(material=self.material, detail=self.detail_mm, wall=wall)
        problem = body_problem(plan_of(parse_scene(text)), 0)
        made = Tabled(problem, self.material, 1, np.ones(1), self.prior.optics)
        made._kept, made._photons, made.start = Kept(4000), Kept(100), self.prior.optics
        return made

    def truth(self, number: int) -> Optics:
        """Return one of the two materials."""
        *moved, g = TRUTHS[number]
        optics = self.prior.optics
        return replace(optics.at(optics.logarithms + np.array(moved)), g=optics.g + g)


SORTS = {
    "foam": Sort("upholstery_foam_white", 1_000_000),
    "resin": Sort("milky_resin_medium", 1_000_000),
    "print": Sort("pla_white", 100_000, wall_mm=1.6, detail_mm=5.0),
}


class Tabled(TestPiece):
    """A test piece solved on a grid of GRID in the logarithms; between four of its points, values
    and slopes blended so that whatever is quadratic comes out as it is. Forty fits then cost as
    many solves as four."""

    start: Optics

    def _on(self, cell_mm: float, optics: Optics, deeper_mm: float = 0.0) -> np.ndarray:
        at = (optics.logarithms - self.start.logarithms) / GRID
        low = np.floor(at)
        value, slope = 0.0, 0.0
        for corner in np.ndindex(2, 2):
            weight = float(np.prod(np.where(corner, at - low, 1 - at + low)))
            if weight < 1e-9:
                continue
            node = self.start.logarithms + GRID * (low + corner)
            light = np.log(super()._on(cell_mm, optics.at(node), deeper_mm))
            there = (light[1:] - light[0]) / SLOPE
            value = value + weight * (light[0] + 0.5 * (optics.logarithms - node) @ there)
            slope = slope + weight * there
        return np.exp(np.array([value, *(value + SLOPE * np.asarray(slope))]))

    def counted(self, optics: Optics, photons: int, work: float) -> tuple[np.ndarray, np.ndarray]:
        """Photons at the nearest point of PHOTON_GRID, their ratio to quick taken over."""
        steps = np.round((optics.logarithms - self.start.logarithms) / PHOTON_GRID)
        node = optics.at(self.start.logarithms + PHOTON_GRID * steps)
        light, variance = super().counted(node, photons, work)
        ratio = self.as_cut(optics)[0] / self.as_cut(node)[0]
        return light * ratio, variance * ratio**2

    def begin(self) -> None:
        """Forget what was refined for earlier readings; solves are kept."""
        self.cell_mm, self._finer = self._cell_for(self.start), 0.0

    def refine(self, optics: Optics) -> bool:
        steps = np.round((optics.logarithms - self.start.logarithms) / GRID)
        return super().refine(optics.at(self.start.logarithms + GRID * steps))


def bright(piece: Tabled, truth: Optics, photons: int) -> Polynomial:
    """Return ln of the exitance up the side by the reference, as a polynomial of the height."""
    media = tuple(
        replace(
            one, mu_a_per_mm=np.full(3, truth.mu_a_per_mm), g=truth.g, refractive_index=truth.n,
            mu_s_reduced_per_mm=np.full(3, truth.mu_s_reduced_per_mm),
        ) if one.name == piece.material else one
        for one in piece.problem.media
    )  # fmt: skip
    goal = Goal(noise=None, photons=photons)
    light, _ = solve_body(replace(piece.problem, media=media), seed=5, goal=goal)
    out, skin = (light.diffuse + light.direct)[0, 1], piece.skin
    side = (np.abs(skin.normal[:, 2]) < 0.5) & (np.abs(skin.centre[:, 2] - 28.0) < 15.0)
    height, area = skin.centre[side, 2], skin.area[side]
    _, ring = np.unique(np.round(height / 2), return_inverse=True)
    level = np.bincount(ring, area * out[side]) / np.bincount(ring, area)
    middle = np.bincount(ring, area * height) / np.bincount(ring, area)
    degree = min(5, len(level) - 2)
    return Polynomial.fit(middle, np.log(level), degree, w=np.sqrt(level))


@dataclass(frozen=True)
class Shown:
    """A piece of one material. level : ln of light by height;  white : share sent back by a thick
    one;  by_depth : (m,) float, what lights 1 mm deeper do to what is read"""

    piece: Tabled
    truth: Optics
    level: Polynomial
    white: float
    by_depth: np.ndarray


def photo_of(piece: Tabled, values: np.ndarray) -> Series:
    """Return a stretch up the side as a series."""
    (low, high), radius = SPAN, float(piece.skin.centre[:, 0].max())
    photo = Photo(
        scene="stub.toml", band="green", from_mm=(radius, 0, low), to_mm=(radius, 0, high),
        toward=(1, 0, 0), values=tuple(values.tolist()),
    )  # fmt: skip
    return photo_series(photo, piece, "photo", CameraCurve(), Path())


def shown(sort: Sort, piece: Tabled, number: int) -> Shown:
    """Return what a piece of one of the two materials shows."""
    truth = sort.truth(number)
    level = bright(piece, truth, sort.photons)
    mu_a, mu_s = truth.mu_a_per_mm, truth.mu_s_reduced_per_mm
    white, _ = adding_doubling(mu_a, mu_s, truth.g, truth.n, 100.0)
    piece.begin()
    flat = photo_of(piece, np.linspace(2.0, 1.0, PLACES))
    return Shown(piece, truth, level, white, moved_by(piece, flat.weights, truth)["depth stub"])


def read(of: Shown, rng: np.random.Generator, errors: tuple[str, ...] = ERRORS) -> list[Series]:
    """Return a photo and a card with errors that are not the fit's own: even, not normal; light
    that a dark frame leaves; ends that are only ever darker (in the middle half of the frame of a
    phone's main lens cos^4 leaves 0.9 of them)."""
    (low, high), even = SPAN, rng.uniform
    off = {
        "shift": np.array([even(-0.017, 0.017), even(-1.7, 1.7)]), "depth": even(-1.7, 1.7),
        "stray": even(0.0, 0.0006), "corners": even(0.0, 0.1), "each": even(-0.07, 0.07, PLACES),
        "response": even(-0.08, 0.08), "paper": np.log(even(0.9, 1.1) * even(0.95, 1.05)),
    }  # fmt: skip
    off = {name: size if name in errors else 0.0 * size for name, size in off.items()}
    at, half = np.linspace(low, high, PLACES), np.linspace(-1.0, 1.0, PLACES)
    longer, moved = off["shift"]
    ln = of.level(at + longer * (at - low) + moved) + off["depth"] * of.by_depth
    light = np.exp(ln - ln.max()) + off["stray"]
    light = light * np.exp(-off["corners"] * half**2) * (1.0 + off["each"])
    beside = min(of.white * np.exp(off["paper"]), 0.98) / 0.85
    card = Card(band="green", thickness_mm=100, piece=(float(beside),), paper=(1.0,))
    return [photo_of(of.piece, light ** (1.0 + off["response"])), CardSeries(card, "card")]


def deviations(
    sort: Sort, draws: int, seed: int, errors: tuple[str, ...] = ERRORS
) -> tuple[np.ndarray, np.ndarray]:
    """Return how far fits are off ln mu_a and ln mu_s', in stated deviations and in logarithms,
    (2, draws, 2) float each: of either material."""
    piece, off, plain = sort.piece(), [], []
    for number in range(len(TRUTHS)):
        of, rng = shown(sort, piece, number), np.random.default_rng([seed, number])
        for _ in range(draws):
            piece.begin()
            fitted = fit_on_fine_cells(read(of, rng, errors), sort.prior)
            plain.append(fitted.optics.logarithms - of.truth.logarithms)
            off.append(plain[-1] / fitted.sd)
    return np.reshape(off, (2, draws, 2)), np.reshape(plain, (2, draws, 2))


def main(seed: int, draws: int, names: list[str]) -> None:
    """Print how intervals hold."""
    errors = tuple(name for name in names if name in ERRORS) or ERRORS
    for name in [one for one in names if one in SORTS] or list(SORTS):
        off, plain = deviations(SORTS[name], draws, seed, errors)
        held, bias = (np.abs(off) < 1).mean(axis=(0, 1)), off.mean(axis=(0, 1))
        each, mean = off.mean(axis=1).round(2), plain.mean(axis=1).round(3)
        print(
            f"{name}: of {2 * draws}, held {held.round(2)}, bias {bias.round(2)} deviations, of "
            f"either material {each.tolist()}; in logarithms {mean.tolist()}, scatter "
            f"{plain.std(axis=1).round(2).tolist()}",
            flush=True,
        )


if __name__ == "__main__":
    main(int(sys.argv[1]), int(sys.argv[2]), sys.argv[3:])
