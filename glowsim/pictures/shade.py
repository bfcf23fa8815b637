"""The luminance of the prop's surface towards a viewer, in CIE XYZ and cd/m2.

Three parts add up at each smooth corner of the surface, and pixels interpolate between corners:

- diffuse glow, M / pi times the shape of `optics.emission`: darker toward the limb;
- the direct part, in bundles about their mean direction (`lobe`);
- light sent back by the surface: the room's (`room`), and the prop's own, as findings count it
  too (`transport.exchange`).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.sparse import csr_matrix

from glowsim.geometry.mesh import FloatArray
from glowsim.optics.emission import luminance_shape, square_on
from glowsim.pictures.arrays import Floats, Ints
from glowsim.pictures.camera import Camera
from glowsim.pictures.lobe import concentration, luminance_per_exitance
from glowsim.pictures.room import illuminance_xyz, open_share, reflected_cd_m2, shut_share
from glowsim.pictures.stage import Stage
from glowsim.pictures.visibility import Points
from glowsim.scene import Room
from glowsim.transport.air import Air
from glowsim.transport.exchange import added, crossings
from glowsim.transport.problem import BoolArray
from glowsim.transport.result import SurfaceGlow
from glowsim.units import per_m2

_FAINT = 1e-4
"""Direct light below this share of the prop's greatest exitance is left out."""


@dataclass(frozen=True)
class Emission:
    """The light that leaves the triangles of a stage, in CIE XYZ.

    diffuse_lm_m2, direct_lm_m2 : (m, 3) float, exitance
    glows                       : (m,) bool, triangles meant to glow
    whiteness                   : (m, 3) float, share of room light sent back
    index                       : (m,) float, index of refraction behind each triangle, or MATT
    """

    diffuse_lm_m2: FloatArray
    direct_lm_m2: FloatArray
    glows: BoolArray
    whiteness: FloatArray
    index: FloatArray

    @property
    def total_lm_m2(self) -> FloatArray:
        """Diffuse and direct exitance together, (m, 3) float."""
        return self.diffuse_lm_m2 + self.direct_lm_m2

    @property
    def square_on_cd_m2(self) -> FloatArray:
        """Luminance seen square-on, (m, 3) float XYZ; direct light averaged over directions."""
        ahead = square_on(self.index)[:, None]
        return (ahead * self.diffuse_lm_m2 + self.direct_lm_m2) / np.pi


def emission_of(glow: SurfaceGlow) -> Emission:
    """Return what leaves the triangles of the glow's stage, in the stage's order."""
    exitance = [glow.xyz_lm_mm2(copy) for copy in glow.copies]
    bodies = [glow.bodies[copy.body] for copy in glow.copies]
    return Emission(
        per_m2(1.0) * np.concatenate([diffuse for diffuse, _ in exitance]),
        per_m2(1.0) * np.concatenate([direct for _, direct in exitance]),
        np.concatenate([body.glows for body in bodies]),
        np.concatenate([body.whiteness for body in bodies]),
        np.concatenate([body.face_index for body in bodies]),
    )


@dataclass(frozen=True)
class Bundle:
    """Unscattered light of one light of one copy, at the smooth corners of that copy.

    copy, first : the copy, and its first corner of the stage's
    xyz_lm_m2   : (n, 3) float, exitance
    direct_moment : (n, 3) float, mean direction times the exitance's Y
    """

    copy: int
    first: int
    xyz_lm_m2: FloatArray
    direct_moment: FloatArray

    def add_to(self, luminance: Floats, stage: Stage, points: Points, view: Floats) -> None:
        """Add this light's luminance at surface points that are seen along `view`, (n, 3)."""
        mine = np.flatnonzero(stage.copy[points.triangle] == self.copy)
        at_corners = np.hstack([self.xyz_lm_m2, self.direct_moment])
        both = _between(stage, points, mine, at_corners, self.first)
        lit = both[:, 1] > _FAINT * self.xyz_lm_m2[:, 1].max()
        mine, xyz, moment = mine[lit], both[lit, :3], both[lit, 3:]
        length = np.maximum(np.linalg.norm(moment, axis=1), 1e-30)
        axis = moment / length[:, None]
        share = luminance_per_exitance(
            concentration(length / xyz[:, 1]),
            np.einsum("nd,nd->n", axis, stage.normals[points.triangle[mine]]),
            -np.einsum("nd,nd->n", axis, view[mine]),
        )
        luminance[mine] += share[:, None] * xyz


