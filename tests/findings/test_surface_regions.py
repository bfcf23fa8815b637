"""What `check` says of masks and named regions, and of doubts."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh
from PIL import Image

from glowsim.errors import SceneError
from glowsim.findings.inspection import inspect
from glowsim.scene import parse_scene
from glowsim.transport.plan import plan_of

ROD = """
[[bodies]]
name = "rod"
material = "pla_white"
shape = { kind = "rod", length_mm = 50, diameter_mm = 20 }
dark_where = { part = "base" }
glow_where = { part = "side" }
  [[bodies.masks]]
  name = "foot"
  coat = "opaque_primer"
  where = { part = "base" }
  [[bodies.masks]]
  coat = "opaque_primer"
  where = { centre_mm = [10, 0, 25], radius_mm = 1.5 }
  [[bodies.lights]]
  board = "rgb_5050_18ma"
  position_mm = [0, 0, 25]
"""


def test_areas_of_masks_and_regions():
    (check,) = inspect(plan_of(parse_scene(ROD)))
    found = {region.name: region for region in check.regions}
    assert list(found) == ["foot", "mask 2", "glow_where", "dark_where"]
    whole = 2 * np.pi * 100 + np.pi * 20 * 50
    for name, area in (("foot", 100 * np.pi), ("glow_where", 1000 * np.pi)):
        assert found[name].area_mm2 == pytest.approx(area, rel=0.01)  # a many-sided rod
        assert found[name].share == pytest.approx(area / whole, rel=0.01)
    assert found["dark_where"].area_mm2 == found["foot"].area_mm2
    (doubt,) = [text for text in check.suspicious if "covers only" in text]
    assert doubt.startswith("mask 2 covers only ")


BALL = """
[[bodies]]
name = "ball"
material = "pla_white"
shape = { kind = "orb", diameter_mm = 40 }
detail_mm = {detail}
  [[bodies.masks]]
  coat = "opaque_primer"
  where = { below_mm = -11.3 }
  [[bodies.masks]]
  coat = "black_paint"
  where = { above_mm = -3.1, below_mm = 7.7, centre_mm = [0, -20, 2], radius_mm = 15 }
"""


def test_a_mask_has_the_area_of_its_region_whatever_the_mesh():
    """Archimedes: a zone of a ball has the area of its height on the cylinder around it."""
    found = []
    for detail in ("2.0", "5.0"):
        (check,) = inspect(plan_of(parse_scene(BALL.replace("{detail}", detail))))
        found.append([region.area_mm2 for region in check.regions])
    assert found[0][0] == pytest.approx(40 * np.pi * (20 - 11.3), rel=2e-3)  # a many-sided ball
    assert found[1] == pytest.approx(found[0], rel=1e-3)


FACE = """
[[bodies]]
name = "ball"
material = "pla_white"
shape = { kind = "orb", diameter_mm = 40 }
dark_where = { picture = { file = "eye.png", width_mm = 12, middle_mm = [0, 0, 5] } }
  [[bodies.masks]]
  name = "eye"
  coat = "black_paint"
  where = { picture = { file = "eye.png", width_mm = 12, middle_mm = [0, 0, 5] } }
"""


def test_a_picture_is_a_region_like_any_other(tmp_path):
    eye = tmp_path / "eye.png"
    Image.new("L", (60, 40), 0).save(eye)

    def plan(text=FACE):
        return plan_of(parse_scene(text, folder=tmp_path))

    (check,) = inspect(plan())
    areas = {region.name: region.area_mm2 for region in check.regions}
    assert areas["eye"] == areas["dark_where"] == pytest.approx(12 * 8 * 1.06, rel=0.03)
    assert not any("covers only" in text for text in check.suspicious)
    (small,) = inspect(plan(FACE.replace("= 12,", "= 1.2,")))
    assert [text.split(",")[0] for text in small.suspicious if "covers" in text] == [
        "eye covers only 0.99 mm2",
        "dark_where covers only 0.99 mm2",
    ]
    with pytest.raises(
        SceneError, match=r"line 6: bodies\[0\].dark_where: its picture covers no f"
    ):
        inspect(plan(FACE.replace("= [0, 0, 5]", "= [90, 0, 5]", 1)))
    key = plan().keys[0]
    Image.new("L", (60, 40), 9).save(eye)
    assert plan().keys[0] != key
    eye.unlink()
    with pytest.raises(SceneError, match=r"masks\[0\].where.picture.file: there is no picture"):
        inspect(plan())


def test_a_unit_in_doubt_is_asked(tmp_path):
    trimesh.creation.icosphere(radius=6).export(tmp_path / "bead.stl")
    text = '[[bodies]]\nname = "bead"\nmaterial = "pla_white"\nmesh = { file = "bead.stl" }\n'
    (check,) = inspect(plan_of(parse_scene(text, folder=tmp_path)))
    asked = [text for text in check.suspicious if "which?" in text]
    assert asked == [
        "bead.stl: carries no unit; its largest size is 12 mm if mm, 120 mm if cm, 305 mm if in: "
        "which? mm is taken; say mesh.units to settle it"
    ]
    assert not any("bead.stl" in note for note in check.notes)


@pytest.mark.parametrize("aslant", [True, False])
def test_a_group_that_ends_in_teeth_is_told(tmp_path, aslant):
    """Of a ball of rings a cap ends along one of them; drawn aslant it ends in teeth."""
    ball = trimesh.creation.uv_sphere(radius=20, count=[24, 48])
    height = ball.vertices[:, 2] + (0.4 * ball.vertices[:, 0] if aslant else 0.0)
    cap = height[ball.faces].min(axis=1) > 3.0
    lines = [f"v {x} {y} {z}" for x, y, z in ball.vertices]
    for name, faces in (("cap", ball.faces[cap]), ("rest", ball.faces[~cap])):
        lines += [f"o {name}", *(f"f {a + 1} {b + 1} {c + 1}" for a, b, c in faces)]
    (tmp_path / "ball.obj").write_text("\n".join(lines))
    text = (
        '[[bodies]]\nname = "ball"\nmaterial = "pla_white"\n'
        'mesh = { file = "ball.obj", units = "mm" }\ndark_where = { part = "cap" }\n'
    )
    (check,) = inspect(plan_of(parse_scene(text, folder=tmp_path)))
    told = [note for note in check.notes if "ends in teeth of" in note]
    assert len(told) == aslant
