"""What a solver is given: bodies cut into regions of known optics, and emitters of light.

Both solvers read this and nothing else. Lengths are mm in each body's own frame; the three
colour bands are red, green and blue, in this order.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from enum import IntEnum
from functools import cached_property
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from glowsim.geometry.boards import BoardShape
from glowsim.geometry.mesh import FloatArray, IntArray, Mesh
from glowsim.geometry.regions import ROOM

BANDS = ("red", "green", "blue")
"""The colour bands, about 620, 525 and 465 nm."""
BARE = -1
"""Stands in place of a coat's number for a wall face without one."""

BoolArray = NDArray[np.bool_]


class Kind(IntEnum):
    """What a region is to light."""

    SCATTERS = 0
    AIR = 1
    OPAQUE = 2


@dataclass(frozen=True)
class Medium:
    """The optics of a region.

    mu_a_per_mm, mu_s_reduced_per_mm : (3,) float [1/mm]
    g                 : mean cosine of scattering
    refractive_index  : of the smooth faces the region shows
    reflectance       : (3,) float, of an opaque region's surface, taken as diffuse
    own_share         : of a print's infill, the share of the space that the body's material fills
    """

    name: str
    kind: Kind
    mu_a_per_mm: FloatArray
    mu_s_reduced_per_mm: FloatArray
    g: float = 0.0
    refractive_index: float = 1.0
    reflectance: FloatArray | None = None
    own_share: float | None = None

    @property
    def mu_t_reduced_per_mm(self) -> FloatArray:
        """Reduced attenuation mu_a + mu_s', (3,) float [1/mm]."""
        return self.mu_a_per_mm + self.mu_s_reduced_per_mm


AIR = Medium("air", Kind.AIR, np.zeros(3), np.zeros(3))


@dataclass(frozen=True)
class Layer:
    """A thin coat on a wall.

    reflectance, transmittance : (3,) float, diffuse; transmittance includes `open_fraction`
    open_fraction              : share of light that passes straight through
    roughness                  : above 0 of a frosted or engraved face of the material itself, whose
                                 facets mirror and refract (`reference.kernels`); the other figures
                                 are then those for diffuse light from within
    """

    name: str
    reflectance: FloatArray
    transmittance: FloatArray
    open_fraction: float = 0.0
    roughness: float = 0.0


@dataclass(frozen=True)
class Emitters:
    """Point emitters: intensity falls as cos^exponent from `direction`, none behind it.

    position : (e, 3) float [mm];  direction : (e, 3) float, unit;  exponent : (e,) float
    light    : (e,) int, the light each belongs to
    share    : (e,) float, its share of that light's flux; the shares of a light add up to 1
    region   : (e,) int, the region it sits in
    """

    position: FloatArray
    direction: FloatArray
    exponent: FloatArray
    light: IntArray
    share: FloatArray
    region: IntArray

    @property
    def light_count(self) -> int:
        """How many lights there are."""
        return int(self.light.max()) + 1 if len(self.light) else 0

    def of(self, light: int) -> Emitters:
        """Return the emitters of one light, renumbered as light 0."""
        mine = self.light == light
        return Emitters(
            self.position[mine],
            self.direction[mine],
            self.exponent[mine],
            np.zeros(np.count_nonzero(mine), np.int64),
            self.share[mine],
            self.region[mine],
        )


NO_EMITTERS = Emitters(
    np.zeros((0, 3)),
    np.zeros((0, 3)),
    np.zeros(0),
    np.zeros(0, dtype=np.int64),
    np.zeros(0),
    np.zeros(0, dtype=np.int64),
)


@dataclass(frozen=True)
class OpaqueBoard:
    """A light board as light meets it: a flat solid that lets nothing through.

    name        : of the catalogue's board
    front, back : (3,) float, diffuse reflectance of the side with the LEDs, and of back and rim
    """

    name: str
    shape: BoardShape
    front: FloatArray
    back: FloatArray


@dataclass(frozen=True)
class Named:
    """The regions of a surface that the scene names, as the wall faces they hold, (m,) bool each.

    masks : of each mask, in their order;  glow, dark : `glow_where`, `dark_where`, if given
    """

    masks: tuple[BoolArray, ...] = ()
    glow: BoolArray | None = None
    dark: BoolArray | None = None