@dataclass(frozen=True)
class Shading:
    """What a prop's surface sends to a viewer.

    diffuse   : (c, 3) float, XYZ at each smooth corner of the stage, averaged over directions
                [cd/m2]
    across    : (c, 3) float, of the prop's own light, what faces get from others and send back,
                and what falls into open hollows and comes out again, square-on
    sent_back : (c, 3) float, the same of the light of the room [cd/m2]
    """

    stage: Stage
    emission: Emission
    diffuse: FloatArray
    across: FloatArray
    sent_back: FloatArray
    bundles: tuple[Bundle, ...]

    def calmed(self, calm_mm: float) -> Shading:
        """Return this shading with the prop's own light smoothed (see `Stage.smoothed`), all but
        the bundles, on bodies that are meant to glow somewhere.

        calm_mm : standard deviation of the smoothing
        """
        own = np.concatenate([self.diffuse, self.across], axis=1)
        calm = self.stage.smoothed(own, calm_mm, self.emission.glows)
        diffuse, across = np.hsplit(calm, 2)
        return replace(self, diffuse=diffuse, across=across)

    def seen(self, points: Points, camera: Camera) -> Floats:
        """Return the luminance of all light at the points a camera sees, (n, 3) XYZ [cd/m2]."""
        return self._seen([(self.diffuse, self.across + self.sent_back)], points, camera)[0]

    def _seen(
        self, parts: Sequence[tuple[FloatArray, FloatArray]], points: Points, camera: Camera
    ) -> list[Floats]:
        """Return the luminance of diffuse and of matt light, each with the bundles', (n, 3)."""
        view = camera.directions(points.column, points.row)
        bundled = np.zeros((len(points.triangle), 3), np.float32)
        for bundle in self.bundles:
            bundle.add_to(bundled, self.stage, points, view)
        # The normal runs on smoothly from face to face, as the brightness does.
        corners = np.hstack(
            [self.stage.point_normals, *(light for part in parts for light in part)]
        )
        between = _between(self.stage, points, slice(None), corners.astype(np.float32), 0)
        normal, *lights = np.split(between, 1 + 2 * len(parts), axis=1)
        shape = self._shape(points, normal, view)[:, None]
        return [
            shape * diffuse + matt + bundled
            for diffuse, matt in zip(lights[::2], lights[1::2], strict=True)
        ]

    def _shape(self, points: Points, normal: Floats, view: Floats) -> Floats:
        """Return what diffuse light is seen along `view`, over its mean over directions, (n,)."""
        cosine = -np.einsum("nd,nd->n", normal, view)
        cosine /= np.maximum(np.linalg.norm(normal, axis=1), 1e-12)
        shape = luminance_shape(cosine, n=self.emission.index[points.triangle])
        return shape.astype(np.float32)


def glows_seen(shadings: Sequence[Shading], points: Points, camera: Camera) -> list[Floats]:
    """Return the luminance of the prop's own light, (n, 3) XYZ [cd/m2] each.

    shadings : one, and others that are the same but for their smoothing
    """
    parts = [(shading.diffuse, shading.across) for shading in shadings]
    return shadings[0]._seen(parts, points, camera)


def shading_of(glow: SurfaceGlow, stage: Stage, room: Room) -> Shading:
    """Work out all that does not depend on where the viewer stands."""
    return shadings_of([glow], stage, room_light(stage, glow.air, room))[0]


