"""A brightness map: luminance as colour with contour lines, from as many sides as it takes.

Colours tell the luminance of the glow alone, towards the viewer; room light is left out. Parts
that are not meant to glow are grey.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from PIL import Image, ImageDraw

from glowsim.pictures.camera import LEAST_PX, Camera, Size, checked_size
from glowsim.pictures.colour_scale import ColourScale, draw_scale, scale_for
from glowsim.pictures.marks import KIND_WORDS, PAPER, Mark, draw_marks, draw_symbol, marks_seen
from glowsim.pictures.photo import Studio
from glowsim.pictures.text import FAINT_INK, INK, font, number, scale_bar, shortened, text_width
from glowsim.pictures.visibility import Points, points_seen
from glowsim.scene import Scene
from glowsim.transport.result import SurfaceGlow

MAP_SIZE: Size = (1600, 1000)
LEAST_MAP_PX = 240
"""Views, scale and legend need this much, each way."""
MOST_VIEWS = 4
_FINE = 2
_CALM = 0.06
"""Contour lines follow the glow smoothed over this share of the radius of a sphere with a body's
surface: the noise of a solver would fray them."""
_SLACK = 0.01
"""Marks may lie this share of the prop's radius below the surface, and still be seen."""
_SIDES = {0: "front", 180: "back", 90: "right", 270: "left"}

