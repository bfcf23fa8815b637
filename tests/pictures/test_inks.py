"""Colours of pictures: scales even in lightness, for every eye; inks that can be read."""

from __future__ import annotations

import ast
import itertools
from pathlib import Path

import numpy as np
import pytest

from glowsim.calibration.page import COLOUR
from glowsim.optics.colour import D65_XY, lightness, xyz_of_chromaticity
from glowsim.optics.srgb import (
    LUMINANCE_OF_SRGB,
    contrast_ratio,
    decode,
    srgb_of_lch,
    xyz_from_linear,
)
from glowsim.pictures import inks
from glowsim.pictures.ratio_map import RatioScale

PACKAGE = Path(__file__).parents[2] / "glowsim"
EYES = {
    "all colours": np.eye(3),
    "no red": [
        [0.152286, 1.052583, -0.204868],
        [0.114503, 0.786281, 0.099216],
        [-0.003882, -0.048116, 1.051998],
    ],
    "no green": [
        [0.367322, 0.860646, -0.227968],
        [0.280085, 0.672501, 0.047413],
        [-0.011820, 0.042940, 0.968881],
    ],
    "no blue": [
        [1.255528, -0.076749, -0.178779],
        [-0.078411, 0.930809, 0.147602],
        [0.004733, 0.691367, 0.303900],
    ],
}
"""What an eye without one kind of cone sees, on linear sRGB: Machado, Oliveira & Fernandes, IEEE
Trans. Vis. Comput. Graph. 15, 1291 (2009), severity 1.0."""


def rgb(colours):
    """Return 'rrggbb' or '#rrggbb' as 8-bit floats, (n, 3)."""
    return np.array([list(bytes.fromhex(colour.lstrip("#"))) for colour in colours], dtype=float)


def seen(colours, eye):
    """Return the linear sRGB that an eye sees, (n, 3)."""
    return np.clip(decode(rgb(colours) / 255) @ np.array(EYES[eye]).T, 0, 1)


def lab(linear):
    """Return CIELAB of linear sRGB, (n, 3) (CIE 15)."""
    white = xyz_of_chromaticity(D65_XY)
    f = (lightness(xyz_from_linear(linear) / white) + 16) / 116
    return np.stack(
        [116 * f[:, 1] - 16, 500 * (f[:, 0] - f[:, 1]), 200 * (f[:, 1] - f[:, 2])], axis=1
    )


def test_colours_of_lightness_chroma_and_hue():
    # sRGB red by CIELAB for D65: L* 53.24, a* 80.09, b* 67.20 (published table, from memory).
    red = srgb_of_lch(53.24, np.hypot(80.09, 67.20), np.degrees(np.arctan2(67.20, 80.09)))
    assert red == pytest.approx([1, 0, 0], abs=0.02)
    wanted = (60.0, 30.0, 200.0)
    star, a, b = lab(decode(srgb_of_lch(*wanted))[None])[0]
    assert (star, np.hypot(a, b), np.degrees(np.arctan2(b, a)) % 360) == pytest.approx(wanted)


def test_contrast_is_that_of_the_web():
    # WCAG 2.1: black on white 21:1; #767676 is the lightest grey of 4.5:1 on white.
    assert contrast_ratio((0, 0, 0), (255, 255, 255)) == pytest.approx(21)
    assert contrast_ratio((0x76,) * 3, (255,) * 3) >= 4.5 > contrast_ratio((0x77,) * 3, (255,) * 3)


def test_brightness_rises_in_even_steps_of_lightness():
    steps = np.diff(lab(seen(inks.GLOW, "all colours"))[:, 0])
    # 8 bits hold a step of 2.5 to 0.4.
    assert steps == pytest.approx(np.full(32, 81 / 32), abs=0.4)


@pytest.mark.parametrize("eye", EYES)
def test_brightness_rises_for_every_eye(eye):
    steps = np.diff(lab(seen(inks.GLOW, eye))[:, 0])
    assert steps.min() > 0.5 * steps.mean() > 0


