"""Where each light goes: heights, distances, the holes and pockets to make."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import manifold3d
import numpy as np

from glowsim.buildsheet.making import Making, making_of
from glowsim.catalogue import Board
from glowsim.errors import GeometryError
from glowsim.geometry.boards import board_frame, board_solid, outline_mm, way_out_mm
from glowsim.geometry.body import Solid
from glowsim.geometry.hollow import depth_mm
from glowsim.geometry.mesh import FloatArray, Mesh, from_manifold, to_manifold
from glowsim.geometry.outlines import base_mm, silhouette_mm
from glowsim.scene import Body, FromDrawing, Orb
from glowsim.transport.plan import Plan

CHANNEL_MM = 5.0
"""Bore for a board's wires: three of 24 AWG with their insulation (common practice)."""
CLEARANCE_MM = 0.3
"""Room around a board in its pocket (common practice for printed and cut pockets)."""
OPEN = ", open to the base"
BURIED = 0.01
"""A board of which less than this share lies in the body's material needs no pocket."""
STRAIGHT = 0.98
SLANT_MM = 0.5
"""A rim that differs by less is cut by eye."""
PAST_MM = 2.0
"""How far a hole is cut past the surface, so that it opens cleanly."""


@dataclass(frozen=True, kw_only=True)
class LightPlace:
    """One light of a body, in the body's own frame.

    board_mesh         : the board;  pocket : the board with its clearance and, where it lies in
                         the material, the way in from below, as far as the body reaches
    cut                : what is cut out of the body for it: the pocket, past the surface
    led_mm             : (n, 3) float, LED centres
    height_mm          : of the LED face above the base;  from_axis_mm, angle_deg : about the axis
    below_mm           : least depth of an LED below the surface
    channel            : start and end of the bore for the wires, or None
    """

    number: int
    name: str
    zone: str
    board_name: str
    board: Board
    led_count: int
    centre_mm: FloatArray
    direction: FloatArray
    led_mm: FloatArray
    board_mesh: Mesh
    pocket: Mesh
    cut: Mesh
    height_mm: float
    from_axis_mm: float
    angle_deg: float
    below_mm: float
    fits: bool
    channel: tuple[FloatArray, FloatArray] | None
    make: str

    @property
    def from_base(self) -> bool:
        """Whether its hole is bored straight up from the base."""
        return self.channel is not None and self.make.startswith("hole")

    @property
    def faces(self) -> str:
        """Where it looks, in words."""
        x, y, z = self.direction
        if abs(z) > STRAIGHT:
            return "up" if z > 0 else "down"
        tilt = math.degrees(math.acos(max(-1.0, min(1.0, float(z)))))
        return f"{tilt:.0f}° from up, towards {bearing_deg(x, y):.0f}°"


@dataclass(frozen=True)
class Foot:
    """How the foot of a piece sits on another body.

    head        : that body;  mesh : what of it lies within the piece, in the piece's own frame
    middle_mm   : how far the head rises above the foot's plane in its middle
    rim_mm      : the same along the rim, least and most; below 0 where the rim stands off
    leans_deg   : of the piece from standing straight on the head;  deepest_deg : bearing of the
                  rim's deepest place
    radius_mm   : of a round head, else None
    opens       : whether the dish goes through the wall of a hollow piece
    sunk        : whether a board of the piece stands in the head: cutting the foot would cut its
                  place away, so the piece stays whole and the head gets a socket for it
    """

    head: str
    mesh: Mesh
    middle_mm: float
    rim_mm: tuple[float, float]
    leans_deg: float
    deepest_deg: float
    radius_mm: float | None
    opens: bool = False
    sunk: bool = False

    @property
    def words(self) -> str:
        """What to do to the foot, or to the head where the foot is sunk into it."""
        least, most = self.rim_mm
        words = f"{self._how} {self.head}: {max(self.middle_mm, 0):.1f} mm deep in its middle"
        if self.radius_mm is not None and not self.sunk:
            words += f", radius {self.radius_mm:.1f} mm"
        if most - max(least, 0.0) > SLANT_MM:
            words += (
                f"; slanted {self.leans_deg:.0f}°, {most:.1f} mm deep at the rim towards "
                f"{self.deepest_deg:.0f}°"
            )
        if least < -SLANT_MM:
            off = "runs past the head" if math.isinf(least) else f"stands {-least:.1f} mm off it"
            words += f"; its rim {off}: fill that, or set the piece deeper"
        if self.opens and not self.sunk:
            words += f"; the cut goes through the wall, and {self.head} closes it"
        return words

    @property
    def _how(self) -> str:
        if self.sunk:
            return "sunk into"
        return f"foot {'cut' if self.radius_mm is None else 'dished'} to sit on"


