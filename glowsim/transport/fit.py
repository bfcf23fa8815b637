"""Do the light boards of a body have room? Where not: what is in the way, where, by how much."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import cached_property
from itertools import combinations
from typing import Any

import manifold3d
import numpy as np

from glowsim.geometry.boards import BoardShape
from glowsim.geometry.body import region_of
from glowsim.geometry.hollow import depth_mm, nearest_on
from glowsim.geometry.mesh import FloatArray, IntArray, Mesh, at_mm, from_manifold, to_manifold
from glowsim.transport.problem import BodyProblem, Kind

TOUCH_MM = 0.1
"""Solids that share less than this are said to touch."""
SHARE = 0.02
"""A board with less of itself than this in another material stands in one alone."""
WIRE_MM = 3.0
"""Room for wires soldered to a board: behind it, or past an end of a strip (common practice, no
source)."""

STEPS_MM = np.append(0.02, np.arange(0.25, WIRE_MM, 0.25))
"""Along a wire's way from its board: where is looked."""


@dataclass(frozen=True)
class Misfit:
    """One thing that is wrong with where a board stands.

    light    : number of its light in the body;  place_mm : (3,) where, in the body's frame
    by_mm    : by how much;  blocks : whether it cannot be built so, or is a thing to look at
    what     : in words
    """

    light: int
    what: str
    place_mm: FloatArray
    by_mm: float
    blocks: bool

    def as_json(self) -> dict[str, Any]:
        """Return plain data."""
        place = [round(float(x), 2) + 0.0 for x in self.place_mm]
        return vars(self) | {"place_mm": place, "by_mm": round(self.by_mm, 2)}


def misfits(problem: BodyProblem) -> tuple[Misfit, ...]:
    """Return what is wrong with where the boards of a body stand, board after board.

    The boards are those of `problem.boards`, one for each light of the body. A board must not
    stick out of its body, nor run into a core or another board. It may stand half in a pocket and
    half in material, or lack room for its wires: these are things to look at.
    """
    return tuple(_Fit(problem).found())


def notes_on_fit(name: str, found: Iterable[Misfit]) -> tuple[str, ...]:
    """Return one line if boards of the body `name` cannot be built where they stand, else none."""
    bad = [misfit for misfit in found if misfit.blocks]
    if not bad:
        return ()
    lights = {misfit.light for misfit in bad}
    many = f"{len(lights)} of its boards do not fit" if len(lights) > 1 else "a board does not fit"
    first = f"light {bad[0].light + 1} {bad[0].what}"
    return (f"{name}: {many}: {first}; 'glowsim check' lists what is in the way",)


def fits(problem: BodyProblem) -> bool:
    """Return whether all boards of a body can be built where they stand."""
    return not any(misfit.blocks for misfit in misfits(problem))