def shadings_of(
    glows: Sequence[SurfaceGlow], stage: Stage, of_room: FloatArray | None
) -> list[Shading]:
    """Return the shading of several glows of one prop whose light is to be added up.

    of_room : see `room_light`; it is in the first one alone. Without it only the prop's own light
              is there, and none of it is sent back.
    They share the rays that are followed, so many glows take little longer than one.
    """
    emissions = [emission_of(glow) for glow in glows]
    dark = np.zeros((stage.corner_count, 3))
    across, first = [dark] * len(glows), dark
    if of_room is not None:
        across = [_of_the_prop(glow, stage, glows[0].air) for glow in glows]
        first = of_room
    brightest = sum(float(emission.total_lm_m2[:, 1].max()) for emission in emissions)
    return [
        Shading(
            stage,
            emission,
            stage.sharp_at_corners(emission.diffuse_lm_m2 / np.pi),
            more,
            first if number == 0 else dark,
            tuple(_bundles(glow, stage, brightest)),
        )
        for number, (glow, emission, more) in enumerate(zip(glows, emissions, across, strict=True))
    ]


def mixed(shadings: Sequence[Shading], weights: Sequence[float]) -> Shading:
    """Return the sum of shadings of one stage, each times a weight; the emission is the first's."""
    pairs = list(zip(shadings, weights, strict=True))
    return replace(
        shadings[0],
        diffuse=np.sum([w * s.diffuse for s, w in pairs], axis=0),
        across=np.sum([w * s.across for s, w in pairs], axis=0),
        sent_back=np.sum([w * s.sent_back for s, w in pairs], axis=0),
        bundles=tuple(
            replace(b, xyz_lm_m2=w * b.xyz_lm_m2, direct_moment=w * b.direct_moment)
            for s, w in pairs
            if w > 0
            for b in s.bundles
        ),
    )


def _between(
    stage: Stage, points: Points, chosen: Ints | slice, at_corners: Floats, first: int
) -> Floats:
    """Return values at some of the points from those at the corners from `first` on."""
    corner = stage.corner[points.triangle[chosen]] - first
    starts = np.arange(0, corner.size + 1, 3)
    weights = (points.weight[chosen].ravel(), corner.ravel(), starts)
    mix = csr_matrix(weights, shape=(len(corner), len(at_corners)))
    between: Floats = mix @ at_corners
    return between


def _of_the_prop(glow: SurfaceGlow, stage: Stage, air: Air) -> FloatArray:
    """Return what light from other faces adds to the surface, at the corners, XYZ [cd/m2]."""
    back = [
        added(glow, found.sent_back, found.let_out) @ found.xyz_per_lm
        for found in crossings(glow, air)
    ]
    total = np.sum(back, axis=0) if back else np.zeros((len(stage.triangles), 3))
    return stage.at_corners(per_m2(1.0) * total / np.pi)


def room_light(stage: Stage, air: Air, room: Room) -> FloatArray:
    """Return what the surface sends back of the room's light at corners, (c, 3) XYZ [cd/m2]."""
    shut = stage.at_corners(air.smoothed(shut_share(air.shut)[:, None]))
    got = np.maximum(open_share(stage.point_normals)[:, None] - shut, 0.0)
    return reflected_cd_m2(got * illuminance_xyz(room), stage.at_corners(air.white))


def _bundles(glow: SurfaceGlow, stage: Stage, brightest: float) -> Iterator[Bundle]:
    """Yield the direct light of each light that shows any, at the corners of its copy.

    brightest : greatest exitance of the prop; light far below it is left out.
    """
    start = 0
    for number, copy in enumerate(glow.copies):
        body, flux = glow.bodies[copy.body], glow.flux_lm(copy)
        faces = slice(start, start + len(body.surface.faces))
        start = faces.stop
        for k, light in enumerate(copy.lights):
            xyz = per_m2(1.0) * (body.direct[k].T * flux[k]) @ glow.lights[light].xyz_per_lm
            if xyz[:, 1].max() <= _FAINT * brightest:
                continue
            moment = body.mean_direction[k] @ copy.transform[:3, :3].T * xyz[:, 1:2]
            values = np.zeros((len(stage.triangles), 6))
            values[faces, :3], values[faces, 3:] = xyz, moment
            first, last = stage.corner[faces].min(), stage.corner[faces].max() + 1
            mean = stage.at_corners(values)[first:last]
            yield Bundle(number, int(first), mean[:, :3], mean[:, 3:])
