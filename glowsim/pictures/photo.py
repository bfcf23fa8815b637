"""A picture as a camera would take it: the glowing prop in the light of its room.

The room's light comes from all around (`room`); the prop stands on a dark table. Surfaces are
taken as matt but for the light that leaves them in bundles: there are no mirror images, and
nothing is seen through clear material except its light.
"""

from __future__ import annotations

import math
from copy import copy
from functools import cached_property

import numpy as np
from PIL import Image, ImageDraw

from glowsim.errors import PictureError
from glowsim.geometry.kept import Kept
from glowsim.geometry.mesh import FloatArray
from glowsim.pictures.backends import choose_backend
from glowsim.pictures.calm import calmed
from glowsim.pictures.camera import Camera, Size, checked_size, framed
from glowsim.pictures.glare import with_glare
from glowsim.pictures.inks import NIGHT, NIGHT_FAINT
from glowsim.pictures.room import Backdrop, Table
from glowsim.pictures.shade import Emission, Shading, emission_of, room_light, shadings_of
from glowsim.pictures.stage import Stage, stage_of
from glowsim.pictures.text import font, number, scale_bar, shortened, text_width
from glowsim.pictures.tone import checked_exposure, chosen_exposure_cd_m2, developed
from glowsim.pictures.visibility import Points, View, points_seen, view_of
from glowsim.scene import Scene
from glowsim.transport.result import SurfaceGlow

SAMPLES = 2
"""Rays per pixel, each way."""
PHOTO_SIZE: Size = (1280, 960)
_THINNED = 4
"""What lies behind a prop is smooth: every so many pixels tell its median."""
STRIP_SHARE = 1 / 24
_LEAST_STRIP_WIDTH = 360
_LEAST_FOOT_PX = 16
"""Narrower pictures carry no caption: it could not be read."""


_OF_THE_LIGHT = ("emission", "shading", "backdrop", "exposure_cd_m2")
"""What a studio works out from its glow, not from faces and room."""


