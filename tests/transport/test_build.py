"""From a scene to a problem: bodies, media, coats, what glows."""

import re

import numpy as np
import pytest
from numpy.testing import assert_allclose

from glowsim.errors import GlowsimError, MaterialError, SceneError
from glowsim.geometry.regions import ROOM
from glowsim.scene import parse_scene
from glowsim.transport import build
from glowsim.transport.build import Shapes, body_problem, build_problem
from glowsim.transport.plan import plan_of
from glowsim.transport.problem import BANDS, BARE, Kind
from tests.support.meshes import block
from tests.support.scenes import ORB, SPIKE_WITH_LIGHT


def problem_of(text, folder=None):
    return build_problem(parse_scene(text, "prop.toml", folder))


def body_of(text):
    (body,) = problem_of(text).bodies
    return body


def fault_of_build(text, folder=None):
    with pytest.raises(SceneError) as caught:
        problem_of(text, folder)
    return str(caught.value)


ROD = """\
[[bodies]]
name = "rod"
material = "upholstery_foam_white"
shape = { kind = "rod", length_mm = 60, diameter_mm = 40 }
detail_mm = 6
"""
LIGHT = '[[bodies.lights]]\nboard = "rgb_5050_18ma"\nposition_mm = [0, 0, 20]\n'
MASK = '[[bodies.masks]]\ncoat = "black_paint"\nwhere = { part = "base" }\n'
POCKET = """\
[[bodies.inserts]]
kind = "pocket"
shape = { kind = "rod", length_mm = 15, diameter_mm = 16 }
"""
CORE = """\
[[bodies.inserts]]
kind = "core"
coat = "wood_dowel"
shape = { kind = "rod", length_mm = 60, diameter_mm = 8 }
"""


def area(body, chosen):
    return body.walls.areas_mm2[chosen].sum()


def test_a_solid_body():
    body = body_of(ROD + LIGHT)
    (medium,) = body.media
    assert medium.kind == Kind.SCATTERS
    assert medium.mu_s_reduced_per_mm.shape == (len(BANDS),)
    assert (body.outside == ROOM).all()
    assert (body.inside == 0).all()
    assert (body.coat == BARE).all()
    assert body.glows.all()
    assert body.part_names == ("base", "side", "top")
    assert_allclose(area(body, body.part == 0), np.pi * 400, rtol=1e-6)  # swollen to the disc
    assert body.scatters
    assert body.wall_mm is None


def test_a_body_without_lights_does_not_glow():
    body = body_of(ROD)
    assert not body.glows.any()
    assert body.emitters.light_count == 0
    assert body.emitters.position.shape == (0, 3)


def test_painted_faces_do_not_glow():
    body = body_of(ROD + LIGHT + MASK)
    base = body.part == 0
    assert (body.coat == np.where(base, 0, BARE)).all()
    assert (body.glows == ~base).all()
    assert_allclose(body.layers[0].reflectance, 0.05, rtol=1e-12)  # the catalogue's black
    assert_allclose(body.whiteness[base], 0.05, rtol=1e-12)  # nothing comes through it


def test_a_thin_coat_glows():
    body = body_of(ROD + LIGHT + MASK.replace("black_paint", "copy_paper"))
    assert body.glows.all()
    assert_allclose(body.layers[0].transmittance, [0.18, 0.17, 0.15], rtol=1e-12)


def test_the_later_mask_wins_and_coats_are_listed_once():
    more = '[[bodies.masks]]\ncoat = "copy_paper"\nwhere = { facing = [0, 0, 1] }\n'
    body = body_of(ROD + LIGHT + MASK + more + MASK.replace('"base"', '"top"'))
    assert [layer.name for layer in body.layers] == ["black_paint", "copy_paper"]
    assert (body.coat[body.part == 2] == 0).all()


def test_glow_where():
    scene = ROD + "glow_where = { above_mm = 30 }\n" + LIGHT
    body = body_of(scene)
    assert (body.glows == (body.walls.centroids[:, 2] > 30)).all()


