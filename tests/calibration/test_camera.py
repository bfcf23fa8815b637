"""The camera's response by drive levels, and what it does to a photo."""

from __future__ import annotations

import numpy as np
import pytest

from glowsim.calibration.camera import curve_of
from glowsim.calibration.image import UnreadableError
from glowsim.calibration.lit import Levels
from glowsim.calibration.readings import parse_readings
from glowsim.errors import ReadingsError
from tests.support.readings import HEAD

DIM = (255.0, 128.0, 64.0, 32.0)


def levels(value) -> Levels:
    return Levels(level=DIM, value=tuple(value))


def test_a_known_exponent_comes_back():
    rng = np.random.default_rng(1)
    read = (np.array(DIM) / 255) ** 1.08 * np.exp(rng.normal(0, 0.01, 4))
    curve = curve_of([levels(read)])
    assert curve.error == pytest.approx(0.01, abs=0.003)
    assert curve.exponent == pytest.approx(1.08, abs=2 * curve.error)
    assert curve_of([]).error is None


def test_a_camera_that_maps_tones_is_refused():
    with pytest.raises(UnreadableError, match=r"level 128 .* off the curve .*HDR"):
        curve_of([levels([0.6, 0.5, 0.25, 0.125])])


def test_less_light_that_reads_more_is_refused(tmp_path):
    text = HEAD + "[[levels]]\nlevel = [255, 128, 64]\nvalue = [1.0, 0.5, 0.6]"
    with pytest.raises(ReadingsError, match=r"levels\[0\]\.value: .*more light must give"):
        parse_readings(text, tmp_path)
