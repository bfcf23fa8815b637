"""Brightness maps: colours, contour lines and marks where they belong."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose
from PIL import Image, ImageDraw

from glowsim.errors import PictureError
from glowsim.optics.colour import lightness
from glowsim.optics.srgb import LUMINANCE_OF_SRGB, decode
from glowsim.pictures import ColourScale, Mark, Studio, bright_map, scale_of
from glowsim.pictures.colour_scale import scale_for
from glowsim.pictures.map_page import _chosen, _options, _where_seen
from glowsim.pictures.marks import draw_marks, draw_symbol, marks_seen
from glowsim.scene import View
from tests.pictures.glows import body_glow, glow_of, moved, scene_with, sphere

SIZE = (480, 320)


@pytest.fixture(scope="module")
def studio() -> Studio:
    # Brightness grows with height, 100 to 900 lm/m2; the lower third is not meant to glow.
    ball = sphere(50.0, 4)
    height = ball.centroids[:, 2]
    lit = body_glow(ball, 500 + 8 * height, glows=height > -17)
    return Studio(glow_of([lit]), scene_with(), "embree")


def mark(number: int, kind: str, *point_mm: float) -> Mark:
    return Mark(number, kind, np.array(point_mm), f"place {number}")  # type: ignore[arg-type]


def test_lightness_rises_evenly_along_the_scale() -> None:
    colours = ColourScale(0, 1, False).colours(np.linspace(0, 1, 200)) / 255
    light = lightness(decode(colours) @ LUMINANCE_OF_SRGB)
    assert (np.diff(light) > 0).all()
    # From 15 to 91 of 100, and no stretch twice as steep as the mean.
    assert light[-1] - light[0] > 70
    assert np.diff(light).max() < 2 * np.diff(light).mean()


def test_scales_are_linear_or_logarithmic_and_round() -> None:
    area = np.ones(1000)
    narrow = scale_for(np.linspace(100, 270, 1000), area)
    assert (narrow.low, narrow.high, narrow.logarithmic) == (0.0, 300.0, False)
    wide = scale_for(np.geomspace(1, 1500, 1000), area)
    assert (wide.low, wide.high, wide.logarithmic) == (1.0, 2000.0, True)
    deep = scale_for(np.geomspace(1e-9, 700, 1000), area)
    assert deep.high / deep.low <= 2000
    assert_allclose(scale_for(np.zeros(5), np.ones(5)).ticks[0], 0.0)


def test_ticks_lie_on_the_scale_at_round_values() -> None:
    assert_allclose(ColourScale(2, 500, True).ticks, [2, 5, 10, 20, 50, 100, 200, 500])
    assert_allclose(ColourScale(0, 300, False).ticks, [0, 50, 100, 150, 200, 250, 300])
    log = ColourScale(1, 100, True)
    assert_allclose(log.share(np.array([0.1, 1, 10, 100, 1000])), [0, 0, 0.5, 1, 1])


def test_a_mark_lands_on_its_pixel(studio: Studio) -> None:
    camera = studio.camera((200, 200), azimuth_deg=0, elevation_deg=0)
    spot = mark(7, "dark", 20, -45, 10)
    page = Image.new("RGB", (200, 200), (128, 128, 128))
    draw_marks(ImageDraw.Draw(page), [spot], np.array([True]), camera, 16)
    (column, row), *_ = camera.project(spot.point_mm[None])[0]
    near = np.asarray(page)[round(row) - 3 : round(row) + 3, round(column) - 3 : round(column) + 3]
    assert near.max() < 60
    # Seen from -y: x runs to the right, z upwards. 20 mm of a sphere of 100 mm that fills 160 px.
    assert_allclose([column, row], [100 + 20 * 1.6, 100 - 10 * 1.6], atol=1.5)


def test_triangle_square_and_diamond_differ_in_shape_and_hollow_from_filled() -> None:
    pictures = []
    for kind in ("hot", "dark", "leak"):
        for filled in (True, False):
            page = Image.new("L", (40, 40), 128)
            draw_symbol(ImageDraw.Draw(page.convert("RGB")), kind, 20, 20, 24, filled)
            colour = Image.new("RGB", (40, 40), (128, 128, 128))
            draw_symbol(ImageDraw.Draw(colour), kind, 20, 20, 24, filled)
            pictures.append(np.asarray(colour)[:, :, 0])
    hot, hollow_hot, dark, hollow_dark, leak, hollow_leak = pictures
    assert max(hot[20, 20], dark[20, 20], leak[20, 20]) < 60
    assert hollow_hot[20, 20] == hollow_dark[20, 20] == hollow_leak[20, 20] == 128
    # A triangle has no upper corners, a diamond none at all.
    assert dark[12, 12] != 128
    assert hot[12, 12] == leak[12, 12] == 128
    assert hot[28, 12] != 128
    assert leak[28, 12] == 128


def test_marks_on_the_far_side_are_known(studio: Studio) -> None:
    camera = studio.camera((100, 100), azimuth_deg=0, elevation_deg=0)
    marks = [mark(1, "hot", 0, -50, 0), mark(2, "hot", 0, 50, 0), mark(3, "dark", 0, -49.8, 0)]
    assert_allclose(marks_seen(marks, camera, studio.stage.rays, 0.5), [True, False, True])


def test_views_are_added_until_every_mark_is_seen(studio: Studio) -> None:
    assert len(_chosen(studio, [], _options(studio))[0]) == 2
    around = [mark(1, "hot", 50, 0, 0), mark(2, "hot", 0, 0, -50), mark(3, "dark", 0, 0, 50)]
    views, seen = _chosen(studio, around, _options(studio))
    assert 3 <= len(views) <= 4
    assert np.any(seen, axis=0).all()
    inside = [mark(1, "hot", 0, 0, 0)]
    assert len(_chosen(studio, inside, _options(studio))[0]) == 2


def test_a_map_shows_brightness_as_colour_and_the_rest_grey(studio: Studio) -> None:
    scale = ColourScale(0, 300, False)
    page = np.asarray(bright_map(studio, studio.scene, size=SIZE, scale=scale)).astype(int)
    assert page.shape == (320, 480, 3)
    colourful = np.ptp(page, axis=2) > 40
    assert colourful.mean() > 0.05
    # The lower third is grey, neither white paper nor coloured.
    grey = (np.ptp(page, axis=2) == 0) & (page[:, :, 0] > 120) & (page[:, :, 0] < 250)
    assert grey.mean() > 0.01
    brightest = scale.colours(np.array([900 / np.pi]))[0]
    assert (np.abs(page - brightest).sum(axis=2) < 30).any()


def test_contour_lines_run_where_the_glow_is_round(studio: Studio) -> None:
    from glowsim.pictures.bright_map import _coloured
    from glowsim.pictures.visibility import points_seen

    camera = studio.camera((300, 300), azimuth_deg=0, elevation_deg=0)
    points = points_seen(studio.stage.triangles, camera, studio.view(camera))
    scale = ColourScale(0, 300, False)
    picture = _coloured(studio, studio.shading, scale, camera, points).astype(float)
    # 200 cd/m2 is reached at (200 pi - 500)/8 = 16.04 mm.
    height = (200 * np.pi - 500) / 8
    row = round(float(camera.project(np.array([[0, -47.4, height]]))[0][0, 1]))
    column = picture[row - 12 : row + 12, 150]
    smooth = scale.colours((500 + 8 * np.array([height])) / np.pi)[0]
    line = np.abs(column - smooth).sum(axis=1).argmax()
    # Facets of the sphere and smoothing move the line by some pixels of 0.4 mm.
    assert abs(line - 12) <= 4
    assert np.abs(column - smooth).sum(axis=1).max() > 60


def test_marks_are_listed_under_the_views(studio: Studio) -> None:
    marks = [mark(k, "hot" if k % 2 else "dark", 50 * (-1) ** k, 0, 0) for k in range(1, 40)]
    plain = np.asarray(bright_map(studio, studio.scene, size=SIZE)).astype(int)
    marked = np.asarray(bright_map(studio, studio.scene, marks, size=SIZE)).astype(int)
    # Symbols stand at the left end of each line of the list; without marks only the legend does.
    lines = [(page[200:, :28].min(axis=(1, 2)) < 150).sum() for page in (plain, marked)]
    assert lines[1] > 4 * lines[0] > 0


@pytest.mark.parametrize("size", [(240, 240), (240, 800), (1000, 240)])
def test_small_and_narrow_maps(studio: Studio, size: tuple[int, int]) -> None:
    marks = [mark(k, "hot", 50 * (-1) ** k, 0, 0) for k in range(1, 9)]
    assert bright_map(studio, studio.scene, marks, size=size).size == size


def test_a_scale_suits_the_glowing_part(studio: Studio) -> None:
    scale = scale_of(studio)
    # 364 to 900 lm/m2 over pi.
    assert (scale.low, scale.high, scale.logarithmic) == (0.0, 300.0, False)


def test_a_size_out_of_range_is_refused(studio: Studio) -> None:
    with pytest.raises(PictureError, match="each side must be a whole number from 240 to 8192"):
        bright_map(studio, studio.scene, size=(640, 200))


def test_a_mark_is_shown_on_a_copy_where_it_can_be_seen() -> None:
    body = body_glow(sphere(20.0))
    glow = glow_of([body], [(0, moved(0, 0, 0)), (0, moved(0, -60, 0))])
    studio = Studio(glow, scene_with(view=View(azimuth_deg=0, elevation_deg=0)), "embree")
    hidden, open_ = np.array([0.0, -20, 0]), np.array([[0.0, -80, 0]])
    options = _options(studio)
    mark = Mark(1, "hot", hidden, "", open_)
    np.testing.assert_array_equal(_where_seen(studio, mark, options).point_mm, open_[0])
    alone = Mark(1, "hot", np.array([0.0, 0, 0]))
    assert _where_seen(studio, alone, options) is alone