def test_a_pocket_open_at_the_base_is_a_hole_that_does_not_glow():
    body = body_of(ROD + LIGHT.replace("20]", "5]") + POCKET)
    hole = (body.inside == 1) & (body.outside == ROOM)
    assert_allclose(area(body, hole), np.pi * 64, rtol=1e-4)
    assert not body.glows[hole].any()
    assert body.glows[(body.inside == 0) & (body.outside == ROOM)].all()
    assert body.media[1].kind == Kind.AIR
    assert (body.emitters.region == 1).all()


def test_paint_over_a_pocket_closes_it():
    body = body_of(ROD + LIGHT.replace("20]", "5]") + POCKET + MASK)
    hole = (body.inside == 1) & (body.outside == ROOM)
    assert (body.coat[hole] == 0).all()


def test_a_core_is_opaque():
    body = body_of(ROD + LIGHT.replace("[0, 0, 20]", "[10, 0, 20]") + CORE)
    assert body.media[1].kind == Kind.OPAQUE
    assert body.media[1].reflectance is not None
    seen = (body.inside == 1) & (body.outside == ROOM)
    assert_allclose(area(body, seen), 2 * np.pi * 16, rtol=1e-4)  # both ends of the dowel
    assert not body.glows[seen].any()
    assert_allclose(
        body.whiteness[seen], np.broadcast_to(body.media[1].reflectance, (seen.sum(), 3))
    )


def test_a_sleeve_has_its_own_material():
    sleeve = POCKET.replace('"pocket"', '"sleeve"\nmaterial = "silicone_translucent"')
    body = body_of(ROD + LIGHT + sleeve)
    assert [medium.name for medium in body.media] == [
        "upholstery_foam_white",
        "silicone_translucent",
    ]
    assert body.glows[body.outside == ROOM].all()


def test_a_shell():
    body = body_of(ROD + "wall_mm = 3\n" + LIGHT)
    assert [medium.kind for medium in body.media] == [Kind.SCATTERS, Kind.AIR]
    assert body.wall_mm == 3
    assert (body.emitters.region == 1).all()
    inner = (body.inside == 0) & (body.outside == 1)
    assert_allclose(area(body, inner), np.pi * 34 * 54 + 2 * np.pi * 17**2, rtol=0.01)
    assert not body.glows[inner].any()
    assert (body.whiteness[inner] == 0).all()


def test_walls_between_air_and_air_are_left_out():
    pocket = POCKET.replace("[[bodies.inserts]]", "[[bodies.inserts]]\nposition_mm = [0, 0, -5]")
    body = body_of(ROD + "wall_mm = 3\n" + LIGHT + pocket)
    kinds = np.array([medium.kind for medium in body.media])
    within = body.outside != ROOM
    assert not ((kinds[body.inside] == Kind.AIR) & (kinds[body.outside] == Kind.AIR))[within].any()


LANTERN = ROD.replace("upholstery_foam_white", "copy_paper")


def test_a_lantern_of_sheet_is_air_within_a_coat():
    body = body_of(LANTERN + LIGHT)
    assert [medium.kind for medium in body.media] == [Kind.AIR]
    assert [layer.name for layer in body.layers] == ["copy_paper"]
    assert (body.coat == 0).all()
    assert body.glows.all()
    assert not body.scatters
    assert body.cell_mm > 0


def test_a_hole_in_a_lantern():
    hole = POCKET.replace("[[bodies.inserts]]", "[[bodies.inserts]]\nposition_mm = [0, 0, 50]")
    body = body_of(LANTERN + LIGHT + hole)
    seen = (body.inside == 1) & (body.outside == ROOM)
    assert_allclose(area(body, seen), np.pi * 64, rtol=1e-4)
    assert (body.coat[seen] == BARE).all()
    assert not body.glows[seen].any()


def test_a_piece_that_is_only_seen():
    body = body_of(ROD.replace("upholstery_foam_white", "black_plastic_pipe"))
    assert [medium.kind for medium in body.media] == [Kind.OPAQUE]
    assert not body.glows.any()
    assert_allclose(
        body.whiteness, np.broadcast_to(body.media[0].reflectance, body.whiteness.shape)
    )


