"""Clear bodies that carry light: mirrored at smooth faces, let out where these are rough."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numba import njit
from scipy.stats import chi2

from glowsim.geometry.shapes import shape_mesh
from glowsim.optics.fresnel import reflectance, reflectance_diffuse
from glowsim.scene import Rod, Slab
from glowsim.transport.problem import AIR, BodyProblem, Layer
from glowsim.transport.reference import kernels
from tests.support.bodies import body, emitters, medium, opaque
from tests.support.monte_carlo import UNLIKELY, Share
from tests.support.solvers import Leaving, reference

N = 1.49
COUNT = 100_000
FROST = Layer("frost", np.full(3, 0.6), np.full(3, 0.4), 0.0, 0.45)


@njit
def met(count, rough, n_from, n_to, cos, out):
    """Send light upwards at a rough face, diffuse if `cos` is 0; tell where each photon goes."""
    state = kernels.first_state(4, 1, 9)
    x, z = np.sqrt(1.0 - cos * cos), cos
    for k in range(count):
        dx, dy, dz = x, 0.0, z
        if cos == 0.0:
            state, dx, dy, dz = kernels.lambertian(state, 0.0, 0.0, 1.0)
        state, dx, dy, dz, through = kernels.through_rough(
            state, rough, n_from, n_to, dx, dy, dz, 0.0, 0.0, 1.0
        )
        out[k, 0], out[k, 1] = dz, 1.0 if through else 0.0


def sent(rough: float, n_from: float, n_to: float, cos: float = 0.0) -> tuple[np.ndarray, ...]:
    """Return z of the directions of photons that met a face, and which got through."""
    out = np.zeros((COUNT, 2))
    met(COUNT, rough, n_from, n_to, cos, out)
    return out[:, 0], out[:, 1] > 0


@pytest.mark.parametrize("rough", [0.1, 0.45, 1.0, 2.5])
def test_light_in_balance_stays_so(rough):
    """Diffuse light on both sides, n^2 times as much in the dense one, is left as it was by any
    passive face (second law; the étendue of a beam is n^2 cos dA dOmega): facet by facet too."""
    inner, out = sent(rough, N, 1.0)
    outer, into = sent(rough, 1.0, N)
    for z, through in ((inner, out), (outer, into)):
        np.testing.assert_array_equal(z > 0, through)
    # On each side: photons that come from within, and those from outside, which stand for less.
    for balance, from_within, from_outside in (
        (1.0, inner[out], outer[~into]),
        (N**2, inner[~out], outer[into]),
    ):
        # Lambertian: cos^2 is spread evenly.
        within = np.histogram(from_within**2, bins=8, range=(0, 1))[0]
        outside = np.histogram(from_outside**2, bins=8, range=(0, 1))[0]
        weight, variance = N**2 * within + outside, N**4 * within + outside
        exact = balance * COUNT / 8
        assert chi2.sf(float(((weight - exact) ** 2 / variance).sum()), 8) > UNLIKELY


@pytest.mark.parametrize("cos", [0.3, 0.8, 1.0])
def test_a_face_of_hardly_any_roughness_mirrors_and_bends_as_a_smooth_one(cos):
    z, through = sent(1e-3, 1.0, N, cos)
    exact = 1 - float(reflectance(cos, n_from=1.0, n_to=N))
    assert through.mean() == pytest.approx(exact, abs=4 * np.sqrt(exact * (1 - exact) / COUNT))
    assert z[through].mean() == pytest.approx(np.sqrt(1 - (1 - cos**2) / N**2), abs=1e-4)
    assert z[~through].mean() == pytest.approx(-cos, abs=1e-4)


def test_a_frosted_face_lets_out_what_a_smooth_one_mirrors_for_ever():
    """At 60 degrees, beyond the critical angle asin(1/n) of 42 degrees, all is mirrored by a smooth
    face; by frost and engraving some is let out at each meeting."""
    assert reflectance(0.5, n_from=N, n_to=1.0) == 1
    frosted, engraved = (sent(rough, N, 1.0, 0.5)[1].mean() for rough in (0.45, 1.0))
    assert 0.1 < frosted < engraved < 0.6


def bar(light_at, mu_a: float = 1e-3, layers: tuple[Layer, ...] = (), **how) -> BodyProblem:
    block = shape_mesh(Slab(kind="slab", length_mm=60, width_mm=20, thickness_mm=12))
    lights = emitters([light_at], **({"both_ways": True} | how))
    media = [medium(mu_a, 0.0, n=N)]
    return body(block, media, lights, cell_mm=4.0, face_mm=20.0, layers=layers)


def by_normal(leaving: Leaving, axis: int) -> Share:
    normals = leaving.problem.walls.normals[leaving.problem.skin]
    return leaving.leaves(abs(normals[:, axis]) > 0.9)


def test_what_a_clear_block_keeps_of_an_even_light():
    """Mirrors of a block change signs of a direction alone, so by each pair of faces leave the two
    escape cones, 1 - cos(asin 1/n) = 1 - sqrt(1 - 1/n^2), whole, as long as nothing is absorbed;
    for n^2 > 2 the cones are apart and the rest never leaves (geometrical optics, textbook)."""
    leaving = reference(bar((5, 2, 5), 1e-4), 10_000)
    cone = 1 - np.sqrt(1 - 1 / N**2)
    for axis in range(3):
        # On the way out, 20 to 60 mm, a few thousandths are absorbed.
        assert by_normal(leaving, axis).agrees(cone, digits=4e-3)
    assert leaving.stays_in(0).agrees(1 - 3 * cone, digits=5e-3)


def test_what_a_clear_rod_keeps_of_an_even_light_on_its_axis():
    """All rays from the axis are meridional: the side lets out 1/n (those within the critical angle
    of its normal), the ends 1 - sqrt(1 - 1/n^2), the rest stays (textbook)."""
    rod = shape_mesh(Rod(kind="rod", length_mm=80, diameter_mm=10))
    lights = emitters([(0.0, 0.0, 40.0)], both_ways=True)
    problem = body(rod, [medium(1e-4, 0.0, n=N)], lights, cell_mm=2.0, face_mm=20.0)
    leaving = reference(problem, 10_000)
    cone = 1 - np.sqrt(1 - 1 / N**2)
    ends = by_normal(leaving, 2)
    # The rod is drawn with flat sides, which turn rays a little off the axis.
    assert ends.agrees(cone, digits=5e-3)
    assert leaving.leaves().agrees(cone + 1 / N, digits=1e-2)


def test_light_along_a_bar_dies_by_its_path():
    """Beer-Lambert over the path of a mirrored ray, L / cos of its slope, whatever the bounces."""
    block = shape_mesh(Slab(kind="slab", length_mm=200, width_mm=6, thickness_mm=6))
    black = shape_mesh(Slab(kind="slab", length_mm=4, width_mm=8, thickness_mm=8))
    cap = replace(black, vertices=black.vertices + np.array([100.0, 0.0, -1.0]))
    slope = np.radians(30.0)
    way = (np.cos(slope), np.sin(slope) / np.sqrt(2), np.sin(slope) / np.sqrt(2))
    lights = emitters([(-99.9, 0.3, 2.0)], direction=way, exponent=1e12)
    media = [medium(2e-3, 0.0, n=N), opaque(0.0)]
    problem = body(block, media, lights, inserts=[cap], cell_mm=3.0, face_mm=50.0)
    leaving = reference(problem, 2_000)
    path = (98.0 + 99.9) / np.cos(slope)
    assert leaving.stays_in(1).mean == pytest.approx(np.exp(-2e-3 * path), rel=1e-6)
    assert leaving.leaves().mean == 0


def test_what_enters_a_polished_end_leaves_by_none_of_the_sides():
    """Light let in by one flat end is bent to within asin(1/n) of the axis, and n^2 > 2 mirrors all
    of it along the sides (numerical aperture sqrt(n^2 - 1) above 1, textbook)."""
    rod = shape_mesh(Rod(kind="rod", length_mm=60, diameter_mm=10))
    plate = shape_mesh(Rod(kind="rod", length_mm=4, diameter_mm=20))
    gap = replace(plate, vertices=plate.vertices - np.array([0.0, 0.0, 2.0]))
    lights = emitters([(1.0, 0.5, 1.0)], direction=(0, 0, 1), region=1, exponent=1.0)
    media = [medium(1e-4, 0.0, n=N), AIR]
    problem = body(rod, media, lights, inserts=[gap], cell_mm=2.0, face_mm=20.0)
    leaving = reference(problem, 4_000)
    normals, centres = leaving.problem.walls.normals[problem.skin], leaving.centroids
    sides = (abs(normals[:, 2]) < 0.1) & (centres[:, 2] > 2.1)
    assert leaving.leaves(sides).mean == 0
    assert leaving.leaves(centres[:, 2] > 59.9).mean > 0.3


def test_a_frosted_block_lets_out_all_that_it_does_not_absorb():
    """A block frosted all over mixes light evenly: by the balance of the integrating cavity the
    share let out is T S / (T S + 4 n^2 mu_a V), T of diffuse light from outside, here as from
    within times n^2."""
    _, out = sent(0.45, N, 1.0)
    let_out = float(out.mean())
    assert let_out * N**2 > 1 - reflectance_diffuse(n_from=1.0, n_to=N)
    mu_a = 1e-3
    problem = bar((5, 2, 5), mu_a, (FROST,))
    leaving = reference(problem, 40_000)
    volume, surface = 60 * 20 * 12, 2 * (60 * 20 + 60 * 12 + 20 * 12)
    exact = let_out * surface / (let_out * surface + 4 * mu_a * volume)
    # Light is mixed evenly only as far as the first flight allows.
    assert leaving.leaves().agrees(exact, digits=5e-3)
    assert leaving.unscattered().mean == 0
