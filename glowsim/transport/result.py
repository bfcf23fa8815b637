"""What a solver returns: the response of every face to every light, in every band.

Brightness is linear in the lights, so colours, levels, zones and pulses are sums over these
responses and never need a new solve.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields, replace
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from glowsim.errors import SolveError, did_you_mean
from glowsim.geometry.mesh import FloatArray, IntArray, Mesh
from glowsim.geometry.regions import ROOM
from glowsim.geometry.rows import unique_rows
from glowsim.notebook import table_html
from glowsim.optics.emission import MATT
from glowsim.transport.air import Air, Faces, air_between, faces_in_place, smooth_corners_of
from glowsim.transport.boards import region_names
from glowsim.transport.hollows import Entering, Hollows, hollows_of
from glowsim.transport.likeness import Likeness, likeness_of
from glowsim.transport.problem import (
    BARE,
    BodyProblem,
    BoolArray,
    Copy,
    Kind,
    LightSource,
    centres_mm,
    notes_of,
)

VERSION = 7
"""Version of the result file. A file of another version is solved again, never guessed at."""

Shares = FloatArray | NDArray[np.float32]


@dataclass(frozen=True)
class Account:
    """Where the light of one body went, as shares of each light's flux, (lights, 3) each.

    regions   : names of the regions;  absorbed : (lights, 3, regions) in each of them
    in_coats  : absorbed by paint, tape or sheet
    escaped   : left through faces that are a surface;  through_holes : through open holes
    lost      : slipped through seams of the mesh, or rounding
    """

    regions: tuple[str, ...]
    absorbed: FloatArray
    in_coats: FloatArray
    escaped: FloatArray
    through_holes: FloatArray
    lost: FloatArray

    @property
    def error(self) -> FloatArray:
        """What does not add up to one, (lights, 3)."""
        known = self.absorbed.sum(axis=2) + self.in_coats + self.escaped + self.through_holes
        return 1.0 - known


@dataclass(frozen=True)
class BodyGlow:
    """The surface of one body, in its own frame, and its response.

    surface    : faces seen from the room, with named parts
    glows      : (k,) bool, meant to glow;  hole : (k,) bool, an opening, not a surface
    whiteness  : (k, 3) float, share of room light sent back
    diffuse    : (lights, 3, k) float32, exitance per lumen of the light [1/mm2]
    direct     : (lights, 3, k) float32, the same for light that never scattered
    mean_direction : (lights, k, 3) float32, of the direct light (the mean resultant vector), 0 to
                 1 long: the more it is spread the shorter
    error      : (lights, 3, k) float32, one-sigma statistical error of diffuse + direct, or None
    light_mm   : (lights, 3) float, centres of the lights
    led_mm     : (e, 3) float, all LEDs;  led_light : (e,) int, the light each belongs to
    trust      : what to be careful about;  notes : repairs and assumptions
    likeness   : what the body is to light, or None where it is not known
    volume_mm3 : of the body's own material, inserts left out, or None where it is not known
    index      : (k,) float, index of refraction of the scattering material behind each bare face,
                 MATT for every other face; None if all are. How the luminance of `diffuse`
                 falls toward the edge follows from it (`optics.emission`)
    dark       : (k,) bool, must stay dark; None where nothing must
    entering   : what light does that falls into its open hollows; None where that is too little
                 to count, or nothing
    """

    name: str
    key: str
    surface: Mesh
    glows: BoolArray
    hole: BoolArray
    whiteness: FloatArray
    diffuse: FloatArray
    direct: FloatArray
    mean_direction: FloatArray
    error: FloatArray | None
    light_mm: FloatArray
    led_mm: FloatArray
    led_light: IntArray
    account: Account
    trust: tuple[str, ...]
    notes: tuple[str, ...] = ()
    likeness: Likeness | None = None
    volume_mm3: float | None = None
    index: FloatArray | None = None
    dark: BoolArray | None = None
    entering: Entering | None = None

    def __repr__(self) -> str:
        return f"BodyGlow({self.name!r}, faces: {len(self.glows)}, lights: {self.light_count})"

    @property
    def face_index(self) -> FloatArray:
        """Index behind each face, or MATT, (k,) float."""
        return np.full(len(self.glows), MATT) if self.index is None else self.index

    @cached_property
    def smooth_corners(self) -> tuple[IntArray, int]:
        """The smooth corner of each face's corners, (k, 3) int, and how many there are."""
        return smooth_corners_of(self)

    @property
    def by_reference(self) -> bool:
        """Whether the reference solver has followed photons through it: it alone has noise."""
        return self.error is not None

    @property
    def light_count(self) -> int:
        """How many lights the body has."""
        return len(self.diffuse)


_OF_AIR = ("air", "rough_air")
_STAYS = ("faces", *_OF_AIR)
"""What is known of a prop's faces that no light changes."""