@pytest.mark.parametrize(
    ("material", "low", "high"),
    [
        # Orders only: what is known of them is that foam and opal look white, resin does not.
        ("upholstery_foam_white", 0.6, 1.0),
        ("upholstery_foam_charcoal", 0.0, 0.3),
        ("epoxy_clear", 0.0, 0.3),
    ],
)
def test_how_white_a_body_looks(material, low, high):
    body = body_of(ROD.replace("upholstery_foam_white", material))
    assert body.whiteness.shape == (len(body.inside), 3)
    assert (body.whiteness >= low).all()
    assert (body.whiteness <= high).all()


def test_a_perfect_mirror_over_a_perfect_body_is_no_more_than_white():
    own = (
        "[coats.perfect]\nreflectance = 1.0\ntransmittance = 0.0\n"
        "[coats.under]\nreflectance = 1.0\ntransmittance = 0.0\n"
    )
    text = (
        own + ROD.replace("upholstery_foam_white", "under") + MASK.replace("black_paint", "perfect")
    )
    whiteness = body_of(text).whiteness
    assert np.isfinite(whiteness).all()
    assert whiteness.max() <= 1


TWINS = {
    "name": ('name = "rod"', 'name = "other"'),
    "place": ("detail_mm = 6", "detail_mm = 6\nposition_mm = [100, 0, 0]"),
    "turn": ("detail_mm = 6", "detail_mm = 6\nrotation_deg = [0, 90, 0]"),
    "drive": ("position_mm = [0, 0, 20]", "position_mm = [0, 0, 20]\ndrive = { red = 0.5 }"),
    "zone": ("position_mm = [0, 0, 20]", 'position_mm = [0, 0, 20]\nzone = "left"'),
    "name of the light": ("position_mm = [0, 0, 20]", 'position_mm = [0, 0, 20]\nname = "eye"'),
    "current": ("position_mm = [0, 0, 20]", "position_mm = [0, 0, 20]\nchannel_current_ma = 5"),
    "name of the mask": ('coat = "black_paint"', 'coat = "black_paint"\nname = "foot"'),
    "name of the insert": ('coat = "wood_dowel"', 'coat = "wood_dowel"\nname = "stick"'),
}


@pytest.mark.parametrize(("old", "new"), TWINS.values(), ids=TWINS)
def test_bodies_that_answer_light_alike_are_one(old, new):
    one = ROD + LIGHT + MASK + CORE.replace("length_mm = 60", "length_mm = 10")
    assert old in one
    two = one.replace(old, new)
    if 'name = "rod"' in two:
        two = two.replace('name = "rod"', 'name = "second"')
    problem = problem_of(one + two)
    assert len(problem.bodies) == 1
    assert [copy.body for copy in problem.copies] == [0, 0]
    assert len(problem.lights) == 2


STRANGERS = {
    "material": ("upholstery_foam_white", "upholstery_foam_cream"),
    "size": ("diameter_mm = 40", "diameter_mm = 41"),
    "wall": ("detail_mm = 6", "detail_mm = 6\nwall_mm = 3"),
    "light's place": ("[0, 0, 20]", "[0, 0, 21]"),
    "light's direction": ("[0, 0, 20]", "[0, 0, 20]\ndirection = [1, 0, 0]"),
    "board": ("rgb_5050_18ma", "white_1w_warm"),
    "coat": ("black_paint", "copy_paper"),
    "mask's place": ('part = "base"', 'part = "top"'),
    "separate LEDs": ("[0, 0, 20]", "[0, 0, 20]\nseparate_leds = true"),
    "glow_where": ("detail_mm = 6", "detail_mm = 6\nglow_where = { above_mm = 3 }"),
    "cells": ("detail_mm = 6", "detail_mm = 6\ncell_mm = 3"),
}


@pytest.mark.parametrize(("old", "new"), STRANGERS.values(), ids=STRANGERS)
def test_bodies_that_differ_are_two(old, new):
    one = ROD + LIGHT + MASK
    two = one.replace(old, new).replace('name = "rod"', 'name = "other"')
    problem = problem_of(one + two)
    assert len(problem.bodies) == 2
    assert problem.bodies[0].key != problem.bodies[1].key


def test_a_material_of_ones_own_is_another_one():
    own = '[materials.mine]\nlike = "upholstery_foam_white"\nmu_a_per_mm = 0.5\n'
    other = ROD.replace("upholstery_foam_white", "mine").replace('name = "rod"', 'name = "other"')
    assert len(problem_of(own + ROD + other).bodies) == 2


