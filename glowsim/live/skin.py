"""The prop's surface as the page draws it: its shape once, and light at each smooth corner.

Values are CIE XYZ in cd/m2 at the corners a photo interpolates between, so that the page shows
what the photo shows but for unscattered light, which counts as matt here, and for glare.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from typing import Any

import numpy as np

from glowsim.geometry.mesh import FloatArray
from glowsim.optics.emission import luminance_shape
from glowsim.optics.srgb import SRGB_FROM_XYZ
from glowsim.pictures.colour_scale import ColourScale, scale_for
from glowsim.pictures.room import illuminance_xyz, open_share, reflected_cd_m2
from glowsim.pictures.shade import emission_of
from glowsim.pictures.stage import Stage, stage_of
from glowsim.pictures.tone import SHOULDER, SPILL, chosen_exposure_cd_m2
from glowsim.scene import Room
from glowsim.transport.result import SurfaceGlow

SHAPE_STEPS = 32
"""Steps of the limb's shape that the page is told."""


@dataclass(frozen=True)
class Skin:
    """The surface of a prop, without light.

    key   : names it; another key means that the page must fetch the shape again
    glows : (c,) bool, corners of faces meant to glow;  whiteness : (c, 3) float
    """

    key: str
    stage: Stage
    glows: np.ndarray
    whiteness: FloatArray

    @property
    def shape_bytes(self) -> bytes:
        """Two counts, then places (c, 3) and normals (c, 3) float32, which glow (c,) float32, and
        corners of triangles (m, 3) uint32, little-endian."""
        stage = self.stage
        counts = np.array([stage.corner_count, len(stage.triangles)], dtype="<u4")
        parts = (
            counts,
            stage.points.astype("<f4"),
            stage.point_normals.astype("<f4"),
            self.glows.astype("<f4"),
            stage.corner.astype("<u4"),
        )
        return b"".join(np.ascontiguousarray(part).tobytes() for part in parts)

    def light_bytes(
        self,
        glow: FloatArray,
        across: FloatArray,
        back: FloatArray,
        calm: FloatArray | None = None,
    ) -> bytes:
        """Glow, the prop's light and the room's that is sent back, (c, 3) XYZ each, and what
        contour lines follow, (c,), the glow itself if left out [cd/m2]; float32, little-endian."""
        parts = (glow, across, back, (glow + across)[:, 1] if calm is None else calm)
        return b"".join(np.ascontiguousarray(part.astype("<f4")).tobytes() for part in parts)


def surface_key(glow: SurfaceGlow) -> str:
    """Return a digest of what decides a prop's surface: where its faces are and what they show."""
    digest = hashlib.blake2b(digest_size=8)
    for body in glow.bodies:
        for array in (body.surface.vertices, body.surface.faces, body.glows, body.whiteness):
            digest.update(np.ascontiguousarray(array).tobytes())
    for copy in glow.copies:
        digest.update(f"{copy.body}".encode() + copy.transform.tobytes())
    return digest.hexdigest()


def skin_of(glow: SurfaceGlow) -> Skin:
    """Return the skin of a glow. Raises PictureError if nothing of the prop can be seen."""
    stage, emission = stage_of(glow), emission_of(glow)
    lit = np.zeros(stage.corner_count, dtype=bool)
    lit[stage.corner[emission.glows].ravel()] = True
    return Skin(surface_key(glow), stage, lit, stage.at_corners(emission.whiteness))


def glow_cd_m2(skin: Skin, glow: SurfaceGlow) -> FloatArray:
    """Return the luminance of the prop's own light at the corners, (c, 3) XYZ."""
    return skin.stage.at_corners(emission_of(glow).total_lm_m2 / np.pi)


def limb_shape(glow: SurfaceGlow) -> list[float]:
    """Return what diffuse light is seen over its mean over directions, from cosine 0 to 1.

    Of the index that most of the glowing faces have; the page knows but one.
    """
    emission = emission_of(glow)
    index = emission.index[emission.glows] if emission.glows.any() else emission.index
    values, counts = np.unique(index, return_counts=True)
    cosine = np.linspace(0.0, 1.0, SHAPE_STEPS)
    shape = luminance_shape(cosine, n=np.full(SHAPE_STEPS, values[counts.argmax()]))
    return [round(float(v), 4) for v in shape]


def open_back_cd_m2(skin: Skin, room: Room) -> FloatArray:
    """Return the room's light sent back where nothing stands in the way, (c, 3) XYZ: what is shown
    until the light between the parts of the prop is known."""
    lux = open_share(skin.stage.point_normals)[:, None] * illuminance_xyz(room)
    return reflected_cd_m2(lux, skin.whiteness)


def exposure_cd_m2(skin: Skin, glow: SurfaceGlow, room: Room, given: float | None) -> float:
    """Return the photo's exposure: the scene's own, or one that suits the prop."""
    return given or chosen_exposure_cd_m2(skin.stage, emission_of(glow), room)


def tone_law(exposure: float) -> dict[str, Any]:
    """Return what the page's shader needs to develop luminance as a photo does."""
    return {
        "exposure": exposure,
        "shoulder": SHOULDER,
        "spill": SPILL,
        "rgb_from_xyz": [round(float(v), 9) for v in SRGB_FROM_XYZ.ravel()],
    }


def scale_of_glow(skin: Skin, glow: SurfaceGlow) -> ColourScale:
    """Return the scale of colours that the brightness map of a glow has."""
    emission = emission_of(glow)
    faces = emission.glows if emission.glows.any() else np.ones_like(emission.glows)
    return scale_for(emission.square_on_cd_m2[faces, 1], skin.stage.areas_mm2[faces])


def map_law(scale: ColourScale) -> dict[str, Any]:
    """Return the colour scale of the brightness map for the page's shader and legend."""
    return {
        "low": scale.low,
        "high": scale.high,
        "logarithmic": scale.logarithmic,
        "steps": list(scale.steps),
        "ticks": [[float(scale.share(t)), scale.label(t), float(t)] for t in scale.ticks],
        "unit": scale.unit,
    }
