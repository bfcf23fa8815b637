"""Light that falls back into open hollows, against the integrating cavity and the reference."""

from __future__ import annotations

from dataclasses import replace

import manifold3d
import numpy as np
import pytest
import trimesh

from glowsim.decisions import crossing
from glowsim.decisions.sweep import solve_scenes
from glowsim.findings.luminance import looks_of
from glowsim.findings.report import findings_of
from glowsim.geometry.mesh import from_manifold
from glowsim.pictures.shade import shading_of
from glowsim.pictures.stage import stage_of
from glowsim.scene import read_scene
from glowsim.transport import quick, reference
from glowsim.transport.build import body_problem
from glowsim.transport.exchange import crossings, exchange_lm_mm2, with_hollows
from glowsim.transport.hollows import Entering
from glowsim.transport.plan import plan_of
from glowsim.transport.problem import AIR
from glowsim.transport.quick import arrangement
from glowsim.transport.result import SurfaceGlow
from glowsim.transport.solve import solve
from glowsim.transport.sure import made_sure
from tests.physics.test_bowl import lit_bowl
from tests.pictures.glows import body_glow, glow_of, moved, scene_with
from tests.support import shells, solvers
from tests.support.bodies import body, emitters, medium, opaque
from tests.support.slabs import SLABS
from tests.transport.test_air import DARK, disc

WHITE = 0.85
BOWL_AND_PLATE = """
[[bodies]]
name = "bowl"
mesh = { file = "bowl.stl", units = "mm" }
material = "milky_resin_light"
detail_mm = 8
cell_mm = 2
  [[bodies.lights]]
  board = "rgb_5050_18ma"
  position_mm = [0, 0, -6]
  direction = [0, 0, -1]
[[bodies]]
name = "plate"
shape = { kind = "slab", length_mm = 40, width_mm = 40, thickness_mm = 3 }
material = "white_plastic_pipe"
detail_mm = 10
  [[bodies.patterns]]
  kind = "places"
  places = [{ position_mm = [0, 0, 6] }]
"""


def never(key: str) -> Entering:
    raise AssertionError("too little light to be worth a solve")


def before_a_plate(bowl, apart_mm, radius_mm=None) -> SurfaceGlow:
    """A bowl with an LED in it and a white plate some way off, as large as its mouth."""
    radius_mm = radius_mm or float(np.sqrt(bowl.surface.areas_mm2[bowl.hole].sum() / np.pi))
    plate = body_glow(disc(radius_mm, 0.0, up=False), whiteness=WHITE, glows=False)
    glow = glow_of([bowl, plate], [(0, moved(0, 0, 0)), (1, moved(0, 0, apart_mm))])
    return replace(glow, copies=(glow.copies[0], replace(glow.copies[1], lights=())))


@pytest.fixture(scope="module")
def opaque_bowl():
    problem = lit_bowl(opaque(0.9), 40.0, 2.0, 2.0, 12.0, fine=32)
    return problem, replace(quick.solve_body(problem), key="bowl")


BACK = 0.9 / 2 / (1 - 0.9 / 2)
"""R f / (1 - R (1 - f)) with f = 1/2, what a bowl sends back out of its mouth (the integrating
sphere equation, textbook): from half a sphere, too, light falls evenly on the other half."""


@pytest.mark.parametrize("solver", [quick, reference])
def test_light_thrown_into_a_bowl(opaque_bowl, solver):
    problem, bowl = opaque_bowl
    few = {"photons": 5000} if solver is reference else {}
    entering = solver.entering_of(problem, **few)
    area = bowl.surface.areas_mm2 * bowl.hole
    assert (entering.lid >= 0).tolist() == bowl.hole.tolist()
    np.testing.assert_allclose(entering.out[:, 1] @ area, BACK, rtol=0.015)


def test_light_goes_to_and_fro_between_a_bowl_and_a_plate(opaque_bowl):
    """M (1 + rho B + (rho B)^2 ...) falls on a plate close before the mouth, M being what the
    bowl lets out and B what it sends back. Past the rims 0.5 % of it is lost each time."""
    problem, bowl = opaque_bowl
    glow = with_hollows(before_a_plate(bowl, 0.1), lambda key: quick.entering_of(problem))
    (found,) = crossings(glow, glow.air)
    area = bowl.surface.areas_mm2 * bowl.hole
    out = float(area @ glow.exitance_lm_mm2(glow.copies[0])[1])
    exact = WHITE * out / (1 - WHITE * BACK)
    assert float(area @ found.arriving[: len(area), 1]) == pytest.approx(exact, rel=0.03)
    assert float(area @ found.let_out[: len(area), 1]) == pytest.approx(BACK * exact, rel=0.03)


