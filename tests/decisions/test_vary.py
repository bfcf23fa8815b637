"""What each quantity makes of a body, against geometry known in closed form."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import trimesh

from glowsim.decisions.alike import body_number
from glowsim.decisions.vary import checked_materials, lit_body, variation_of
from glowsim.errors import MaterialError, SceneError
from glowsim.geometry.body import solid_of
from glowsim.geometry.hollow import depth_mm
from glowsim.geometry.where import region_on
from glowsim.scene import Picture, parse_scene, read_scene, write_scene
from glowsim.transport.plan import plan_of
from tests.support.meshes import held_on
from tests.support.shells import bowl
from tests.support.sweeps import orb, spike

SHAPES = {
    "spike": '{ kind = "spike", length_mm = 60, base_diameter_mm = 30, tip_radius_mm = 2 }',
    "orb": '{ kind = "orb", diameter_mm = 40 }',
    "rod": '{ kind = "rod", length_mm = 60, diameter_mm = 30 }',
    "slab": '{ kind = "slab", length_mm = 60, width_mm = 50, thickness_mm = 30 }',
    "dome": '{ kind = "dome", diameter_mm = 60, height_mm = 30 }',
    "crystal": '{ kind = "crystal", length_mm = 60, width_mm = 30 }',
    "blade": '{ kind = "blade", length_mm = 90, width_mm = 40, thickness_mm = 20 }',
}


def outer(scene_file):
    return solid_of(scene_file, 0).outer


def lit(shape: str, board: str = "rgb_5050_5ma"):
    return parse_scene(
        f"""
[[bodies]]
name = "body"
material = "upholstery_foam_white"
shape = {shape}
  [[bodies.lights]]
  board = "{board}"
  position_mm = [0, 0, 10]
"""
    )


@pytest.mark.parametrize("kind", SHAPES)
@pytest.mark.parametrize("layer", [2.0, 8.0])
def test_a_layer_is_as_thick_as_it_says(kind, layer):
    """Every side but the flat base moves out by the layer; points and edges by less, since a
    sketch shape has no rounder one, and a blade's edges by about half."""
    before = outer(lit(SHAPES[kind]))
    after = outer(variation_of(lit(SHAPES[kind]), vary="around").at(layer))
    clear_of_base = -99 if kind == "orb" else layer + 1
    moved = depth_mm(after, before.centroids[before.centroids[:, 2] > clear_of_base])
    assert np.median(moved) == pytest.approx(layer, rel=0.08 if kind == "blade" else 0.02)
    assert moved.min() > (0.5 if kind == "blade" else 0.7) * layer
    assert moved.max() < (1.1 if kind == "blade" else 1.02) * layer + 0.1
    if kind != "orb":
        assert after.bounds[0, 2] == pytest.approx(before.bounds[0, 2])


def test_a_layer_round_a_ball_and_a_spike_is_exact():
    """The parallel surface of a ball is a ball; that of a cone with a round tip another such."""
    ball = variation_of(lit(SHAPES["orb"])).at(7).scene.bodies[0].shape
    assert ball.diameter_mm == pytest.approx(54)
    spike_mesh = outer(lit(SHAPES["spike"]))
    grown = outer(variation_of(lit(SHAPES["spike"])).at(7))
    sides = spike_mesh.centroids[spike_mesh.centroids[:, 2] > 8]
    np.testing.assert_allclose(depth_mm(grown, sides), 7, rtol=0.01)


def test_a_mesh_grows_all_over(tmp_path):
    trimesh.creation.box((20, 20, 30)).export(tmp_path / "box.stl")
    scene = parse_scene(
        """
[[bodies]]
name = "box"
material = "upholstery_foam_white"
mesh = { file = "box.stl", units = "mm" }
  [[bodies.lights]]
  board = "rgb_5050_5ma"
  position_mm = [0, 0, 0]
""",
        folder=tmp_path,
    )
    around = variation_of(scene)
    assert around.vary == "around"
    np.testing.assert_allclose(outer(around.at(3)).size_mm, [26, 26, 36], rtol=1e-3)
    assert "grow_mm = 3" in around.edit(3)
    size = variation_of(scene, vary="size")
    assert size.now_mm == pytest.approx(30)
    np.testing.assert_allclose(outer(size.at(45)).size_mm, [30, 30, 45], rtol=1e-3)


@pytest.mark.parametrize("kind", SHAPES)
def test_size_keeps_proportions_and_lights(kind):
    scene = lit(SHAPES[kind])
    variation = variation_of(scene, vary="size")
    larger = variation.at(1.5 * variation.now_mm)
    np.testing.assert_allclose(outer(larger).size_mm, 1.5 * outer(scene).size_mm, rtol=0.01)
    assert larger.scene.bodies[0].lights == scene.scene.bodies[0].lights


