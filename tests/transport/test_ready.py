"""A prop kept ready answers as a fresh solve does, and does again only what a change asks for."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor

import numpy as np
import pytest

from glowsim.scene import parse_scene
from glowsim.transport import prepared
from glowsim.transport.plan import plan_of
from glowsim.transport.prepared import PreparedProp
from glowsim.transport.problem import Emitters
from glowsim.transport.quick import DRAFT, FULL, QuickBody
from glowsim.transport.solve import solve
from tests.support.bodies import body, emitters, medium
from tests.support.meshes import ball, mesh_of

SCENE = """
[[bodies]]
name = "bud"
shape = {{ kind = "orb", diameter_mm = 30 }}
material = "cloud"
cell_mm = {cell}
detail_mm = {detail}
{more}
[[bodies.lights]]
board = "rgb_5050_5ma"
position_mm = [{x}, 0, 0]
drive = {{ red = {red} }}
[materials.cloud]
mu_a_per_mm = {mu_a}
mu_s_reduced_per_mm = 1.0
refractive_index = 1.0
g = 0.6
"""


def plan(x: float = 0.0, **keys):
    known = {"cell": 2.5, "detail": 4.0, "more": "", "red": 1.0, "mu_a": 0.01} | keys
    return plan_of(parse_scene(SCENE.format(x=x, **known)))


@pytest.fixture
def counted(monkeypatch):
    """How often each costly part is made."""
    times = {"surfaces_of": 0, "lattice_of": 0, "QuickBody": 0, "solve_body": 0}

    def counting(name, real):
        def call(*given):
            times[name] += 1
            return real(*given)

        return call

    for name in times:
        monkeypatch.setattr(prepared, name, counting(name, getattr(prepared, name)))
    return times


CHANGES = {
    "nothing": ({}, 0, 0, 0, 0),
    "level": ({"red": 0.5}, 0, 0, 0, 0),
    "place": ({"x": 4.0}, 0, 0, 0, 1),
    "absorption": ({"mu_a": 0.02}, 0, 0, 1, 1),
    "cells": ({"cell": 3.0}, 0, 1, 1, 1),
    "faces": ({"detail": 1.2}, 1, 1, 1, 1),
    "paint": (
        {"more": '[[bodies.masks]]\ncoat = "opaque_primer"\nwhere = { below_mm = -9 }\n'},
        *(1, 1, 1, 1),
    ),
}


@pytest.mark.parametrize("change", CHANGES)
def test_a_change_does_again_what_hangs_on_it_and_answers_as_a_fresh_solve(change, counted):
    keys, surfaces, lattices, bodies, solves = CHANGES[change]
    prop = PreparedProp()
    prop.glow(plan())
    before = dict(counted)
    glow = prop.glow(plan(**keys))
    made = [counted[name] - before[name] for name in counted]
    assert made == [surfaces, lattices, bodies, solves]
    fresh = solve(plan(**keys).scene_file)
    np.testing.assert_array_equal(glow.bodies[0].diffuse, fresh.bodies[0].diffuse)
    np.testing.assert_array_equal(glow.lights[0].drive, fresh.lights[0].drive)


def test_a_scene_changed_in_memory_changes_the_answer():
    file = plan().scene_file
    other = {"cloud": file.scene.materials["cloud"] | {"mu_a_per_mm": 0.05}}
    changed = plan_of(type(file)(file.scene.model_copy(update={"materials": other}), file.toml,
                                 file.folder))  # fmt: skip
    assert changed.keys != plan().keys
    prop = PreparedProp()
    dim, bright = prop.glow(changed), prop.glow(plan())
    assert dim.bodies[0].diffuse.sum() < 0.8 * bright.bodies[0].diffuse.sum()


def test_what_cannot_be_solved_is_said_again_and_spoils_nothing():
    prop = PreparedProp()
    for _ in range(2):
        with pytest.raises(Exception, match="outside the body"):
            prop.glow(plan(x=40.0))
    assert prop.glow(plan()).bodies[0].diffuse.any()


def problem(places):
    return body(
        mesh_of(ball(12, 3)), [medium([0.005, 0.01, 0.02], 1.0)], emitters(places),
        cell_mm=2.0, face_mm=4.0,
    )  # fmt: skip


def test_four_callers_at_once_get_what_one_gets():
    places = [[3, 1, -2], [0, 0, 0], [-5, 2, 4], [0, 6, -6]]
    quick = QuickBody(problem(places))

    def asked(light: int, quality):
        lamp = quick.problem.emitters
        one = Emitters(*(getattr(lamp, name)[[light]] for name in lamp.__dataclass_fields__))
        return quick.respond(one.of(light), quality=quality).diffuse

    for quality in (FULL, DRAFT):
        alone = [asked(k, quality) for k in range(4)]
        with ThreadPoolExecutor(4) as pool:
            together = list(pool.map(lambda k, q=quality: asked(k % 4, q), range(12)))
        for k, answer in enumerate(together):
            np.testing.assert_array_equal(answer, alone[k % 4])


def test_a_draft_is_near_the_full_answer():
    quick = QuickBody(problem([[3, 1, -2]]))
    lamp = quick.problem.emitters
    full, draft = quick.respond(lamp).diffuse, quick.respond(lamp, quality=DRAFT).diffuse
    area = quick.problem.walls.areas_mm2[quick.problem.skin]
    bright = full / area > 0.01 * (full.sum(axis=2) / area.sum())[..., None]
    ratio = draft[bright] / full[bright] - 1
    assert np.sqrt((ratio**2).mean()) < 0.01
    assert np.abs(ratio).max() < 0.05


SHELL = """
[[bodies]]
name = "lamp"
shape = {{ kind = "orb", diameter_mm = 40 }}
material = "cloud"
wall_mm = 3
[[bodies.lights]]
board = "rgb_5050_5ma"
position_mm = [{x}, 0, -6]
[materials.cloud]
mu_a_per_mm = 0.005
mu_s_reduced_per_mm = 2.0
refractive_index = 1.4
g = 0.6
"""


@pytest.mark.slow
def test_a_draft_of_a_shell_follows_the_last_full_answer():
    """Light that runs along the wall is left out of the draft, and taken from the full answer."""
    prop = PreparedProp()
    here, there = (plan_of(parse_scene(SHELL.format(x=x))) for x in (0.0, 4.0))
    full = prop.glow(there).bodies[0]
    draft = prop.glow(there, quality=DRAFT, near=here).bodies[0]
    same = prop.glow(here, quality=DRAFT, near=here).bodies[0]
    np.testing.assert_allclose(same.diffuse, prop.glow(here).bodies[0].diffuse, rtol=1e-5)
    np.testing.assert_array_equal(draft.light_mm, full.light_mm)
    area = full.surface.areas_mm2
    ratio = draft.diffuse / full.diffuse - 1
    assert np.sqrt((ratio**2 @ area / area.sum()).max()) < 0.1
    assert np.abs((draft.diffuse @ area) / (full.diffuse @ area) - 1).max() < 0.02


IN_A_HOLLOW = SHELL.replace("40", "60").replace("rgb_5050_5ma", "ring_12")


@pytest.mark.slow
def test_a_draft_of_a_shell_has_the_shadow_of_a_board_in_its_hollow():
    """A ring of LEDs as wide as two thirds of the hollow, moved far: 17 % off without."""
    prop = PreparedProp()
    text = IN_A_HOLLOW.replace("[{x}, 0, -6]", "[0, 0, {z}]")
    here, there = (plan_of(parse_scene(text.format(z=z))) for z in (-12.0, 0.0))
    prop.glow(here)
    prop.ready(here)
    full = prop.glow(there).bodies[0]
    draft = prop.glow(there, quality=DRAFT, near=here).bodies[0]
    area = full.surface.areas_mm2
    ratio = draft.diffuse / full.diffuse - 1
    assert np.sqrt((ratio**2 @ area / area.sum()).max()) < 0.13
    assert np.abs((draft.diffuse @ area) / (full.diffuse @ area) - 1).max() < 0.015