class _Fit:
    """The boards of one body as closed solids, and what they may run into."""

    def __init__(self, problem: BodyProblem) -> None:
        self._problem = problem
        self._boards = problem.boards
        self._solids = [to_manifold(b.shape.mesh(), "light board") for b in self._boards]
        self._outer: manifold3d.Manifold | None = None
        self._deep = _depths_mm(problem)
        self._regions: dict[int, manifold3d.Manifold] = {}

    def found(self) -> Iterator[Misfit]:
        for number, solid in enumerate(self._solids):
            yield from self._sticks_out(number, solid)
            yield from self._runs_into(number, solid)
            yield from self._lacks_room_for_wires(number)
        yield from self._clashes()

    def _sticks_out(self, number: int, solid: manifold3d.Manifold) -> Iterator[Misfit]:
        if self._deep[number] > _reach_mm(self._boards[number].shape):
            return
        self._outer = self._outer or to_manifold(self._problem.outer, self._problem.name)
        rest = solid - self._outer
        if rest.is_empty():
            return
        corners = from_manifold(rest).vertices
        depth = depth_mm(self._problem.outer, corners)
        worst = int(depth.argmin())
        by_mm, place = -float(depth[worst]), corners[worst]
        if by_mm < TOUCH_MM:
            return
        shows = self._shows_at(corners[depth < -TOUCH_MM])
        where = "" if shows else ", where nothing glows"
        yield Misfit(
            number,
            f"sticks {by_mm:.1f} mm out of the body at {at_mm(place)}{where}",
            place,
            by_mm,
            blocks=shows,
        )

    def _shows_at(self, places: FloatArray) -> bool:
        """Return whether the surface next to any of some places is meant to glow."""
        problem = self._problem
        walls = problem.walls
        skin = Mesh.single_part(walls.vertices, walls.faces[problem.skin])
        _, _, face = nearest_on(skin, places)
        return bool(problem.glows[problem.skin][face].any())

    def _runs_into(self, number: int, solid: manifold3d.Manifold) -> Iterator[Misfit]:
        """Tell of cores in the way, and of a board that stands in more than one material."""
        problem, shape = self._problem, self._boards[number].shape
        shares = np.zeros(len(problem.media))
        where: dict[int, tuple[FloatArray, FloatArray]] = {}
        for region in range(len(problem.media)):
            if (common := self._common(solid, region)) is None:
                continue
            shares[region] = common.volume() / solid.volume()
            where[region] = _extent(common, shape)
        for region, (place, extent) in where.items():
            by_mm = float(extent.min())
            if problem.media[region].kind == Kind.OPAQUE and by_mm > TOUCH_MM:
                text = f"runs {by_mm:.1f} mm into the {problem.media[region].name}"
                yield Misfit(number, f"{text} at {at_mm(place)}", place, by_mm, blocks=True)
        held = [k for k in where if problem.media[k].kind != Kind.OPAQUE and shares[k] > SHARE]
        held = [k for k in held if where[k][1].min() > TOUCH_MM]
        names = list(dict.fromkeys(problem.media[k].name for k in held))
        if len(names) > 1:
            least = min(held, key=lambda k: shares[k])
            place, extent = where[least]
            told = " and ".join(
                f"{100 * sum(shares[k] for k in held if problem.media[k].name == name):.0f} % in "
                f"{name}"
                for name in names
            )
            text = f"stands {told}, not in one of them, at {at_mm(place)}"
            yield Misfit(number, text, place, float(extent.min()), blocks=False)

    def _common(self, solid: manifold3d.Manifold, region: int) -> manifold3d.Manifold | None:
        """Return what a board shares with a region, None for nothing."""
        mesh = self._problem.solids[region]
        if mesh is None or not _overlap(solid.bounding_box(), mesh.bounds.ravel()):
            return None
        if region not in self._regions:
            self._regions[region] = to_manifold(mesh, self._problem.media[region].name)
        common = solid ^ self._regions[region]
        return None if common.is_empty() else common

    def _clashes(self) -> Iterator[Misfit]:
        for one, other in combinations(range(len(self._boards)), 2):
            low, high = self._solids[one].bounding_box(), self._solids[other].bounding_box()
            joined = self._boards[one].shape.continues(self._boards[other].shape)
            if joined or not _overlap(low, high):
                continue
            common = self._solids[one] ^ self._solids[other]
            if common.is_empty():
                continue
            place, extent = _extent(common, self._boards[one].shape)
            by_mm = float(extent.min())
            if by_mm > TOUCH_MM:
                text = f"runs {by_mm:.1f} mm into the board of light {other + 1} at {at_mm(place)}"
                yield Misfit(one, text, place, by_mm, blocks=True)

    def _lacks_room_for_wires(self, number: int) -> Iterator[Misfit]:
        """Tell of a board with something solid close behind all of its back, or, for a strip,
        close to both its ends."""
        board = self._boards[number]
        places, kinds = self._along_wires[number]
        free = np.array([self._free_mm(number, *way) for way in zip(places, kinds, strict=True)])
        if free.max() >= WIRE_MM:
            return
        place = _wire_starts(board.shape)[0][int(free.argmax())]
        side = "behind it" if board.shape.is_round else "past either end"
        text = (
            f"has {free.max():.1f} mm {side} at {at_mm(place)}; soldered wires want about "
            f"{WIRE_MM:g} mm"
        )
        yield Misfit(number, text, place, WIRE_MM - float(free.max()), blocks=False)

    @cached_property
    def _along_wires(self) -> list[tuple[FloatArray, IntArray]]:
        """Points along the ways that wires may leave each board, (ways, steps, 3) float, and what
        kind of region each lies in, (ways, steps) int; all asked for at once."""
        places = []
        for board in self._boards:
            starts, ways = _wire_starts(board.shape)
            places.append(starts[:, None] + STEPS_MM[:, None] * ways[:, None])
        if not places:
            return []
        points = np.concatenate([some.reshape(-1, 3) for some in places])
        kinds = self._problem.kind_of(region_of(points, self._problem.solids))
        ends = np.cumsum([some.shape[0] * some.shape[1] for some in places])[:-1]
        parts = np.split(kinds, ends)
        return [(p, k.reshape(p.shape[:2])) for p, k in zip(places, parts, strict=True)]

    def _free_mm(self, number: int, places: FloatArray, kinds: IntArray) -> float:
        """Return how far a wire gets along some points before it meets a core, another board or,
        out of air, material; a way through material alone is cut with the board's own place."""
        places, steps = places[1:], STEPS_MM[1:]
        blocked = kinds[1:] == Kind.OPAQUE
        if kinds[0] == Kind.AIR:
            blocked |= kinds[1:] == Kind.SCATTERS
        for k, board in enumerate(self._boards):
            local = board.shape.local(places)
            within = (local[:, 2] < 0) & (local[:, 2] > -board.shape.thickness_mm)
            apart = k != number and not board.shape.continues(self._boards[number].shape)
            blocked |= within & board.shape.covers(local) & apart
        if kinds[0] == Kind.OPAQUE:
            return 0.0
        return float(steps[blocked.argmax()]) if blocked.any() else WIRE_MM


