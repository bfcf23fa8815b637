"""Which sites to take: greedy choice and exchange among candidates, all in linear algebra."""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor

import numpy as np

from glowsim.decisions.crowding import Crowding, plans
from glowsim.decisions.objective import Aim
from glowsim.geometry.mesh import FloatArray, IntArray

RANDOM_STARTS = 6
MOST_SWEEPS = 12
FINALISTS = 3
"""Choices, found by patch means, that are searched on by what lies within patches."""
LOOKED_AT = 80
"""Sites in place of another that are judged so."""
BETTER = 1e-6
"""A change counts from this gain on."""


class Search:
    """Looks for the best choice among candidate sites."""

    def __init__(self, crowding: Crowding, luminance: FloatArray, aim: Aim, seed: int = 0) -> None:
        """luminance : (sites, patches) float, of each site as driven."""
        self.sites, self.luminance, self.aim = crowding.sites, luminance, aim
        self._crowding = crowding
        self._seed = seed

    def best(self, count: int, hints: Sequence[IntArray] = ()) -> list[IntArray]:
        """Return the sites of the best choices of `count` boards found, the best first; none if
        so many do not fit.

        hints : choices to start from, besides greedy and random ones; too long ones are cut
        """
        sizes = np.unique(self.sites.count)
        found: list[tuple[float, IntArray]] = []
        for plan in plans(count, [int(s) for s in sizes]):
            rng = np.random.default_rng([self._seed, count])
            starts: list[IntArray | None] = [None, *hints]
            starts += [rng.permutation(len(self.sites)) for _ in range(RANDOM_STARTS)]
            begun = [self._started(plan, start) for start in starts]
            # Each start goes its own way, so the order of the threads changes nothing.
            with ThreadPoolExecutor() as pool:
                found += pool.map(self._exchanged, [c for c in begun if c is not None])
        finalists = {tuple(sorted(map(int, chosen))): score for score, chosen in found}
        best = sorted(finalists, key=lambda chosen: -finalists[chosen])[:FINALISTS]
        sharp = [self._exchanged(np.array(chosen), sharp=True) for chosen in best]
        return [chosen for _, chosen in sorted(sharp, key=lambda pair: -pair[0])]

    def score(self, chosen: IntArray, sharp: bool = True) -> float:
        """Return the figure of a choice."""
        return float(self.aim.score(self.luminance[chosen].sum(axis=0)[None], sharp)[0])

    def _started(self, plan: list[int], order: IntArray | None) -> IntArray | None:
        """Return a choice with sites of the planned sizes: the first free ones of `order`, the
        best of the free ones where it runs out (or is None)."""
        chosen: list[int] = []
        total = np.zeros(self.luminance.shape[1])
        for size in plan:
            free = self._crowding.free(chosen) & (self.sites.count == size)
            if not free.any():
                return None
            wanted = [] if order is None else [k for k in order if free[k]][:1]
            if wanted:
                pick = int(wanted[0])
            else:
                rows = np.nonzero(free)[0]
                pick = int(rows[self.aim.score(total + self.luminance[rows], False).argmax()])
            chosen.append(pick)
            total = total + self.luminance[pick]
        return np.array(chosen)

    def _exchanged(self, chosen: IntArray, sharp: bool = False) -> tuple[float, IntArray]:
        """Swap single sites for better ones until none is; sharp : judged within patches too."""
        best = self.score(chosen, sharp)
        for _ in range(MOST_SWEEPS):
            before = best
            for k in range(len(chosen)):
                pick, score = self._better(chosen, k, sharp)
                if score > best * (1 + BETTER):
                    best = score
                    chosen = chosen.copy()
                    chosen[k] = pick
            if best <= before * (1 + BETTER):
                break
        return best, chosen

    def _better(self, chosen: IntArray, k: int, sharp: bool) -> tuple[int, float]:
        """Return the best site in place of number `k` of a choice, and the figure with it."""
        rest = np.delete(chosen, k)
        rows = np.nonzero(
            self._crowding.free(rest) & (self.sites.count == self.sites.count[chosen[k]])
        )[0]
        if len(rows) == 0:
            return int(chosen[k]), -np.inf
        luminance = self.luminance[rest].sum(axis=0) + self.luminance[rows]
        scores = self.aim.score(luminance, False)
        if sharp:
            kept = np.argsort(-scores, kind="stable")[:LOOKED_AT]
            rows, scores = rows[kept], self.aim.score(luminance[kept])
        return int(rows[scores.argmax()]), float(scores.max())