Angles = tuple[float, float, str]
"""Azimuth and elevation of a view [deg], and its name."""


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
    marks : places to number; views are added until every mark that can be seen is seen
    scale : colours; chosen from the glow if left out. Maps to be compared need one scale.
    Raises PictureError for a size out of range.
    """
    size = checked_size(size, LEAST_MAP_PX)
    studio = glow if isinstance(glow, Studio) else Studio(glow, scene, backend)
    scale = scale or scale_of(studio)
    views, seen = chosen_views(studio, marks)
    page = Image.new("RGB", size, PAPER)
    text_px = max(10.0, size[1] / 55)
    margin = round(text_px)
    bar_width = round(text_px * 7)
    foot = _draw_foot(page, marks, seen, text_px, margin)
    title = shortened(f"Brightness: {studio.glow.title}", text_px * 1.3, size[0] - 2 * margin)
    draw = ImageDraw.Draw(page)
    draw.text((margin, margin), title, INK, font(text_px * 1.3), anchor="la")
    top = round(margin + 2.4 * text_px)
    area = (margin, top, size[0] - bar_width - 2 * margin, foot - margin)
    columns, rows = _layout(len(views), area[2] - area[0], area[3] - area[1])
    cell = ((area[2] - area[0]) // columns, (area[3] - area[1]) // rows)
    hidden = ~np.any(seen, axis=0)
    for k, (angles, near) in enumerate(zip(views, seen, strict=True)):
        # A mark that no view shows is drawn hollow in each.
        here = [mark for mark, draws in zip(marks, near | hidden, strict=True) if draws]
        filled = near[near | hidden]
        picture = _view(studio, scale, angles, here, filled, cell, text_px)
        page.paste(picture, (area[0] + k % columns * cell[0], area[1] + k // columns * cell[1]))
    draw_scale(
        page, scale, area[2] + margin, top + round(2 * text_px), area[3] - top - margin * 4, text_px
    )
    return page


def scale_of(studio: Studio) -> ColourScale:
    """Return a scale of colours that suits the parts of a prop that are meant to glow."""
    emission = studio.shading.emission
    faces = emission.glows if emission.glows.any() else np.ones_like(emission.glows)
    return scale_for(emission.mean_cd_m2[faces, 1], studio.stage.areas_mm2[faces])


def chosen_views(studio: Studio, marks: Sequence[Mark]) -> tuple[list[Angles], list[np.ndarray]]:
    """Return the views to draw and which marks each one sees: front, back, and more if needed."""
    view = studio.scene.view
    options: list[Angles] = [
        (view.azimuth_deg + turn, view.elevation_deg, name) for turn, name in _SIDES.items()
    ]
    options += [(view.azimuth_deg, 75.0, "from above"), (view.azimuth_deg, -75.0, "from below")]
    slack = _SLACK * studio.stage.radius_mm
    seen = [
        marks_seen(
            marks,
            studio.camera((100, 100), azimuth_deg=azimuth, elevation_deg=elevation),
            studio.stage.rays,
            slack,
        )
        for azimuth, elevation, _ in options
    ]
    chosen = [0, 1]
    while len(chosen) < MOST_VIEWS:
        missing = ~np.any([seen[k] for k in chosen], axis=0)
        gains = [int((seen[k] & missing).sum()) for k in range(len(options))]
        if not marks or max(gains) == 0:
            break
        chosen.append(int(np.argmax(gains)))
    return [options[k] for k in chosen], [seen[k] for k in chosen]


def _view(
    studio: Studio,
    scale: ColourScale,
    angles: Angles,
    marks: Sequence[Mark],
    filled: np.ndarray,
    size: Size,
    text_px: float,
) -> Image.Image:
    azimuth, elevation, name = angles
    line = round(1.6 * text_px)
    inner = (size[0], max(size[1] - 2 * line, LEAST_PX))
    camera = studio.camera(inner, azimuth_deg=azimuth, elevation_deg=elevation).refined(_FINE)
    points = points_seen(studio.stage.triangles, camera, studio.view(camera))
    picture = Image.fromarray(_coloured(studio, scale, camera, points))
    draw_marks(ImageDraw.Draw(picture), marks, filled, camera, text_px * _FINE)
    cell = Image.new("RGB", size, PAPER)
    cell.paste(picture.resize(inner, Image.Resampling.BOX), (0, line))
    draw = ImageDraw.Draw(cell)
    words = f"{name}: azimuth {number(azimuth % 360)}°, elevation {number(elevation)}°"
    words = shortened(words, text_px, size[0] - text_px)
    draw.text((text_px * 0.5, line / 2), words, FAINT_INK, font(text_px), anchor="lm")
    distance = float(np.linalg.norm(studio.stage.centre - camera.eye_mm))
    scale_bar(
        draw,
        right_px=size[0] - text_px,
        middle_px=size[1] - line / 2,
        most_px=size[0] / 5,
        mm_per_px=camera.pixel_mm(distance) * _FINE,
        size_px=text_px,
        colour=FAINT_INK,
    )
    return cell


def _coloured(studio: Studio, scale: ColourScale, camera: Camera, points: Points) -> np.ndarray:
    """Return the picture of one view, (h, w, 3) uint8."""
    width, height = camera.size
    glow = studio.shading.glow_seen(points, camera)[:, 1]
    calm = studio.shading.glow_seen(points, camera, _CALM * _radius_mm(studio))[:, 1]
    lit = studio.shading.emission.glows[points.triangle]
    toward = np.abs(studio.stage.normals[points.triangle] @ camera.forward)
    grey = 130 + 105 * toward
    colour = np.where(lit[:, None], scale.colours(glow), grey[:, None])
    picture = np.full((height, width, 3), 255.0)
    picture[points.row, points.column] = colour
    # The number of contour lines below each point; -1 and -2 where there are none.
    band = np.full((height, width), -2)
    band[points.row, points.column] = np.where(lit, np.digitize(calm, scale.ticks), -1)
    piece = np.full((height, width), -1)
    piece[points.row, points.column] = studio.stage.piece[points.triangle]
    line = _steps(band, piece)
    light = picture[line].mean(axis=1, keepdims=True) > 110
    picture[line] = 0.45 * picture[line] + 0.55 * np.where(light, 20.0, 245.0)
    return picture.astype(np.uint8)


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


def _layout(count: int, width: int, height: int) -> tuple[int, int]:
    """Return columns and rows that leave the largest square cells."""
    options = [(columns, -(-count // columns)) for columns in range(1, count + 1)]
    return max(options, key=lambda o: min(width / o[0], height / o[1]))


def _draw_foot(
    page: Image.Image,
    marks: Sequence[Mark],
    seen: Sequence[np.ndarray],
    text_px: float,
    margin: int,
) -> int:
    """Draw the legend and the list of marks at the bottom; return its upper edge [px]."""
    draw = ImageDraw.Draw(page)
    line = round(text_px * 1.5)
    columns = max(1, min(3, int(page.width // (text_px * 34))))
    most = max(1, int(page.height * 0.3 // line) - 1) * columns
    shown = list(marks)[:most]
    rows = -(-len(shown) // columns)
    top = page.height - margin - line * (rows + 1)
    x = float(margin)
    for words, kind, filled in _legend(marks, seen, len(shown)):
        if kind:
            draw_symbol(draw, kind, x + text_px / 2, top + line / 2, text_px, filled)
            x += text_px * 1.4
        draw.text((x, top + line / 2), words, FAINT_INK, font(text_px), anchor="lm")
        x += text_width(words, text_px) + 2 * text_px
    width = (page.width - 2 * margin) / columns
    for k, mark in enumerate(shown):
        x = margin + k // rows * width
        y = top + line * (k % rows + 1.5)
        draw_symbol(draw, mark.kind, x + text_px / 2, y, text_px, True)
        words = f"{mark.number}  {mark.label}"
        words = shortened(words, text_px, width - 3 * text_px)
        draw.text((x + 1.4 * text_px, y), words, INK, font(text_px), anchor="lm")
    return top


def _legend(
    marks: Sequence[Mark], seen: Sequence[np.ndarray], listed: int
) -> list[tuple[str, str | None, bool]]:
    """Return what the legend says: words, symbol, and whether it is filled."""
    legend: list[tuple[str, str | None, bool]] = []
    for kind in dict.fromkeys(mark.kind for mark in marks):
        legend.append((KIND_WORDS[kind], kind, True))
    hidden = [mark for mark, near in zip(marks, np.any(seen, axis=0), strict=True) if not near]
    if hidden:
        legend.append(("hollow: hidden from all these sides", hidden[0].kind, False))
    legend.append(("grey: not meant to glow", None, True))
    if listed < len(marks):
        legend.append((f"and {len(marks) - listed} more marks", None, True))
    return legend
