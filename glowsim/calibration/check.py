"""Why a photo of the finished prop parts from what was foreseen.

What might be wrong with the prop (an LED that is dark, a board that sits elsewhere, another
material) is put into the prepared prop, and its size is found by least squares under the errors of
photo and prediction.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from glowsim.calibration.compare import AXES, MOVED_MM, Compared, Report, compared
from glowsim.calibration.forward import Optics
from glowsim.calibration.lit import Photo
from glowsim.calibration.prop import SLOPE, TestPiece, nearest
from glowsim.geometry.mesh import FloatArray

SINGLE = 24
"""LEDs that are each put out in turn; of more, boards."""
MOVE_DOUBT_MM = 6.0
MOST_MOVED_MM, MOVE_STEPS = 12.0, 3
"""Furthest that a board is sought from its place along each axis, and steps of the search."""
MATERIAL_DOUBT = 0.7
MATERIAL_MOST, MATERIAL_STEPS = 1.6, 3
"""Furthest that another material is sought, in logarithms, and solves that it is sought with."""
LIKELY = 8.0
"""Fall of chi-square that a cause must bring. How often that is chance, and what is found by it,
is drawn by `python -m tests.support.checked_photos` (DEVELOPERS.md)."""
ALIKE = 6.0
"""Fall that one cause must bring beyond every other to be named alone: odds of 20 to 1."""
UNEXPLAINED = 2.0
"""Chi-square for each place that a cause may leave over."""


@dataclass(frozen=True)
class Cause:
    """What would explain the photo.

    words : in plain words;  gain : fall of chi-square, less two for each unknown
    """

    words: str
    gain: float


@dataclass(frozen=True)
class Checked:
    """A photo beside its prediction, and why they part.

    causes : that explain more than chance, the likeliest first
    """

    compared: Compared
    causes: tuple[Cause, ...]

    @property
    def parts(self) -> bool:
        """Whether they part by more than both errors: in one place, all together, or just as one
        of the causes would have it, which tells most."""
        return self.compared.parts or bool(self.causes)

    @property
    def sentences(self) -> list[str]:
        """What a maker should know."""
        mine = self.compared
        typical = float(np.exp(np.sqrt(np.mean(mine.off**2))))
        said = [
            f"{len(mine.off)} places compared: as a rule photo and prediction differ by x "
            f"{typical:.2f}, where x {float(np.exp(np.median(mine.sd))):.2f} is expected."
        ]
        if not self.parts:
            return [*said, "They agree within their errors."]
        said += _worst(mine) or [
            "No one place stands out, but all together they differ by more than chance explains."
        ]
        if not self.causes:
            asked = "Is this a photo of this prop, and are its points right?"
            return [*said, f"None of the causes that were tried explains it. {asked}"]
        if len(fitting := self.fitting) == 1:
            return [*said, f"Likeliest cause: {fitting[0].words}."]
        each = "; or ".join(cause.words for cause in fitting)
        return [*said, f"The photo cannot tell which of these it is: {each}."]

    @property
    def fitting(self) -> tuple[Cause, ...]:
        """The causes that explain it about as well as the best of them does."""
        return tuple(c for c in self.causes if self.causes[0].gain - c.gain < ALIKE)


def _worst(mine: Compared) -> list[str]:
    """Say where the photo is furthest above and below the prediction, if by more than chance."""
    said = []
    off, limit = mine.off, mine.parted * mine.sd
    for sign, word in ((1.0, "brighter"), (-1.0, "darker")):
        worst = int((sign * off / limit).argmax())
        if sign * off[worst] > limit[worst]:
            x, y, z = mine.points[worst]
            factor, chance = np.exp([abs(off[worst]), limit[worst]])
            said.append(
                f"At ({x:.0f}, {y:.0f}, {z:.0f}) mm the photo is x {factor:.2f} {word} than "
                f"predicted, where x {chance:.2f} could be chance."
            )
    return said


def checked(
    photo: Photo,
    folder: Path,
    piece: TestPiece,
    optics: Optics,
    known: FloatArray,
    thinner: tuple[float, Callable[[], TestPiece]] | None = None,
    report: Report = lambda text: None,
) -> Checked:
    """Return a photo of a prop beside its prediction, and where they part what would explain it.

    optics, known : the material, and the covariance of its two logarithms, (2, 2) float
    thinner : by how many mm, and what makes the same shell with a wall that is thinner by that
    Raises UnreadableError for a photo that cannot be read, SolveError as a solve does.
    """
    mine = compared(photo, folder, piece, optics, known, report)
    report("trying what might be wrong")
    causes = [_fitted(mine, words, change, _NONE) for words, change in _dark_ones(mine, piece)]
    for board, slope in zip(np.unique(piece.problem.emitters.light), mine.by_board, strict=True):
        causes.append(_board_elsewhere(mine, piece, optics, int(board), slope.T / MOVED_MM))
    causes.append(_other_material(mine, piece, optics))
    if thinner is not None:
        columns = _thinner(mine, thinner[0], thinner[1](), piece, optics)
        causes.append(_fitted(mine, _wall, columns, np.ones(1)))
    # What leaves most of it unexplained explains nothing: it may be another prop altogether.
    most = UNEXPLAINED * len(mine.residual)
    able = [c for c in causes if c.gain > 0 and mine.chi_square - c.gain < most]
    best = max((c.gain for c in able), default=0.0)
    # One that falls short of being likely may still fit as well as the best one.
    likely = [c for c in able if best > LIKELY and c.gain > min(LIKELY, best - ALIKE)]
    return Checked(mine, tuple(sorted(likely, key=lambda c: -c.gain)))


Words = Callable[[FloatArray], str]
Tried = tuple[Words, FloatArray]


def _dark_ones(beside: Compared, piece: TestPiece) -> Iterator[Tried]:
    """Yield the words of each LED or board that may be dark, and what that does to ln of the
    patches, (m,) float."""
    flux, each, here = beside.flux, beside.each, beside.foreseen
    emitters = piece.problem.emitters
    leds = len(flux)
    boards = np.unique(emitters.light)
    groups = [("LED", np.arange(leds) == k) for k in range(leds) if 1 < leds <= SINGLE]
    if len(boards) > 1 and not (leds <= SINGLE and leds == len(boards)):
        groups += [("board", emitters.light == board) for board in boards]
    for kind, mine in groups:
        rest = np.maximum(flux[~mine] @ each[~mine], 1e-300)
        place = _place(emitters.position[mine].mean(axis=0))
        yield _dark(f"the {kind} at {place} is dark"), np.log(rest) - here


_NONE = np.zeros(0)


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
        f"the material differs: absorption is x {a:.2f} and cloudiness x {s:.2f} what was predicted"
    )


def _wall(size: FloatArray) -> str:
    side = "thinner" if size[0] > 0 else "thicker"
    return f"the wall is {abs(size[0]):.1f} mm {side} than drawn"


def _board_elsewhere(
    mine: Compared, piece: TestPiece, optics: Optics, board: int, slope: FloatArray
) -> Cause:
    """Return where a board may sit that would explain the photo best, by Gauss-Newton from where it
    is drawn; where the first step promises nothing it is left at that.

    slope : (m, 3) float, of ln of the patches where it is drawn
    """
    inverse, believed = mine.inverse, np.eye(3) / MOVE_DOUBT_MM**2
    where = piece.problem.emitters.position[piece.problem.emitters.light == board].mean(axis=0)
    words, here = _sits(_place(where)), mine.foreseen

    def change(size: FloatArray) -> FloatArray:
        shone = piece.shone_by(optics, *piece.with_board_moved(board, size)) @ mine.weights.T
        return np.asarray(np.log(np.maximum(mine.flux @ shone, 1e-300)) - here, dtype=float)

    size: FloatArray = np.zeros(3)
    now: FloatArray = np.zeros(len(here))
    best = Cause(words(size), 0.0)
    for step in range(MOVE_STEPS):
        if step:
            slope = np.array([change(size + MOVED_MM * way) - now for way in AXES]).T / MOVED_MM
        precision = slope.T @ inverse @ slope + believed
        wanted = slope.T @ inverse @ (mine.residual - now + slope @ size)
        there = np.clip(np.linalg.solve(precision, wanted), -MOST_MOVED_MM, MOST_MOVED_MM)
        left = mine.residual - now - slope @ (there - size)
        promised = mine.chi_square - float(left @ inverse @ left + there @ believed @ there)
        if step == 0 and promised - 2.0 * len(size) < LIKELY:
            return Cause(words(there), promised - 2.0 * len(size))
        size = np.asarray(there, dtype=float)
        now = change(size)
        left = mine.residual - now
        after = float(left @ inverse @ left + size @ believed @ size)
        gain = mine.chi_square - after - 2.0 * len(size)
        if gain < best.gain + 1.0:
            break
        best = Cause(words(size), gain)
    return best


def _other_material(mine: Compared, piece: TestPiece, optics: Optics) -> Cause:
    """Return the material that would explain the photo best, by Gauss-Newton from the one that was
    foreseen: light does not follow it straight."""
    inverse, believed = mine.inverse, np.eye(2) / MATERIAL_DOUBT**2
    slope = mine.by_material
    size: FloatArray = np.zeros(2)
    change: FloatArray = np.zeros(len(mine.residual))
    before = np.log(piece.exitance(optics)[0] @ mine.weights.T)
    for _ in range(MATERIAL_STEPS):
        left = mine.residual - change + slope @ size
        precision = slope.T @ inverse @ slope + believed
        there = np.linalg.solve(precision, slope.T @ inverse @ left)
        size = np.asarray(np.clip(there, -MATERIAL_MOST, MATERIAL_MOST), dtype=float)
        other = optics.at(optics.logarithms + size)
        light = np.log(piece.exitance(other) @ mine.weights.T)
        change, slope = light[0] - before, (light[1:] - light[0]).T / SLOPE
    left = mine.residual - change
    after = float(left @ inverse @ left + size @ believed @ size)
    return Cause(_another(size), mine.chi_square - after - 2.0 * len(size))


def _thinner(
    mine: Compared, less_mm: float, other: TestPiece, piece: TestPiece, optics: Optics
) -> FloatArray:
    """Return what a wall thinner by a mm does to ln of the patches, (m, 1) float."""
    near, _ = nearest(other.skin, piece.skin.centre)
    there = np.log(other.exitance(optics)[0][near] @ mine.weights.T)
    # Both to their mean: `here` is of all light, the other per lumen.
    here = mine.foreseen
    change = (there - there.mean()) - (here - here.mean())
    return np.asarray(change[:, None] / less_mm, dtype=float)


def _place(point: FloatArray) -> str:
    return "({:.0f}, {:.0f}, {:.0f}) mm".format(*point)


def _fitted(mine: Compared, words: Words, columns: FloatArray, doubts: FloatArray) -> Cause:
    """Return a cause at its likeliest size."""
    inverse, chi = mine.inverse, mine.chi_square
    if not len(doubts):
        left = mine.residual - columns
        return Cause(words(doubts), chi - float(left @ inverse @ left))
    precision = columns.T @ inverse @ columns + np.diag(1.0 / doubts**2)
    size = np.asarray(np.linalg.solve(precision, columns.T @ inverse @ mine.residual), dtype=float)
    left = mine.residual - columns @ size
    after = float(left @ inverse @ left + (size**2 / doubts**2).sum())
    return Cause(words(size), chi - after - 2.0 * len(doubts))
