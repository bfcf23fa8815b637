"""A photo of the finished prop over what was foreseen: where they part, and what would explain it.

The surface that the camera sees is cut into patches; each is read in the photo and foreseen by the
quick solver, up to the camera's scale. What might be wrong with the prop (an LED that is dark, a
board that sits elsewhere, another material) is put into the prepared prop, and its size is found by
least squares under the same errors.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from glowsim.calibration.forward import FREE, Optics
from glowsim.calibration.image import UnreadableError
from glowsim.calibration.lit import Photo
from glowsim.calibration.merge import merged
from glowsim.calibration.prop import SLOPE, TestPiece, nearest
from glowsim.calibration.strip import Views, check_light, views_of
from glowsim.geometry.mesh import FloatArray
from glowsim.geometry.rays import RayTarget
from glowsim.optics.emission import luminance_shape

PATCHES_LONG = 14
LEAST_PATCH_MM = 4.0
LEAST_PIXELS = 9
LEAST_PATCHES = 8
FACING = 0.35
"""Cosine from which a face is seen well enough."""
MODEL_ERROR = 0.05
"""Of the solver and the shape as built, by patch (opinion)."""
PARTED = 3.0
"""Deviations from which photo and prediction part."""
SINGLE = 24
"""LEDs that are each put out in turn; of more, boards."""
MOVED_MM = 1.0
MOVE_DOUBT_MM = 6.0
MATERIAL_DOUBT = 0.7
LIKELY = 12.0
"""Fall of chi-square that a cause must bring, and what it may fall short of the best by to be as
likely."""
ALIKE = 6.0
UNEXPLAINED = 4.0
"""Chi-square for each place that a cause may leave over."""


Report = Callable[[str], None]


@dataclass(frozen=True)
class Cause:
    """What would explain the photo.

    words : in plain words;  gain : fall of chi-square, less two for each unknown
    foreseen : (m,) float, ln of the patches with it
    """

    words: str
    gain: float
    foreseen: FloatArray


@dataclass(frozen=True)
class Checked:
    """A photo beside its prediction.

    points : (m, 3) float, middles of the patches;  pixels : (m, 2) float, where they are seen
    off    : (m,) float, ln of photo over prediction at its best scale;  sd : (m,) float, of both
    causes : that explain more than chance, the likeliest first
    """

    views: Views
    points: FloatArray
    pixels: FloatArray
    off: FloatArray
    sd: FloatArray
    chi_square: float
    causes: tuple[Cause, ...]

    @property
    def parts(self) -> bool:
        """Whether photo and prediction part anywhere by more than both errors."""
        return bool((np.abs(self.off) > PARTED * self.sd).any())

    @property
    def sentences(self) -> list[str]:
        """What a maker should know."""
        typical = float(np.exp(np.sqrt(np.mean(self.off**2))))
        said = [
            f"{len(self.off)} places compared: as a rule photo and prediction differ by x "
            f"{typical:.2f}, where x {float(np.exp(np.median(self.sd))):.2f} is expected."
        ]
        if not self.parts:
            return [*said, "They agree within their errors."]
        for sign, word in ((1.0, "brighter"), (-1.0, "darker")):
            worst = int((sign * self.off / self.sd).argmax())
            if sign * self.off[worst] > PARTED * self.sd[worst]:
                x, y, z = self.points[worst]
                factor, chance = np.exp([abs(self.off[worst]), PARTED * self.sd[worst]])
                said.append(
                    f"At ({x:.0f}, {y:.0f}, {z:.0f}) mm the photo is x {factor:.2f} {word} than "
                    f"predicted, where x {chance:.2f} could be chance."
                )
        if not self.causes:
            asked = "Is this a photo of this prop, and are its points right?"
            return [*said, f"None of the causes that were tried explains it. {asked}"]
        best, *others = self.causes
        said.append(f"Likeliest cause: {best.words}.")
        said += [f"Nearly as likely: {o.words}." for o in others if best.gain - o.gain < ALIKE]
        return said


def checked(
    photo: Photo,
    folder: Path,
    piece: TestPiece,
    optics: Optics,
    known: FloatArray,
    thinner: tuple[float, TestPiece] | None = None,
    report: Report = lambda text: None,
) -> Checked:
    """Return a photo of a prop beside its prediction.

    optics, known : the material, and the covariance of its two logarithms, (2, 2) float
    thinner : the same shell with a thinner wall, and by how many mm
    Raises UnreadableError for a photo that cannot be read, SolveError as a solve does.
    """
    views = views_of(photo, folder)
    report("looking at the photo")
    weights, points, pixels, values = _patches(views, piece)
    report("predicting it")
    emitters = piece.problem.emitters
    alone = replace(
        emitters,
        light=np.arange(len(emitters.light)),
        share=np.ones(len(emitters.share)),
    )
    each = piece.shone_by(optics, alone) @ weights.T
    flux = piece.weight[emitters.light] * emitters.share
    here = np.log(flux @ each)
    moved = np.log(piece.exitance(optics) @ weights.T)
    by_material = (moved[1:] - moved[0]).T / SLOPE
    measured = np.log(values)
    own = np.full(len(here), photo.reading_error**2 + MODEL_ERROR**2)
    far = np.linalg.norm(pixels - views.pose.middle, axis=1)
    shared = [
        np.full(len(here), FREE),
        photo.response_error * (measured - measured.max()),
        photo.vignetting * (far / np.linalg.norm(views.pose.middle)) ** 2,
        np.minimum(views.stray * values.max() / values, 1.0),
        *(by_material @ np.linalg.cholesky(known + 1e-12 * np.eye(2))).T,
    ]
    spread = np.diag(own) + sum(np.outer(s, s) for s in shared)
    inverse = np.asarray(np.linalg.inv(spread), dtype=float)
    residual = measured - here
    chi = float(residual @ inverse @ residual)
    report("trying what might be wrong")
    causes = [
        _fitted(words, residual, inverse, here, columns, doubts, chi)
        for words, columns, doubts in _causes(piece, optics, weights, each, flux, here, by_material)
    ]
    if thinner is not None:
        columns = _thinner(thinner, piece, optics, weights, here)
        causes.append(_fitted(_wall, residual, inverse, here, columns, np.ones(1), chi))
    # What leaves most of it unexplained explains nothing: it may be another prop altogether.
    likely = sorted(
        (c for c in causes if c.gain > LIKELY and chi - c.gain < UNEXPLAINED * len(here)),
        key=lambda c: -c.gain,
    )
    scale = float((residual / own).sum() / (1.0 / own).sum())
    soft = np.diag(spread - np.outer(shared[0], shared[0]))
    return Checked(views, points, pixels, residual - scale, np.sqrt(soft), chi, tuple(likely))


Words = Callable[[FloatArray], str]
Tried = tuple[Words, FloatArray, FloatArray]


def _causes(
    piece: TestPiece,
    optics: Optics,
    weights: FloatArray,
    each: FloatArray,
    flux: FloatArray,
    here: FloatArray,
    by_material: FloatArray,
) -> Iterator[Tried]:
    """Yield what might be wrong: its words, what it does to ln of the patches by each unknown,
    (m, n) float, and the unknowns' doubts, (n,) float; no unknown where it is all or nothing."""
    emitters = piece.problem.emitters
    leds = len(flux)
    if leds <= SINGLE:
        for k in range(leds if leds > 1 else 0):
            rest = np.maximum((flux @ each) - flux[k] * each[k], 1e-300)
            yield (
                _dark(f"the LED at {_place(emitters.position[k])} is dark"),
                np.log(rest) - here,
                _NONE,
            )
    boards = np.unique(emitters.light)
    single = leds <= SINGLE and leds == len(boards)
    for board in boards if len(boards) > 1 and not single else []:
        mine = emitters.light == board
        rest = np.maximum(flux[~mine] @ each[~mine], 1e-300)
        middle = _place(emitters.position[mine].mean(axis=0))
        words = _dark(f"the board at {middle} is dark")
        yield words, np.log(rest) - here, _NONE
    for board in boards:
        mine = emitters.light == board
        columns = []
        for axis in np.eye(3):
            shifted = replace(
                emitters,
                position=emitters.position + MOVED_MM * mine[:, None] * axis,
                light=np.arange(leds),
                share=np.ones(leds),
            )
            there = np.log(flux @ (piece.shone_by(optics, shifted) @ weights.T))
            columns.append((there - here) / MOVED_MM)
        yield _sits(_place(emitters.position[mine].mean(axis=0))), np.array(columns).T, _SHIFTS
    yield _another, by_material, np.full(2, MATERIAL_DOUBT)