def test_depth_is_measured_along_the_way_the_light_faces():
    variation = variation_of(spike(), vary="depth")
    assert variation.now_mm == pytest.approx(48, abs=0.01)
    moved = variation.at(40).scene.bodies[0].lights[0]
    assert moved.position_mm == pytest.approx((0, 0, 20), abs=0.01)
    assert "position_mm = [0, 0, 20]" in variation.edit(40)


def test_the_wall_is_the_wall():
    variation = variation_of(orb())
    assert (variation.vary, variation.now_mm) == ("wall", 2.0)
    assert variation.at(3.5).scene.bodies[0].wall_mm == 3.5
    assert variation.edit(3.5) == "wall_mm = 3.5"


def test_defaults_and_words_follow_the_body():
    assert variation_of(spike()).vary == "around"
    assert "not below its base" in variation_of(spike()).varied
    assert "hollowed out" in variation_of(spike(), vary="wall").varied
    sheet = variation_of(spike(material='"copy_paper"'))
    assert sheet.vary == "depth"


def test_a_printed_shell_says_that_both_its_skins_grow(tmp_path):
    cup = bowl(radius=20.0, wall=2.0, fine=24)
    trimesh.Trimesh(cup.vertices, cup.faces).export(tmp_path / "bowl.stl")
    text = """
[[bodies]]
name = "bowl"
material = "pla_white"
mesh = { file = "bowl.stl", units = "mm" }
  [[bodies.lights]]
  board = "rgb_5050_5ma"
  position_mm = [0, 0, -9]
"""
    scene = parse_scene(text, folder=tmp_path)
    variation = variation_of(scene)
    assert "both skins of the printed wall" in variation.varied
    assert variation.said(0.5) == "a layer of 0.5 mm on both skins"
    grown = solid_of(variation.at(0.5), 0)
    assert grown.wall_mm == pytest.approx(3.0, abs=0.05)
    with pytest.raises(SceneError, match="'bowl' has its wall from its print file; vary around"):
        variation_of(scene, vary="wall")


def test_a_variant_can_be_written_and_read_back(tmp_path):
    for vary, value in (("around", 4.0), ("size", 80.0), ("depth", 30.0), ("wall", 3.0)):
        variant = variation_of(spike(), vary=vary).at(value, "eva_foam_white").scene
        write_scene(variant, tmp_path / f"{vary}.toml")
        assert read_scene(tmp_path / f"{vary}.toml").scene == variant


def test_other_bodies_stay_as_they_are():
    scene = spike()
    varied = variation_of(scene).at(5.0, "eva_foam_white").scene
    assert varied.bodies[1] == scene.scene.bodies[1]
    assert varied.bodies[0].material == "eva_foam_white"


@pytest.mark.parametrize(
    ("ask", "said"),
    [
        (lambda: lit_body(spike(), "spyke"), "no body 'spyke'; did you mean 'spike'?"),
        (lambda: lit_body(spike(), "stand"), "line 16: bodies[1]: 'stand' has no light"),
        (
            lambda: variation_of(spike(material='"copy_paper"'), vary="wall"),
            "'copy_paper' is a thin sheet with its own thickness",
        ),
        (lambda: variation_of(spike(), vary="depth").at(70), "outside the body 'spike'"),
        (lambda: variation_of(orb()).at(0.01), "wall_mm"),
        (lambda: variation_of(orb(), vary="size").at(0.0), "cannot be made"),
        (
            lambda: lit_body(orb(drive="{ red = 0, green = 0, blue = 0, white = 0 }"), "orb"),
            "lights[0].drive: all lights of 'orb' are turned off",
        ),
    ],
)
def test_what_cannot_be_varied_says_why(ask, said):
    with pytest.raises(SceneError) as fault:
        ask()
    assert said in str(fault.value)
    assert "\n" not in str(fault.value)


def test_two_lit_bodies_need_a_name():
    scene = parse_scene(
        "\n".join(
            f"""
[[bodies]]
name = "{name}"
material = "upholstery_foam_white"
shape = {{ kind = "orb", diameter_mm = 40 }}
  [[bodies.lights]]
  board = "rgb_5050_5ma"
  position_mm = [0, 0, 0]
"""
            for name in ("left", "right")
        )
    )
    with pytest.raises(SceneError, match='which body\\? --body "left" or --body "right"'):
        lit_body(scene, None)