@pytest.mark.parametrize("eye", EYES)
@pytest.mark.parametrize("scale", ["OFF", "MEND"])
def test_both_sides_of_a_difference_darken_alike_and_differ_in_hue(scale, eye):
    star, a, b = lab(seen(getattr(inks, scale), eye)).T
    middle = len(star) // 2
    assert star[middle] > 94
    assert (np.diff(star[: middle + 1]) > 0).all()
    assert (np.diff(star[middle:]) < 0).all()
    assert np.hypot(a[0] - a[-1], b[0] - b[-1]) > 40, "the ends"


def test_in_grey_the_lower_side_is_told_by_hatching():
    scale = RatioScale(0.5, 2.0, True)
    row, column = np.indices((24, 24))
    for ratio, hatched in ((0.6, True), (1.0, False), (1.6, False)):
        picture = scale.painted(np.full((24, 24), ratio), row, column, 2)
        grey = lightness(decode(picture / 255) @ LUMINANCE_OF_SRGB)
        assert (np.ptp(grey) > 25) == hatched
        # The colour itself is still most of it.
        assert np.median(grey) == pytest.approx(
            float(lightness(decode(scale.colours(ratio) / 255) @ LUMINANCE_OF_SRGB)), abs=0.1
        )


def test_text_and_lines_can_be_read():
    text = [
        (inks.INK, inks.PAPER), (inks.FAINT_INK, inks.PAPER),
        (inks.NIGHT_INK, inks.NIGHT), (inks.NIGHT_FAINT, inks.NIGHT),
    ]  # fmt: skip
    assert min(contrast_ratio(*pair) for pair in text) >= inks.TEXT_CONTRAST
    lines = [*rgb(inks.SERIES), inks.LIMIT, inks.FRAME]
    assert min(contrast_ratio(line, inks.PAPER) for line in lines) >= inks.LINE_CONTRAST


def test_lines_across_a_scale_stand_out_on_all_of_it():
    for scale in (inks.GLOW, inks.OFF, inks.MEND):
        colours = rgb(scale)
        assert contrast_ratio(inks.contrasting(colours), colours).min() >= inks.LINE_CONTRAST


@pytest.mark.parametrize("light", [(1, 1, 1), (1, 1, 0), (0, 1, 0.3), (1, 0, 0), (0, 0, 0.2)])
def test_a_lights_line_is_dark_enough_and_keeps_its_hue(light):
    line = np.array(inks.line_colour(np.array(light, dtype=float)))
    assert contrast_ratio(line, inks.PAPER) >= inks.LINE_CONTRAST
    assert (np.argsort(line, kind="stable") == np.argsort(light, kind="stable")).all()


@pytest.mark.parametrize("eye", EYES)
def test_lines_of_a_chart_are_told_apart_by_every_eye(eye):
    places = lab(seen(inks.SERIES, eye))
    assert min(np.linalg.norm(p - q) for p, q in itertools.combinations(places, 2)) > 15


def test_drawings_of_the_sheet_can_be_read():
    from glowsim.buildsheet.drawing import GREY, INK, LIGHT

    contrast = [float(contrast_ratio(255 * np.array(c), inks.PAPER)) for c in (INK, GREY, LIGHT)]
    assert contrast[0] >= inks.TEXT_CONTRAST
    assert min(contrast) >= inks.LINE_CONTRAST


@pytest.mark.parametrize(
    "file",
    [*sorted((PACKAGE / "pictures").glob("*.py")), *sorted(PACKAGE.glob("*/*_page.py")),
     PACKAGE / "calibration" / "page.py", PACKAGE / "cli" / "pulse.py"],
    ids=lambda file: file.name,
)  # fmt: skip
def test_no_picture_has_colours_of_its_own(file):
    if file.stem == "inks":
        return
    own = [
        node.lineno
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8")))
        if isinstance(node, ast.Constant)
        and isinstance(node.value, str)
        and node.value.startswith("#")
        and len(node.value) == 7
        and node.value not in COLOUR.values()
    ]
    assert not own, "take it from pictures/inks.py, where contrast is tested"


def test_the_bands_of_a_page_of_readings_can_be_seen():
    assert contrast_ratio(rgb(COLOUR.values()), inks.PAPER).min() >= inks.LINE_CONTRAST
