"""What to try: a move, more material or another light, estimated without a new solve.

`decisions.mending` tries these ideas, and others, before a command recommends one.

The estimate fits how a light's brightness falls with distance over the body's own faces, and
moves the light, the faces or another light in that fit. Against new solves it gets the brightest
place over the mean to about a fifth, and which of two ideas is better; only a new solve confirms
one. What is not foretold to help clearly is not suggested.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from scipy.optimize import nnls
from scipy.spatial.distance import cdist

from glowsim.findings.luminance import Look
from glowsim.findings.patches import Eye, Patch
from glowsim.geometry.hollow import depth_mm, nearest_on
from glowsim.geometry.mesh import FloatArray, at_mm

BARE_LED = 0.3
"""From this share of unscattered light on, a hot spot is a bare LED showing."""
HELPS = 0.75
"""What an idea must bring a hot spot's excess down to, or a dark gap's shortfall."""
EVENER = 0.95
"""What an idea for a dark gap must bring the spread of log luminance down to."""
TOO_FAR_APART = 1.7
"""A row of LEDs is too coarse from this spacing over depth on: a square grid then dips to about
60 % between LEDs (Poisson sum of Lambertian LEDs)."""
MOVES_MM = (2.0, 4.0, 8.0, 12.0, 18.0, 26.0, 36.0, 50.0)
MORE_MM = (1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0, 13.0, 16.0, 20.0)
"""More material than the last is another prop."""
STRENGTHS = (1.0, 0.5, 0.25, 0.1)
"""Brightness of another light, in that of the nearest one."""
GOOD_TO = 1.2
"""The brightest place over the mean is foretold to this factor, against new solves."""
HALF_WAY = 0.25
"""Brightness of another light half-way to a dark gap of a shell, in that of the nearest one."""
PLACES = 150
"""Places tried for another light."""
CLEAR_MM, BURIED_MM = 5.0, 3.0
"""Room another light needs around it, to other LEDs and to the surface."""
_FALLS_PER_MM = np.concatenate([[0.0], np.geomspace(0.003, 0.6, 24)])


@dataclass(frozen=True)
class _Falloff:
    """Brightness by distance r to each LED: near * sum of exp(-fall r) / r^2, + everywhere."""

    fall_per_mm: float
    near: float
    everywhere: float

    def at(self, points: FloatArray, leds: FloatArray) -> FloatArray:
        """Return the brightness at points (n, 3) for LEDs at (m, 3), (n,)."""
        return self.of(_apart(points, leds))

    def of(self, apart_mm: FloatArray) -> FloatArray:
        """Return the same for distances of points from LEDs, (n, m)."""
        return self.near * _kernel(apart_mm, self.fall_per_mm) + self.everywhere


def _kernel(distance_mm: FloatArray, fall_per_mm: float) -> FloatArray:
    r = np.maximum(distance_mm, 2.0)
    total: FloatArray = (np.exp(-fall_per_mm * r) / r**2).sum(axis=-1)
    return total


@dataclass(frozen=True)
class Idea:
    """One change that may mend a patch, in the body's own frame.

    does  : move a light by `mm`; add one at `mm`, `amount` times as bright as `light`; put on
            `amount` mm of material all round; a denser strip; something diffuse over bare LEDs; or
            face a light toward the patch, at `mm`
    light : the nearest light, by number
    """

    does: Literal["move", "add", "around", "denser", "diffuse", "face"]
    light: int
    mm: tuple[float, ...] = (0.0, 0.0, 0.0)
    amount: float = 0.0


@dataclass(frozen=True)
class Suggestion:
    """One plain sentence on what to try; place_mm : (3,) float, where it wants a light, in the
    body's frame, None where it names no place; ideas : the same, to be tried."""

    words: str
    place_mm: FloatArray | None = None
    ideas: tuple[Idea, ...] = ()