def test_what_is_too_little_to_count_is_not_solved(opaque_bowl):
    _, bowl = opaque_bowl
    far = before_a_plate(bowl, 600.0)
    assert all(body.entering is None for body in with_hollows(far, never).bodies)
    known = replace(bowl, entering=Entering(np.where(bowl.hole, 0, -1), np.zeros((1, 3, 1))))
    assert with_hollows(far.alike(bodies=(known, far.bodies[1])), never).bodies[0].entering is None
    shut = replace(bowl, hole=np.zeros_like(bowl.hole))
    with_hollows(glow_of([shut, far.bodies[1]]), never)


def leaky_shell() -> SurfaceGlow:
    """A ring of foam that glows round an opening, over a white plate: half of what falls into the
    opening comes out of the foam again."""
    shell = body_glow(disc(30.0, 20.0, up=False), 1000.0, index=1.0)
    hole = np.linalg.norm(shell.surface.centroids[:, :2], axis=1) < 20
    index = np.where(hole, 0.0, shell.face_index)
    shell = replace(shell, hole=hole, glows=~hole, index=index, key="shell")
    plate = body_glow(disc(60.0, 0.0, up=True), whiteness=0.8, glows=False)
    glow = glow_of([shell, plate])
    glow = replace(glow, copies=(glow.copies[0], replace(glow.copies[1], lights=())))
    out = np.where(hole, 0.0, 0.5 / shell.surface.areas_mm2[~hole].sum())
    even = Entering(np.where(hole, 0, -1), np.tile(out, (1, 3, 1)).astype(np.float32))
    return with_hollows(glow, lambda key: even)


def test_light_from_a_hollow_counts_in_findings_as_in_pictures():
    glow = leaky_shell()
    shell, hole = glow.bodies[0], glow.bodies[0].hole
    (look,) = looks_of(glow, DARK)
    (own,) = looks_of(glow, DARK, across=False)
    area = shell.surface.areas_mm2
    assert look.fallen_share > 0.02
    # Half of what falls in comes out, by the law of what the shell lets out itself.
    out = glow.exitance_lm_mm2(glow.copies[0])[1]
    wall = area * ~hole
    added = float(wall @ look.across_cd_m2 / (wall @ own.luminance_cd_m2))
    fallen = look.fallen_share * float(area @ out) / float(wall @ out)
    assert added == pytest.approx(fallen / 2, rel=1e-3)
    notes = findings_of(glow, scene_with()).notes
    assert any("what comes out again counts" in note for note in notes)
    shading = shading_of(glow, stage_of(glow), DARK)
    corners = shading.across[shading.stage.corner[: len(area)], 1].mean(axis=1)
    assert area @ corners == pytest.approx(area @ look.across_cd_m2, rel=0.02)


def test_placing_counts_it_as_findings_do(monkeypatch):
    """But for the faces of other bodies, which it gathers: in 15 parts instead of 6 the 6 % that
    costs here become 1.5 %."""
    monkeypatch.setattr(crossing, "PARTS", 15)
    glow = leaky_shell()
    (found,) = crossings(glow, glow.air)
    shell, faces = glow.bodies[0], len(glow.bodies[0].glows)
    area = shell.surface.areas_mm2
    patch = np.where(shell.glows, 0, -1)
    known = crossing.crossing_of(glow, "shell", patch, np.array([area[shell.glows].sum()]))
    assert known is not None
    out = glow.exitance_lm_mm2(glow.copies[0])
    flux = (out @ (area * shell.glows)).reshape(1, 3, 1)
    comes_out = area @ (found.sent_back + found.let_out)[:faces]
    assert known.sent_back(flux)[0, 1, 0] == pytest.approx(comes_out[1], rel=0.02)
    added = exchange_lm_mm2(glow)
    assert added is not None
    np.testing.assert_allclose(known.on_faces(out, 0 * out), added[0][1], rtol=1e-6)


