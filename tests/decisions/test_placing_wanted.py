"""Boards for a fade: they go where the light is wanted."""

from __future__ import annotations

import numpy as np
import pytest

from glowsim.decisions.placing import place
from glowsim.findings.unevenness import off_by
from glowsim.scene import Placing
from tests.support.placing import DOT, SPARING, scene

ROD = """shape = { kind = "rod", length_mm = 60, diameter_mm = 24 }
cell_mm = 3
detail_mm = 4
"""
FADE = 'wanted = { fade = "up", to = 0.05 }\n'
LIGHT = 'board = "dot"\nposition_mm = [0, 0, 10]\n'
ROOM = Placing(wire_toward="anywhere", clearance_mm=0.5)


@pytest.fixture(autouse=True)
def _fewer_candidates(monkeypatch):
    monkeypatch.setattr("glowsim.decisions.response.THOROUGH", SPARING)


@pytest.mark.slow
def test_a_board_goes_to_the_bright_end_and_what_is_expected_comes_true():
    heights, fades = {}, {}
    for name, keys in (("even", ROD), ("flame", ROD + FADE)):
        answer = place(scene(keys, light=LIGHT, more=DOT), "body", 1, placing=ROOM)
        heights[name] = answer.placement.poses.position[0, 2]
        fades[name] = answer
        assert answer.expected.even == pytest.approx(answer.after.even, rel=0.03)
        solved = answer.after.evenness
        assert answer.expected.off_by == pytest.approx(solved.off_by, rel=0.03)
        assert answer.after.even <= 1.02 * answer.bound.percent
    # The rod's own middle, but for the way the board faces. Along a rod light falls off as
    # exp(-k r), k^2 = mu_a / D + (2.405 / (R + z_e))^2, 1 / k = 4.6 mm here.
    assert heights["even"] == pytest.approx(30, abs=6)
    z, places = np.linspace(0, 60, 601), np.arange(5, 55, 0.1)
    glow, fade = np.exp(-np.abs(z - places[:, None]) / 4.6), 20.0 ** (-z / 60)
    even, flame = (
        places[int(np.argmin([off_by(row / wanted, np.ones(601)) for row in glow]))]
        for wanted in (np.ones(601), fade)
    )
    assert heights["even"] - heights["flame"] == pytest.approx(even - flame, abs=1.5)
    # Patches and faces have the mean that is wanted of them: 1, and a foot 20 times the tip.
    responses = fades["flame"].placer.responses
    area = responses.area_mm2[responses.glow]
    level = responses.wanted[responses.glow]
    assert area @ level / area.sum() == pytest.approx(1.0, rel=1e-9)
    faces = responses.wanted_faces
    assert faces.max() / faces.min() == pytest.approx(20, rel=0.1)
    np.testing.assert_array_equal(fades["even"].placer.responses.wanted, 1.0)