def test_a_copy_names_its_body_to_every_search():
    scene = parse_scene(
        """
[[bodies]]
name = "heart"
material = "upholstery_foam_white"
shape = { kind = "orb", diameter_mm = 30 }
[[bodies]]
name = "spike"
material = "upholstery_foam_white"
shape = { kind = "orb", diameter_mm = 40 }
  [[bodies.lights]]
  board = "rgb_5050_5ma"
  position_mm = [0, 0, 0]
  [[bodies.patterns]]
  kind = "along"
  count = 3
  step_mm = [60, 0, 0]
"""
    )
    for name in ("spike", "spike 3"):
        assert lit_body(scene, name) == body_number(plan_of(scene), name) == 1
    for search in (lit_body, lambda scene, name: body_number(plan_of(scene), name)):
        with pytest.raises(SceneError, match="no body 'spike 4'; did you mean 'spike 3'"):
            search(scene, "spike 4")


def test_materials_are_of_one_kind():
    variation = variation_of(spike())
    assert checked_materials(variation, ()) == ("upholstery_foam_white",)
    twice = ("eva_foam_white", "eva_foam_white")
    assert checked_materials(variation, twice) == ("eva_foam_white",)
    with pytest.raises(MaterialError, match="did you mean 'eva_foam_white'"):
        checked_materials(variation, ("eva_foam_wite",))
    with pytest.raises(MaterialError, match="it has no thickness to vary"):
        checked_materials(variation, ("copy_paper",))


PRINT = """
[[bodies]]
name = "bud"
shape = { kind = "orb", diameter_mm = 40 }
material = "pla_white"
infill = { share = %s, skin_mm = 2 }
  [[bodies.lights]]
  board = "rgb_5050_5ma"
  position_mm = [0, 0, 10]
"""


def test_a_sparse_prints_wall_is_its_skin():
    scene = parse_scene(PRINT % 0.2)
    varied = variation_of(scene)
    assert (varied.vary, varied.quantity, varied.now_mm) == ("wall", "skin", 2)
    assert varied.said(3) == "a skin of 3 mm"
    assert varied.edit(3) == "infill = { share = 0.2, skin_mm = 3 }"
    after = varied.at(3)
    core = solid_of(after, 0).core
    assert core is not None
    assert core.volume_mm3 == pytest.approx(4 / 3 * np.pi * 17**3, rel=0.01)
    np.testing.assert_array_equal(outer(after).triangles, outer(scene).triangles)
    with pytest.raises(SceneError, match=r"line 6: bodies\[0\]\.infill: 'bud' prints solid"):
        variation_of(parse_scene(PRINT % 1), vary="wall")
    with pytest.raises(SceneError, match=r"bodies\[0\]\.infill\.skin_mm: .* cannot be made"):
        varied.at(0.0)


MASKED = """\
  [[bodies.masks]]
  coat = "black_paint"
  where = { below_mm = -12, centre_mm = [0, 0, -20], radius_mm = 15 }
  [[bodies.masks]]
  coat = "black_paint"
  where = { line_mm = [[20, 0, 0], [0, 20, 0]], line_width_mm = 2 }
"""


def test_masks_keep_their_share_of_a_body_of_other_size():
    text = (
        '[[bodies]]\nname = "moon"\nmaterial = "pla_white"\nwall_mm = 2\n'
        'shape = { kind = "orb", diameter_mm = 40 }\nglow_where = { above_mm = -15 }\n'
        'wanted = { fade = "up", to = 0.5, from_mm = -10 }\n'
        '[[bodies.lights]]\nboard = "rgb_5050_18ma"\nposition_mm = [0, 0, 0]\n' + MASKED
    )
    scene = parse_scene(text)
    variation = variation_of(scene, vary="size")
    larger = variation.at(60)
    body, new = scene.scene.bodies[0], larger.scene.bodies[0]
    shares = []
    for one, file in ((body, scene), (new, larger)):
        mesh = outer(file)
        cut, held = held_on(mesh, region_on(mesh, one.masks[0].where, Path()))
        shares.append(cut.areas_mm2[held].sum() / cut.areas_mm2.sum())
    assert shares[1] == pytest.approx(shares[0], rel=2e-3)
    assert new.masks[1].where.line_mm == ((30, 0, 0), (0, 30, 0))
    assert new.masks[1].where.line_width_mm == 2
    assert (new.glow_where.above_mm, new.wanted.from_mm, new.wanted.to_mm) == (-22.5, -15, None)
    assert "above_mm = -22.5" in variation.edit(60)
    picture = Picture(file="eye.png", width_mm=20, middle_mm=(0, -20, 4)).scaled(1.5)
    assert (picture.width_mm, picture.height_mm, picture.middle_mm) == (30, None, (0, -30, 6))