def test_one_mesh_file_under_two_names_is_one_body(tmp_path):
    for name in ("a.stl", "b.stl"):
        block((20, 20, 20)).export(tmp_path / name)
    text = "".join(
        f'[[bodies]]\nname = "{name}"\nmaterial = "pla_white"\n'
        f'mesh = {{ file = "{name}.stl", units = "mm" }}\n'
        for name in "ab"
    )
    assert len(problem_of(text, tmp_path).bodies) == 1
    block((20, 20, 22)).export(tmp_path / "b.stl")
    assert len(problem_of(text, tmp_path).bodies) == 2


FAULTS = {
    "an unknown material": (
        ROD.replace("upholstery_foam_white", "upholstery_foam_wite"),
        "line 3: bodies[0].material: there is no material 'upholstery_foam_wite'; "
        "did you mean 'upholstery_foam_white'?",
    ),
    "an unknown coat": (
        ROD + MASK.replace("black_paint", "blak_paint"),
        "line 7: bodies[0].masks[0].coat: there is no coat 'blak_paint'; "
        "did you mean 'black_paint'?",
    ),
    "an unknown board": (
        ROD + LIGHT.replace("rgb_5050_18ma", "round7"),
        "line 7: bodies[0].lights[0].board: there is no board 'round7'; did you mean 'round_7'?",
    ),
    "an unknown surface of a core": (
        ROD + CORE.replace("wood_dowel", "wood_dowl"),
        "line 8: bodies[0].inserts[0].coat: there is no coat 'wood_dowl'; "
        "did you mean 'wood_dowel'?",
    ),
    "a board that is cut": (
        ROD + LIGHT + "led_count = 3\n",
        "line 9: bodies[0].lights[0].led_count: only a strip can be cut; "
        "'rgb_5050_18ma' always has 1 LEDs",
    ),
    "a wall of sheet": (
        LANTERN + "wall_mm = 1\n",
        "line 6: bodies[0].wall_mm: 'copy_paper' is a thin sheet with its own thickness; "
        "leave wall_mm out",
    ),
    "an unknown part": (
        ROD + MASK.replace('"base"', '"tip"'),
        "line 8: bodies[0].masks[0].where: this body has no part 'tip' (parts: base, side, top)",
    ),
    "a mask beside the body": (
        ROD + MASK.replace('part = "base"', "above_mm = 61"),
        "line 8: bodies[0].masks[0].where: covers no face of the body, which reaches from "
        "z = 0 to 60 mm",
    ),
    "a glow beside the body": (
        ROD + "glow_where = { below_mm = -1 }\n" + LIGHT,
        "line 6: bodies[0].glow_where: covers no face of the body, which reaches from "
        "z = 0 to 60 mm",
    ),
    "a light within a core": (
        ROD + LIGHT + CORE,
        "line 8: bodies[0].lights[0].position_mm: an LED at (0.0, 0.0, 20.1) mm lies inside the "
        "opaque 'wood_dowel', from where no light gets out; move it clear of the core",
    ),
    "a board along its own direction": (
        ROD + LIGHT + "direction = [0, 1, 0]\nalong = [0, 3, 0]\n",
        "line 10: bodies[0].lights[0].along: points the way the board faces; "
        "a board runs across that",
    ),
    "faces too fine": (
        ROD.replace("detail_mm = 6", "detail_mm = 0.05"),
        "line 5: bodies[0].detail_mm: 0.05 mm is too fine for a body of this size; "
        "give at least 0.35 mm, or leave it out",
    ),
    "cells too fine": (
        ROD + "cell_mm = 0.05\n",
        "line 6: bodies[0].cell_mm: 0.05 mm is too fine for a body of this size; "
        "give at least 0.34 mm, or leave it out",
    ),
}


@pytest.mark.parametrize(("text", "message"), FAULTS.values(), ids=FAULTS)
def test_faults_name_the_place(text, message):
    assert fault_of_build(text) == f"prop.toml, {message}"


