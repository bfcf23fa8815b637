"""Which faces of a body darken toward their edge, and which are matt."""

from __future__ import annotations

import numpy as np

from glowsim.findings.luminance import looks_of
from glowsim.optics.emission import MATT, square_on
from glowsim.scene import Room, parse_scene
from glowsim.transport.solve import solve

SCENE = """
[[bodies]]
name = "gem"
material = "milky_resin_light"
shape = { kind = "rod", length_mm = 30, diameter_mm = 24 }
  [[bodies.masks]]
  coat = "copy_paper"
  where = { part = "side" }
  [[bodies.lights]]
  board = "round_7"
  position_mm = [0, 0, 12]

[[bodies]]
name = "stick"
material = "wood_dowel"
shape = { kind = "rod", length_mm = 30, diameter_mm = 8 }
position_mm = [0, 0, -40]
"""


def test_bare_faces_have_an_index_and_others_are_matt():
    glow = solve(parse_scene(SCENE))
    gem, stick = glow.bodies
    side = gem.surface.part == gem.surface.part_names.index("side")
    np.testing.assert_array_equal(gem.face_index[side], MATT)
    assert set(gem.face_index[~side]) == {1.53}
    np.testing.assert_array_equal(stick.face_index, MATT)
    # Findings take each face as it looks from in front; its exitance is the solver's.
    (look,) = looks_of(glow, Room())
    flux = glow.flux_lm(glow.copies[0])
    mean = np.einsum("lb,lbk->k", flux, gem.diffuse + gem.direct) * 1e6 / np.pi
    scattered = np.einsum("lb,lbk->k", flux, gem.diffuse) * 1e6 / np.pi
    np.testing.assert_allclose(look.luminance_cd_m2[side], mean[side], rtol=1e-6)
    more = (square_on(1.53) - 1) * scattered[~side]
    np.testing.assert_allclose(look.luminance_cd_m2[~side] - mean[~side], more, rtol=1e-4)
