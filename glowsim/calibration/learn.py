"""Learn a material from a readings file: a fit in each band, and alarms that forbid to trust it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from glowsim.calibration.bench import Bench, base_of, prior_of
from glowsim.calibration.fit import APART, Fitted, Prior, apart, fit
from glowsim.calibration.forward import Series
from glowsim.calibration.readings import ReadingsFile
from glowsim.calibration.strip import Strip
from glowsim.calibration.surface import SurfaceSeries
from glowsim.catalogue import Material
from glowsim.geometry.mesh import FloatArray
from glowsim.transport.problem import BANDS

UNLIKELY = 0.01
"""Chance below which readings contradict each other (alarm A)."""
HOPELESS = 1e-9
"""Chance below which finer cells mend nothing."""
SPLIT = 0.05
"""The same for photo and card against piles (alarm B), over all bands."""
UNKNOWN = 0.7
"""A deviation that is still this share of what was believed before was hardly learnt."""
MOST_REFINED = 3
"""Times that cells may be made finer, each with a new fit."""
STRANGE = 2.5
"""Deviations from which a reading is named."""
Report = Callable[[str], None]


@dataclass(frozen=True)
class LearntBand:
    """What was learnt in one band.

    alarms : why it must not be taken as measured;  cautions : what to be careful about
    series_ends : first reading of each series, and the one after its last
    strips : stretches that were read in images
    """

    band: str
    fitted: Fitted
    alarms: tuple[str, ...]
    cautions: tuple[str, ...]
    series_ends: tuple[tuple[int, int], ...]
    strips: tuple[Strip, ...] = ()

    def knows(self, coefficient: int) -> bool:
        """Whether readings told ln mu_a (0) or ln mu_s' (1) better than the catalogue did."""
        return bool(self.fitted.sd[coefficient] < UNKNOWN * self.fitted.prior.sd[coefficient])


@dataclass(frozen=True)
class Learnt:
    """A material as readings have it.

    base : the catalogue's entry it starts from;  bands : what was read, in order
    """

    file: ReadingsFile
    base: Material
    bands: tuple[LearntBand, ...]

    @property
    def alarms(self) -> tuple[str, ...]:
        """All alarms; none may ring if the entry is to be trusted."""
        return tuple(f"{one.band}: {alarm}" for one in self.bands for alarm in one.alarms)

    @property
    def cautions(self) -> tuple[str, ...]:
        """All cautions, each once."""
        every = [f"{one.band}: {text}" for one in self.bands for text in one.cautions]
        return tuple(dict.fromkeys(every))


def learn(file: ReadingsFile, report: Report = lambda text: None) -> Learnt:
    """Return what the readings say of each band that was read.

    Raises ReadingsError for readings that cannot be used, and what a scene's solve may raise.
    """
    base = base_of(file)
    bench = Bench(file, base)
    names = bench.bands()
    bands = []
    for name in names:
        series = bench.series(name, report)
        report(f"fitting {name}")
        bands.append(_band(name, series, base, len(names), report))
    return Learnt(file, base, tuple(bands))


def _band(
    name: str, series: list[Series], base: Material, count: int, report: Report
) -> LearntBand:
    prior = prior_of(base, BANDS.index(name))
    surfaces = [one for one in series if isinstance(one, SurfaceSeries)]
    fitted = fit_on_fine_cells(series, prior, report)
    alarms = []
    if fitted.chance < UNLIKELY:
        alarms.append(_not_belonging(fitted))
    halves = [[one for one in series if one.profile == side] for side in (True, False)]
    if all(halves):
        photo, piles = (fit(half, prior) for half in halves)
        if apart(photo, piles) < SPLIT / count:
            alarms.append(_split(photo, piles))
    cautions = [text for one in series for text in one.cautions(fitted.optics)]
    if fitted.spread > APART:
        cautions.append(
            "two quite different materials explain these readings equally well; another kind of "
            "reading would tell them apart"
        )
    ends = [0, *np.cumsum([len(one.measured) for one in series]).tolist()]
    strips = tuple(one.strip for one in surfaces if one.strip is not None)
    return LearntBand(name, fitted, tuple(alarms), tuple(cautions), tuple(pairwise(ends)), strips)


def fit_on_fine_cells(
    series: Sequence[Series], prior: Prior, report: Report = lambda text: None
) -> Fitted:
    """Return the likeliest coefficients, on cells that are fine enough for them, corrected at the
    end by finer ones and by what photons of the reference tell."""
    pieces = [one.piece for one in series if isinstance(one, SurfaceSeries)]
    for piece in pieces:
        piece.sharpen(prior.optics)
    fitted = fit(series, prior)
    if fitted.chance < HOPELESS:
        return fitted
    for _ in range(MOST_REFINED):
        refined = [piece.refine(fitted.optics) for piece in pieces]
        if not any(refined):
            break
        for piece in pieces:
            piece.sharpen(fitted.optics)
        fitted = fit(series, prior)
    surfaces = [one for one in series if isinstance(one, SurfaceSeries)]
    if not surfaces:
        return fitted
    for piece in pieces:
        piece.sharpen(fitted.optics)
    report("following photons")
    for one in surfaces:
        one.follow(fitted.optics)
    near = fitted.optics.logarithms - prior.optics.logarithms
    return replace(fit(series, prior, near[None]), spread=fitted.spread)


def _not_belonging(fitted: Fitted) -> str:
    """Say that no one material explains the readings, and which one stands out."""
    strange = fitted.strangeness
    worst = int(np.abs(strange).argmax())
    text = "no one material explains these readings"
    if abs(strange[worst]) < STRANGE:
        return f"{text}, and no single one is to blame"
    side = "brighter" if strange[worst] > 0 else "darker"
    return (
        f"{text}: '{fitted.labels[worst]}' is {side} than the others allow "
        f"({abs(strange[worst]):.1f} standard deviations); read it again, or leave it out"
    )


def _split(photo: Fitted, piles: Fitted) -> str:
    def words(fitted: Fitted) -> str:
        o = fitted.optics
        return f"mu_a {o.mu_a_per_mm:.2g}, mu_s' {o.mu_s_reduced_per_mm:.2g} per mm"

    return (
        f"photo and card point to another material ({words(photo)}) than the piles "
        f"({words(piles)}); check the paper beside the piece, stray light in the photo, a skin on "
        "the piece and the reading of the bare hole"
    )


def ellipse(centre: FloatArray, covariance: FloatArray) -> FloatArray:
    """Return the outline that holds 68 % of a two-dimensional normal, (90, 2) float."""
    turn = np.linspace(0.0, 2.0 * np.pi, 90)
    root = np.linalg.cholesky(covariance)
    radius = float(np.sqrt(-2.0 * np.log(1.0 - 0.6827)))
    return centre + radius * np.column_stack([np.cos(turn), np.sin(turn)]) @ root.T
