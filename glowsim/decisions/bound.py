"""What no placement of any number of such boards, each driven as one likes, can beat.

With x_s >= 0 the level of the board at candidate s, the luminance of patch p is L = x R, linear
in x. Two linear programmes and a convex one over all candidates, with the mean held at 1:

least   : the greatest t with L_p >= t on every patch. That is least over mean.
percent : the greatest t with sum_p a_p max(0, t - L_p) <= 0.05 t, a_p the share of the area. A
          glow of which 5 % of the area is darker than t falls short of it by less than that, so
          this is at least its 5 %/mean.

off_by  : the least J = sum_p a_p (x_p - 1) ln x_p, convex in L where the mean is 1, so that any
          mixture tells by its gradient how far below it the least can lie (Frank & Wolfe, Nav. Res.
          Logist. Q. 3, 95 (1956)).

All hold for the patches' means and for the candidates (whose net is finer than what the light
can tell); a single face can be darker than its patch, so the true bound is lower, if anything.

`percent` is often far from sharp: its 5 % may be missing from a fifth of the area as well. How
near one can come with any number of boards is looked for too, see `best_mixture`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import sparse
from scipy.optimize import linprog, minimize

from glowsim.decisions.objective import LOW_SHARE, Aim, uneven_slope
from glowsim.errors import SolveError
from glowsim.findings.unevenness import worse_end
from glowsim.geometry.mesh import FloatArray, IntArray
from glowsim.transport.problem import BoolArray

IN_USE = 0.01
"""A board of the best mixture counts from this share of the strongest one's level on."""
ROUNDS = 6
PAYS = 1.002
"""A further round must raise the figure by this factor."""


@dataclass(frozen=True)
class Bound:
    """The best that can be had over the candidates.

    percent : 5 %/mean cannot be above this;  least : least over mean cannot
    sites   : (k,) int, candidates of the best mixture for `percent`;  level : (k,) float
    off_by  : a typical place cannot be off by less
    """

    percent: float
    least: float
    sites: IntArray
    level: FloatArray
    off_by: float = 1.0

    @property
    def worse_end(self) -> float:
        """What of an evenness target is within reach at best."""
        return worse_end(self.percent, self.off_by)


@dataclass(frozen=True)
class Mixture:
    """Boards at levels of their own.

    even : 5 %/mean, read within patches;  level : (sites,) float, over the strongest
    """

    even: float
    level: FloatArray

    @property
    def count(self) -> int:
        """How many boards count."""
        return int((self.level > IN_USE).sum())


@dataclass(frozen=True)
class Gap:
    """What lies between boards that were placed and the bound, in 5 %/mean.

    even    : as placed;  freed : at the same places, each at the level that is best
    mixture : the best found of any number of boards, each at its own level
    """

    even: float
    freed: float
    mixture: Mixture
    bound: Bound


def best_mixture(
    luminance: FloatArray, aim: Aim, start: FloatArray, rounds: int = ROUNDS
) -> Mixture:
    """Return the most even mixture found of sites of known luminance, from levels `start` on.

    With the darkest 5 % of the area left out, the best levels for the rest are a linear
    programme. Its answer leaves out another 5 %, and so on while it pays. A best among its
    neighbours, not of all.
    """
    area = aim.area_mm2[aim.glow]
    best = Mixture(float(aim.evenness((start @ luminance)[None])[0]), start / start.max())
    level = start
    for _ in range(rounds):
        value = (level @ luminance)[aim.glow]
        order = np.argsort(value)
        counts = np.zeros(len(value), dtype=bool)
        counts[order[np.cumsum(area[order]) - area[order] / 2 >= LOW_SHARE * area.sum()]] = True
        _, level = _best(luminance, aim, 0.0, counts)
        even = float(aim.evenness((level @ luminance)[None])[0])
        if even <= best.even * PAYS:
            break
        best = Mixture(even, level / level.max())
    return best