def suggestion(patch: Patch, eye: Eye) -> Suggestion:
    """Return what would mend a patch."""
    look = eye.look
    if patch.kind == "hot spot" and patch.direct_share > BARE_LED:
        return Suggestion(
            f"{100 * patch.direct_share:.0f} % of the light here never scattered, the bare LED "
            "shows: put a diffuser over it (thin fabric, frosted film) or use a cloudier material",
            ideas=(Idea("diffuse", patch.light),),
        )
    spaced = _too_far_apart(patch, look)
    if spaced:
        return Suggestion(spaced, ideas=(Idea("denser", patch.light),))
    trial = _Trial(patch, eye)
    tried = [trial.move(), trial.thicker() if patch.kind == "hot spot" else trial.another()]
    known = [one for one in tried if one is not None]
    if not known and trial.hollow and patch.kind == "dark gap":
        return Suggestion(
            "turn a board toward it, or add one that faces it: inside a hollow, what no LED shines "
            "on gets light from the other walls only",
            ideas=_in_hollow(patch, look),
        )
    if not known:
        return Suggestion(
            "no simple change of the nearest light helps: try another board or material"
        )
    words = " or ".join(one.words for one in known) + " (estimate; run again to confirm)"
    places = [one.place_mm for one in known if one.place_mm is not None]
    ideas = tuple(idea for one in known for idea in one.ideas)
    return Suggestion(words, places[-1] if places else None, ideas)


def _in_hollow(patch: Patch, look: Look) -> tuple[Idea, ...]:
    """Return what may light a dark gap of a shell: one more light half-way to it, or the light
    turned toward it. A ring is taken by its middle."""
    light, surface = look.body.light_mm[patch.light], look.body.surface
    gap = np.average(surface.centroids[patch.faces], axis=0, weights=surface.areas_mm2[patch.faces])
    turned = Idea("face", patch.light, tuple(map(float, gap)))
    if np.linalg.norm(gap - light) < 6 * CLEAR_MM:
        return (turned,)
    half = tuple(map(float, np.round((light + gap) / 2)))
    return Idea("add", patch.light, half, HALF_WAY), turned


