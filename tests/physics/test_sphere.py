"""A sphere of scattering material with an isotropic point source in its centre, and the same
material without end."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import quad

from glowsim.geometry.mesh import Mesh
from glowsim.geometry.shapes import shape_mesh
from glowsim.optics.exact import decay_constant
from glowsim.scene import Orb
from glowsim.transport.quick import QuickBody
from tests.support.bodies import body, emitters, medium
from tests.support.diffusion import sphere_escape_fraction
from tests.support.half_space import point_source_fluence
from tests.support.monte_carlo import Share
from tests.support.solvers import quick, reference


def ball(radius: float) -> Mesh:
    return shape_mesh(Orb(kind="orb", diameter_mm=2 * radius))


def sphere(mu_a, mu_s_reduced, g, n, radius, cells=20, centre=(0.013, 0.021, 0.008)):
    return body(
        ball(radius),
        [medium(mu_a, mu_s_reduced, g, n)],
        emitters([centre], both_ways=True),
        cell_mm=radius / cells,
        face_mm=radius / 8,
    )


SPHERES = [
    (0.01, 1, 0, 1, 10, Share(0.59450, 0.00035), 0.01),
    (0.01, 1, 0, 1.5, 10, Share(0.53209, 0.00035), 0.015),
    (0.01, 10, 0.9, 1.5, 10, Share(0.52729, 0.00091), 0.01),
    (0.1, 1, 0, 1, 3, Share(0.53559, 0.00035), 0.02),
    (0.002, 1, 0, 1.5, 30, Share(0.41608, 0.0005), 0.01),
    # Outside what quick claims (thin, dark): held to what it does, so that a change shows.
    (0.1, 1, 0, 1.5, 3, Share(0.44157, 0.00035), 0.09),
    (0.5, 1, 0, 1, 3, Share(0.07975, 0.0002), 0.13),
    (0.05, 0.2, 0, 1.5, 10, Share(0.35928, 0.00034), 0.13),
]
"""mu_a, mu_s, g, n, radius, share let out, what quick comes within: by an analog Monte Carlo code
of its own, in an ideal sphere, 0.3 to 2 million packets with one sigma."""


@pytest.mark.parametrize(
    ("mu_a", "mu_s", "g", "n", "radius", "exact", "within"),
    [
        pytest.param(
            *row,
            marks=[
                *([] if k in (1, 3) else [pytest.mark.slow_for("reference")]),
                *([pytest.mark.slow_for("quick")] if k in (5, 7) else []),
            ],
        )
        for k, row in enumerate(SPHERES)
    ],
)
def test_share_let_out(solve, mu_a, mu_s, g, n, radius, exact, within):
    leaving = solve(sphere(mu_a, mu_s * (1 - g), g, n, radius), 200_000)
    # The mesh has the ideal sphere's volume but not its curvature: 320 flat faces shift what is
    # let out by some 3e-4.
    assert leaving.leaves().agrees(exact, digits=3e-4, within=within)


@pytest.mark.parametrize("n", [1.0, 1.5])
def test_share_let_out_by_the_closed_form(n):
    """Derived, with the boundary of Haskell et al., J. Opt. Soc. Am. A 11, 2727 (1994), and the
    exact coefficient of Milne's problem. Quick alone: the form is diffusion's own, as quick is."""
    exact = sphere_escape_fraction(mu_a_per_mm=0.01, mu_s_reduced_per_mm=1.0, n=n, radius_mm=10.0)
    assert quick(sphere(0.01, 1.0, 0.0, n, 10.0)).leaves().agrees(float(exact), within=0.01)


def test_surface_flux_is_the_same_all_round():
    """For the reference; quick's stands below."""
    leaving = reference(sphere(0.01, 1.0, 0.0, 1.5, 10.0, centre=(0.0, 0.0, 0.0)), 25_000)
    octant = (leaving.centroids > 0) @ np.array([1, 2, 4])
    mean = leaving.leaves().mean / leaving.areas.sum()
    for k in range(8):
        found = leaving.exitance(1.0 * (octant == k))
        assert found.agrees(mean, digits=1e-3 * mean)


def test_faces_differ_little_from_each_other():
    """Quick alone: in the reference they differ by chance."""
    leaving = quick(sphere(0.01, 1.0, 0.0, 1.5, 10.0))
    exitance = leaving.out[0] / leaving.areas
    assert exitance.std() / exitance.mean() < 0.01
    assert exitance.min() / exitance.mean() > 0.95


