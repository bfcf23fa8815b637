"""Hollows: view factors, integrating cavity, translucent shells, the n^2 of an index step."""

from __future__ import annotations

import numpy as np
import pytest

from glowsim.geometry.rays import RayTarget
from glowsim.geometry.shapes import shape_mesh
from glowsim.optics.diffusion import hollow_sphere_escape_fraction
from glowsim.optics.slab import layer_reflectance_transmittance
from glowsim.optics.viewfactors import cavity_multiplier, coaxial_discs
from glowsim.scene import Orb, Rod, Slab
from glowsim.transport.problem import AIR, BARE, Layer
from glowsim.transport.quick.cavity import cavity_of
from glowsim.transport.quick.walls import walls_of
from tests.support.bodies import body, emitters, medium, shell


def hollow_box(mesh, reflectance=0.5, transmittance=0.0):
    """A body of air behind an opaque sheet."""
    sheet = Layer("sheet", np.full(3, reflectance), np.full(3, transmittance))
    size = float(mesh.size_mm.min())
    return body(
        mesh,
        [AIR],
        emitters([[0.05 * size, 0.03 * size, mesh.bounds[0, 2] + 0.4 * size]]),
        cell_mm=1.0,
        face_mm=size / 8,
        layers=[sheet],
    )


def share_seen(problem, from_faces, to_faces) -> float:
    """View factor between two groups of faces, from that of the patches."""
    target = RayTarget(problem.walls.triangles)
    cavity = cavity_of(problem, target, np.where(from_faces, 1, np.where(to_faces, 2, 0)), seed=1)
    source = np.unique(cavity.patch[from_faces])
    sink = np.unique(cavity.patch[to_faces])
    weight = cavity.area[source]
    return float((weight * cavity.view[np.ix_(source, sink)].sum(axis=1)).sum() / weight.sum())


@pytest.mark.parametrize(("radius", "gap"), [(10.0, 10.0), (10.0, 5.0)])
def test_view_factor_of_coaxial_discs(radius, gap):
    """Siegel & Howell's catalogue, the classic two-disc formula (derived anew in `optics`)."""
    problem = hollow_box(shape_mesh(Rod(kind="rod", length_mm=gap, diameter_mm=2 * radius)))
    height = problem.walls.centroids[:, 2]
    exact = float(coaxial_discs(radius_from_mm=radius, radius_to_mm=radius, distance_mm=gap))
    seen = share_seen(problem, height < 0.001, height > gap - 0.001)
    # 600 rays for each of hundreds of patches: 0.5 % is four standard errors.
    assert seen == pytest.approx(exact, rel=0.005)


def test_view_factors_of_a_cube():
    """Opposite faces 0.1998249, adjacent 0.2000438 (closed form, derived)."""
    box = shape_mesh(Slab(kind="slab", length_mm=20, width_mm=20, thickness_mm=20))
    problem = hollow_box(box)
    centre = problem.walls.centroids
    bottom = centre[:, 2] < 0.001
    assert share_seen(problem, bottom, centre[:, 2] > 19.999) == pytest.approx(0.1998249, rel=0.005)
    assert share_seen(problem, bottom, centre[:, 0] > 9.999) == pytest.approx(0.2000438, rel=0.005)


def test_inside_a_sphere_every_place_sees_every_other_alike():
    problem = hollow_box(shape_mesh(Orb(kind="orb", diameter_mm=40)))
    cap = problem.walls.centroids[:, 2] > 12
    side = problem.walls.centroids[:, 0] > 10
    area = problem.walls.areas_mm2
    assert share_seen(problem, side & ~cap, cap) == pytest.approx(
        area[cap].sum() / area.sum(), rel=0.005
    )


def test_view_factors_are_reciprocal_and_closed():
    problem = hollow_box(shape_mesh(Rod(kind="rod", length_mm=30, diameter_mm=20)))
    target = RayTarget(problem.walls.triangles)
    cavity = cavity_of(problem, target, walls_of(problem).classes, seed=3)
    exchange = cavity.area[:, None] * cavity.view
    np.testing.assert_allclose(exchange, exchange.T, rtol=1e-9, atol=1e-12)
    np.testing.assert_allclose(cavity.view.sum(axis=1), 1.0, rtol=1e-9)


