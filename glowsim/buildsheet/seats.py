"""How lit pieces sit on an unlit body: the dish or slant of their feet, their wire holes in it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import trimesh
from scipy.spatial.distance import cdist

from glowsim.buildsheet.places import (
    CHANNEL_MM,
    PAST_MM,
    BodyPlaces,
    Foot,
    ball_mm,
    bearing_deg,
)
from glowsim.geometry.inside import inside_closed
from glowsim.geometry.mesh import FloatArray, Mesh, from_manifold, to_manifold
from glowsim.geometry.rays import RayTarget
from glowsim.transport.problem import Copy

LEAST_MM3 = 1.0
"""Bodies that share less than this only touch."""
ALIKE = 0.05
"""Feet whose volumes in the head differ by a smaller share are the same cut."""
RIM_POINTS = 72
BLIND = "nothing: it ends blind"
LOOK_MM = 1.0
"""Between points along a wire hole."""


@dataclass(frozen=True)
class Seat:
    """One piece on a head.

    piece, head : names of the copies;  foot : how it sits, in the piece's own frame
    start_mm, way : (3,) float, middle of the foot and the way of the wires in, in the head's frame
    shape       : outer surface of the piece, in the head's frame
    """

    piece: str
    head: str
    foot: Foot
    start_mm: FloatArray
    way: FloatArray
    shape: Mesh

    @property
    def hole_mm(self) -> FloatArray:
        """Where the wire hole opens: on the head's surface, or on the floor of the socket that a
        piece is sunk into; in the head's frame, (3,) float."""
        deep = min(self.foot.middle_mm, 0.0) if self.foot.sunk else self.foot.middle_mm
        return self.start_mm - deep * self.way


def seats_of(
    bodies: Sequence[tuple[BodyPlaces, int]], copies: Sequence[Copy]
) -> dict[str, tuple[Seat, ...]]:
    """Return how every lit copy sits on an unlit one, by the name of the copy.

    A piece may stand on several. Bodies that only touch, or lie flat on each other, are left out.
    """
    found: dict[str, tuple[Seat, ...]] = {}
    for piece in copies:
        places = bodies[piece.body][0]
        if not places.lights or not places.base:
            continue
        seats = []
        for head in copies:
            other = bodies[head.body][0]
            if not other.lights and (seat := _seat(places, piece, other, head)) is not None:
                seats.append(seat)
        found[piece.name] = tuple(seats)
    return found


def _seat(places: BodyPlaces, piece: Copy, other: BodyPlaces, head: Copy) -> Seat | None:
    into_piece = np.linalg.inv(piece.transform) @ head.transform
    mesh = other.solid.outer.moved(into_piece)
    low, high = (
        np.maximum(mesh.bounds[0], places.solid.outer.bounds[0]),
        np.minimum(mesh.bounds[1], places.solid.outer.bounds[1]),
    )
    if np.any(high <= low):
        return None
    shared = to_manifold(mesh, head.name) ^ to_manifold(places.solid.outer, places.name)
    # What the head takes of the piece higher up than its foot is no foot.
    if shared.volume() < LEAST_MM3 or shared.bounding_box()[2] > places.foot_mm + 0.5:
        return None
    foot = _foot(places, mesh, from_manifold(shared), other)
    if foot is None:
        return None
    back = np.linalg.inv(into_piece).astype(np.float64)
    middle = np.array([*places.axis_mm, places.foot_mm, 1.0])
    way = back[:3, :3] @ np.array([0.0, 0.0, -1.0])
    return Seat(
        piece.name,
        head.name,
        foot,
        (back @ middle)[:3],
        way / np.linalg.norm(way),
        places.solid.outer.moved(back),
    )


def _foot(places: BodyPlaces, head: Mesh, shared: Mesh, other: BodyPlaces) -> Foot | None:
    rim = np.concatenate(places.base)
    rim = rim[np.linspace(0, len(rim) - 1, min(len(rim), RIM_POINTS)).astype(int)]
    points = np.vstack([places.axis_mm, rim])
    top = float(places.solid.outer.bounds[1, 2])
    origins = np.column_stack([points, np.full(len(points), top)])
    down = np.tile([0.0, 0.0, -1.0], (len(points), 1))
    target = RayTarget.of(head)
    hits = target.first_hits(origins, down)
    deep = np.where(hits.face >= 0, hits.point[:, 2] - places.foot_mm, -np.inf)
    if not np.isfinite(deep[0]):
        return None
    leans = math.degrees(math.acos(float(np.clip(head.normals[hits.face[0]][2], -1, 1))))
    worst = points[1:][int(deep[1:].argmax())] - places.axis_mm
    return Foot(
        other.name,
        shared,
        float(deep[0]),
        (float(deep[1:].min()), float(deep[1:].max())),
        leans,
        bearing_deg(worst[0], worst[1]),
        ball_mm(other.spec),
        places.solid.hollow is not None and _meet(places.solid.hollow, head),
        any(_meet(light.board_mesh, head) for light in places.lights),
    )