def test_escape_converges_at_first_order_or_better():
    """Quick alone: the reference has no cells to halve."""
    exact = float(
        sphere_escape_fraction(mu_a_per_mm=0.01, mu_s_reduced_per_mm=1.0, n=1.5, radius_mm=10.0)
    )
    cells = np.array([3, 6, 12])
    errors = [
        abs(quick(sphere(0.01, 1.0, 0.0, 1.5, 10.0, cells=k)).leaves().mean / exact - 1)
        for k in cells
    ]
    order = -np.polyfit(np.log(cells), np.log(errors), 1)[0]
    print(f"cells per radius {cells}, errors {errors}, observed order {order:.2f}")
    assert order > 1.0, f"observed order {order:.2f}"
    assert errors[-1] < 0.005


def test_without_absorption_all_light_leaves(solve):
    problem = sphere(0.0, 1.0, 0.0, 1.5, 10.0, cells=8, centre=(4.0, -3.0, 5.0))
    leaving = solve(problem, 3_000)
    assert leaving.leaves().agrees(1.0, digits=1e-9, within=1e-6)


DISTANCES = {5.0: 0.08, 3.0: 0.08, 2.0: 0.05, 1.0: 0.16, 0.6: 0.25}
"""What quick comes within, by distance in mean free paths.

Nearer than two mean free paths diffusion from the first scattering falls short: that is why quick
calls a light that near the surface a rough guide. Farther off it is 4 % too bright where a tenth
of what is scattered is absorbed."""


@pytest.mark.slow
@pytest.mark.parametrize("albedo", [0.9, 0.99])
def test_light_about_a_point_source_in_an_endless_medium(solve, albedo):
    """Case, de Hoffmann & Placzek (1953). What a thin shell of the same material absorbs is mu_a
    times the fluence in it; five shells, lengths in mean free paths."""
    inserts = [ball(share * distance) for distance in DISTANCES for share in (1.1, 0.9)]
    # What the end of the medium takes from the fluence has fallen to exp(-7) where it is read.
    far = ball(max(DISTANCES) + 3.5 / decay_constant(albedo))
    lights = emitters([[0.013, 0.021, 0.008]], both_ways=True, region=len(inserts))
    material = medium(1 - albedo, albedo)
    media = [material] * (len(inserts) + 1)
    problem = body(far, media, lights, inserts=inserts, cell_mm=2 / 3, face_mm=50.0)
    leaving = solve(problem, 60_000)
    for k, (distance, within) in enumerate(DISTANCES.items()):
        outer, inner = (
            float(np.cbrt(3 * mesh.volume_mm3 / (4 * np.pi))) for mesh in inserts[2 * k : 2 * k + 2]
        )
        exact, _ = quad(
            lambda r: (1 - albedo) * 4 * np.pi * r**2 * point_source_fluence(r, albedo=albedo),
            inner,
            outer,
            epsrel=1e-6,
        )
        found = leaving.stays_in(2 * k + 1)
        print(f"at {distance}: {found}, exact {exact:.5f}")
        # Flat faces blur the shell's bounds by 1 % of the radius: less than 1e-3 of the mean.
        assert found.agrees(exact, digits=1e-3 * exact, within=within)


@pytest.mark.parametrize("albedo", [0.9, 0.99])
def test_fluence_at_points_about_a_point_source(albedo):
    """The same at points. Quick alone: the reference reads no fluence at points."""
    radius, mu_t = 16.0, 1.0
    problem = sphere((1 - albedo) * mu_t, albedo * mu_t, 0.0, 1.0, radius, cells=24)
    distance = np.array([1.0, 2.0, 3.0, 5.0])
    ways = np.array([[1, 0, 0], [0, -1, 0], [0.6, 0.0, 0.8], [-0.5774, 0.5774, 0.5774]])
    centre = problem.emitters.position[0]
    points = centre + (distance[:, None, None] * ways).reshape(-1, 3)
    scattered = QuickBody(problem).fluence_per_mm2(problem.emitters, points)[:, 0, 1]
    scattered = scattered.reshape(len(distance), -1).mean(axis=1)
    first = np.exp(-distance) / (4 * np.pi * distance**2)
    exact = point_source_fluence(distance, albedo=albedo)
    np.testing.assert_allclose((scattered + first)[1:], exact[1:], rtol=0.05)
    # At one mean free path quick is 18 % low at an albedo of 0.9 and 15 % at 0.99: its D is that by
    # which light dies far away, and so nearer than two it pays for being right beyond.
    np.testing.assert_allclose((scattered + first)[:1], exact[:1], rtol=0.185)