@dataclass(frozen=True)
class BodyProblem:
    """One body in its own frame, ready to be solved.

    media    : optics of each region;  solids : closed mesh of each region (or None)
    walls    : all wall faces;  inside, outside : (m,) int regions on either side (or ROOM)
    coat     : (m,) int, index into `layers`, BARE where there is none
    glows    : (m,) bool, faces on the room that are meant to glow
    part     : (m,) int, index into `part_names`, of the faces on the room
    whiteness : (m, 3) float, share of room light that each face on the room sends back
    outer    : the whole outer surface, as given
    wall_mm  : wall of a shell, the usual one where it varies, or None
    boards   : the light boards, each an opaque solid wherever it stands
    named    : the regions of its surface that the scene names
    key      : digest of all that decides the response;  notes : repairs and assumptions
    """

    name: str
    media: tuple[Medium, ...]
    solids: tuple[Mesh | None, ...]
    walls: Mesh
    inside: IntArray
    outside: IntArray
    coat: IntArray
    layers: tuple[Layer, ...]
    glows: BoolArray
    part: IntArray
    part_names: tuple[str, ...]
    whiteness: FloatArray
    outer: Mesh
    wall_mm: float | None
    emitters: Emitters
    cell_mm: float
    boards: tuple[OpaqueBoard, ...] = ()
    named: Named = Named()
    key: str = ""
    notes: tuple[str, ...] = ()

    @cached_property
    def skin(self) -> IntArray:
        """Numbers of the wall faces that are seen from the room, (k,) int."""
        return np.nonzero(self.outside == ROOM)[0]

    @property
    def own_volume_mm3(self) -> float:
        """Volume of the body's own material, inserts left out, infill by its share [mm3]."""
        shares = (1.0, *(medium.own_share or 0.0 for medium in self.media[1:]))
        volumes = (0.0 if solid is None else solid.volume_mm3 for solid in self.solids)
        return float(sum(s * v for s, v in zip(shares, volumes, strict=True)))

    def kind_of(self, region: IntArray) -> IntArray:
        """Return the Kind of each region number; the room counts as air."""
        kinds = np.array([m.kind for m in self.media] + [Kind.AIR], dtype=np.int64)
        return kinds[region]

    @property
    def scatters(self) -> bool:
        """Whether any region scatters light."""
        return any(m.kind == Kind.SCATTERS for m in self.media)


@dataclass(frozen=True)
class LightSource:
    """A light as the room sees it; solvers never read this.

    flux_lm     : (3,) float, per band at full drive [lm];  drive : (3,) float, 0..1
    xyz_per_lm  : (3, 3) float, CIE XYZ of one lumen of each band (rows)
    flux_factor : one-sigma uncertainty of the flux, as a factor
    position_mm : (3,) float, in the prop's frame
    power_w, full_power_w : electrical power at this drive and at full drive [W]
    """

    name: str
    zone: str
    board: str
    flux_lm: FloatArray
    drive: FloatArray
    xyz_per_lm: FloatArray
    flux_factor: float
    position_mm: FloatArray
    power_w: float
    full_power_w: float


@dataclass(frozen=True)
class Copy:
    """One copy of a body in the prop: which body, where, and its lights.

    of   : the name of the scene's body it is a copy of
    body : the number of the solved body; bodies of the scene that are alike share one
    """

    name: str
    of: str
    body: int
    transform: FloatArray
    lights: tuple[int, ...]


@dataclass(frozen=True)
class Problem:
    """The whole prop: each different body once, and every copy of it.

    notes : repairs and assumptions, for the user
    """

    title: str
    bodies: tuple[BodyProblem, ...]
    copies: tuple[Copy, ...]
    lights: tuple[LightSource, ...]
    notes: tuple[str, ...]


def centres_mm(emitters: Emitters) -> FloatArray:
    """Return the centre of each light's emitters, (lights, 3) float [mm]."""
    lights = range(emitters.light_count)
    centres = [emitters.position[emitters.light == k].mean(axis=0) for k in lights]
    return np.array(centres, dtype=float).reshape(-1, 3)


class HasNotes(Protocol):
    """Anything that carries notes for the user."""

    @property
    def notes(self) -> tuple[str, ...]:
        """Repairs and assumptions."""


def notes_of(bodies: Iterable[HasNotes]) -> tuple[str, ...]:
    """Return the notes of several bodies, each once."""
    return tuple(dict.fromkeys(note for body in bodies for note in body.notes))
