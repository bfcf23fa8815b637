"""Candidate places: single boards, or sets of boards evenly around the axis."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from glowsim.decisions.allowed import FINEST_MM, Allowed
from glowsim.decisions.boards import Poses
from glowsim.geometry.mesh import FloatArray, IntArray
from glowsim.scene import DrillLine, DrillRing, Placing
from glowsim.transport.problem import BoolArray

ON_AXIS_MM = 1e-6
MOST_TRIED = 60_000
"""Places looked at in search of allowed ones."""
ENOUGH = 0.5
"""The net of places is drawn closer until this share of the wanted number is allowed."""


@dataclass(frozen=True)
class Sites:
    """Sets of boards that are placed together.

    poses : of all boards;  site : (boards,) int, the set each belongs to, ascending
    step_mm : distance of neighbouring candidates
    """

    poses: Poses
    site: IntArray
    step_mm: float

    @cached_property
    def count(self) -> IntArray:
        """How many boards each site has, (sites,) int."""
        return np.bincount(self.site)

    def __len__(self) -> int:
        return int(self.site.max()) + 1 if len(self.site) else 0

    def of(self, site: int) -> Poses:
        """Return the boards of one site."""
        return self.poses.at(np.nonzero(self.site == site)[0])

    def at(self, chosen: IntArray) -> Sites:
        """Return some of the sites, renumbered."""
        parts = [self.of(int(k)) for k in chosen]
        site = np.repeat(np.arange(len(parts)), [len(p) for p in parts])
        return Sites(Poses.joined(parts), site, self.step_mm)

    def with_more(self, other: Sites) -> Sites:
        """Return these sites and some more."""
        return Sites(
            Poses.joined([self.poses, other.poses]),
            np.concatenate([self.site, other.site + len(self)]),
            self.step_mm,
        )


def site_of(first: Poses, symmetry: int) -> Poses:
    """Return the set of boards that a single pose stands for: itself, or its turns about z."""
    radius = float(np.linalg.norm(first.position[0, :2]))
    tilt = float(np.linalg.norm(first.direction[0, :2]))
    if symmetry == 1 or (radius < ON_AXIS_MM and tilt < ON_AXIS_MM):
        return first
    return Poses.joined([first.turned(2 * np.pi * k / symmetry) for k in range(symmetry)])


def sites_of(firsts: Poses, symmetry: int, step_mm: float) -> Sites:
    """Return the sites of several poses."""
    sets = [site_of(firsts.at(np.array([k])), symmetry) for k in range(len(firsts))]
    site = np.repeat(np.arange(len(sets)), [len(s) for s in sets])
    return Sites(Poses.joined(sets), site, step_mm)


def sound(sites: Sites, allowed: Allowed) -> BoolArray:
    """Return which sites are allowed as a whole and whose boards do not touch, (sites,) bool."""
    good = np.ones(len(sites), dtype=bool)
    fine = allowed.allows(sites.poses)
    np.logical_and.at(good, sites.site, fine)
    for number in np.nonzero(good & (sites.count > 1))[0]:
        mine = sites.of(int(number))
        good[number] = not allowed.clash(mine.at(slice(0, 1)), mine.at(slice(1, None))).any()
    return good


def candidates(allowed: Allowed, ways: FloatArray, most: int) -> Sites:
    """Return about `most` boards at allowed sites, on an even net or where a drill reaches; none
    where there is no place.

    ways : (w, 3) float, directions the boards may face
    """
    placing, bounds = allowed.placing, allowed.problem.outer.bounds
    if placing.drill is not None:
        step = placing.drill.step_mm
        found = allowed_of(allowed, facing(places_of(allowed, step), ways), step)
    else:
        step = float(np.cbrt(np.prod(bounds[1] - bounds[0]) * len(ways) / (4 * most)))
        while True:
            places = places_of(allowed, step)
            found = allowed_of(allowed, facing(places, ways), step)
            enough = len(found.site) >= ENOUGH * most
            if enough or step <= FINEST_MM or 3 * len(places) * len(ways) > MOST_TRIED:
                break
            step = max(FINEST_MM, 0.75 * step)
    if len(found.site) > 1.5 * most:
        rng = np.random.default_rng(0)
        keep = rng.choice(len(found), round(len(found) * most / len(found.site)), replace=False)
        axis = np.nonzero(np.linalg.norm(found.poses.position[:, :2], axis=1) < ON_AXIS_MM)[0]
        found = found.at(np.union1d(keep, found.site[axis]))
    return found


def allowed_of(allowed: Allowed, firsts: Poses, step_mm: float) -> Sites:
    """Return the sites of poses that are allowed as a whole."""
    symmetry = allowed.placing.symmetry
    fine = firsts.at(np.nonzero(allowed.allows(firsts))[0])
    if not len(fine):
        return Sites(fine, np.zeros(0, np.int64), step_mm)
    sites = sites_of(fine, symmetry, step_mm)
    good = np.nonzero(sound(sites, allowed))[0] if symmetry > 1 else np.arange(len(sites))
    return sites.at(good) if len(good) else Sites(fine.at(slice(0, 0)), np.zeros(0, int), step_mm)


def facing(places: FloatArray, ways: FloatArray) -> Poses:
    """Return every place with every direction."""
    return Poses(np.repeat(places, len(ways), axis=0), np.tile(ways, (len(places), 1)))


def places_of(allowed: Allowed, step_mm: float) -> FloatArray:
    """Return the places that are looked at, (n, 3) float [mm]: a net of this step in the body's
    box, or what a drill reaches there."""
    placing, bounds = allowed.placing, allowed.problem.outer.bounds
    if placing.drill is not None:
        return _drilled(placing.drill, bounds)
    return _net(bounds, step_mm, placing.symmetry, placing)


def _net(bounds: FloatArray, step: float, symmetry: int, placing: Placing) -> FloatArray:
    """Return points of a net that is symmetric about the z axis, or the middle of the body."""
    middle = (bounds[0] + bounds[1]) / 2
    reach = (bounds[1] - bounds[0]) / 2
    # Sketch shapes stand on their axis; only a mesh from elsewhere has its own middle.
    on_axis = bool((np.abs(middle[:2]) < 0.25 * reach[:2]).all())
    centre = np.array([0.0, 0.0, middle[2]]) if on_axis or symmetry > 1 else middle
    axes = []
    for k in range(3):
        low = np.ceil((bounds[0, k] - centre[k]) / step)
        axes.append(centre[k] + step * np.arange(low, (bounds[1, k] - centre[k]) // step + 1))
    low_mm, high_mm = placing.above_mm, placing.below_mm
    axes[2] = axes[2][(axes[2] >= (-np.inf if low_mm is None else low_mm))]
    axes[2] = axes[2][(axes[2] <= (np.inf if high_mm is None else high_mm))]
    places = np.stack(np.meshgrid(*axes, indexing="ij"), axis=-1).reshape(-1, 3)
    if symmetry > 1:
        turn = np.arctan2(places[:, 1], places[:, 0]) % (2 * np.pi)
        places = places[turn < 2 * np.pi / symmetry - 1e-9]
    return places


def _drilled(drill: DrillLine | DrillRing, bounds: FloatArray) -> FloatArray:
    """Return the points a drill reaches within the body's bounds, (n, 3) float [mm]."""
    if isinstance(drill, DrillLine):
        way = np.asarray(drill.direction) / np.linalg.norm(drill.direction)
        far = float(np.linalg.norm(bounds[1] - bounds[0])) + float(
            np.linalg.norm(np.asarray(drill.start_mm) - bounds.mean(axis=0))
        )
        return (
            np.asarray(drill.start_mm)
            + drill.step_mm * np.arange(far // drill.step_mm)[:, None] * way
        )
    turn = 2 * np.pi * np.arange(drill.count) / drill.count
    height = np.arange(np.ceil(bounds[0, 2] / drill.step_mm), bounds[1, 2] // drill.step_mm + 1)
    ring = drill.radius_mm * np.column_stack([np.cos(turn), np.sin(turn)])
    return np.array([[x, y, drill.step_mm * z] for z in height for x, y in ring]).reshape(-1, 3)
