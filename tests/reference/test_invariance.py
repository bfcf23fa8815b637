"""What must not matter to the reference solver: place, turn, scale, how a body is cut up, and
which of two places is the source and which the detector."""

from __future__ import annotations

import numpy as np
import pytest

from glowsim.geometry.mesh import Mesh
from glowsim.geometry.patterns import placed
from glowsim.geometry.shapes import shape_mesh
from glowsim.scene import Orb, Rod, Spike
from glowsim.transport.problem import BodyProblem, Emitters
from tests.support.bodies import body, emitters, medium
from tests.support.monte_carlo import Share, absorbed, follow, leaving

SPIKE = shape_mesh(Spike(kind="spike", length_mm=60, base_diameter_mm=26, tip_radius_mm=2))
FOAM = medium(0.004, 0.5, 0.6, 1.3)
PLACE = np.array([1.0, -2.0, 10.0])


def spike(mesh: Mesh, place, along, **more) -> BodyProblem:
    lights = emitters([place], direction=along)
    return body(mesh, [FOAM], lights, cell_mm=2.0, face_mm=3.0, **more)


def bands(problem: BodyProblem, height: np.ndarray, seed: int, photons=60_000) -> list[Share]:
    """Return the mean exitance at four heights, each under a tent 15 mm to either side, so that it
    hardly matters how the surface is cut into faces."""
    tallies = follow(problem, photons, seed=seed, jumps=False)
    area = problem.walls.areas_mm2[problem.skin]
    found = []
    for middle in (8, 16, 24, 36):
        tent = np.maximum(0, 1 - np.abs(height - middle) / 15)
        share = leaving(tallies, slice(None), weight=tent)
        whole = float((area * tent).sum())
        found.append(Share(share.mean / whole, share.error / whole))
    return found


def heights(problem: BodyProblem) -> np.ndarray:
    return problem.walls.centroids[problem.skin][:, 2]


@pytest.fixture(scope="module")
def standard() -> list[Share]:
    problem = spike(SPIKE, PLACE, (0.0, 0.0, 1.0))
    return bands(problem, heights(problem), 1, 200_000)


def agree(found: list[Share], standard: list[Share]) -> None:
    # Of sixteen comparisons none should be more than 3.5 standard errors out. Faces of 3 mm
    # under a tent of 15 mm are worth 0.3 %.
    pairs = list(zip(found, standard, strict=True))
    assert max(one.off(other, digits=0.003 * other.mean) for one, other in pairs) < 3.5


def test_moving_and_turning(standard):
    away = placed((137.3, -41.7, 8.9), (31, 57, 12))
    place = away[:3, :3] @ PLACE + away[:3, 3]
    problem = spike(SPIKE.moved(away), place, away[:3, 2])
    back = np.linalg.inv(away)
    height = (problem.walls.centroids[problem.skin] @ back[:3, :3].T + back[:3, 3])[:, 2]
    agree(bands(problem, height, 2), standard)


def test_scaling_lengths_and_coefficients(standard):
    scale = 2.5
    lights = emitters([PLACE * scale])
    problem = body(
        SPIKE.moved(np.diag([scale, scale, scale, 1.0])),
        [medium(0.004 / scale, 0.5 / scale, 0.6, 1.3)],
        lights, cell_mm=5.0, face_mm=3.0 * scale,
    )  # fmt: skip
    found = bands(problem, heights(problem) / scale, 3)
    agree([Share(f.mean * scale**2, f.error * scale**2) for f in found], standard)


def test_cutting_into_touching_parts_of_one_material(standard):
    """No index step, no leak: a plug of the same material is not there to light."""
    plug = shape_mesh(Rod(kind="rod", length_mm=30, diameter_mm=14)).moved(
        placed((0, 0, 4), (0, 0, 0))
    )
    lights = emitters([PLACE], region=1)
    problem = body(SPIKE, [FOAM, FOAM], lights, inserts=[plug], cell_mm=2.0, face_mm=3.0)
    tallies = follow(problem, 20_000)
    assert tallies.events[0, 2] == 0
    agree(bands(problem, heights(problem), 4), standard)


def test_light_adds_up(standard):
    """Two LEDs of one light give the mean of what they give alone."""
    places = np.array([PLACE, [0.0, 3.0, 25.0]])
    lights = emitters(places)
    one = Emitters(
        places, lights.direction, lights.exponent, np.zeros(2, np.int64), np.full(2, 0.5),
        lights.region,
    )  # fmt: skip
    together = body(SPIKE, [FOAM], one, cell_mm=2.0, face_mm=3.0)
    height = heights(together)
    alone = bands(spike(SPIKE, places[1], (0.0, 0.0, 1.0)), height, 5)
    means = [
        Share((a.mean + b.mean) / 2, float(np.hypot(a.error, b.error) / 2))
        for a, b in zip(standard, alone, strict=True)
    ]
    agree(bands(together, height, 6), means)


@pytest.mark.parametrize("jumps", [False, True])
def test_swapping_source_and_detector(jumps):
    """Reciprocity: what a small ball at one place absorbs of an isotropic light at another is what
    it absorbs there of light from here (textbook; the index is the same at both)."""
    places = np.array([[2.0, 1.0, 8.0], [-1.0, 2.0, 26.0]])
    dot = Orb(kind="orb", diameter_mm=6)
    inserts = [shape_mesh(dot).moved(placed(tuple(p), (0, 0, 0))) for p in places]
    found = []
    for source in (0, 1):
        lights = emitters([places[source]], both_ways=True, region=source + 1)
        problem = body(SPIKE, [FOAM, FOAM, FOAM], lights, inserts=inserts, cell_mm=2.0, face_mm=6.0)
        found.append(absorbed(problem, 2 - source, 120_000, jumps=jumps))
    assert found[0].mean > 0
    assert found[0].agrees(found[1])