@dataclass(frozen=True)
class SurfaceGlow:
    """The glow of a whole prop: each different body once, and its copies.

    solver, seed : how it was computed, by quick, reference or both (`BodyGlow.by_reference` says
                   which body by which);  seconds : how long that took
    supply : what feeds the lights, in words: 'as wired, battery half used'; '' as driven
    """

    title: str
    bodies: tuple[BodyGlow, ...]
    copies: tuple[Copy, ...]
    lights: tuple[LightSource, ...]
    solver: str
    seed: int
    seconds: float
    supply: str = ""

    def __getstate__(self) -> dict[str, Any]:
        """Return what goes to another process: what was worked out beside it stays here, and what
        is ready for rays could not go along."""
        return {field.name: getattr(self, field.name) for field in fields(self)}

    def __repr__(self) -> str:
        counts = f"bodies: {len(self.bodies)}, copies: {len(self.copies)}"
        return f"SurfaceGlow({self.title!r}, {counts}, lights: {len(self.lights)}, {self.solver})"

    def _repr_html_(self) -> str:
        rows = [
            (
                body.name,
                sum(copy.body == number for copy in self.copies),
                len(body.glows),
                body.light_count,
                "; ".join(body.trust) or "good",
            )
            for number, body in enumerate(self.bodies)
        ]
        heads = ("body", "copies", "faces", "lights each", "trust")
        zones = sorted({light.zone for light in self.lights})
        below = [f"{self.solver} solver, {self.seconds:.1f} s; zones: {', '.join(zones) or 'none'}"]
        return table_html(self.title, heads, rows, below)

    @property
    def notes(self) -> tuple[str, ...]:
        """Repairs and assumptions, each once."""
        return notes_of(self.bodies)

    def driven(self, drive: Mapping[str, Sequence[float] | FloatArray]) -> SurfaceGlow:
        """Return the same glow with other drive levels, (3,) float by zone name.

        Raises SolveError for a zone that no light is in.
        """
        zones = {light.zone for light in self.lights}
        for zone in drive:
            if zone not in zones:
                raise SolveError(f"no light is in the zone '{zone}'{did_you_mean(zone, zones)}")
        levels = {zone: np.array(np.broadcast_to(level, 3), float) for zone, level in drive.items()}
        lights = tuple(replace(s, drive=levels.get(s.zone, s.drive)) for s in self.lights)
        return self.alike(lights=lights)

    def dimmed(self, share: FloatArray) -> SurfaceGlow:
        """Return the same glow with each light's drive times a share of its own, (lights, 3)."""
        lights = tuple(
            replace(s, drive=s.drive * own) for s, own in zip(self.lights, share, strict=True)
        )
        return self.alike(lights=lights)

    @cached_property
    def hollows(self) -> Hollows:
        """What light that falls into open hollows does to the faces of all copies."""
        own = [self.bodies[copy.body] for copy in self.copies]
        return hollows_of([(body.entering, body.surface.areas_mm2) for body in own])

    @cached_property
    def faces(self) -> Faces:
        """The faces of all copies in their places."""
        return faces_in_place(self.bodies, self.copies)

    @cached_property
    def air(self) -> Air:
        """How the faces of all copies see each other; takes about a second."""
        return air_between(self.faces, self.bodies, self.copies)

    @cached_property
    def rough_air(self) -> Air:
        """The same, good enough to tell in the mean over a body whether it matters."""
        return air_between(self.faces, self.bodies, self.copies, rough=True)

    @property
    def known_air(self) -> dict[str, Air]:
        """What has been worked out so far of `air` and `rough_air`, by these names."""
        return {name: vars(self)[name] for name in _OF_AIR if name in vars(self)}

    def alike(self, **changes: Any) -> SurfaceGlow:
        """Return the same glow with fields changed that leave its faces in their places.

        What the faces see of each other stays known.
        """
        other = replace(self, **changes)
        known = vars(self)
        vars(other).update({name: known[name] for name in _STAYS if name in known})
        return other

    def same_faces(self, other: SurfaceGlow) -> bool:
        """Return whether another glow is of the same faces: form, look and places."""
        return (
            len(self.bodies) == len(other.bodies)
            and len(self.copies) == len(other.copies)
            and all(map(_same_faces, self.bodies, other.bodies))
            and all(
                one.body == two.body and np.array_equal(one.transform, two.transform)
                for one, two in zip(self.copies, other.copies, strict=True)
            )
        )

    def relit(self, other: SurfaceGlow) -> SurfaceGlow:
        """Return another glow of the same faces, with what is known here of the faces."""
        return self.alike(**{field.name: getattr(other, field.name) for field in fields(other)})

    def flux_lm(self, copy: Copy) -> FloatArray:
        """Return the flux of a copy's lights as driven, (lights, 3) float [lm]."""
        sources = [self.lights[k] for k in copy.lights]
        if not sources:
            return np.zeros((0, 3))
        return np.array([s.flux_lm * s.drive for s in sources])

    def exitance_lm_mm2(self, copy: Copy, direct: bool = True) -> FloatArray:
        """Return the luminous exitance of a copy's faces per band, (3, k) float [lm/mm2]."""
        body = self.bodies[copy.body]
        flux = self.flux_lm(copy)
        response = body.diffuse + body.direct if direct else body.diffuse
        return np.einsum("lb,lbk->bk", flux, response)

    def xyz_lm_mm2(self, copy: Copy) -> tuple[FloatArray, FloatArray]:
        """Return diffuse and direct exitance of a copy as CIE XYZ, (k, 3) float each [lm/mm2]."""
        body = self.bodies[copy.body]
        if not copy.lights:
            nothing = np.zeros((len(body.glows), 3))
            return nothing, nothing
        per_lm = np.array([self.lights[k].xyz_per_lm for k in copy.lights])
        weight = (self.flux_lm(copy)[:, :, None] * per_lm).reshape(-1, 3)
        # As a product of matrices: a tenth of the time of a sum over two indices.
        faces = len(body.glows)
        return (
            body.diffuse.reshape(-1, faces).T @ weight,
            body.direct.reshape(-1, faces).T @ weight,
        )