def test_a_light_outside_is_named_with_the_nearest_place():
    fault = fault_of_build(ROD + LIGHT.replace("[0, 0, 20]", "[0, 0, 70]"))
    # The LED shines from 0.05 mm in front of the place of its board.
    assert re.match(
        r"prop\.toml, line 8: bodies\[0\]\.lights\[0\]\.position_mm: an LED at "
        r"\(0\.0, 0\.0, 70\.[01]\) mm lies 10\.[01] mm outside the body 'rod'; the nearest point "
        r"of its surface is \(0\.0, 0\.0, 60\.0\) mm",
        fault,
    )


def test_all_unknown_names_of_a_body_are_told_at_once():
    text = (
        ROD.replace("upholstery_foam_white", "foam")
        + LIGHT.replace("rgb_5050_18ma", "led")
        + MASK.replace("black_paint", "paint")
        + CORE.replace("wood_dowel", "wood")
    )
    lines = fault_of_build(text).splitlines()
    assert [line.split(":")[1].strip() for line in lines] == [
        "bodies[0].material",
        "bodies[0].inserts[0].coat",
        "bodies[0].masks[0].coat",
        "bodies[0].lights[0].board",
    ]


def test_a_wrong_entry_of_ones_own():
    with pytest.raises(MaterialError, match=r"prop\.toml, line 2: materials\.mine\.mu_a_per_mm"):
        problem_of("[materials.mine]\nmu_a_per_mm = -1\n" + ROD)


def test_names_are_checked_before_any_shaping():
    told = []
    scene = parse_scene(ORB + ROD.replace("upholstery_foam_white", "foam"))
    with pytest.raises(GlowsimError, match="no material 'foam'"):
        build_problem(scene, told.append)
    assert told == []
    build_problem(parse_scene(ORB), told.append)
    assert told == ["shaping orb"]


def test_notes_of_meshes_reach_the_user(tmp_path):
    block((20, 20, 20)).export(tmp_path / "a.stl")
    text = '[[bodies]]\nname = "a"\nmaterial = "pla_white"\nmesh = { file = "a.stl" }\n'
    problem = problem_of(text, tmp_path)
    assert problem.notes == (
        'a.stl: STL carries no unit; mm assumed (say units = "mm" to confirm)',
    )
    assert problem.title == "prop"
    assert problem_of('title = "Staff"\n' + SPIKE_WITH_LIGHT).title == "Staff"


def test_key_tells_what_a_board_throws_back_and_its_size():
    def key(*lines):
        own = "\n".join(['[boards.mine]\nlike = "round_7"', *lines])
        text = (
            f'{own}\n[[bodies]]\nname = "b"\nmaterial = "pla_white"\n'
            'shape = { kind = "orb", diameter_mm = 60 }\n'
            '[[bodies.lights]]\nboard = "mine"\nposition_mm = [0, 0, 0]\n'
        )
        return plan_of(parse_scene(text)).keys[0]

    assert key() == key('mask = "white"') == key('label = "another"')
    others = ['mask = "black"', "back_reflectance = 0.5", "thickness_mm = 2", "diameter_mm = 25"]
    assert len({key(), *map(key, others)}) == 5


def test_boards_of_the_scene_are_the_boards_of_the_problem():
    text = (
        '[[bodies]]\nname = "b"\nmaterial = "pla_white"\n'
        'shape = { kind = "orb", diameter_mm = 80 }\n'
        '[[bodies.lights]]\nboard = "ring_12"\nposition_mm = [0, 0, 5]\ndirection = [1, 0, 0]\n'
    )
    (board,) = body_problem(plan_of(parse_scene(text)), 0).boards
    assert (board.name, board.shape.thickness_mm) == ("ring_12", 3.2)
    # Half a millimetre behind the middle of its ring of LEDs there is board, in its hole none.
    places = np.array([[-0.5, 0.0, 5 + 15.05], [-0.5, 0.0, 5.0]])
    assert board.shape.covers(board.shape.local(places)).tolist() == [True, False]


def test_room_for_boards_is_looked_at_once_for_an_arrangement(monkeypatch):
    looked = []
    monkeypatch.setattr(build, "misfits", lambda problem: looked.append(problem.key) or ())
    plan, shapes = plan_of(parse_scene(SPIKE_WITH_LIGHT)), Shapes()
    for _ in range(3):
        body_problem(plan, 0, shapes)
    body_problem(plan, 0, shapes, fitted=False)
    assert looked == [plan.keys[0]]
