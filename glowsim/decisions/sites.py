"""Candidate places: single boards, or sets of boards evenly around the axis."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from glowsim.catalogue import Catalogue
from glowsim.decisions.allowed import FINEST_MM, REASONS, Allowed
from glowsim.decisions.boards import BoardKind, Poses
from glowsim.errors import SceneError
from glowsim.geometry.mesh import FloatArray, IntArray
from glowsim.scene import Body, DrillLine, DrillRing, Light, Placing
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
    """Return about `most` boards at allowed sites, on an even net or where a drill reaches.

    ways : (w, 3) float, directions the boards may face
    Raises SceneError, saying why and what is possible, if there is no place at all.
    """
    placing, symmetry = allowed.placing, allowed.placing.symmetry
    bounds = allowed.problem.outer.bounds
    if isinstance(placing.drill, DrillLine | DrillRing):
        places, step = _drilled(placing.drill, bounds), placing.drill.step_mm
        found = _allowed_of(allowed, _facing(places, ways), symmetry, step)
    else:
        step = float(np.cbrt(np.prod(bounds[1] - bounds[0]) * len(ways) / (4 * most)))
        while True:
            places = _net(bounds, step, symmetry, placing)
            found = _allowed_of(allowed, _facing(places, ways), symmetry, step)
            enough = len(found.site) >= ENOUGH * most
            if enough or step <= FINEST_MM or 3 * len(places) * len(ways) > MOST_TRIED:
                break
            step = max(FINEST_MM, 0.75 * step)
    if not len(found.site):
        raise SceneError(_nowhere(allowed, _facing(places, ways)))
    if len(found.site) > 1.5 * most:
        rng = np.random.default_rng(0)
        keep = rng.choice(len(found), round(len(found) * most / len(found.site)), replace=False)
        axis = np.nonzero(np.linalg.norm(found.poses.position[:, :2], axis=1) < ON_AXIS_MM)[0]
        found = found.at(np.union1d(keep, found.site[axis]))
    return found


def _allowed_of(allowed: Allowed, firsts: Poses, symmetry: int, step_mm: float) -> Sites:
    fine = firsts.at(np.nonzero(allowed.allows(firsts))[0])
    if not len(fine):
        return Sites(fine, np.zeros(0, np.int64), step_mm)
    sites = sites_of(fine, symmetry, step_mm)
    good = np.nonzero(sound(sites, allowed))[0] if symmetry > 1 else np.arange(len(sites))
    return sites.at(good) if len(good) else Sites(fine.at(slice(0, 0)), np.zeros(0, int), step_mm)


def _facing(places: FloatArray, ways: FloatArray) -> Poses:
    """Return every place with every direction."""
    return Poses(np.repeat(places, len(ways), axis=0), np.tile(ways, (len(places), 1)))


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


def _nowhere(allowed: Allowed, poses: Poses) -> str:
    """Say why no place is allowed, and what comes nearest."""
    kind, name = allowed.kind, allowed.problem.name
    length, width, thickness = kind.size_mm
    if not len(poses):
        return (
            f"{name}: no direction or height is left for the board '{kind.name}'; look at "
            "directions, above_mm and below_mm under placing"
        )
    some = poses if len(poses) < 3000 else poses.at(slice(None, None, len(poses) // 3000 + 1))
    why = allowed.refused(some)
    most = int(np.bincount(why, minlength=len(REASONS)).argmax())
    said = (
        f"{name}: there is no place for the board '{kind.name}' ({length:g} x {width:g} x "
        f"{thickness:g} mm with {allowed.placing.clearance_mm:g} mm clear on every side, LEDs "
        f"{allowed.placing.depth_mm:g} mm deep); most places: {REASONS[most]}"
    )
    for scale in np.arange(0.95, 0.04, -0.05):
        if (allowed.refused(some, float(scale)) == 0).any():
            return said + f". A board of {scale * length:.0f} mm across would find room"
    return said + ". Give less depth_mm or clearance_mm, or a thicker body"


def fitting_boards(
    allowed: Allowed, catalogue: Catalogue, body: Body, light: Light, ways: FloatArray
) -> list[str]:
    """Return the round and single boards of the catalogue that find room in a body."""
    names = []
    for name, board in catalogue.boards.items():
        if board.kind == "strip":
            continue
        changed = light.model_copy(update={"board": name, "led_count": None})
        other = BoardKind(changed, catalogue, 1.0, body)
        try:
            candidates(Allowed(allowed.problem, allowed.placing, other), ways, 200)
        except SceneError:
            continue
        names.append(name)
    return names
