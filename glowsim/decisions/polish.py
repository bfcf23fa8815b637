"""Moves boards off the candidates' net, by the slope of the response at each board.

The slope comes from shifting a board's first flight a little through the fields of the patches.
With it the luminance is linear in small moves (and exactly linear in drive levels), and how far off
an even glow it is is convex in the luminance; so each step is a small convex problem, solved within
a trust region that shrinks when a step does not pay.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.optimize import minimize

from glowsim.decisions.allowed import Allowed
from glowsim.decisions.boards import BoardKind, Poses
from glowsim.decisions.objective import Aim, uneven_slope
from glowsim.decisions.response import FAST_RAYS, Responses
from glowsim.decisions.sites import ON_AXIS_MM, Sites, sites_of, sound
from glowsim.findings.unevenness import off_of_ripple
from glowsim.geometry.mesh import FloatArray
from glowsim.transport.build import Report

BOARDS_AT_ONCE = 96
"""Boards whose light is followed between two reports."""
SHIFT_MM = 0.4
"""A board is moved by so much to learn the slope."""
TURN_RAD = 0.06
MOST_STEPS = 6
SMALLEST_MM = 0.3
PAYS = 2e-3
"""A step must raise the figure by this share, or it is noise."""
LEAST_LEVEL = 0.2
"""Boards are not turned down below this share of the strongest."""
STRAY = 10.0
"""How dearly light that must not be costs a step."""


@dataclass(frozen=True)
class Placement:
    """Boards that were placed.

    sites : the boards;  level : (sites,) float, drive over the pattern's, at most 1
    rows  : (sites, patches) float, luminance that each brings at full level [cd/m2]
    """

    sites: Sites
    level: FloatArray
    rows: FloatArray

    @property
    def luminance(self) -> FloatArray:
        """Luminance of the patches, all together, (patches,) float [cd/m2]."""
        return self.level @ self.rows

    @property
    def poses(self) -> Poses:
        """All boards."""
        return self.sites.poses

    @property
    def levels(self) -> FloatArray:
        """Level of each board, (boards,) float."""
        return self.level[self.sites.site]


class Polish:
    """Improves placements of one kind of board in one body."""

    def __init__(
        self,
        responses: Responses,
        kind: BoardKind,
        allowed: Allowed,
        aim: Aim,
        *,
        free_levels: bool,
        free_directions: bool,
    ) -> None:
        """free_levels : each site may be turned down;  free_directions : boards may tilt."""
        self._responses, self._kind, self._allowed, self._aim = responses, kind, allowed, aim
        self._free_levels, self._free_directions = free_levels, free_directions
        self._moves = allowed.placing.drill is None

    def improved(self, start: Placement, report: Report = lambda text: None) -> Placement:
        """Return the placement after a few steps, each of which paid."""
        here = start
        trust = 0.5 * start.sites.step_mm
        for step in range(MOST_STEPS):
            if trust < SMALLEST_MM or not (self._moves or self._free_levels):
                break
            report(f"{self._kind.name}: moving boards, step {step + 1}")
            slopes = self._slopes(here)
            paid = False
            while not paid and trust >= SMALLEST_MM:
                after = self._step(here, slopes, trust)
                paid = self._score(after) > self._score(here) * (1 + PAYS)
                if paid:
                    here = after
                else:
                    trust /= 2
        return here

    def _score(self, placement: Placement) -> float:
        return float(self._aim.score(placement.luminance[None])[0])

    def _rows(self, sites: Sites) -> FloatArray:
        """Return the luminance of each site at full level, (sites, patches)."""
        return site_luminance(self._responses, self._kind, self._allowed, sites)

    def _freedoms(self, first: Poses) -> list[Poses]:
        """Return the pose shifted along each way it may move, one small shift each."""
        place, way = first.position[0], first.direction[0]
        symmetry = self._allowed.placing.symmetry
        on_axis = symmetry > 1 and float(np.linalg.norm(place[:2])) < ON_AXIS_MM
        shifts = [Poses((place + SHIFT_MM * e)[None], first.direction) for e in np.eye(3)]
        if not self._moves:
            shifts = []
        if on_axis:
            return shifts[2:]
        if self._free_directions:
            for e in np.eye(3):
                across = e - (e @ way) * way
                if np.linalg.norm(across) > 0.5:
                    turned = way + TURN_RAD * across / np.linalg.norm(across)
                    shifts.append(Poses(first.position, (turned / np.linalg.norm(turned))[None]))
        return shifts

    def _slopes(self, here: Placement) -> list[FloatArray]:
        """Return what one shift along each freedom of each site adds, [(freedoms, patches)]."""
        sites = here.sites
        symmetry = self._allowed.placing.symmetry
        firsts = [sites.of(k).at(slice(0, 1)) for k in range(len(sites))]
        shifts = [self._freedoms(first) for first in firsts]
        every = [pose for some in shifts for pose in some]
        if not every:
            return [np.zeros((0, len(self._aim.area_mm2))) for _ in firsts]
        moved = self._rows(sites_of(Poses.joined(every), symmetry, sites.step_mm))
        slopes, at = [], 0
        for k, some in enumerate(shifts):
            slopes.append(moved[at : at + len(some)] - here.rows[k])
            at += len(some)
        return slopes

    def _step(self, here: Placement, slopes: list[FloatArray], trust: float) -> Placement:
        """Return the placement one step on; moves that are not allowed are left out."""
        move, level = self._solved(here, slopes, trust / SHIFT_MM)
        symmetry = self._allowed.placing.symmetry
        firsts, at = [], 0
        for k, slope in enumerate(slopes):
            first = here.sites.of(k).at(slice(0, 1))
            firsts.append(self._moved(first, move[at : at + len(slope)]))
            at += len(slope)
        olds = [here.sites.of(k).at(slice(0, 1)) for k in range(len(firsts))]
        sites = self._fitted(firsts, olds, symmetry, here.sites.step_mm)
        return Placement(sites, level, self._rows(sites))

    def _moved(self, first: Poses, amounts: FloatArray) -> Poses:
        place, way = first.position[0].copy(), first.direction[0].copy()
        for amount, shifted in zip(amounts, self._freedoms(first), strict=True):
            place += amount * (shifted.position[0] - first.position[0])
            way = way + amount * (shifted.direction[0] - first.direction[0])
        return Poses(place[None], (way / np.linalg.norm(way))[None])

    def _fitted(
        self, firsts: list[Poses], olds: list[Poses], symmetry: int, step_mm: float
    ) -> Sites:
        """Return the sites of new poses; one that is not allowed, or touches another, stays."""
        fine = sound(sites_of(Poses.joined(firsts), symmetry, step_mm), self._allowed)
        chosen = [new if good else old for new, old, good in zip(firsts, olds, fine, strict=True)]
        for k in range(len(chosen)):
            sites = sites_of(Poses.joined(chosen), symmetry, step_mm)
            others = sites.poses.at(np.nonzero(sites.site != k)[0])
            if self._allowed.clash(chosen[k], others).any():
                chosen[k] = olds[k]
        sites = sites_of(Poses.joined(chosen), symmetry, step_mm)
        for k in range(len(chosen)):
            others = sites.poses.at(np.nonzero(sites.site != k)[0])
            if self._allowed.clash(sites.of(k).at(slice(0, 1)), others).any():
                return sites_of(Poses.joined(olds), symmetry, step_mm)
        return sites

    def _solved(
        self, here: Placement, slopes: list[FloatArray], reach: float
    ) -> tuple[FloatArray, FloatArray]:
        """Return the best shifts and levels by the luminance as it is to first order at `here`
        (L-BFGS-B; Byrd, Lu, Nocedal & Zhu, SIAM J. Sci. Comput. 16, 1190 (1995))."""
        aim = self._aim
        slope = np.concatenate([here.level[k] * s for k, s in enumerate(slopes)])
        shifts, sites = len(slope), len(here.rows)
        column = np.concatenate([slope, here.rows])
        luminance = here.luminance
        value, change = self._read(luminance, column)
        start = np.concatenate([np.zeros(shifts), here.level])
        share = aim.stands_mm2 / aim.stands_mm2.sum()
        wanted = np.log(off_of_ripple(aim.target))
        dark, dark_change = luminance[~aim.glow], column[:, ~aim.glow]

        def cost(at: FloatArray) -> tuple[float, FloatArray]:
            then = value + (at - start) @ change
            seen = aim.seen(then[None])[0]
            j, by_seen = uneven_slope(seen, aim.stands_mm2)
            by_value = by_seen if aim.eye is None else aim.eye.T @ by_seen
            mean = max(float(share @ then), 1e-300)
            if aim.first == "evenness":
                found, turned = j, by_value
            else:
                short = j > wanted**2
                found = -np.log(mean) + (0.5 * np.log(j / wanted**2) if short else 0.0)
                turned = -share / mean + (by_value / (2 * j) if short else 0.0)
            over = (dark + (at - start) @ dark_change) / (aim.dark_ratio * mean) - 1
            over = np.maximum(over, 0.0)
            found += STRAY * float(over @ over)
            return found, change @ turned + dark_change @ (2 * STRAY * over) / (
                aim.dark_ratio * mean
            )

        least = LEAST_LEVEL if self._free_levels else 1.0
        bounds = [(-reach, reach)] * shifts + [(least, 1.0)] * sites
        answer = minimize(cost, start, jac=True, bounds=bounds, method="L-BFGS-B")
        return answer.x[:shifts], answer.x[shifts:]

    def _read(self, luminance: FloatArray, column: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return the luminance of the sampled faces, (samples,), and how it changes with each
        column of changes to patches, (columns, samples)."""
        aim = self._aim
        value = aim.sampled(luminance[None])[0]
        share = column[:, aim.glow] / np.maximum(luminance[aim.glow], 1e-12 * luminance.max())
        return value, value * (aim.slopes @ share.T).T


def site_luminance(
    responses: Responses,
    kind: BoardKind,
    allowed: Allowed,
    sites: Sites,
    rays: int = FAST_RAYS,
    report: Report = lambda text: None,
) -> FloatArray:
    """Return what each site brings to each patch as driven, (sites, patches) float [cd/m2]."""
    poses, parts = sites.poses, []
    for first in range(0, max(len(poses), 1), BOARDS_AT_ONCE):
        if len(poses) > BOARDS_AT_ONCE:
            report(f"{kind.name}: trying place {first + 1} of {len(poses)}")
        some = poses.at(slice(first, first + BOARDS_AT_ONCE))
        parts.append(responses.luminance_cd_m2(kind, some, allowed, rays))
    boards = np.concatenate(parts)
    total = np.zeros((len(sites), boards.shape[1]))
    np.add.at(total, sites.site, boards)
    return total
