"""Moving light: pictures of a prop whose lights change their levels, without a new solve.

Light adds up, so a prop is taken apart once into the room's light with the lights that stand still,
and each group of lights that move as one. Every frame is then a weighted sum of these parts.
"""

from __future__ import annotations

from collections.abc import Generator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np
from PIL import Image

from glowsim.errors import PictureError
from glowsim.geometry.mesh import FloatArray
from glowsim.pictures.arrays import Floats
from glowsim.pictures.camera import Camera, Size, checked_size
from glowsim.pictures.photo import Studio, foot_px, with_foot
from glowsim.pictures.room import THREADS, Backdrop
from glowsim.pictures.shade import Shading, mixed, shadings_of
from glowsim.pictures.tone import checked_exposure, developed
from glowsim.pictures.turntable import drawn_ahead
from glowsim.transport.result import SurfaceGlow

MOST_FRAMES = 20_000
MOST_GROUPS = 100
"""Each needs some 10 MB of a prop of usual size."""


@dataclass(frozen=True)
class PulsedStudio:
    """A prop taken apart into still light and groups of lights that move as one.

    groups    : numbers of the lights of each
    still     : shading of the room's light and the lights in no group
    parts     : shading of each group at full level;  still_behind, behind : the backdrops
    """

    studio: Studio
    groups: tuple[tuple[int, ...], ...]
    still: Shading
    parts: tuple[Shading, ...]
    still_behind: Backdrop
    behind: tuple[Backdrop, ...]

    def view(self, camera: Camera) -> PulsedView:
        """Return one view, ready for any levels."""
        shadings = [self.still, *self.parts]
        return _view(self.studio, camera, shadings, [self.still_behind, *self.behind])

    def luminance(self, camera: Camera, levels: Sequence[float]) -> FloatArray:
        """Return what a camera sees at one set of levels, (h, w, 3) XYZ [cd/m2]."""
        weights = [float(level) for level in levels]
        shading = mixed([self.still, *self.parts], [1.0, *weights])
        behind = self.still_behind.mixed(self.behind, weights)
        return self.studio.luminance_of(camera, self.studio.points(camera), shading, behind)


@dataclass(frozen=True)
class PulsedView:
    """One view of a prop, taken apart: luminances add up.

    still : (h, w, 3) float32 XYZ [cd/m2];  parts : (groups, h, w, 3) float32, at full level
    """

    camera: Camera
    still: Floats
    parts: Floats

    def luminance(self, levels: Sequence[float]) -> Floats:
        """Return the picture at one set of levels, (h, w, 3) float32 XYZ [cd/m2]."""
        return self.still + np.tensordot(np.asarray(levels, np.float32), self.parts, axes=1)


def pulsed_studio(studio: Studio, groups: Sequence[Sequence[int]]) -> PulsedStudio:
    """Take a studio's prop apart into groups of lights; lights in no group stand still."""
    room = studio.scene.room
    still, *parts = shadings_of(_glows(studio, groups), studio.stage, studio.room_light)
    dark = room.model_copy(update={"illuminance_lx": 0.0})
    return PulsedStudio(
        studio,
        tuple(tuple(group) for group in groups),
        still,
        tuple(parts),
        Backdrop(studio.table, still.emission.total_lm_m2, room),
        tuple(Backdrop(studio.table, p.emission.total_lm_m2, dark) for p in parts),
    )


def own_light_view(studio: Studio, groups: Sequence[Sequence[int]], camera: Camera) -> PulsedView:
    """Return one view of the prop's own light alone, in a dark room; quick."""
    return _view(studio, camera, shadings_of(_glows(studio, groups), studio.stage, None), None)


def _glows(studio: Studio, groups: Sequence[Sequence[int]]) -> list[SurfaceGlow]:
    """Return the glow of the lights in no group, and of each group."""
    if len(groups) > MOST_GROUPS:
        raise PictureError(
            f"{len(groups)} lights that move by themselves are too many to draw (at most "
            f"{MOST_GROUPS}); give the zone no stagger, or its boards no separate_leds"
        )
    masks = np.zeros((1 + len(groups), len(studio.glow.lights)))
    for number, group in enumerate(groups, start=1):
        masks[number, list(group)] = 1
    masks[0] = 1 - masks[1:].sum(axis=0)
    return [studio.calm.dimmed(np.repeat(mask[:, None], 3, axis=1)) for mask in masks]


def _view(
    studio: Studio,
    camera: Camera,
    shadings: Sequence[Shading],
    backdrops: Sequence[Backdrop] | None,
) -> PulsedView:
    points = studio.points(camera)
    behind: Sequence[Backdrop | None] = backdrops or [None] * len(shadings)

    def drawn(shading: Shading, backdrop: Backdrop | None) -> Floats:
        return studio.luminance_of(camera, points, shading, backdrop).astype(np.float32)

    with ThreadPoolExecutor(THREADS) as pool:
        still, *parts = pool.map(drawn, shadings, behind)
    empty = np.zeros((0, *still.shape), np.float32)
    return PulsedView(camera, still, np.stack(parts) if parts else empty)


def pulse_frames(
    pulsed: PulsedStudio,
    levels: FloatArray,
    *,
    size: Size,
    exposure_cd_m2: float,
    turns: float = 0.0,
) -> Generator[Image.Image, None, None]:
    """Yield the pictures of moving light at one exposure, each with what feeds the lights below.

    levels : (frames, groups) float, 0..1;  turns : how often the prop turns meanwhile
    Raises PictureError for too many frames or a size out of range.
    """
    count = len(levels)
    if not 1 <= count <= MOST_FRAMES:
        raise PictureError(f"{count} frames cannot be drawn; give 1 to {MOST_FRAMES}")
    exposure = checked_exposure(exposure_cd_m2)
    studio = pulsed.studio
    words = studio.glow.supply
    strip = foot_px(checked_size(size), words)
    camera = studio.camera((size[0], size[1] - strip), turning=turns > 0)
    view = None if turns else pulsed.view(camera)

    def draw(number: int) -> Image.Image:
        if view is not None:
            seen: FloatArray | Floats = view.luminance(levels[number])
        else:
            turned = camera.turned(360 * turns * number / count, studio.stage.axis)
            seen = pulsed.luminance(turned, levels[number])
        picture = Image.fromarray(developed(seen, exposure))  # type: ignore[arg-type]
        return with_foot(picture, words, strip)

    yield from drawn_ahead(draw, count)