class Studio:
    """A prop made ready for pictures: all that does not depend on the view is worked out once.

    The heavy part of it is, when it is first asked for. May be used from several threads at once.
    """

    def __init__(
        self, glow: SurfaceGlow, scene: Scene, backend: str = "auto", pictures: float = math.inf
    ) -> None:
        """Set up `glow` in the room of `scene`.

        pictures : how many are to be drawn, as `choose_backend` counts them
        Raises PictureError if there is nothing to see, or if the back end cannot be used.
        """
        self.scene = scene
        self.glow = glow
        self.backend, self.reason = choose_backend(backend, pictures)
        self.stage: Stage = stage_of(glow)
        self.calm: SurfaceGlow = calmed(glow)
        self.view: View = view_of(self.stage.triangles, self.stage.rays, self.backend)
        self._points: Kept[Points] = Kept(1)

    def with_glow(self, glow: SurfaceGlow) -> Studio:
        """Return a studio with another glow of the same faces, and all else as it is here.

        What depends on the faces alone is worked out once for both: what cameras, faces and
        table see, how light is smoothed. Raises PictureError if the faces are not the same.
        """
        if not self.glow.same_faces(glow):
            raise PictureError(
                "another glow can only be shown on the same faces; these are of another prop"
            )
        known = self.calm
        _ = known.air, self.table, self.room_light
        other = copy(self)
        for name in _OF_THE_LIGHT:
            vars(other).pop(name, None)
        other.glow = known.relit(glow)
        other.calm = calmed(other.glow)
        return other

    @cached_property
    def emission(self) -> Emission:
        """What leaves the surface."""
        return emission_of(self.calm)

    @cached_property
    def shading(self) -> Shading:
        """What the surface sends to a viewer."""
        return shadings_of([self.calm], self.stage, self.room_light)[0]

    @cached_property
    def room_light(self) -> FloatArray:
        """What the surface sends back of the room's light at the corners, (c, 3) XYZ [cd/m2]."""
        return room_light(self.stage, self.calm.air, self.scene.room)

    @cached_property
    def table(self) -> Table:
        """The table, and what it sees of the prop."""
        return Table(self.stage)

    @cached_property
    def backdrop(self) -> Backdrop:
        """The table and the wall, lit."""
        return Backdrop(self.table, self.emission.total_lm_m2, self.scene.room)

    @cached_property
    def exposure_cd_m2(self) -> float:
        """The scene's exposure, or one that suits the prop from all sides [cd/m2]."""
        given = self.scene.view.exposure_cd_m2
        return given or chosen_exposure_cd_m2(self.stage, self.emission, self.scene.room)

    def camera(
        self,
        size: Size,
        *,
        azimuth_deg: float | None = None,
        elevation_deg: float | None = None,
        turning: bool = False,
    ) -> Camera:
        """Return a camera at the scene's viewing distance that frames the prop.

        turning : frame it so that it stays in the frame, and of one size, from all sides.
        Angles left out are the scene's. Raises PictureError for a size out of range.
        """
        view = self.scene.view
        return framed(
            self.stage.turned if turning else self.stage.outline,
            azimuth_deg=view.azimuth_deg if azimuth_deg is None else azimuth_deg,
            elevation_deg=view.elevation_deg if elevation_deg is None else elevation_deg,
            distance_mm=self.scene.room.viewing_distance_mm,
            size=size,
        )

    def luminance(self, camera: Camera) -> FloatArray:
        """Return what `camera` sees, glare included, as CIE XYZ, (h, w, 3) float [cd/m2]."""
        points = self.points(camera)
        return self.luminance_of(camera, points, self.shading, self.backdrop)

    def points(self, camera: Camera) -> Points:
        """Return what the refined pixels of `camera` see of the surface."""
        return self._points.get(camera.key, lambda: self._points_of(camera.refined(SAMPLES)))

    def _points_of(self, fine: Camera) -> Points:
        return points_seen(self.stage.triangles, fine, self.view(fine))

    def luminance_of(
        self, camera: Camera, points: Points, shading: Shading, backdrop: Backdrop | None
    ) -> FloatArray:
        """Return what `camera` sees of a shading and a backdrop; see `luminance`.

        points : those of the same camera;  backdrop : None for darkness behind the prop.
        Linear in the light: sums of shadings and backdrops give sums of pictures.
        """
        value = shading.seen(points, camera.refined(SAMPLES))
        width, height = camera.size
        pixel = (points.row // SAMPLES) * width + points.column // SAMPLES
        count = np.bincount(pixel)
        shown = np.flatnonzero(count)
        sums = np.stack([np.bincount(pixel, band)[shown] for band in value.T], axis=1) / SAMPLES**2
        cover = count[shown] / SAMPLES**2
        behind = backdrop.luminance(camera) if backdrop else np.zeros((height, width, 3))
        surround = np.median(behind[::_THINNED, ::_THINNED].reshape(-1, 3), axis=0)
        flat = behind.reshape(-1, 3)
        flat[shown] = sums + (1 - cover)[:, None] * flat[shown]
        picture: FloatArray = flat.reshape(height, width, 3)
        return with_glare(picture, camera.pixel_deg, surround, self.scene.room)

    def photo(
        self,
        size: Size = PHOTO_SIZE,
        *,
        camera: Camera | None = None,
        exposure_cd_m2: float | None = None,
        caption: bool = True,
    ) -> Image.Image:
        """Return a photograph-like picture.

        camera         : one of this size without the caption's strip; the scene's view if None
        exposure_cd_m2 : luminance of a neutral grey that is shown as white. Pictures that are to
                         be compared need one exposure.
        caption        : write room, distance and exposure under the picture, with a scale bar
        Raises PictureError for a size or an exposure out of range.
        """
        exposure = checked_exposure(
            self.exposure_cd_m2 if exposure_cd_m2 is None else exposure_cd_m2
        )
        width, height = checked_size(size)
        strip = round(height * STRIP_SHARE) if caption and width >= _LEAST_STRIP_WIDTH else 0
        camera = camera or self.camera((width, height - strip))
        picture = Image.fromarray(developed(self.luminance(camera), exposure))
        return self._captioned(picture, camera, exposure, strip) if strip else picture

    def _captioned(
        self, picture: Image.Image, camera: Camera, exposure: float, strip: int
    ) -> Image.Image:
        room = self.scene.room
        distance = float(np.linalg.norm(self.stage.centre - camera.eye_mm))
        page = Image.new("RGB", (picture.width, picture.height + strip), NIGHT)
        page.paste(picture, (0, 0))
        draw = ImageDraw.Draw(page)
        size_px, middle = strip * 0.5, picture.height + strip / 2
        bar = scale_bar(
            draw,
            right_px=page.width - size_px,
            middle_px=middle,
            most_px=page.width / 8,
            mm_per_px=camera.pixel_mm(distance),
            size_px=size_px,
            colour=NIGHT_FAINT,
        )
        parts = [
            f"room {number(room.illuminance_lx)} lx, {number(room.light_temperature_k)} K",
            f"seen from {number(distance / 1000)} m",
            f"white = {number(exposure)} cd/m²",
            *([self.glow.supply] if self.glow.supply else []),
            f"glare of {_article(room.observer)}",
        ]
        if text_width("   ".join(parts), size_px) > bar - 2 * size_px:
            parts.pop()  # what matters least
        words = shortened("   ".join(parts), size_px, bar - 2 * size_px)
        draw.text((size_px, middle), words, NIGHT_FAINT, font(size_px), anchor="lm")
        return page


def foot_px(size: Size, words: str) -> int:
    """Return the height of a frame's foot line; none without words or room for them."""
    width, height = size
    return max(_LEAST_FOOT_PX, round(height * STRIP_SHARE)) if words and width >= 160 else 0


def with_foot(picture: Image.Image, words: str, strip_px: int) -> Image.Image:
    """Return a frame with a line below it that says what it is for."""
    if not strip_px:
        return picture
    page = Image.new("RGB", (picture.width, picture.height + strip_px), NIGHT)
    page.paste(picture, (0, 0))
    size_px = strip_px * 0.6
    line = shortened(words, size_px, page.width - 2 * size_px)
    at = (size_px, picture.height + strip_px / 2)
    ImageDraw.Draw(page).text(at, line, NIGHT_FAINT, font(size_px), anchor="lm")
    return page


def photo(
    glow: SurfaceGlow,
    scene: Scene,
    size: Size = PHOTO_SIZE,
    *,
    backend: str = "auto",
    exposure_cd_m2: float | None = None,
    caption: bool = True,
) -> Image.Image:
    """Return one photograph-like picture of a glow; see `Studio.photo`."""
    studio = Studio(glow, scene, backend)
    return studio.photo(size, exposure_cd_m2=exposure_cd_m2, caption=caption)


def _article(observer: str) -> str:
    return f"an {observer}" if observer[0] in "aeiou" else f"a {observer}"