class _Trial:
    """The nearest light of a patch, and what the patch would look like if it were changed."""

    def __init__(self, patch: Patch, eye: Eye) -> None:
        self._patch, self._eye, self._look = patch, eye, eye.look
        rows = eye.patchwork.faces
        surface = self._look.body.surface
        self._centre, self._normal = surface.centroids[rows], surface.normals[rows]
        self._share = eye.patchwork.area / eye.patchwork.area.sum()
        self._mine = np.isin(rows, patch.faces)
        self._leds = _leds(self._look, patch.light)
        self._wanted = eye.wanted
        self._own = self._look.per_light_cd_m2[patch.light, rows] / self._wanted
        self._seen = eye.seen_cd_m2
        self._fit = _falloff(self._look, patch.light)
        self._before = self._fit.at(self._centre, self._leds)
        others = self._look.body.led_mm[self._look.body.led_light != patch.light]
        self._to_others = _apart(self._centre, others).min(axis=1, initial=np.inf)
        self._now = self._fault(self._seen, self._leds)
        self._spread_now = self._spread(self._seen)

    def move(self) -> Suggestion | None:
        """Return the best move of the light, None if none helps clearly."""
        look = self._look
        ways = np.vstack([np.eye(3), -np.eye(3)])
        steps = (ways[:, None, :] * np.array(MOVES_MM)[None, :, None]).reshape(-1, 3)
        moved_leds = (self._leds + np.vstack([np.zeros(3), steps])[:, None, :]).reshape(-1, 3)
        depth = depth_mm(look.body.surface, moved_leds).reshape(-1, len(self._leds)).min(axis=1)
        steps = steps[depth[1:] >= min(depth[0], 5.0) - 0.1]
        tried = []
        for step in steps:
            leds = self._leds + step
            moved = self._own * self._fit.at(self._centre, leds) / self._before
            seen = self._seen - self._own + moved
            tried.append((seen, self._fault(seen, leds)))
        best = self._best(tried)
        if best is None:
            return None
        step = steps[best]
        return Suggestion(
            f"move {_light_name(look, self._patch.light)} about {np.linalg.norm(step):.0f} mm "
            f"{_way(step)}{self._outcome(tried[best][1])}",
            look.body.light_mm[self._patch.light] + step,
            (Idea("move", self._patch.light, tuple(map(float, step))),),
        )

    def thicker(self) -> Suggestion | None:
        """Return how much more material all round would calm a hot spot, if that can."""
        if self.hollow:
            return None  # a thicker wall around a hollow dims the spot and all around it alike
        for more in MORE_MM:
            further = self._fit.at(self._centre + more * self._normal, self._leds)
            seen = self._seen - self._own + self._own * further / self._before
            fault = self._fault(seen, self._leds)
            if fault < self._goal:
                outcome = self._outcome(fault)
                idea = Idea("around", self._patch.light, amount=more)
                return Suggestion(
                    f"add about {more:.0f} mm of material all round{outcome}", ideas=(idea,)
                )
        return None

    def another(self) -> Suggestion | None:
        """Return where another light would fill a dark gap, if one can."""
        if self.hollow:
            return None  # the light there comes from all walls, and tells nothing of another LED
        to_leds = _apart(self._centre, self._look.body.led_mm).min(axis=1)
        most = max(self._peak(self._seen), self._eye.limits.whole_bright_ratio)
        tried, asked = [], []
        for point in self._places():
            apart = _apart(self._centre, point[None])
            more = len(self._leds) * self._fit.of(apart) / self._wanted
            leds = np.vstack([self._leds, point])
            its_own = apart[:, 0] < to_leds
            for strength in STRENGTHS:
                seen = self._seen + strength * more
                spot = float(seen[its_own].max(initial=0.0)) / self._mean(seen)
                # Else it may well be a hot spot of its own. What does not help is not kept: a
                # fine surface has many faces.
                if spot * GOOD_TO < most and (fault := self._fault(seen, leds)) < self._goal:
                    tried.append((seen, fault))
                    asked.append((point, strength))
        best = self._best(tried)
        if best is None:
            return None
        place, share = asked[best]
        dimmed = "" if share == 1 else f", {share:g} times as bright as the nearest one"
        outcome = self._outcome(tried[best][1])
        idea = Idea("add", self._patch.light, tuple(map(float, place)), share)
        return Suggestion(f"add a light near {at_mm(place)}{dimmed}{outcome}", place, (idea,))

    def _places(self) -> FloatArray:
        """Return places for another light: around the patch, within the body, clear of LEDs.

        On a net of whole millimetres about the axis, so that faces of another size, as the
        decisions solve with, lead to the same place.
        """
        body = self._look.body
        low, high = body.surface.bounds
        step = max(1.0, float(np.round(np.cbrt(np.prod(high - low) / (20 * PLACES)))))
        axes = [step * np.arange(np.ceil(low[k] / step), high[k] // step + 1) for k in range(3)]
        points = np.stack(np.meshgrid(*axes, indexing="ij"), axis=-1).reshape(-1, 3)
        middle = np.average(self._centre[self._mine], axis=0, weights=self._share[self._mine])
        near = np.linalg.norm(points - middle, axis=1) < 2 * max(self._patch.size_mm, 20.0)
        clear = _apart(points, body.led_mm).min(axis=1) > CLEAR_MM
        points = _thinned(points[near & clear], 4 * PLACES)
        return _thinned(points[depth_mm(body.surface, points) > BURIED_MM], PLACES)

    @property
    def hollow(self) -> bool:
        """Whether the body has air inside."""
        return "air" in self._look.body.account.regions

    def _best(self, tried: list[tuple[FloatArray, float]]) -> int | None:
        """Return which trial, by what is seen then and its fault, mends the patch best and makes
        nothing else worse: neither the whole less even, nor a hot spot hotter than there is one."""
        hot = self._patch.kind == "hot spot"
        # A dark gap that only wanders makes the whole no more even.
        most_spread = (1.02 if hot else EVENER) * self._spread_now
        most = max(self._peak(self._seen), self._eye.limits.whole_bright_ratio) + 1e-9
        order = {}
        for k, (seen, fault) in enumerate(tried):
            if fault < self._goal and self._peak(seen) < most:
                spread = self._spread(seen)
                if spread < most_spread:
                    # A hot spot by how much it calms, a dark gap by how even the whole becomes.
                    order[k] = fault if hot else spread
        return min(order, key=order.__getitem__, default=None)

    def _fault(self, seen: FloatArray, leds: FloatArray) -> float:
        """Return how bad a patch is: a hot one's greatest over the mean, a dark one's mean over
        its own. For a hot one all faces near this light count: the spot moves with it."""
        mean = self._mean(seen)
        if self._patch.kind == "hot spot":
            near = _apart(self._centre, leds).min(axis=1) <= self._to_others
            return float(seen[near].max(initial=0.0)) / mean
        own = float((self._share * seen)[self._mine].sum() / self._share[self._mine].sum())
        return mean / max(own, 1e-9 * mean)

    def _peak(self, seen: FloatArray) -> float:
        return float(seen.max()) / self._mean(seen)

    def _mean(self, values: FloatArray) -> float:
        # Not a matrix product: BLAS would split so short a sum over threads and wait for them.
        return float((self._share * values).sum())

    @property
    def _goal(self) -> float:
        return 1 + HELPS * (self._now - 1)

    def _spread(self, seen: FloatArray) -> float:
        """Return the spread of log luminance over the area; 0 is even."""
        log = np.log(np.maximum(seen, 1e-9))
        return float(np.sqrt(self._mean((log - self._mean(log)) ** 2)))

    def _outcome(self, then: float) -> str:
        if self._patch.kind == "hot spot":
            return f", which takes it from {self._now:.2g} to about {then:.2g} times the mean"
        return (
            f", which takes its mean from {1 / self._now:.2g} to about {1 / then:.2g} of the "
            "whole body's"
        )


def _thinned(points: FloatArray, most: int) -> FloatArray:
    """Return every n-th of some points, so that no more than `most` are left."""
    return points[:: max(1, -(-len(points) // most))]


def _falloff(look: Look, light: int) -> _Falloff:
    """Fit the light's brightness over the glowing faces by non-negative least squares."""
    faces = np.nonzero(look.glows)[0]
    bright = look.per_light_cd_m2[light, faces]
    faces, bright = faces[bright > 1e-5 * bright.max()], bright[bright > 1e-5 * bright.max()]
    r = _apart(look.body.surface.centroids[faces], _leds(look, light))
    weight = np.sqrt(look.body.surface.areas_mm2[faces]) / np.sqrt(bright * bright.max())
    best, least = _Falloff(0.0, 1.0, 0.0), np.inf
    for fall in _FALLS_PER_MM:
        columns = np.column_stack([_kernel(r, float(fall)), np.ones(len(r))])
        (near, everywhere), misfit = nnls(columns * weight[:, None], bright * weight)
        if misfit < least:
            best, least = _Falloff(float(fall), float(near), float(everywhere)), misfit
    return best


def _too_far_apart(patch: Patch, look: Look) -> str:
    """Say when a row or ring of LEDs is too coarse for its depth."""
    leds = _leds(look, patch.light)
    if len(leds) < 4:
        return ""
    gaps = _apart(leds, leds)
    np.fill_diagonal(gaps, np.inf)
    spacing = float(np.median(gaps.min(axis=1)))
    nearest, _, _ = nearest_on(look.body.surface, leds)
    depth = float(np.median(nearest))
    if spacing < TOO_FAR_APART * depth:
        return ""
    if patch.kind == "dark gap" and patch.size_mm > 2 * spacing:
        return ""  # more than a gap between two LEDs
    return (
        f"the LEDs of {_light_name(look, patch.light)} stand {spacing:.0f} mm apart but only "
        f"{depth:.1f} mm below the surface: use a denser row or bury it deeper; spacing about "
        "equal to depth starts to even out (common practice, no source)"
    )


def _leds(look: Look, light: int) -> FloatArray:
    return look.body.led_mm[look.body.led_light == light]


def _apart(points: FloatArray, others: FloatArray) -> FloatArray:
    """Return distances between points (n, 3) and others (m, 3), (n, m)."""
    return cdist(points, others)


def _light_name(look: Look, light: int) -> str:
    return f"light {light + 1}" if look.body.light_count > 1 else "the light"


def _way(step: FloatArray) -> str:
    """Say where a step along an axis of the body's frame leads."""
    axis = int(np.abs(step).argmax())
    sign = "+" if step[axis] > 0 else "-"
    if axis == 2:
        return "up its length (+z)" if step[2] > 0 else "toward the base (-z)"
    return f"sideways ({sign}{'xyz'[axis]})"