_NONE = np.zeros(0)
_SHIFTS = np.full(3, MOVE_DOUBT_MM)


def _dark(words: str) -> Words:
    return lambda size: words


def _sits(place: str) -> Words:
    def words(size: FloatArray) -> str:
        axis = int(np.abs(size).argmax())
        far = float(np.linalg.norm(size))
        along = "higher" if size[axis] > 0 else "lower"
        way = along if axis == 2 else f"toward {'+' if size[axis] > 0 else '-'}{'xy'[axis]}"
        return f"the board drawn at {place} sits about {far:.1f} mm from there, mostly {way}"

    return words


def _another(size: FloatArray) -> str:
    a, s = np.exp(size)
    return (
        f"the material is another: absorption x {a:.2f}, cloudiness x {s:.2f} of what was predicted"
    )


def _wall(size: FloatArray) -> str:
    side = "thinner" if size[0] > 0 else "thicker"
    return f"the wall is {abs(size[0]):.1f} mm {side} than drawn"


def _thinner(
    thinner: tuple[float, TestPiece],
    piece: TestPiece,
    optics: Optics,
    weights: FloatArray,
    here: FloatArray,
) -> FloatArray:
    """Return what a wall thinner by a mm does to ln of the patches, (m, 1) float."""
    less_mm, other = thinner
    near, _ = nearest(other.skin, piece.skin.centre)
    there = np.log(other.exitance(optics)[0][near] @ weights.T)
    # Both to their mean: `here` is of all light, the other per lumen.
    change = (there - there.mean()) - (here - here.mean())
    return np.asarray(change[:, None] / less_mm, dtype=float)