def test_a_swept_scene_has_it_as_a_scene_solved_alone(tmp_path, monkeypatch):
    monkeypatch.setattr(arrangement, "ENTERING_RAYS", arrangement.MOST_SHARING)
    mesh = shells.bowl(20.0, 3.0, 24)
    trimesh.Trimesh(mesh.vertices, mesh.faces).export(tmp_path / "bowl.stl")
    (tmp_path / "bowl.toml").write_text(BOWL_AND_PLATE)
    scene = read_scene(tmp_path / "bowl.toml")
    kept: list[str] = []
    alone = solve(scene, saved=tmp_path / "glow.npz")
    again = solve(scene, saved=tmp_path / "glow.npz", report=kept.append)
    (swept,) = solve_scenes([scene], labels=["bowl"], folder=tmp_path / "kept")
    known = alone.bodies[0].entering
    assert known is not None
    assert kept == []
    for other in (again, swept):
        entering = other.bodies[0].entering
        assert entering is not None
        np.testing.assert_array_equal(entering.out, known.out)


def test_what_enters_a_body_made_sure_is_the_references(tmp_path, monkeypatch):
    monkeypatch.setattr(reference, "ENTERING_PHOTONS", 500)
    mesh = shells.bowl(20.0, 3.0, 16)
    trimesh.Trimesh(mesh.vertices, mesh.faces).export(tmp_path / "bowl.stl")
    (tmp_path / "bowl.toml").write_text(BOWL_AND_PLATE)
    scene, file = read_scene(tmp_path / "bowl.toml"), tmp_path / "reference.npz"
    found = solve(scene)
    by_quick = found.bodies[0].entering
    rough = found.alike(bodies=(replace(found.bodies[0], trust=("rough",)), *found.bodies[1:]))
    few, told = reference.Goal(noise=None, photons=1), list[str]()
    sure = made_sure(plan_of(scene), rough, few, saved=file)
    again = made_sure(plan_of(scene), rough, few, saved=file, report=told.append)
    assert told == []
    own = reference.entering_of(body_problem(plan_of(scene), 0))
    for glow in (sure, again):
        np.testing.assert_array_equal(glow.bodies[0].entering.out, own.out)
    assert (own.out != by_quick.out).any()


@pytest.mark.slow
def test_a_painted_wall_before_an_open_shell():
    """All in one box of air by the reference: what the wall takes, over what the shell alone lets
    out of its mouth. Without what falls back it is 11 % less."""
    mu_a, mu_s, g, n, wall, *_ = SLABS["S3"]
    material, radius, apart = medium(mu_a, mu_s * (1 - g), g, n), 10 * wall, 3 * wall
    box = from_manifold(manifold3d.Manifold.cube((6 * radius,) * 3, True))
    plate = manifold3d.Manifold.cylinder(wall, radius, radius, 48).translate((0, 0, apart))
    inserts = [shells.bowl(radius, wall, 48), from_manifold(plate)]
    lights = emitters([[0, 0, -0.01]], direction=(0, 0, -1))
    together = body(
        box, [AIR, material, opaque(WHITE)], lights, inserts=inserts, cell_mm=wall, face_mm=2 * wall
    )
    problem = lit_bowl(material, radius, wall, wall / 2, 2 * wall, fine=48)
    mouth = problem.inside[problem.skin] == 1
    alone, taken = (solvers.reference(p, 40_000, jumps=True) for p in (problem, together))
    truth = taken.stays_in(2).mean / alone.leaves(mouth).mean

    bowl = replace(quick.solve_body(problem), key="bowl")
    glow = before_a_plate(bowl, apart, radius)
    glow = with_hollows(glow, lambda key: quick.entering_of(problem))
    (found,) = crossings(glow, glow.air)
    areas = glow.faces.areas_mm2
    out = float(areas[: len(mouth)][mouth] @ glow.exitance_lm_mm2(glow.copies[0])[1, mouth])
    got = (1 - WHITE) * float(areas[len(mouth) :] @ found.arriving[len(mouth) :, 1]) / out
    error = np.hypot(taken.stays_in(2).error / taken.stays_in(2).mean, 0.005)
    assert got == pytest.approx(truth, rel=0.01 + 3 * error)
