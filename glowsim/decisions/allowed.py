"""Where boards may sit: deep enough, with room for their real size and wire, and apart."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from copy import copy

import numpy as np

from glowsim.decisions.boards import BoardKind, Poses
from glowsim.geometry.body import region_of
from glowsim.geometry.hollow import nearest_on
from glowsim.geometry.inside import inside_closed
from glowsim.geometry.mesh import FloatArray, IntArray
from glowsim.geometry.rays import AHEAD_MM, RayTarget
from glowsim.geometry.regions import ROOM
from glowsim.scene import Placing
from glowsim.transport.problem import BodyProblem, BoolArray, Kind

MOST_WALLS = 12
"""Walls a wire may pass on its way out."""
FINEST_MM = 1.0
"""Candidates are never closer together than this."""
HEIGHT, DEPTH, OUTLINE, WIRE = 1, 2, 3, 4
"""Why a place is refused: its height, an LED too near the surface, the board with what is to stay
clear around it, its wire. 0 where it is not."""
INSIDE = -2
"""A board that reaches into no region that is not open to it."""


class Allowed:
    """The places of one body that one kind of board may take."""

    def __init__(self, problem: BodyProblem, placing: Placing, kind: BoardKind) -> None:
        """Work out which regions boards may sit in: those like the ones the lights sit in now."""
        self.problem = problem
        self.placing = placing
        self.kind = kind
        kinds = problem.kind_of(np.arange(len(problem.media)))
        now = problem.emitters.region
        wanted = np.unique(kinds[now]) if len(now) else [Kind.SCATTERS]
        self._open = np.append(np.isin(kinds, wanted), False)
        self._solids = [problem.solids[k] for k in np.nonzero(self._open)[0]]
        self.in_air = Kind.AIR in wanted
        self._rays = RayTarget.of(problem.walls)
        skin = problem.skin
        self._hidden_faces = not problem.glows[skin].all()

    def allows(self, poses: Poses) -> BoolArray:
        """Return which poses are allowed, (n,) bool."""
        return self.refused(poses) == 0

    def refused(self, poses: Poses, scale: float = 1.0) -> IntArray:
        """Return why each pose is refused, (n,) int: HEIGHT to WIRE; 0 where it is allowed."""
        placing, reason = self.placing, np.zeros(len(poses), dtype=np.int64)
        height = poses.position[:, 2]
        low, high = placing.above_mm, placing.below_mm
        reason[(height < (-np.inf if low is None else low))] = HEIGHT
        reason[(height > (np.inf if high is None else high))] = HEIGHT
        self._refuse(reason, poses, DEPTH, lambda some: self._shallow(some, scale))
        self._refuse(reason, poses, OUTLINE, lambda some: self._sticks_out(some, scale))
        self._refuse(reason, poses, WIRE, self._wire_shows)
        return reason

    @staticmethod
    def _refuse(
        reason: IntArray, poses: Poses, number: int, faulty: Callable[[Poses], BoolArray]
    ) -> None:
        left = np.nonzero(reason == 0)[0]
        if len(left):
            reason[left[faulty(poses.at(left))]] = number

    def with_other(
        self, *, placing: Placing | None = None, kind: BoardKind | None = None
    ) -> Allowed:
        """Return the places that other rules or another board leave in the same body."""
        other = copy(self)
        other.placing, other.kind = placing or self.placing, kind or self.kind
        return other

    def depth_mm(self, poses: Poses, scale: float = 1.0) -> FloatArray:
        """Return how deep the shallowest LED of each board lies, (n,) float [mm]; below 0 where
        one lies out of the body."""
        leds = self.kind.leds_mm(poses)
        leds = poses.position[:, None] + scale * (leds - poses.position[:, None])
        depth = np.full(len(leds), -1.0)
        # Inside is told sooner than how deep, and of one LED sooner than of all.
        left = np.arange(len(leds))
        for some in (leds[:, :1], leds[:, 1:]):
            points = some[left]
            inside = inside_closed(self.problem.outer, points.reshape(-1, 3))
            left = left[inside.reshape(points.shape[:2]).all(axis=1)]
        distance, _, _ = nearest_on(self.problem.outer, leds[left].reshape(-1, 3))
        depth[left] = distance.reshape(len(left), leds.shape[1]).min(axis=1)
        return depth

    def _shallow(self, poses: Poses, scale: float) -> BoolArray:
        depth = self.depth_mm(poses, scale)
        return np.asarray(depth <= 0 if self.in_air else depth < self.placing.depth_mm)

    def meets(self, poses: Poses) -> IntArray:
        """Return the region that each board, with its clearance, reaches into though it may not,
        (n,) int: ROOM where it comes out of the body, INSIDE where it does not reach into any."""
        outline = self.kind.outline_mm(poses, self.placing.clearance_mm)
        points = outline.reshape(-1, 3)
        region = np.full(len(points), ROOM)
        for number, solid in enumerate(self.problem.solids):
            rest = np.nonzero(region == ROOM)[0]
            if solid is not None and len(rest):
                region[rest[inside_closed(solid, points[rest])]] = number
        of_pose = np.where(self._open[region], INSIDE, region).reshape(outline.shape[:2])
        met = of_pose.max(axis=1)
        return np.where((of_pose == ROOM).any(axis=1) & (met < 0), ROOM, met)

    def _sticks_out(self, poses: Poses, scale: float) -> BoolArray:
        outline = self.kind.outline_mm(poses, self.placing.clearance_mm, scale)
        points = outline.reshape(-1, 3)
        inside = np.zeros(len(points), dtype=bool)
        for solid in self._solids:
            if solid is not None:
                rest = np.nonzero(~inside)[0]
                inside[rest] = inside_closed(solid, points[rest])
        return np.asarray(~inside.reshape(outline.shape[:2]).all(axis=1))

    def _wire_shows(self, poses: Poses) -> BoolArray:
        """Follow each wire from the board's back to where it leaves the body."""
        shows = np.zeros(len(poses), dtype=bool)
        toward = self.placing.wire_toward
        if self.in_air or toward == "anywhere" or not self._hidden_faces:
            return shows
        way = np.asarray(toward, dtype=float)
        way = way / np.linalg.norm(way)
        place = poses.position - self.kind.board.thickness_mm * poses.direction
        problem = self.problem
        left = np.arange(len(poses))
        for _ in range(MOST_WALLS):
            hits = self._rays.first_hits(place[left], np.broadcast_to(way, (len(left), 3)))
            met = hits.face >= 0
            shows[left[~met]] = True
            left, face, point = left[met], hits.face[met], hits.point[met]
            to_room = problem.outside[face] == ROOM
            core = (problem.kind_of(problem.inside[face]) == Kind.OPAQUE) | (
                problem.kind_of(problem.outside[face]) == Kind.OPAQUE
            )
            shows[left[to_room]] = problem.glows[face[to_room]]
            shows[left[core & ~to_room]] = True
            on = ~to_room & ~core
            place[left] = point + AHEAD_MM * way
            left = left[on]
            if len(left) == 0:
                break
        return shows

    def regions_of(self, poses: Poses) -> IntArray:
        """Return the region each LED sits in, (n, leds) int."""
        leds = self.kind.leds_mm(poses)
        region = region_of(leds.reshape(-1, 3), self.problem.solids)
        return region.reshape(leds.shape[:2])

    @property
    def reach_mm(self) -> float:
        """From this distance of their places on, two boards cannot touch."""
        return float(np.linalg.norm(self.kind.size_mm)) + self.placing.clearance_mm

    def clash(self, one: Poses, others: Poses) -> BoolArray:
        """Return which of the others have no room beside `one`, a single pose; (n,) bool.

        Two boards are apart if some plane lies between them; only likely planes are tried, so
        boards at an odd angle may be kept a little too far apart.
        """
        if len(others) == 0:
            return np.zeros(0, dtype=bool)
        half = self.kind.size_mm[2] / 2
        frame, frames = self.kind.frames(one)[0], self.kind.frames(others)
        away = (others.position - half * others.direction) - (one.position - half * one.direction)
        count = len(others)
        axes: list[FloatArray] = [away]
        axes += [np.broadcast_to(frame[:, k], (count, 3)) for k in range(3)]
        axes += [frames[:, :, k] for k in range(3)]
        for way in (np.broadcast_to(one.direction, (count, 3)), others.direction):
            axes.append(away - np.einsum("nd,nd->n", away, way)[:, None] * way)
        gap = np.full(count, -np.inf)
        for axis in axes:
            length = np.linalg.norm(axis, axis=1)
            unit = axis / np.maximum(length, 1e-12)[:, None]
            between = np.abs(np.einsum("nd,nd->n", away, unit))
            reach = self._reach(np.einsum("nd,dk->nk", unit, frame))
            reach += self._reach(np.einsum("nd,ndk->nk", unit, frames))
            gap = np.maximum(gap, np.where(length > 1e-9, between - reach, -np.inf))
        return gap < self.placing.clearance_mm

    def _reach(self, local: FloatArray) -> FloatArray:
        """Return how far a board reaches from its middle along unit directions of its frame."""
        length, width, thickness = self.kind.size_mm
        along = np.abs(local)
        if self.kind.board.kind == "strip":
            across = along[:, 0] * length / 2 + along[:, 1] * width / 2
        else:
            across = np.hypot(along[:, 0], along[:, 1]) * length / 2
        return across + along[:, 2] * thickness / 2


def ways_of(directions: Sequence[Sequence[float]], kind: BoardKind) -> FloatArray:
    """Return different unit directions that the board can face, (n, 3) float."""
    ways = np.asarray(directions, dtype=float)
    ways = ways / np.linalg.norm(ways, axis=1)[:, None]
    _, first = np.unique(np.round(ways, 6), axis=0, return_index=True)
    ways = ways[np.sort(first)] + 0.0
    return ways[[kind.fits_strip(way) for way in ways]].reshape(-1, 3)