@pytest.mark.parametrize("reflectance", [0.90, 0.98])
def test_integrating_cavity_multiplies_light(solve, reflectance):
    """A closed sphere of reflectance rho multiplies light by 1 / (1 - rho) (the integrating
    sphere equation, textbook): what a wall lets through in the end is T / (1 - R)."""
    through = 1 - reflectance
    orb = shape_mesh(Orb(kind="orb", diameter_mm=40))
    leaving = solve(hollow_box(orb, reflectance, through))
    # A lossless sheet lets all light out in the end, evenly but for the first hit.
    assert leaving.total == pytest.approx(1.0, abs=1e-6)
    lost = solve(hollow_box(orb, reflectance, through / 2))
    assert lost.total == pytest.approx(0.5, abs=1e-6)
    assert lost.in_coats == pytest.approx(0.5, abs=1e-6)


@pytest.mark.parametrize("port", [0.05, 0.10])
def test_integrating_cavity_with_a_port(solve, port):
    """M = rho / (1 - rho (1 - f)): share of the flux that leaves by a port of area fraction f is
    f M for light whose first hit is on the wall."""
    reflectance = 0.95
    problem = hollow_box(shape_mesh(Orb(kind="orb", diameter_mm=40)), reflectance, 0.0)
    # A cap of a sphere of height h has the share h / (2 r) of its area.
    height = problem.walls.centroids[:, 2]
    area = problem.walls.areas_mm2
    is_port = height < -20 + 2 * 20 * port
    problem.coat[is_port] = BARE
    fraction = area[is_port].sum() / area.sum()
    leaving = solve(problem)
    exact = fraction * float(cavity_multiplier(reflectance=reflectance, port_fraction=fraction))
    assert leaving.where(is_port[problem.skin]) == pytest.approx(exact, rel=0.01)


@pytest.mark.parametrize(
    ("mu_a", "mu_s", "n", "wall"),
    [(0.005, 1.0, 1.0, 2.0), (0.01, 2.0, 1.5, 2.0), (0.005, 8.0, 1.46, 2.0)],
)
@pytest.mark.parametrize("cells", [1, 2])
def test_translucent_shell_lets_out_what_diffusion_says(solve, mu_a, mu_s, n, wall, cells):
    """Concentric spherical shell, closed form of diffusion theory (derived in `optics`)."""
    orb = shape_mesh(Orb(kind="orb", diameter_mm=40))
    lights = emitters([[0.2, 0.1, 0.3]], region=1, both_ways=True)
    problem = shell(
        orb, medium(mu_a, mu_s, 0.0, n), wall, lights, cell_mm=wall / cells, face_mm=2.5
    )
    exact = float(
        hollow_sphere_escape_fraction(
            inner_radius_mm=20 - wall, wall_mm=wall, mu_a_per_mm=mu_a, mu_s_reduced_per_mm=mu_s, n=n
        )
    )
    assert solve(problem).total == pytest.approx(exact, rel=0.015)


@pytest.mark.slow
def test_large_shell_lets_out_t_over_t_plus_a(solve):
    """T / (T + A) with T and A of the flat wall, wherever the LED sits (derived: each visit to
    the wall gives the same odds). R and T by delta-P1, within 2 % of adding-doubling here."""
    wall, mu_a, mu_s = 3.0, 0.01, 1.5
    orb = shape_mesh(Orb(kind="orb", diameter_mm=160))
    r, t = layer_reflectance_transmittance(
        mu_a_per_mm=mu_a, mu_s_reduced_per_mm=mu_s, n=1.0, thickness_mm=wall
    )
    for centre in ([0.0, 0.0, 0.0], [30.0, 10.0, -45.0]):
        lights = emitters([centre], region=1, both_ways=True)
        problem = shell(orb, medium(mu_a, mu_s), wall, lights, cell_mm=1.5, face_mm=6.0)
        assert solve(problem).total == pytest.approx(float(t / (1 - r)), rel=0.02)


@pytest.mark.parametrize("n", [1.0, 1.4, 1.5])
def test_equilibrium_light_passes_an_index_step_unchanged(n):
    """phi = 4 n^2 E and M = E in equilibrium (thermodynamics; the n^2 law of radiance)."""
    orb = shape_mesh(Orb(kind="orb", diameter_mm=30))
    lights = emitters([[0.1, 0.2, 0.3]], region=1, both_ways=True)
    problem = shell(orb, medium(0.01, 1.0, 0.0, n), 3.0, lights, cell_mm=1.5, face_mm=3.0)
    walls = walls_of(problem)
    cavity = cavity_of(problem, RayTarget(problem.walls.triangles), walls.classes, seed=0)
    b = cavity.averager(problem.walls.areas_mm2) @ walls.cavity_b[:, 1]
    field = np.ones(len(b))
    arriving = cavity.arriving(b) @ (b * field)
    np.testing.assert_allclose(arriving, 1.0, rtol=1e-6)
    np.testing.assert_allclose(b * field + (1 - b) * arriving, 1.0, rtol=1e-6)