@dataclass(frozen=True)
class BodyPlaces:
    """A body and its lights, ready to be drawn.

    making   : 'carved', 'printed', 'cast' or 'laminated'
    material : mesh of the body's own material, its hollow and inserts taken out
    base     : outlines of the base seen from above, [] if it has none;  seen : from above
    axis_mm  : x and y of the axis heights and distances refer to
    feet     : what is cut from its foot so that it sits on other bodies
    rough    : names of what is frosted or engraved into its own faces
    """

    name: str
    spec: Body
    solid: Solid
    material: Mesh
    lights: tuple[LightPlace, ...]
    base: list[FloatArray]
    seen: list[FloatArray]
    axis_mm: FloatArray
    making: Making
    feet: tuple[Foot, ...] = ()
    rough: tuple[str, ...] = ()

    @property
    def own_volume_mm3(self) -> float:
        """Volume of the body's own material, a print's sparse core by its share [mm3]."""
        infill, core = self.spec.infill, self.solid.core
        if infill is None or core is None:
            return self.material.volume_mm3
        sparse = to_manifold(core, self.name) ^ to_manifold(self.material, self.name)
        return self.material.volume_mm3 - (1 - infill.share) * float(sparse.volume())

    @property
    def foot_mm(self) -> float:
        """Height of the base, or of the lowest point, in the body's frame."""
        return float(self.solid.outer.bounds[0, 2])

    @property
    def foot(self) -> str:
        """What heights are measured from."""
        return "base" if self.base else "lowest point"


def ball_mm(body: Body) -> float | None:
    """Return the radius of a body that is a ball, None for any other shape."""
    shape = body.shape
    if not isinstance(shape, Orb) or shape.height_mm not in (None, shape.diameter_mm):
        return None
    return shape.diameter_mm / 2


def body_places(plan: Plan, number: int, solid: Solid, clearance_mm: float) -> BodyPlaces:
    """Return where the lights of a body go. Raises SceneError or GeometryError."""
    spec = plan.scene_file.scene.bodies[number]
    outer = solid.outer
    base = base_mm(outer, spec.name)
    seen = silhouette_mm(outer, "top", spec.name)
    axis = np.zeros(2)
    if spec.mesh is not None or isinstance(spec.shape, FromDrawing):
        axis = _middle(base or seen)
    material = _material(plan, number, solid)
    places = tuple(
        _place(plan, number, k, solid, material, axis, clearance_mm)
        for k in range(len(spec.lights))
    )
    making = making_of(spec, plan.catalogue)
    coats = plan.catalogue.coats
    rough = tuple(m.name or m.coat for m in spec.masks if coats[m.coat].roughness is not None)
    return BodyPlaces(
        spec.name, spec, solid, material, places, base, seen, axis, making, rough=rough
    )


def _material(plan: Plan, number: int, solid: Solid) -> Mesh:
    """Return the body's own material as a mesh."""
    spec = plan.scene_file.scene.bodies[number]
    if spec.material not in plan.catalogue.materials:
        return solid.outer
    tools = ([solid.hollow] if solid.hollow is not None else []) + list(solid.inserts)
    rest = to_manifold(solid.outer, spec.name)
    for tool in tools:
        rest = rest - to_manifold(tool, spec.name)
    if rest.is_empty():
        raise GeometryError(f"{spec.name}: the inserts leave nothing of the body's own material")
    return from_manifold(rest)


