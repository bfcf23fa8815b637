"""What must not matter: where a body stands, how it is turned, how fine the grid is, its scale,
how it is cut into parts, which of two places is the source. And what must hold always: light adds
up, and none is lost."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from glowsim.geometry.mesh import Mesh
from glowsim.geometry.patterns import placed
from glowsim.geometry.shapes import shape_mesh
from glowsim.scene import Crystal, Orb, Rod, Slab, Spike
from glowsim.transport.problem import AIR, BodyProblem, Emitters
from tests.support.bodies import body, emitters, medium, opaque
from tests.support.monte_carlo import Share, mean_of
from tests.support.solvers import Leaving, Solve, quick

FOAM = medium(0.004, 0.5, 0.6, 1.3)
SPIKE = shape_mesh(Spike(kind="spike", length_mm=60, base_diameter_mm=26, tip_radius_mm=2))
PLACE = np.array([1.0, -2.0, 10.0])
PHOTONS = 30_000


def spike(
    mesh: Mesh = SPIKE, lights: Emitters | None = None, *, cell_mm: float = 1.4
) -> BodyProblem:
    return body(mesh, [FOAM], lights or emitters([PLACE]), cell_mm=cell_mm, face_mm=3.0)


def bands(leaving: Leaving, height: np.ndarray | None = None, *, light: int = 0) -> list[Share]:
    """Return the mean exitance at four heights, each under a tent 15 mm to either side, so that it
    hardly matters how the surface is cut into faces."""
    height = leaving.centroids[:, 2] if height is None else height
    tents = [np.maximum(0, 1 - np.abs(height - middle) / 15) for middle in (8, 16, 24, 36)]
    return [leaving.exitance(tent, light=light) for tent in tents]


def agree(found: list[Share], standard: list[Share], within: float = 0.02) -> bool:
    # Faces of 3 mm under a tent of 15 mm are worth 0.3 %.
    return all(
        one.agrees(other, digits=0.003 * other.mean, within=within)
        for one, other in zip(found, standard, strict=True)
    )


@pytest.fixture(scope="module")
def standard(solve: Solve) -> list[Share]:
    return bands(solve(spike(), 120_000))


@pytest.mark.parametrize(
    ("move", "turn"),
    [((137.3, -41.7, 8.9), (31, 57, 12)), ((5, 5, 5), (90, 0, 45))],
)
def test_moving_and_turning_changes_nothing(solve, standard, move, turn):
    away = placed(move, turn)
    place = away[:3, :3] @ PLACE + away[:3, 3]
    leaving = solve(
        spike(SPIKE.moved(away), emitters([place], direction=away[:3, 2])), PHOTONS, seed=2
    )
    back = np.linalg.inv(away)
    height = (leaving.centroids @ back[:3, :3].T + back[:3, 3])[:, 2]
    assert agree(bands(leaving, height), standard)


def test_halving_the_cells_changes_little():
    """Quick alone: the reference has no cells."""
    coarse, fine = (bands(quick(spike(cell_mm=cell))) for cell in (1.4, 0.7))
    assert agree(coarse, fine)


def test_scaling_lengths_and_coefficients_together_scales_exitance_by_area(solve, standard):
    scale = 2.5
    problem = body(
        SPIKE.moved(np.diag([scale, scale, scale, 1.0])),
        [medium(0.004 / scale, 0.5 / scale, 0.6, 1.3)],
        emitters([PLACE * scale]),
        cell_mm=1.4 * scale,
        face_mm=3.0 * scale,
    )
    leaving = solve(problem, PHOTONS, seed=3)
    found = bands(leaving, leaving.centroids[:, 2] / scale)
    assert agree([share.times(scale**2) for share in found], standard)


def test_a_plug_of_the_same_material_changes_nothing(solve, standard):
    """No index step, no leak between parts that touch."""
    plug = shape_mesh(Rod(kind="rod", length_mm=30, diameter_mm=14)).moved(
        placed((0, 0, 4), (0, 0, 0))
    )
    lights = emitters([PLACE], region=1)
    problem = body(SPIKE, [FOAM, FOAM], lights, inserts=[plug], cell_mm=1.4, face_mm=3.0)
    assert agree(bands(solve(problem, PHOTONS, seed=4)), standard)


def test_mirrored_lights_give_mirrored_glow(solve):
    slab = shape_mesh(Slab(kind="slab", length_mm=60, width_mm=30, thickness_mm=20))
    lights = emitters([[12, 0, 9], [-12, 0, 9]])
    leaving = solve(body(slab, [FOAM], lights, cell_mm=1.5, face_mm=4.0), PHOTONS)
    x = leaving.centroids[:, 0]
    for one, other in ((x < -5, x > 5), (x > 5, x < -5)):
        mirrored = leaving.leaves(other, light=1)
        assert leaving.leaves(one).agrees(mirrored, within=0.005)


def test_light_adds_up(solve, standard):
    """Two LEDs of one light give the mean of what they give alone."""
    lights = emitters([PLACE, [0.0, 3.0, 25.0]])
    one = Emitters(**{**vars(lights), "light": np.zeros(2, np.int64), "share": np.full(2, 0.5)})
    together = solve(spike(lights=one), PHOTONS, seed=5)
    alone = solve(spike(lights=lights), PHOTONS, seed=6)
    means = [mean_of(*pair) for pair in zip(bands(alone), bands(alone, light=1), strict=True)]
    # A light of two LEDs gets half the rays for each in quick: only their spread differs.
    assert agree(bands(together), means, within=0.005)
    whole = mean_of(alone.leaves(), alone.leaves(light=1))
    assert together.leaves().agrees(whole, within=1e-3)


def test_swapping_source_and_detector(solve):
    """Reciprocity: what a small ball at one place absorbs of an isotropic light at another is what
    it absorbs there of light from here (textbook; the index is the same at both)."""
    places = np.array([[2.0, 1.0, 8.0], [-1.0, 2.0, 26.0]])
    dot = shape_mesh(Orb(kind="orb", diameter_mm=6))
    inserts = [dot.moved(placed(tuple(place), (0, 0, 0))) for place in places]
    found = []
    for source in (0, 1):
        lights = emitters([places[source]], both_ways=True, region=source + 1)
        problem = body(SPIKE, [FOAM] * 3, lights, inserts=inserts, cell_mm=1.4, face_mm=6.0)
        found.append(solve(problem, 60_000).stays_in(2 - source))
    assert found[0].mean > 0
    assert found[0].agrees(found[1], within=0.02)


def test_same_seed_same_numbers():
    """Quick's; the reference's stands in tests/reference/test_runs."""
    one, two, other = (quick(spike(cell_mm=3.0), seed=seed) for seed in (5, 5, 6))
    np.testing.assert_array_equal(one.out, two.out)
    assert np.abs(other.out - one.out).max() > 0


shapes = st.sampled_from(
    [
        Orb(kind="orb", diameter_mm=30),
        Crystal(kind="crystal", length_mm=45, width_mm=22),
        Slab(kind="slab", length_mm=40, width_mm=25, thickness_mm=18),
        Rod(kind="rod", length_mm=35, diameter_mm=24),
    ]
)


@settings(max_examples=6, derandomize=True)
@given(
    shape=shapes,
    mu_a=st.floats(0.0, 0.05),
    mu_s=st.floats(0.0, 4.0, allow_subnormal=False),
    g=st.floats(0.0, 0.9),
    n=st.sampled_from([1.0, 1.4, 1.5]),
    fill=st.sampled_from(["nothing", "pocket", "core", "pocket and core"]),
    offset=st.floats(-2.0, 2.0),
)
def test_energy_is_conserved_on_random_scenes(solve, shape, mu_a, mu_s, g, n, fill, offset):
    outer = shape_mesh(shape)
    middle = outer.bounds.mean(axis=0)
    inserts: list[Mesh] = []
    media = [medium(mu_a, mu_s, g, n)]
    if "pocket" in fill:
        pocket = shape_mesh(Orb(kind="orb", diameter_mm=11))
        inserts.append(pocket.moved(placed(tuple(middle), (0, 0, 0))))
        media.append(AIR)
    if "core" in fill:
        core = shape_mesh(Rod(kind="rod", length_mm=8, diameter_mm=4))
        inserts.append(core.moved(placed((middle[0], middle[1], middle[2] - 7), (0, 0, 0))))
        media.append(opaque(0.4))
    place = middle + np.array([offset, 1.0, 3.0])
    region = 1 if "pocket" in fill else 0
    problem = body(
        outer, media, emitters([place], region=region), inserts=inserts, cell_mm=3.0, face_mm=6.0
    )
    # To the reference's round-off see `reference`.
    assert solve(problem, 1000).unaccounted < 1e-5
