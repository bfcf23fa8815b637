"""What a body is to light: thickness and depth in transport lengths."""

from __future__ import annotations

import json

import pytest

from glowsim.geometry.shapes import shape_mesh
from glowsim.scene import Orb
from glowsim.transport.likeness import Likeness, likeness_of
from tests.support.bodies import body, emitters, medium, shell

BALL = shape_mesh(Orb(kind="orb", diameter_mm=60))
FOAM = medium([0.002, 0.003, 0.02], [0.5, 0.6, 0.8])


def test_a_solid_is_as_thick_as_its_mean_half_chord():
    """2 V / S of a sphere is 2 R / 3; the red band has the longest transport length."""
    lights = emitters([[0.0, 0.0, 0.0], [0.0, 0.0, 18.0]])
    found = likeness_of(body(BALL, [FOAM], lights, cell_mm=4, face_mm=8))
    assert found.thickness == pytest.approx(20 * 0.502, rel=0.01)
    assert found.depth == pytest.approx(12 * 0.502, rel=0.02)
    assert found.absorption == pytest.approx(0.02 / 0.8)
    assert not found.hollow
    assert found.materials == ("test",)
    assert Likeness.from_json(json.loads(json.dumps(found.as_json()))) == found


def test_lights_in_air_have_no_depth():
    problem = shell(BALL, FOAM, 3.0, emitters([[0, 0, 0]], region=1), cell_mm=2, face_mm=8)
    assert likeness_of(problem).depth == 0


def test_what_is_no_likeness_is_refused():
    with pytest.raises(KeyError):
        Likeness.from_json({"materials": []})
