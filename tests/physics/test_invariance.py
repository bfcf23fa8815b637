"""What must not matter: where a body stands, how it is turned, how fine the grid is, its scale;
how it is cut into parts. And what must hold always: light adds up, and none is lost."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from glowsim.geometry.mesh import Mesh
from glowsim.geometry.patterns import placed
from glowsim.geometry.shapes import shape_mesh
from glowsim.scene import Crystal, Orb, Rod, Slab, Spike
from glowsim.transport.problem import AIR, Emitters
from glowsim.transport.quick import QuickBody
from tests.support.bodies import body, emitters, medium, opaque

FOAM = medium(0.002, 0.5)
SPIKE = Spike(kind="spike", length_mm=90, base_diameter_mm=36, tip_radius_mm=2)


def profile(problem, height_of=lambda centroids: centroids[:, 2]):
    """Exitance of light 0 in the middle band at five heights, each averaged under a tent 15 mm
    to either side, so that it hardly matters how the surface is cut into faces."""
    response = QuickBody(problem).respond(problem.emitters)
    area = problem.walls.areas_mm2[problem.skin]
    power = (response.diffuse + response.direct)[0, 1]
    height = height_of(problem.walls.centroids[problem.skin])
    tents = [np.maximum(0, 1 - np.abs(height - middle) / 15) for middle in (8, 16, 24, 32, 45)]
    return np.array([(power * tent).sum() / (area * tent).sum() for tent in tents])


def spike_problem(mesh, lights, cell_mm=1.6, material=FOAM):
    return body(mesh, [material], lights, cell_mm=cell_mm, face_mm=3.0)


@pytest.fixture(scope="module")
def standard():
    return profile(spike_problem(shape_mesh(SPIKE), emitters([[1.0, -2.0, 14.0]])))


@pytest.mark.parametrize(
    ("move", "turn"),
    [((137.3, -41.7, 8.9), (0, 0, 0)), ((0, 0, 0), (31, 57, 12)), ((5, 5, 5), (90, 0, 45))],
)
def test_moving_and_turning_changes_nothing(standard, move, turn):
    transform = placed(move, turn)
    mesh = shape_mesh(SPIKE).moved(transform)
    place = transform[:3, :3] @ [1.0, -2.0, 14.0] + transform[:3, 3]
    lights = emitters([place], direction=transform[:3, 2])
    back = np.linalg.inv(transform)

    def height(centroids):
        return (centroids @ back[:3, :3].T + back[:3, 3])[:, 2]

    np.testing.assert_allclose(profile(spike_problem(mesh, lights), height), standard, rtol=0.02)


def test_halving_the_cells_changes_little(standard):
    fine = profile(spike_problem(shape_mesh(SPIKE), emitters([[1.0, -2.0, 14.0]]), cell_mm=0.8))
    np.testing.assert_allclose(standard, fine, rtol=0.02)


def test_scaling_lengths_and_coefficients_together_scales_exitance_by_area(standard):
    scale = 2.5
    mesh = shape_mesh(SPIKE).moved(np.diag([scale, scale, scale, 1.0]))
    problem = body(
        mesh,
        [medium(0.002 / scale, 0.5 / scale)],
        emitters([[1.0 * scale, -2.0 * scale, 14.0 * scale]]),
        cell_mm=1.6 * scale,
        face_mm=3.0 * scale,
    )
    found = profile(problem, lambda centroids: centroids[:, 2] / scale)
    np.testing.assert_allclose(found * scale**2, standard, rtol=0.02)


def test_a_sleeve_of_the_same_material_changes_nothing(standard):
    plug = shape_mesh(Rod(kind="rod", length_mm=40, diameter_mm=14)).moved(
        placed((0, 0, 5), (0, 0, 0))
    )
    problem = body(
        shape_mesh(SPIKE),
        [FOAM, FOAM],
        Emitters(**{**vars(emitters([[1.0, -2.0, 14.0]])), "region": np.array([1])}),
        inserts=[plug],
        cell_mm=1.6,
        face_mm=3.0,
    )
    np.testing.assert_allclose(profile(problem), standard, rtol=0.02)


def test_mirrored_lights_give_mirrored_glow():
    slab = shape_mesh(Slab(kind="slab", length_mm=60, width_mm=30, thickness_mm=20))
    problem = body(slab, [FOAM], emitters([[12, 0, 9], [-12, 0, 9]]), cell_mm=1.5, face_mm=4.0)
    response = QuickBody(problem).respond(problem.emitters)
    x = problem.walls.centroids[problem.skin][:, 0]
    left, right = x < -5, x > 5
    one, other = (response.diffuse + response.direct)[:, 1]
    assert one[right].sum() == pytest.approx(other[left].sum(), rel=0.005)
    assert one[left].sum() == pytest.approx(other[right].sum(), rel=0.005)


def test_light_adds_up():
    lights = emitters([[1.0, -2.0, 14.0], [0.0, 3.0, 30.0]])
    both = Emitters(**{**vars(lights), "light": np.zeros(2, np.int64), "share": np.full(2, 0.5)})
    apart = QuickBody(spike_problem(shape_mesh(SPIKE), lights)).respond(lights)
    together = QuickBody(spike_problem(shape_mesh(SPIKE), both)).respond(both)
    # A light of two LEDs gets half the rays for each: only their spread differs.
    np.testing.assert_allclose(
        together.diffuse[0].sum(), apart.diffuse.mean(axis=0).sum(), rtol=1e-3
    )


def test_same_seed_same_numbers():
    lights = emitters([[1.0, -2.0, 14.0]])
    one = QuickBody(spike_problem(shape_mesh(SPIKE), lights), seed=5).respond(lights)
    two = QuickBody(spike_problem(shape_mesh(SPIKE), lights), seed=5).respond(lights)
    np.testing.assert_array_equal(one.diffuse, two.diffuse)
    other = QuickBody(spike_problem(shape_mesh(SPIKE), lights), seed=6).respond(lights)
    assert np.abs(other.diffuse - one.diffuse).max() > 0


shapes = st.sampled_from(
    [
        Orb(kind="orb", diameter_mm=30),
        Crystal(kind="crystal", length_mm=45, width_mm=22),
        Slab(kind="slab", length_mm=40, width_mm=25, thickness_mm=18),
        Rod(kind="rod", length_mm=35, diameter_mm=24),
    ]
)


@settings(max_examples=8, derandomize=True)
@given(
    shape=shapes,
    mu_a=st.floats(0.0, 0.05),
    mu_s=st.floats(0.0, 4.0),
    g=st.floats(0.0, 0.9),
    n=st.sampled_from([1.0, 1.4, 1.5]),
    fill=st.sampled_from(["nothing", "pocket", "core", "pocket and core"]),
    offset=st.floats(-2.0, 2.0),
)
def test_energy_is_conserved_on_random_scenes(shape, mu_a, mu_s, g, n, fill, offset):
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
        outer, media, emitters([place], region=region), inserts=inserts, cell_mm=2.0, face_mm=4.0
    )
    response = QuickBody(problem).respond(problem.emitters)
    out = (response.diffuse + response.direct).sum(axis=2)
    account = out + response.absorbed.sum(axis=2) + response.in_coats + response.lost
    np.testing.assert_allclose(account, 1.0, atol=1e-5)
    assert (response.lost < 1e-3).all()