def _meet(one: Mesh, other: Mesh) -> bool:
    return bool((to_manifold(one, "one") ^ to_manifold(other, "other")).volume() > LEAST_MM3)


def with_feet(
    bodies: Sequence[tuple[BodyPlaces, int]],
    copies: Sequence[Copy],
    seats: dict[str, tuple[Seat, ...]],
) -> tuple[tuple[BodyPlaces, int], ...]:
    """Return the bodies with what is cut from their feet; copies that sit otherwise have none."""
    made = []
    for number, (places, count) in enumerate(bodies):
        mine = [seats.get(copy.name, ()) for copy in copies if copy.body == number]
        made.append((replace(places, feet=_common(mine)), count))
    return tuple(made)


def _common(seats: Sequence[tuple[Seat, ...]]) -> tuple[Foot, ...]:
    """Return the feet that all copies of a body have in common: all of them or none."""
    if not seats or len({len(mine) for mine in seats}) > 1:
        return ()
    for feet in zip(*seats, strict=True):
        volumes = [seat.foot.mesh.volume_mm3 for seat in feet]
        if len({seat.foot.sunk for seat in feet}) > 1:
            return ()
        if max(volumes) - min(volumes) > ALIKE * max(volumes):
            return ()
    return tuple(seat.foot for seat in seats[0])


def hole_deep_mm(head: BodyPlaces, seat: Seat) -> float:
    """Return how deep the wire hole of a piece goes: to where its way comes nearest to the head's
    middle."""
    middle = head.solid.outer.bounds.mean(axis=0)
    return max(float((middle - seat.hole_mm) @ seat.way), 2 * CHANNEL_MM)


def leads_to(head: BodyPlaces, seats: Sequence[Seat]) -> list[str]:
    """Return where the wire hole of each piece on a head leads to, in words: into what is empty in
    the head, to other holes, or nowhere."""
    inserts = zip(head.spec.inserts, head.solid.inserts, strict=True)
    empty = [(one.name or "a pocket", mesh) for one, mesh in inserts if one.kind == "pocket"]
    if head.solid.hollow is not None:
        empty.append(("the hollow", head.solid.hollow))
    ways = [_along_hole(head, seat) for seat in seats]
    said = []
    for seat, way in zip(seats, ways, strict=True):
        into = [name for name, mesh in empty if inside_closed(mesh, way).any()]
        met = [
            other.piece
            for other, its in zip(seats, ways, strict=True)
            if other is not seat and cdist(way, its).min() < CHANNEL_MM
        ]
        holes = f"hole of {met[0]}" if met else BLIND
        if len(met) > 1:
            holes = f"{holes} and {len(met) - 1} more"
        said.append(into[0] if into else holes)
    return said


def _along_hole(head: BodyPlaces, seat: Seat) -> FloatArray:
    """Return points along a wire hole, (n, 3) float [mm], in the head's frame."""
    at = np.arange(LOOK_MM, hole_deep_mm(head, seat) + LOOK_MM, LOOK_MM)
    return np.asarray(seat.hole_mm + at[:, None] * seat.way)


def bored(head: BodyPlaces, seats: Sequence[Seat]) -> Mesh:
    """Return a head with a wire hole under every piece, as deep as `hole_deep_mm` says, and a
    socket for every piece that is sunk into it."""
    rest = to_manifold(head.material, head.name)
    for seat in seats:
        start = seat.start_mm - (max(seat.foot.middle_mm, 0.0) + PAST_MM) * seat.way
        end = seat.hole_mm + hole_deep_mm(head, seat) * seat.way
        tool = trimesh.creation.cylinder(
            radius=CHANNEL_MM / 2, sections=48, segment=np.array([start, end])
        )
        rest = rest - to_manifold(Mesh.single_part(tool.vertices, tool.faces), "hole")
        if seat.foot.sunk:
            rest = rest - to_manifold(seat.shape, "socket")
    return from_manifold(rest)