def _place(
    plan: Plan,
    number: int,
    k: int,
    solid: Solid,
    material: Mesh,
    axis: FloatArray,
    clearance_mm: float,
) -> LightPlace:
    spec = plan.scene_file.scene.bodies[number]
    light, outer = spec.lights[k], solid.outer
    board = plan.catalogue.board(light.board)
    frame = board_frame(light)
    if frame is None:
        raise plan.scene_file.fault(
            ("bodies", number, "lights", k, "along"),
            "points the way the board faces; a board runs across that",
        )
    offsets = board.led_offsets_mm(light.led_count)
    leds = offsets @ frame[:3, :3].T + frame[:3, 3]
    mesh = board_solid(board, light.led_count).moved(frame)
    pocket = board_solid(board, light.led_count, clearance_mm, filled=True).moved(frame)
    whole = to_manifold(mesh, light.board)
    share = (whole ^ to_manifold(material, spec.name)).volume() / whole.volume()
    inside = (whole ^ to_manifold(outer, spec.name)).volume() / whole.volume()
    is_sheet = spec.material not in plan.catalogue.materials
    buried = share > BURIED and not is_sheet
    centre, direction = frame[:3, 3], frame[:3, 2]
    away = centre[:2] - axis
    bore = _channel(pocket, outer) if buried else None
    cast = making_of(spec, plan.catalogue) == "cast"
    cut = pocket if bore is None or cast else _opened(pocket, outer)
    height = float(centre[2] - outer.bounds[0, 2])
    size = outline_mm(board, light.led_count)
    return LightPlace(
        number=k + 1,
        name=light.name or f"light {k + 1}",
        zone=", ".join(light.zones) or light.zone,
        board_name=light.board,
        board=board,
        led_count=len(offsets),
        centre_mm=centre,
        direction=direction,
        led_mm=leds,
        board_mesh=mesh,
        pocket=from_manifold(to_manifold(cut, spec.name) ^ to_manifold(outer, spec.name)),
        cut=cut,
        height_mm=height,
        from_axis_mm=float(np.linalg.norm(away)),
        angle_deg=bearing_deg(*away),
        below_mm=float(depth_mm(outer, leds).min()),
        fits=inside > 0.999,
        channel=bore,
        make="cast in: hang it there before the pour"
        if cast and buried
        else _to_make(board, size, direction, height, clearance_mm, buried, _ends(pocket, outer)),
    )


def _opened(pocket: Mesh, outer: Mesh) -> Mesh:
    """Return a pocket with the way in for its board: all that lies straight below it, cut past the
    surface."""
    solid = to_manifold(pocket, "pocket")
    shadow = solid.project()
    low = float(pocket.vertices[:, 2].min())
    rim = np.concatenate([np.asarray(points) for points in shadow.to_polygons()])
    starts = np.column_stack([rim, np.full(len(rim), low)])
    exits = [way_out_mm(outer, start)[2] for start in starts]
    middle = (pocket.bounds[0] + pocket.bounds[1]) / 2
    middle[2] = low
    end = min([*exits, float(way_out_mm(outer, middle)[2])]) - PAST_MM
    # Pockets are convex: swept downwards until all of it is outside, one is the hull of both ends.
    down = float(pocket.bounds[1, 2]) - end
    return from_manifold((solid + solid.translate([0.0, 0.0, -down])).hull())


def _ends(pocket: Mesh, outer: Mesh) -> str:
    """Return from where to where a pocket runs upward, in words."""
    low, high = pocket.bounds[:, 2] - outer.bounds[0, 2]
    return f", from {low:.1f} to {high:.1f} mm up"


def _channel(pocket: Mesh, outer: Mesh) -> tuple[FloatArray, FloatArray] | None:
    """Return the bore for the wires: from the lowest place of the pocket straight down."""
    low = pocket.vertices[:, 2].min()
    start = pocket.vertices[pocket.vertices[:, 2] < low + 0.5].mean(axis=0)
    start[2] = low
    end = way_out_mm(outer, start)
    return (start, end) if start[2] - end[2] > 1e-6 else None


def _to_make(
    board: Board,
    size: tuple[float, float],
    direction: FloatArray,
    height_mm: float,
    clearance_mm: float,
    buried: bool,
    ends: str,
) -> str:
    """Return the hole or pocket to make, in words."""
    if not buried:
        return "none: it sits in a hollow"
    thick = board.thickness_mm + 2 * clearance_mm
    if board.kind == "strip":
        long, wide = (s + 2 * clearance_mm for s in size)
        return f"slot {long:.1f} x {wide:.1f} mm, {thick:.1f} mm deep{ends}{OPEN}"
    across = f"Ø {size[0] + 2 * clearance_mm:.1f} mm"
    if direction[2] > STRAIGHT:
        return f"hole {across}, {height_mm:.1f} mm deep to the LED face"
    if direction[2] < -STRAIGHT:
        deep = height_mm + board.thickness_mm
        return f"hole {across}, {deep:.1f} mm deep to the board's back"
    return f"pocket {across}, {thick:.1f} mm deep{ends}{OPEN}"


def _middle(outlines: Sequence[FloatArray]) -> FloatArray:
    """Return the centre of area of outlines, (2,) float."""
    section = manifold3d.CrossSection([np.asarray(p) for p in outlines])
    mesh = from_manifold(section.extrude(1.0))
    weights = mesh.areas_mm2 * (mesh.normals[:, 2] > 0.5)
    return (weights @ mesh.centroids)[:2] / weights.sum()


def bearing_deg(x: float, y: float) -> float:
    """Return a bearing about the axis in whole degrees, 0 to 359, from +x towards +y."""
    return 0.0 if math.hypot(x, y) < 1e-6 else float(round(math.degrees(math.atan2(y, x))) % 360)
