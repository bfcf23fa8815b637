"""Why boards find no room in a body, and what would make some: counted, before any light is solved.

Places are counted on one net, rule by rule, and each remedy is tried by counting again, with the
boards packed beside each other.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from glowsim.decisions.allowed import (
    DEPTH,
    FINEST_MM,
    HEIGHT,
    INSIDE,
    OUTLINE,
    WIRE,
    Allowed,
    ways_of,
)
from glowsim.decisions.boards import BoardKind, Poses
from glowsim.decisions.crowding import Crowding
from glowsim.decisions.objective import Wish
from glowsim.decisions.sites import Sites, allowed_of, candidates, facing, places_of
from glowsim.errors import SceneError
from glowsim.geometry.mesh import FloatArray, at_mm
from glowsim.geometry.regions import ROOM
from glowsim.scene import Light, Placing
from glowsim.transport.clear import refuse_guide
from glowsim.transport.plan import Plan
from glowsim.transport.problem import BodyProblem, Kind

QUICK_LOOK = 300
"""Boards looked at, about, before it is taken that they find room."""
NET = 12_000
"""Places with directions in a body's box that are counted, about, before it is said that no more
boards find room."""
SMALLER_BOARDS = 4
"""So many smaller boards of the catalogue are tried, the largest first."""
AXES = np.vstack([np.eye(3), -np.eye(3)])
"""The directions that boards are tried in where any will do."""


@dataclass(frozen=True)
class _Remedy:
    """Other rules or another board. wanted : what one would write."""

    wanted: str
    allowed: Allowed
    ways: FloatArray


@dataclass(frozen=True)
class _Tried:
    """What a remedy leaves: places that are free, boards that stand clear of each other."""

    wanted: str
    free: int
    boards: int


class Room:
    """The places of one body that boards of one kind may take, before any light is solved."""

    def __init__(
        self,
        plan: Plan,
        number: int,
        problem: BodyProblem,
        light: Light,
        rules: Placing,
        wish: Wish,
    ) -> None:
        """Take `light` as the pattern and `rules` for where it may go.

        Raises SceneError for a light that is turned off, or a strip with no way to face.
        """
        scene = plan.scene_file.scene
        body = scene.bodies[number]
        self.kind = BoardKind(light, plan.catalogue, scene.findings.buried_power_w, body)
        if self.kind.heat is None:
            raise SceneError(f"{body.name}: all drive levels of its light are 0; turn it up first")
        refuse_guide(problem, "where boards go")
        self.allowed = Allowed(problem, rules, self.kind)
        wanted = rules.directions or tuple(light.direction for light in body.lights)
        listed = [list(way) for way in wanted]
        if wish.directions == "any":
            listed += AXES.tolist()
        self.ways = ways_of(listed, self.kind)
        if len(self.ways) == 0:
            raise SceneError(
                f"{body.name}: '{self.kind.name}' cannot face any of the directions given: it runs "
                "that way itself; give other directions, or along"
            )

    def sites(self, most: int) -> Sites:
        """Return about so many candidates. Raises SceneError where there is no place at all."""
        found = candidates(self.allowed, self.ways, most)
        if not len(found):
            raise SceneError(no_room(self.allowed, self.ways, 1, 0))
        return found

    def fits(self, count: int) -> bool:
        """Return whether so many boards find room beside each other."""
        return self._quick.boards(count) == count or self._close.boards(count) == count

    def check(self, count: int) -> None:
        """Raise SceneError where so many boards find no room, with what is in the way and what
        would help."""
        if not self.fits(count):
            boards = self._close.boards(count)
            raise SceneError(no_room(self.allowed, self.ways, count, boards))

    def packed(self, count: int) -> Sites:
        """Return sites for `count` boards that stand clear of each other, from a closer net than
        candidates are. Raises SceneError as `check` does."""
        self.check(count)
        close = self._close if self._close.boards(count) == count else self._quick
        return close.sites.at(close.packed(count))

    @cached_property
    def _quick(self) -> Crowding:
        return Crowding(candidates(self.allowed, self.ways, QUICK_LOOK), self.allowed)

    @cached_property
    def _close(self) -> Crowding:
        step = _step_mm(self.allowed, self.ways)
        poses = facing(places_of(self.allowed, step), self.ways)
        return Crowding(allowed_of(self.allowed, poses, step), self.allowed)


def no_room(allowed: Allowed, ways: FloatArray, count: int, boards: int) -> str:
    """Say why not `count` but only so many boards were found room for, and what would help."""
    kind, symmetry = allowed.kind, allowed.placing.symmetry
    length, width, thickness = kind.size_mm
    size = f"'{kind.name}' ({length:g} x {width:g} x {thickness:g} mm)"
    name = allowed.problem.name
    if boards:
        sets = f" in sets of {symmetry}" if symmetry > 1 else ""
        said = [
            f"{name}: {count} boards {size}{sets} do not find room beside each other; {boards} is "
            "the most that do"
        ]
    else:
        said = [f"{name}: there is no place for the board {size}"]
    step = _step_mm(allowed, ways)
    poses = facing(places_of(allowed, step), ways)
    if not len(poses):
        return said[0] + ": no height is left; look at above_mm, below_mm and drill under placing"
    said += _counted(allowed, poses, step, len(ways))
    return "\n".join([*said, *_what_helps(allowed, ways, count, step, boards)])


def _step_mm(allowed: Allowed, ways: FloatArray) -> float:
    """Return the step of a net with about NET places and directions in the body's box, on which
    boards can be stacked as close as they may."""
    size = allowed.problem.outer.size_mm
    step = max(FINEST_MM, float(np.cbrt(np.prod(size) * len(ways) / NET)))
    pitch = (allowed.kind.size_mm[2] + allowed.placing.clearance_mm) * (1 + 1e-6)
    return pitch / max(1, round(pitch / step))


def _counted(allowed: Allowed, poses: Poses, step: float, ways: int) -> Iterator[str]:
    """Say which rule refuses how many places inside the body."""
    depth = allowed.depth_mm(poses)
    inside = np.nonzero(depth > 0)[0]
    poses, depth = poses.at(inside), depth[inside]
    placing = allowed.placing
    drilled = "that the drill reaches" if placing.drill is not None else f"every {step:.2g} mm"
    yield (
        f"  {len(poses)} places inside it were looked at, {drilled}, "
        f"{'one direction' if ways == 1 else f'{ways} directions'} each:"
    )
    reason = allowed.refused(poses)
    clear = f"with {placing.clearance_mm:g} mm clear around (clearance_mm)"
    for number, words in (
        (HEIGHT, "lie outside the heights that are allowed (above_mm, below_mm)"),
        (DEPTH, f"have an LED less than {placing.depth_mm:g} mm below the surface (depth_mm)"),
        (WIRE, "let the wire out where the surface glows, or into a core (wire_toward)"),
    ):
        mine = np.nonzero(reason == number)[0]
        if len(mine):
            deepest = mine[depth[mine].argmax()]
            most = f"; the deepest {depth[deepest]:.2f} mm, at" if number == DEPTH else ", as at"
            yield f"  {len(mine):6d} {words}{most} {at_mm(poses.position[deepest])}"
    mine = np.nonzero(reason == OUTLINE)[0]
    met = allowed.meets(poses.at(mine)) if len(mine) else mine
    for region in np.unique(met[met != INSIDE]):
        those = mine[met == region]
        deepest = those[depth[those].argmax()]
        yield (
            f"  {len(those):6d} reach {_into(allowed, int(region))} {clear}, as at "
            f"{at_mm(poses.position[deepest])}"
        )
    left = int((reason == 0).sum())
    yield f"  {left:6d} are left" + (", and those are too near each other" if left else "")


def _into(allowed: Allowed, region: int) -> str:
    """Say what a board reaches into."""
    if region == ROOM:
        return "out through its surface"
    medium = allowed.problem.media[region]
    what = {Kind.OPAQUE: "the core", Kind.AIR: "air in it,"}.get(medium.kind, "the part of")
    return f"into {what} '{medium.name}'"


def _what_helps(
    allowed: Allowed, ways: FloatArray, count: int, step: float, now: int
) -> Iterator[str]:
    """Say what was tried to make room, and how many boards that brings."""
    tried: list[_Tried] = []
    for group in _remedies(allowed, ways):
        if len(group) == 1 and " and " in group[0].wanted and any(t.boards >= count for t in tried):
            continue  # one of the two does
        for remedy in group:
            tried.append(_try(remedy, count, step))
            if tried[-1].boards >= count:
                break
    enough = [one for one in tried if one.boards >= count]
    better = sorted((one for one in tried if one.boards > now), key=lambda one: -one.boards)
    for one in enough or better[:3]:
        boards = f"{one.boards} board{'s' if one.boards != 1 else ''}"
        find = "find" if one.boards != 1 else "finds"
        yield f"  tried: with {one.wanted} {one.free} places are free and {boards} {find} room"
    if not enough:
        across = _would_fit(allowed, ways, step) if now == 0 else ""
        yield (
            f"  nothing that was tried makes room for {count}{across}; take fewer or smaller "
            "boards, or a thicker body"
        )


def _try(remedy: _Remedy, count: int, step: float) -> _Tried:
    allowed = remedy.allowed
    poses = facing(places_of(allowed, step), remedy.ways)
    sites = allowed_of(allowed, poses, step)
    return _Tried(remedy.wanted, len(sites), Crowding(sites, allowed).boards(count))


def _remedies(allowed: Allowed, ways: FloatArray) -> Iterator[list[_Remedy]]:
    """Give groups of remedies; of each group the mildest first."""
    own = allowed.placing

    def with_rules(wanted: str, **rules: object) -> _Remedy:
        placing = own.model_copy(update=rules)
        return _Remedy(wanted, allowed.with_other(placing=placing), ways)

    clearances = [own.clearance_mm / 2, 0.0] if own.clearance_mm > 0 else []
    yield [with_rules(f"clearance_mm {c:.2g}", clearance_mm=c) for c in clearances]
    depths = [] if allowed.in_air else [d for d in (own.depth_mm / 2, 1.0) if d < own.depth_mm]
    yield [with_rules(f"depth_mm {d:.2g}", depth_mm=d) for d in depths]
    if clearances and depths:
        both = {"clearance_mm": clearances[0], "depth_mm": depths[0]}
        yield [with_rules(" and ".join(f"{k} {v:.2g}" for k, v in both.items()), **both)]
    every = [way for way in AXES if allowed.kind.fits_strip(way)]
    more = np.unique(np.round(np.vstack([ways, *every]), 6), axis=0)
    if len(more) > len(ways):
        yield [_Remedy("directions any", allowed, more)]
    for wanted, key, free in (
        ("wire_toward 'anywhere'", "wire_toward", "anywhere"),
        ("symmetry 1", "symmetry", 1),
        ("no drill", "drill", None),
    ):
        if getattr(own, key) != free and (key != "wire_toward" or not allowed.in_air):
            yield [with_rules(wanted, **{key: free})]
    if own.above_mm is not None or own.below_mm is not None:
        yield [with_rules("all heights", above_mm=None, below_mm=None)]
    kinds = allowed.kind.smaller()[:SMALLER_BOARDS]
    yield [
        _Remedy(f"the board '{kind.name}'", allowed.with_other(kind=kind), ways) for kind in kinds
    ]


def _would_fit(allowed: Allowed, ways: FloatArray, step: float) -> str:
    """Say how wide a board could be, if it were smaller in proportion."""
    poses = facing(places_of(allowed, step), ways)
    poses = poses.at(np.nonzero(allowed.refused(poses, 0.05) == 0)[0])
    for scale in np.arange(0.95, 0.04, -0.05):
        if len(poses) and (allowed.refused(poses, float(scale)) == 0).any():
            wide = scale * allowed.kind.size_mm[0]
            return f" (a board {wide:.0f} mm across would find a place)"
    return ""
