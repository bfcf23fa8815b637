"""A brightness map: luminance as colour with contour lines, from as many sides as it takes.

Colours tell the luminance of the glow alone, towards the viewer; room light is left out. Parts
that are not meant to glow are grey.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from PIL import Image

from glowsim.geometry.openings import is_opening
from glowsim.pictures.camera import LEAST_MAP_PX, Camera, Size, checked_size
from glowsim.pictures.colour_scale import ColourScale, scale_for
from glowsim.pictures.inks import PAPER, contrasting
from glowsim.pictures.map_page import Words, map_page
from glowsim.pictures.marks import Mark
from glowsim.pictures.photo import Studio
from glowsim.pictures.shade import Shading, glows_seen
from glowsim.pictures.visibility import Points
from glowsim.scene import Scene
from glowsim.transport.result import SurfaceGlow

MAP_SIZE: Size = (1600, 1000)
_CALM = 0.06
"""Contour lines follow the glow smoothed over this share of the radius of a sphere with a body's
surface: the noise of a solver would fray them."""


def bright_map(
    glow: SurfaceGlow | Studio,
    scene: Scene,
    marks: Sequence[Mark] = (),
    size: Size = MAP_SIZE,
    *,
    backend: str = "auto",
    scale: ColourScale | None = None,
) -> Image.Image:
    """Return the brightness map of a prop.

    glow  : the glow, or a studio that is set up already
    marks : places to number; each is shown where it can be seen best, and views are added until
            every mark that can be seen is seen
    scale : colours; chosen from the glow if left out. Maps to be compared need one scale.
    Raises PictureError for a size out of range.
    """
    size = checked_size(size, LEAST_MAP_PX)
    studio = glow if isinstance(glow, Studio) else Studio(glow, scene, backend)
    scale = scale or scale_of(studio)

    calm = calm_shading(studio)

    def paint(camera: Camera, points: Points) -> np.ndarray:
        return _coloured(studio, calm, scale, camera, points)

    words = Words(f"Brightness: {studio.glow.title}")
    if any(is_opening(name) for body in studio.glow.bodies for name in body.surface.part_names):
        words = replace(words, grey="grey: open, or not meant to glow")
    if studio.glow.supply:
        words = replace(words, grey=f"{words.grey}    {studio.glow.supply}")
    return map_page(studio, paint, scale, words, marks, size)


def calm_shading(studio: Studio) -> Shading:
    """Return a studio's shading as smooth as the contour lines follow it."""
    return studio.shading.calmed(_CALM * _radius_mm(studio))


def scale_of(studio: Studio) -> ColourScale:
    """Return a scale of colours that suits the parts of a prop that are meant to glow."""
    emission = studio.shading.emission
    faces = emission.glows if emission.glows.any() else np.ones_like(emission.glows)
    return scale_for(emission.square_on_cd_m2[faces, 1], studio.stage.areas_mm2[faces])


def _coloured(
    studio: Studio, calm: Shading, scale: ColourScale, camera: Camera, points: Points
) -> np.ndarray:
    """Return the picture of one view, (h, w, 3) uint8.

    calm : the studio's shading, smoothed for the contour lines
    """
    width, height = camera.size
    glow, smooth = (seen[:, 1] for seen in glows_seen([studio.shading, calm], points, camera))
    lit = studio.shading.emission.glows[points.triangle]
    toward = np.abs(studio.stage.normals[points.triangle] @ camera.forward)
    grey = 130 + 105 * toward
    colour = np.where(lit[:, None], scale.colours(glow), grey[:, None])
    picture = np.full((height, width, 3), PAPER[0], np.uint8)
    picture[points.row, points.column] = colour
    # The number of contour lines below each point; -1 and -2 where there are none.
    band = np.full((height, width), -2, np.int32)
    band[points.row, points.column] = np.where(lit, np.digitize(smooth, scale.ticks), -1)
    piece = np.full((height, width), -1, np.int32)
    piece[points.row, points.column] = studio.stage.piece[points.triangle]
    line = _steps(band, piece)
    picture[line] = contrasting(picture[line])
    return picture


def _radius_mm(studio: Studio) -> float:
    """Return the radius of a sphere with the mean surface of the pieces that glow."""
    glows, stage = studio.shading.emission.glows, studio.stage
    pieces = max(len(np.unique(stage.copy[glows])), 1)
    return float(np.sqrt(stage.areas_mm2[glows].sum() / pieces / (4 * np.pi)))


def _steps(band: np.ndarray, piece: np.ndarray) -> np.ndarray:
    """Return the pixels where the band changes by one on one smooth piece, (h, w) bool."""
    line = np.zeros(band.shape, dtype=bool)
    everything, ahead, behind = slice(None), slice(1, None), slice(None, -1)
    for one, two in (((behind, everything), (ahead, everything)),
                     ((everything, behind), (everything, ahead))):  # fmt: skip
        # A jump by more than one line is an outline of the body, not a contour.
        step = (np.abs(band[one] - band[two]) == 1) & (piece[one] == piece[two])
        step &= (band[one] >= 0) & (band[two] >= 0)
        line[one] |= step
        line[two] |= step
    return line
