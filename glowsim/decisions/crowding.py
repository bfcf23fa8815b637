"""Which candidate places have room beside each other, and how many boards find room at once."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from glowsim.decisions.allowed import Allowed
from glowsim.decisions.sites import Sites
from glowsim.geometry.mesh import FloatArray, IntArray
from glowsim.transport.problem import BoolArray

RANDOM_ORDERS = 3


class Crowding:
    """Candidate sites of one board, and which of them get into each other's way."""

    def __init__(self, sites: Sites, allowed: Allowed) -> None:
        """Take sites that are allowed, each by itself."""
        self.sites = sites
        self._allowed = allowed
        self._clashes: dict[int, BoolArray] = {}

    def free(self, chosen: Sequence[int] | IntArray) -> BoolArray:
        """Return which sites have room beside the chosen ones, (sites,) bool."""
        free = np.ones(len(self.sites), dtype=bool)
        for site in chosen:
            free &= ~self._clash(int(site))
        return free

    def boards(self, count: int) -> int:
        """Return how many boards, `count` at most, were found to stand clear of each other."""
        return int(self.sites.count[self.packed(count)].sum()) if len(self.sites) else 0

    def packed(self, count: int) -> IntArray:
        """Return sites of `count` boards that stand clear of each other; of as many as were found
        to, where so many do not.

        Sites are taken one after the other in several orders: from the bottom up, from the top
        down, from the axis out, and at random.
        """
        best, most = np.zeros(0, dtype=np.int64), 0
        if not len(self.sites):
            return best
        for sizes in plans(count, [int(size) for size in np.unique(self.sites.count)]):
            for order in self._orders():
                chosen = self._filled(sizes, order)
                boards = int(self.sites.count[chosen].sum())
                if boards > most:
                    best, most = chosen, boards
                if most == count:
                    return best
        return best

    def _filled(self, sizes: Sequence[int], order: IntArray) -> IntArray:
        """Return sites of the given sizes, each the first free one of an order, until none is."""
        free = np.ones(len(self.sites), dtype=bool)
        chosen: list[int] = []
        for size in sizes:
            able = np.nonzero((free & (self.sites.count == size))[order])[0]
            if len(able) == 0:
                break
            chosen.append(int(order[able[0]]))
            free &= ~self._clash(chosen[-1])
        return np.array(chosen, dtype=np.int64)

    def _orders(self) -> Iterator[IntArray]:
        first = np.searchsorted(self.sites.site, np.arange(len(self.sites)))
        x, y, z = self.sites.poses.position[first].T
        upward = np.lexsort((y, x, z))
        yield upward
        yield upward[::-1]
        yield np.lexsort((z, np.hypot(x, y)))
        rng = np.random.default_rng(0)
        for _ in range(RANDOM_ORDERS):
            yield rng.permutation(len(self.sites))

    def _clash(self, site: int) -> BoolArray:
        if site not in self._clashes:
            touched = np.zeros(len(self.sites), dtype=bool)
            # By symmetry, one board of a set meets the others' sets as each of its turns does.
            one = self.sites.of(site).at(slice(0, 1))
            way: FloatArray = self.sites.poses.position - one.position[0]
            near = np.nonzero(np.linalg.norm(way, axis=1) < self._allowed.reach_mm)[0]
            hit = near[self._allowed.clash(one, self.sites.poses.at(near))]
            touched[self.sites.site[hit]] = True
            touched[site] = True
            self._clashes[site] = touched
        return self._clashes[site]


def plans(count: int, sizes: Sequence[int]) -> list[list[int]]:
    """Return the ways to make up `count` of site sizes, (1 or n, large first)."""
    large, small = max(sizes), min(sizes)
    if large == small:
        return [[large] * (count // large)] if count % large == 0 else []
    return [
        [large] * sets + [small] * (count - large * sets)
        for sets in range(count // large, -1, -1)
        if (count - large * sets) % small == 0
    ]