def bound_of(luminance: FloatArray, aim: Aim) -> Bound:
    """Return the bound for sites of known luminance, (sites, patches) float.

    Raises SolveError if the linear programme fails.
    """
    every = np.ones(int(aim.glow.sum()), dtype=bool)
    least, _ = _best(luminance, aim, 0.0, every)
    percent, level = _best(luminance, aim, LOW_SHARE, every)
    used = np.nonzero(level > IN_USE * level.max())[0]
    order = used[np.argsort(-level[used])]
    off_by = least_off_by(luminance[:, aim.glow], aim.area_mm2[aim.glow], level)
    return Bound(min(1.0, percent), min(1.0, least), order, level[order], off_by)


def least_off_by(luminance: FloatArray, area: FloatArray, start: FloatArray) -> float:
    """Return what no mixture of sites is off by less than.

    luminance : (sites, patches) float, area : (patches,);  start : (sites,) levels to begin with
    """
    share = area / area.sum()
    response = luminance / np.maximum(luminance @ share, 1e-300)[:, None]

    def cost(level: FloatArray) -> tuple[float, FloatArray]:
        j, slope = uneven_slope(level @ response, area)
        return j, response @ slope

    begin = np.maximum(start * (luminance @ share), 0.0) + 1e-3 / len(start)
    found = minimize(
        cost, begin / begin.sum(), jac=True, bounds=[(0.0, None)] * len(begin), method="L-BFGS-B",
        options={"maxiter": 500},
    )  # fmt: skip
    level = found.x / max(float(found.x.sum()), 1e-300)
    j, slope = cost(level)
    gap = float(slope @ level - slope.min())
    return float(np.exp(np.sqrt(max(j - gap, 0.0))))


def _best(
    luminance: FloatArray, aim: Aim, slack: float, counts: BoolArray
) -> tuple[float, FloatArray]:
    """Return the greatest t and the levels; `slack` is the share of t that may be missing.

    counts : (glowing patches,) bool, those that are held against t
    """
    sites = len(luminance)
    glow, area = aim.glow, aim.area_mm2[aim.glow][counts]
    scale = np.maximum(aim.mean(luminance), 1e-300)
    response = luminance / scale[:, None]
    lit, dark = response[:, glow][:, counts], response[:, ~glow]
    patches = lit.shape[1]
    # Columns: levels, shortfall of each patch, t.
    rows = [
        sparse.hstack(
            [
                sparse.csr_matrix(-lit.T),
                -sparse.identity(patches),
                np.ones((patches, 1)),
            ]
        )
    ]
    limits = [np.zeros(patches)]
    rows.append(
        sparse.hstack(
            [
                sparse.csr_matrix((1, sites)),
                sparse.csr_matrix(area[None] / area.sum()),
                np.array([[-slack]]),
            ]
        )
    )
    limits.append(np.zeros(1))
    if dark.shape[1]:
        rows.append(
            sparse.hstack(
                [sparse.csr_matrix(dark.T), sparse.csr_matrix((dark.shape[1], patches + 1))]
            )
        )
        limits.append(np.full(dark.shape[1], aim.dark_ratio))
    cost = np.zeros(sites + patches + 1)
    cost[-1] = -1.0
    mean_is_one = sparse.csr_matrix(np.concatenate([np.ones(sites), np.zeros(patches + 1)])[None])
    answer = linprog(
        cost,
        A_ub=sparse.vstack(rows).tocsr(),
        b_ub=np.concatenate(limits),
        A_eq=mean_is_one,
        b_eq=[1.0],
        bounds=(0, None),
        method="highs",
    )
    if answer.status == 2:
        return 0.0, np.ones(sites)
    if answer.status != 0:
        raise SolveError(f"the bound on the evenness could not be computed: {answer.message}")
    return float(answer.x[-1]), np.asarray(answer.x[:sites] / scale)
