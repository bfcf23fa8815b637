"""No photon is ever lost through a seam: demo meshes, slivers, touching bodies, flat neighbours.

Lost photons are counted and reported; fewer than one in a million may be."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from glowsim.geometry.mesh import Mesh
from glowsim.geometry.patterns import placed
from glowsim.geometry.shapes import shape_mesh
from glowsim.scene import Crystal, Orb, Rod, Slab, Spike, read_scene
from glowsim.transport.build import build_problem
from glowsim.transport.problem import AIR, BodyProblem
from glowsim.transport.reference import Goal, solve_body
from tests.support.bodies import body, emitters, medium, opaque
from tests.support.monte_carlo import follow

SCENES = sorted((Path(__file__).parents[2] / "scenes").glob("*.toml"))
GLASSY = medium(0.001, 0.3, 0.3, 1.5)
"""Scatters little and mirrors much: most flights end at a wall."""


def box(x: float, y: float, z: float, low: float = 0.0) -> Mesh:
    shape = Slab(kind="slab", length_mm=x, width_mm=y, thickness_mm=z)
    return shape_mesh(shape).moved(placed((0, 0, low), (0, 0, 0)))


def slivers() -> BodyProblem:
    """A needle of a crystal, thousands of times longer than the chords of its faces are wide."""
    needle = shape_mesh(Crystal(kind="crystal", length_mm=60, width_mm=6, sides=24, point_mm=0.05))
    rod = shape_mesh(Rod(kind="rod", length_mm=80, diameter_mm=0.8)).moved(
        placed((0.4, 0.3, -10), (0, 0, 0))
    )
    lights = emitters([[1.5, 0.0, 30.0]])
    return body(needle, [GLASSY, opaque(0.9)], lights, inserts=[rod], cell_mm=1.0, face_mm=50.0)


def touching() -> BodyProblem:
    """Two blocks that share a face, of one index, and a pocket flush with their top."""
    inserts = [box(20, 20, 5, 5), box(6, 6, 3, 7)]
    lights = emitters([[1.0, 2.0, 2.0]])
    same = medium(0.001, 0.3, 0.3, 1.5)
    return body(
        box(20, 20, 10), [GLASSY, same, AIR], lights, inserts=inserts, cell_mm=1.0, face_mm=4.0
    )


def flat_neighbours() -> BodyProblem:
    """Thousands of faces in the six planes of a cube, and edges that flights run along."""
    lights = emitters([[0.0, 0.0, 5.0], [0.0, 0.0, 0.5]], direction=(1.0, 1.0, 0.0))
    return body(box(10, 10, 10), [GLASSY], lights, cell_mm=1.0, face_mm=0.4)


def thin_gap() -> BodyProblem:
    """An air gap of a hundredth of a millimetre between a sleeve and what it holds."""
    lights = emitters([[0.0, 0.0, 5.0]], region=2)
    inserts = [box(8.02, 8.02, 8.02, 0.99), box(8, 8, 8, 1.0)]
    return body(
        box(12, 12, 10), [GLASSY, AIR, GLASSY], lights, inserts=inserts, cell_mm=1.0, face_mm=3.0
    )


def far_from_the_origin() -> BodyProblem:
    """Coordinates of metres, where they are rounded more coarsely."""
    away = placed((3000.0, -2000.0, 1500.0), (31, 57, 12))
    spike = Spike(kind="spike", length_mm=60, base_diameter_mm=24, tip_radius_mm=1)
    place = away[:3, :3] @ [0, 0, 8] + away[:3, 3]
    return body(
        shape_mesh(spike).moved(away), [GLASSY], emitters([place]), cell_mm=1.0, face_mm=2.0
    )


HARD = [slivers, touching, flat_neighbours, thin_gap, far_from_the_origin]


def check(problem: BodyProblem, photons: int) -> int:
    """Follow photons; return how many steps were taken."""
    tallies = follow(problem, photons)
    lost = tallies.events[:, 2].sum()
    steps = int(tallies.events[:, :2].sum())
    print(f"{tallies.photons.sum()} photons, {steps:.2e} steps, {lost} lost")
    assert lost <= 1e-6 * tallies.photons.sum()
    assert abs(tallies.balance()).max() < 1e-9
    return steps


@pytest.mark.parametrize("make", HARD)
def test_hard_bodies(make):
    check(make(), 10_000)


@pytest.mark.slow
@pytest.mark.parametrize("make", HARD)
def test_hard_bodies_for_long(make):
    """1e8 steps over these five and the demo scenes."""
    problem = make()
    steps = check(problem, 10_000)
    photons = follow(problem, 10_000).photons.sum() / problem.emitters.light_count
    check(problem, int(photons * 1.4e7 / steps))


@pytest.mark.slow
@pytest.mark.parametrize("path", SCENES, ids=lambda path: path.stem)
def test_demo_scenes(path):
    for problem in build_problem(read_scene(path)).bodies:
        lights = problem.emitters.light_count
        if lights:
            check(problem, 60_000 // lights)


def test_lost_photons_are_told():
    """A hole torn in the mesh lets light out of the grid: it is counted and a caution given."""
    ball = shape_mesh(Orb(kind="orb", diameter_mm=20))
    whole = body(ball, [medium(0.01, 0.2)], emitters([[0.0, 0.0, 0.0]]), cell_mm=1.0, face_mm=3.0)
    keep = np.arange(len(whole.walls.faces)) % 50 > 0

    torn = replace(
        whole,
        walls=Mesh.single_part(whole.walls.vertices, whole.walls.faces[keep]),
        inside=whole.inside[keep], outside=whole.outside[keep], coat=whole.coat[keep],
        glows=whole.glows[keep], part=whole.part[keep], whiteness=whole.whiteness[keep],
    )  # fmt: skip

    glow, tallies = solve_body(torn, goal=Goal(noise=None, photons=5000))
    assert tallies.events[0, 2] / tallies.photons[0] == pytest.approx(0.02, abs=0.01)
    assert abs(tallies.balance()).max() < 1e-9
    assert any("slipped through seams" in caution for caution in glow.trust)