def _reach_mm(shape: BoardShape) -> float:
    """Return the radius of a ball about a board's middle that holds all of it."""
    across = shape.size_mm[0] if shape.is_round else float(np.hypot(*shape.size_mm))
    return float(np.hypot(across, shape.thickness_mm)) / 2


def _depths_mm(problem: BodyProblem) -> FloatArray:
    """Return how deep the middle of each board lies below the outer surface, (n,) float [mm]."""
    shapes = [board.shape for board in problem.boards]
    middles = [shape.frame[:3] @ (0, 0, -shape.thickness_mm / 2, 1) for shape in shapes]
    return depth_mm(problem.outer, np.array(middles).reshape(-1, 3))


def _wire_starts(shape: BoardShape) -> tuple[FloatArray, FloatArray]:
    """Return where wires may leave a board and which way, (n, 3) float each."""
    length, _ = shape.size_mm
    depth = -shape.thickness_mm
    if shape.is_round:
        turn = np.arange(8) * np.pi / 4
        radius = (length + shape.bore_mm) / 4
        local = np.column_stack([radius * np.cos(turn), radius * np.sin(turn), np.full(8, depth)])
        ways = np.tile([0.0, 0.0, -1.0], (8, 1))
    else:
        local = np.array([[length / 2, 0.0, depth / 2], [-length / 2, 0.0, depth / 2]])
        ways = np.array([[1.0, 0.0, 0.0], [-1.0, 0.0, 0.0]])
    turned = shape.frame[:3, :3].T
    return local @ turned + shape.frame[:3, 3], ways @ turned


def _extent(part: manifold3d.Manifold, shape: BoardShape) -> tuple[FloatArray, FloatArray]:
    """Return the middle of a solid in the body's frame and its size along a board's axes, (3,)."""
    local = shape.local(from_manifold(part).vertices)
    low, high = local.min(axis=0), local.max(axis=0)
    middle = shape.frame[:3, :3] @ ((low + high) / 2) + shape.frame[:3, 3]
    return middle, high - low


def _overlap(one: Any, other: Any) -> bool:
    """Return whether two boxes (low x, y, z, high x, y, z) share room."""
    a, b = np.asarray(one), np.asarray(other)
    return bool((a[:3] <= b[3:]).all() and (b[:3] <= a[3:]).all())
