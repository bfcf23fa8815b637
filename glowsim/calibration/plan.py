"""What to read next: what each reading would tell of a question, before it is made.

A question is a figure of a prop (its mean, its evenness) or the length in which light falls to a
tenth, by its slopes in ln mu_a and ln mu_s' of each band. A reading adds information to what is
known already (Fisher's, of the same series that the fit uses); what that leaves of the question is
its gain.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from glowsim.calibration.bench import CLEAREST_PER_MM
from glowsim.calibration.card import CardSeries
from glowsim.calibration.fields import Band
from glowsim.calibration.forward import Optics, Series, covariance, together
from glowsim.calibration.piles import PileSeries, pile_signal
from glowsim.calibration.readings import Card, Piles
from glowsim.catalogue import Material
from glowsim.geometry.mesh import FloatArray
from glowsim.transport.problem import BANDS

HOLE_MM = 40.0
CARD_MINUTES, BARE_MINUTES, PILE_MINUTES = 2.0, 1.0, 1.0
PHOTO_MINUTES, LUX_MINUTES = 10.0, 6.0
LEAST_SHEET_MM = 0.8
MOST_PILE_MM, HIGHEST_PILE_MM = 60.0, 100.0
RULER_MM, CALLIPERS_MM = 0.5, 0.05
"""What the height of a pile may be off by: foam gives way to callipers (common practice, no
source)."""
SOFT_INDEX = 1.1
"""Index of refraction below which a material is mostly air, and soft."""
LEAST_SHARE = 5e-4
"""Of the light of the bare hole, below which a pile cannot be read: half a lux of a thousand."""
WORTH = 0.9
"""A reading that leaves more than this share of the doubt is not worth its minutes."""
_BAND: tuple[Band, ...] = ("red", "green", "blue")


@dataclass(frozen=True)
class Candidate:
    """A reading that could be made.

    series : for each band, what would be read;  minutes : for all bands
    """

    words: str
    minutes: float
    series: tuple[tuple[Series, ...], ...]


@dataclass(frozen=True)
class Gain:
    """What a reading would tell of a question.

    before, after : one deviation of the question, in the logarithm
    """

    candidate: Candidate
    before: float
    after: float

    @property
    def worth(self) -> bool:
        """Whether it narrows the question."""
        return self.after < WORTH * self.before


def optics_of(material: Material) -> tuple[Optics, ...]:
    """Return a material in each band."""
    return tuple(
        Optics(
            max(mu_a, CLEAREST_PER_MM), max(mu_s, CLEAREST_PER_MM), material.g,
            material.refractive_index,
        )
        for mu_a, mu_s in zip(material.mu_a_per_mm, material.mu_s_reduced_per_mm, strict=True)
    )  # fmt: skip


def thicknesses_mm(optics: Optics) -> tuple[float, float, float, float]:
    """Return a thin, a middle, a thick and a thickest pile that tell most: from three transport
    lengths on, and twice and four times the decay length more."""
    thin = max(LEAST_SHEET_MM, 3.0 / (optics.mu_a_per_mm + optics.mu_s_reduced_per_mm))
    reach = 1.0 / optics.decay_per_mm
    thick = min(MOST_PILE_MM, max(thin + 2.0 * reach, 3.0 * thin))
    most = min(HIGHEST_PILE_MM, max(thin + 4.0 * reach, 1.5 * thick))
    return round_mm(thin), round_mm(math.sqrt(thin * thick)), round_mm(thick), round_mm(most)


def height_error_mm(optics: Optics) -> float:
    """Return what the height of a pile may be off by, measured with what suits the material."""
    return RULER_MM if optics.n < SOFT_INDEX else CALLIPERS_MM


def round_mm(value: float) -> float:
    """Return a length as a maker cuts it."""
    return round(value, 1) if value < 5 else float(round(value))


def candidates(every: Sequence[Optics]) -> list[Candidate]:
    """Return readings that could be made of a material without a lit piece.

    every : the material in each band; the thicknesses suit the middle one
    """
    thin, middle, thick, most = thicknesses_mm(every[1])

    def piles(*mm: float, bare: bool = True) -> Candidate:
        series = tuple(_piles(*of, mm, bare) for of in zip(_BAND, every, strict=True))
        named = f"{', '.join(f'{d:g}' for d in mm[:-1])} and {mm[-1]:g}"
        last = "and the bare hole" if bare else "without the bare hole"
        minutes = len(mm) * PILE_MINUTES + bare * BARE_MINUTES
        return Candidate(f"piles of {named} mm over a hole, {last}", minutes, series)

    paper = beside_paper()
    two, four = piles(thin, thick), piles(thin, middle, thick, most)
    return [
        paper, two, piles(thin, middle, thick), four, piles(thin, thick, bare=False),
        both("both: ", paper, two), both("both: ", paper, four),
    ]  # fmt: skip


def beside_paper() -> Candidate:
    """Return a thick piece photographed beside white paper, in each band."""
    one = Card(band="green", thickness_mm=500.0, piece=(0.5, 0.5), paper=(1.0, 1.0))
    series = tuple((CardSeries(one.model_copy(update={"band": b}), "card"),) for b in _BAND)
    return Candidate("a thick piece on black beside white paper", CARD_MINUTES, series)


def both(words: str, one: Candidate, other: Candidate) -> Candidate:
    """Return two readings made one after the other."""
    series = tuple((*a, *b) for a, b in zip(one.series, other.series, strict=True))
    return Candidate(f"{words}{one.words}, and {other.words}", one.minutes + other.minutes, series)


def _piles(band: Band, optics: Optics, mm: tuple[float, ...], bare: bool) -> tuple[PileSeries, ...]:
    """Return piles that would be read in a band, less those through which too little comes."""

    def some(heights: tuple[float, ...]) -> Piles:
        falling = tuple(np.linspace(0.9, 0.1, len(heights)).tolist())
        return Piles(
            band=band, hole_diameter_mm=HOLE_MM, thickness_mm=heights, reading=falling,
            bare=1.0 if bare else None, height_error_mm=height_error_mm(optics),
        )  # fmt: skip

    share = np.exp(pile_signal(some(mm), optics))
    seen = tuple(d for d, s in zip(mm, share, strict=True) if s > LEAST_SHARE)
    return (PileSeries(some(seen), "piles"),) if len(seen) >= (1 if bare else 2) else ()


def gains(
    every: Sequence[Optics],
    known: FloatArray,
    question: FloatArray,
    more: Sequence[Candidate] = (),
) -> list[Gain]:
    """Return what each reading would tell, the most telling per minute first.

    known : (3, 2, 2) float, covariance of ln mu_a and ln mu_s' in each band as it is now
    question : (3, 2) float, slopes of the question's logarithm;  more : readings beside the usual
    """
    before = _sd(known, question)
    found = []
    for one in (*candidates(every), *more):
        after = np.array(
            [
                np.linalg.inv(np.linalg.inv(known[k]) + _information(series, every[k]))
                for k, series in enumerate(one.series)
            ]
        )
        found.append(Gain(one, before, _sd(after, question)))
    return sorted(
        found, key=lambda g: -math.log(g.before / g.after) / math.sqrt(g.candidate.minutes)
    )


def decay_question(every: Sequence[Optics], band: int = 1) -> FloatArray:
    """Return the slopes of the length in which light falls to a tenth, (3, 2) float."""
    question = np.zeros((len(BANDS), 2))
    optics = every[band]
    share = optics.mu_a_per_mm / (optics.mu_a_per_mm + optics.mu_s_reduced_per_mm)
    question[band] = -0.5 * (1.0 + share), -0.5 * (1.0 - share)
    return question


def percent(sd: float) -> str:
    """Return one deviation in the logarithm as a maker reads it: '12 %', 'a factor of 1.8'."""
    return f"{100 * sd:.2g} %" if sd < 0.4 else f"a factor of {math.exp(sd):.2g}"


def boards(sd: float) -> str:
    """Return one deviation of a number of boards: '0.8 boards either way'."""
    return f"{sd:.1f} boards either way"


def told(gain: Gain, what: str, said: Callable[[float], str] = percent) -> str:
    """Return a gain as a sentence; `said` words one deviation of the question."""
    return (
        f"Next, for {what}: {gain.candidate.words} ({gain.candidate.minutes:g} minutes) would "
        f"narrow it from {said(gain.before)} to {said(gain.after)}."
    )


def known_of(material: Material, learnt: Mapping[str, FloatArray]) -> FloatArray:
    """Return what is known of each band, (3, 2, 2) float: by readings, else by the catalogue."""
    known = material.covariance + 1e-6 * np.eye(2)
    for band, covariance_ in learnt.items():
        known[BANDS.index(band)] = covariance_
    return np.asarray(known, dtype=float)


def _information(series: Sequence[Series], optics: Optics) -> FloatArray:
    if not series:
        return np.zeros((2, 2))
    _, slope = together(series, optics)
    found = slope.T @ np.linalg.solve(covariance(series, optics), slope)
    return np.asarray(found, dtype=float)


def _sd(known: FloatArray, question: FloatArray) -> float:
    """Return one deviation of a question. Bands are taken to err together, as they do where sheets,
    paper and the foam itself are the same in all: that makes it no less than it is."""
    return float(np.sqrt(np.einsum("bi,bij,bj->b", question, known, question)).sum())