def _same_faces(one: BodyGlow, other: BodyGlow) -> bool:
    if one.surface is not other.surface and not (
        np.array_equal(one.surface.vertices, other.surface.vertices)
        and np.array_equal(one.surface.faces, other.surface.faces)
    ):
        return False
    looks = ("glows", "hole", "whiteness", "face_index")
    return all(np.array_equal(getattr(one, name), getattr(other, name)) for name in looks)


def body_glow(
    problem: BodyProblem,
    diffuse: Shares,
    direct: Shares,
    direct_moment: Shares,
    account: Account,
    trust: tuple[str, ...],
    error: Shares | None = None,
    surface: Mesh | None = None,
    judged: bool = True,
) -> BodyGlow:
    """Return a body's glow from shares of flux per face.

    diffuse, direct, error : (lights, 3, k) float, shares of each light's flux
    direct_moment          : (lights, k, 3) float, first moment of the direct light: the sum over
                             bands of direct share times direction
    surface                : the skin's mesh, if it has been made
    judged                 : whether anything is judged by it: then it says what the body is to
                             light
    """
    skin = problem.skin
    surface = surface or skin_mesh(problem)
    area = surface.areas_mm2
    per_area = 1.0 / np.maximum(area, 1e-12)
    total = np.maximum(direct.sum(axis=1), 1e-30)[:, :, None]
    return BodyGlow(
        name=problem.name,
        key=problem.key,
        surface=surface,
        glows=problem.glows[skin],
        hole=is_hole(problem)[skin],
        whiteness=problem.whiteness[skin],
        diffuse=np.multiply(diffuse, per_area, dtype=np.float32),
        direct=np.multiply(direct, per_area, dtype=np.float32),
        mean_direction=np.divide(direct_moment, total, dtype=np.float32),
        error=None if error is None else np.multiply(error, per_area, dtype=np.float32),
        light_mm=centres_mm(problem.emitters),
        led_mm=problem.emitters.position,
        led_light=problem.emitters.light,
        account=account,
        trust=trust,
        notes=problem.notes,
        likeness=likeness_of(problem) if judged else None,
        volume_mm3=problem.own_volume_mm3,
        index=emission_index(problem)[skin],
        dark=None if problem.named.dark is None else problem.named.dark[skin],
    )


def unlit_body(problem: BodyProblem) -> BodyGlow:
    """Return the glow of a body without lights: none."""
    faces, regions = len(problem.skin), region_names(problem)
    none = np.zeros((0, 3))
    account = Account(regions, np.zeros((0, 3, len(regions))), none, none, none, none)
    nothing = np.zeros((0, 3, faces))
    return body_glow(problem, nothing, nothing, np.zeros((0, faces, 3)), account, ())


def is_hole(problem: BodyProblem) -> BoolArray:
    """Return which wall faces are openings from a hollow to the room, (m,) bool."""
    from_air = problem.kind_of(problem.inside) == Kind.AIR
    return from_air & (problem.outside == ROOM) & (problem.coat == BARE)


def emission_index(problem: BodyProblem) -> FloatArray:
    """Return the index of refraction behind each wall face that is bare and scatters, or MATT,
    (m,) float."""
    index = np.array([m.refractive_index for m in problem.media] + [MATT])[problem.inside]
    bare = (problem.kind_of(problem.inside) == Kind.SCATTERS) & (problem.coat == BARE)
    return np.where(bare, index, MATT)


def skin_mesh(problem: BodyProblem) -> Mesh:
    """Return the faces on the room as a mesh of their own, corners shared where they touch."""
    skin = problem.skin
    corner, number = np.unique(problem.walls.faces[skin], return_inverse=True)
    vertices = problem.walls.vertices[corner]
    # Faces of different regions carry their own corners: join those at one place.
    first, joined = unique_rows(np.round(vertices, 5))
    faces = joined[number.reshape(-1, 3)]
    return Mesh(vertices[first], faces, problem.part[skin], problem.part_names)