def _place(point: FloatArray) -> str:
    return "({:.0f}, {:.0f}, {:.0f}) mm".format(*point)


def _fitted(
    words: Words,
    residual: FloatArray,
    inverse: FloatArray,
    here: FloatArray,
    columns: FloatArray,
    doubts: FloatArray,
    chi: float,
) -> Cause:
    """Return a cause at its likeliest size."""
    if not len(doubts):
        left = residual - columns
        return Cause(words(doubts), chi - float(left @ inverse @ left), here + columns)
    precision = columns.T @ inverse @ columns + np.diag(1.0 / doubts**2)
    size = np.asarray(np.linalg.solve(precision, columns.T @ inverse @ residual), dtype=float)
    if (np.abs(size) > 2.0 * doubts).any():
        return Cause(words(size), 0.0, here)  # beyond what a slope can say
    left = residual - columns @ size
    after = float(left @ inverse @ left + (size**2 / doubts**2).sum())
    return Cause(words(size), chi - after - 2.0 * len(doubts), here + columns @ size)


def _patches(
    views: Views, piece: TestPiece
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Return weights of faces (m, k), middles (m, 3), pixels (m, 2) and light (m,) of patches."""
    skin, pose = piece.skin, views.pose
    triangles = piece.problem.walls.triangles[piece.problem.skin]
    away = pose.eye_mm - skin.centre
    facing = np.asarray(
        np.einsum("kd,kd->k", away, skin.normal) / np.linalg.norm(away, axis=1), dtype=float
    )
    seen = facing > FACING
    start = skin.centre + 0.05 * skin.normal
    eye = np.broadcast_to(pose.eye_mm, start.shape)
    walls = RayTarget(piece.problem.walls.triangles)
    seen[seen] = ~walls.blocked(start[seen], eye[seen])
    size = max(LEAST_PATCH_MM, float(np.ptp(skin.centre, axis=0).max()) / PATCHES_LONG)
    cell = np.floor((skin.centre - skin.centre.min(axis=0)) / size).astype(int)
    _, group = np.unique(cell, axis=0, return_inverse=True)
    width, height = views.frames[0].size
    rows: list[FloatArray] = []
    middles: list[FloatArray] = []
    places: list[np.ndarray] = []
    for number in np.unique(group[seen]):
        mine = np.flatnonzero(seen & (group.ravel() == number))
        spots = np.einsum("sc,kcd->skd", _WITHIN, triangles[mine]).reshape(-1, 3)
        pixels = np.unique(np.floor(pose.pixels(spots)).astype(int), axis=0)
        inside = ((pixels >= 0) & (pixels < (width, height))).all()
        if len(pixels) < LEAST_PIXELS or not inside:
            continue
        shown = skin.area[mine] * facing[mine]
        row = np.zeros(len(skin.area))
        row[mine] = shown / shown.sum() * luminance_shape(facing[mine], n=skin.index[mine])
        rows.append(row)
        middles.append(np.asarray(shown @ skin.centre[mine] / shown.sum(), dtype=float))
        places.append(pixels)
    if len(places) < LEAST_PATCHES:
        raise UnreadableError("too little of the prop is seen; check the points", "points")
    exposures = views.seen(places)
    check_light(exposures)
    values, good = merged(exposures, views.times)
    # Where stray light may be a fifth of it nothing can be said.
    good &= values > max(5.0 * views.stray, 1e-9) * values.max()
    middle = np.array(middles)
    return np.array(rows)[good], middle[good], pose.pixels(middle)[good], values[good]


_WITHIN = np.array([[1, 1, 1], [4, 1, 1], [1, 4, 1], [1, 1, 4]]) / np.array([[3], [6], [6], [6]])
"""Places in a triangle that stand for it."""
