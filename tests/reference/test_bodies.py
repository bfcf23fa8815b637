"""Spheres, endless media, hollows and bare beams with known answers.

Tolerance: three standard errors and the digits of the value compared with.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import quad

from glowsim.geometry.mesh import Mesh
from glowsim.geometry.shapes import shape_mesh
from glowsim.optics.exact import point_source_fluence
from glowsim.optics.photometry import led_grid_relative_illuminance
from glowsim.optics.viewfactors import cavity_multiplier, coaxial_discs
from glowsim.scene import Orb, Rod, Slab
from glowsim.transport.problem import AIR, BARE, BodyProblem, Emitters, Layer, Medium
from tests.support.bodies import body, emitters, medium, opaque, shell
from tests.support.monte_carlo import Share, absorbed, follow, leaving
from tests.support.slabs import BEAM, SLABS


def ball(radius: float) -> Mesh:
    return shape_mesh(Orb(kind="orb", diameter_mm=2 * radius))


def sphere(material: Medium, radius: float, centre=(0.013, 0.021, 0.008)) -> BodyProblem:
    lights = emitters([centre], both_ways=True)
    return body(ball(radius), [material], lights, cell_mm=1.0, face_mm=radius / 8)


PHOTONS = 200_000
SPHERES = [
    (0.01, 1, 0, 1, 10, Share(0.59450, 0.00035)),
    (0.01, 1, 0, 1.5, 10, Share(0.53209, 0.00035)),
    (0.01, 10, 0.9, 1.5, 10, Share(0.52729, 0.00091)),
    (0.1, 1, 0, 1, 3, Share(0.53559, 0.00035)),
    (0.1, 1, 0, 1.5, 3, Share(0.44157, 0.00035)),
    (0.002, 1, 0, 1.5, 30, Share(0.41608, 0.0005)),
    (0.5, 1, 0, 1, 3, Share(0.07975, 0.0002)),
    (0.05, 0.2, 0, 1.5, 10, Share(0.35928, 0.00034)),
]
"""mu_a, mu_s, g, n, radius, share let out: an analog Monte Carlo code of its own, in an ideal
sphere, 0.3 to 2 million packets with one sigma."""


@pytest.mark.parametrize(
    ("mu_a", "mu_s", "g", "n", "radius", "exact"),
    [
        pytest.param(*row, marks=[] if k in (1, 3) else pytest.mark.slow)
        for k, row in enumerate(SPHERES)
    ],
)
def test_sphere_with_a_source_in_its_middle(mu_a, mu_s, g, n, radius, exact):
    tallies = follow(sphere(medium(mu_a, mu_s * (1 - g), g, n), radius), PHOTONS)
    found = leaving(tallies)
    # The mesh has the ideal sphere's volume but not its curvature: 320 flat faces shift what is
    # let out by some 3e-4.
    assert found.agrees(exact, digits=3e-4)
    lost = tallies.absorbed[0, 0, 1] / tallies.photons[0]
    assert found.mean + lost == pytest.approx(1.0, abs=2e-3)


@pytest.mark.parametrize("albedo", [0.9, pytest.param(0.99, marks=pytest.mark.slow)])
@pytest.mark.parametrize(
    "distance",
    [
        0.6,
        pytest.param(1.0, marks=pytest.mark.slow),
        2.0,
        pytest.param(3.0, marks=pytest.mark.slow),
        5.0,
    ],
)
def test_fluence_about_a_point_source(albedo, distance):
    """Case, de Hoffmann & Placzek (1953): fluence in an endless medium. What a thin shell of the
    same material absorbs is mu_a times the fluence in it."""
    inner, outer = ball(0.9 * distance), ball(1.1 * distance)
    far = ball(distance + 14.0 / np.sqrt(1.73 * (1 - albedo) / 0.1))
    material = medium(1 - albedo, albedo)
    lights = emitters([[0.0, 0.0, 0.0]], both_ways=True, region=2)
    problem = body(far, [material] * 3, lights, inserts=[outer, inner], cell_mm=1.0, face_mm=50.0)
    found = absorbed(problem, 1, 200_000)
    radii = [np.cbrt(3 * mesh.volume_mm3 / (4 * np.pi)) for mesh in (inner, outer)]
    exact, _ = quad(
        lambda r: (1 - albedo) * 4 * np.pi * r**2 * float(point_source_fluence(r, albedo=albedo)),
        *radii,
        epsrel=1e-6,
    )
    # Flat faces blur the shell's bounds by 1 % of the radius, which moves a mean less than 1e-3.
    assert found.agrees(exact, digits=1e-3 * exact)


def covered(outer: Mesh, reflectance: float, transmittance: float, lights: Emitters, face: float):
    sheet = Layer("sheet", np.full(3, reflectance), np.full(3, transmittance))
    return body(outer, [AIR], lights, cell_mm=1.0, face_mm=face, layers=[sheet])


@pytest.mark.parametrize(
    ("reflectance", "port"), [(0.9, 0.1), pytest.param(0.98, 0.02, marks=pytest.mark.slow)]
)
def test_integrating_cavity(reflectance, port):
    """M = rho / (1 - rho (1 - f)) (the integrating sphere equation, textbook). Of light whose first
    hit is spread evenly the share f leaves at once and f M (1 - f) later."""
    lights = emitters([[0.0, 0.0, 0.0]], both_ways=True)
    problem = covered(ball(20.0), reflectance, 0.0, lights, 4.0)
    area = problem.walls.areas_mm2
    is_port = problem.walls.centroids[:, 2] < -20 + 40 * port
    problem.coat[is_port] = BARE
    fraction = float(area[is_port].sum() / area.sum())
    multiplier = float(cavity_multiplier(reflectance=reflectance, port_fraction=fraction))
    found = leaving(follow(problem, 100_000), is_port[problem.skin])
    # The faces of the mesh see each other as those of a sphere do within 3e-3.
    exact = fraction * (1 + (1 - fraction) * multiplier)
    assert found.agrees(exact, digits=3e-3 * exact)


def test_translucent_sheet_lets_out_t_over_one_minus_r():
    """Each visit to a diffuse sheet gives the same odds, whatever the shape (derived)."""
    box = shape_mesh(Slab(kind="slab", length_mm=30, width_mm=12, thickness_mm=50))
    problem = covered(box, 0.7, 0.2, emitters([[3.0, 1.0, 11.0]]), 10.0)
    tallies = follow(problem, 60_000)
    assert leaving(tallies).agrees(0.2 / 0.3)
    assert tallies.coats[0, 1] / tallies.photons[0] == pytest.approx(0.1 / 0.3, abs=0.01)


@pytest.mark.slow
@pytest.mark.parametrize("name", ["S3", "S16"])
def test_large_shell_lets_out_t_over_t_plus_a(name):
    """Large and thin, lit from its middle: UT1 + UR1 T / (T + A), with the wall's T and A from the
    table (derived). Within 1 %: light that a wall sends back hits the next at the same angle,
    which is not quite that of diffuse light, and the wall is curved."""
    mu_a, mu_s, g, n, wall, ur1, ut1, urd, utd = SLABS[name]
    lights = emitters([[0.1, 0.2, 0.3]], region=1, both_ways=True)
    problem = shell(
        ball(150.0 * wall), medium(mu_a, mu_s * (1 - g), g, n), wall, lights,
        cell_mm=wall, face_mm=50.0 * wall,
    )  # fmt: skip
    exact = ut1 + ur1 * utd / (1 - urd)
    assert leaving(follow(problem, 200_000)).mean == pytest.approx(exact, rel=0.01)


@pytest.mark.parametrize("n", [1.0, 1.5])
def test_lossless_shell_lets_all_light_out(n):
    lights = emitters([[2.0, 0.1, -3.0]], region=1)
    problem = shell(ball(15.0), medium(0.0, 1.0, 0.5, n), 2.0, lights, cell_mm=1.0, face_mm=5.0)
    tallies = follow(problem, 20_000)
    assert tallies.escaped[0] / tallies.photons[0] == pytest.approx([1, 1, 1], abs=1e-9)


def test_core_absorbs_what_it_does_not_send_back():
    """A ball is hit by the share of rays that its solid angle says, and absorbs 1 - R of them."""
    radius, distance = 4.0, 12.0
    core = ball(radius).moved(
        np.array([[1, 0, 0, distance], [0, 1, 0, 0], [0, 0, 1, 0], [0, 0, 0, 1.0]])
    )
    lights = emitters([[0.0, 0.0, 0.0]], both_ways=True)
    seen = (1 - np.sqrt(1 - (radius / distance) ** 2)) / 2
    for reflectance, exact in ((0.4, 0.6 * seen), (1.0, 0.0)):
        problem = body(
            ball(20.0), [AIR, opaque(reflectance)], lights, inserts=[core], cell_mm=1.0, face_mm=9.0
        )
        found = absorbed(problem, 1, 120_000, runs=8)
        # Of the core's outline 42 chords make a polygon that is 0.3 % smaller or larger.
        assert found.agrees(exact, digits=4e-3 * seen)


@pytest.mark.parametrize("mu_a", [0.02, 0.3])
@pytest.mark.parametrize(("mu_s", "g"), [(0.0, 0.0), (0.15, 0.0), (0.3, 0.8)])
def test_unscattered_light_follows_beer_lambert(mu_a, mu_s, g):
    """exp(-(mu_a + mu_s) d) between matched faces, kept apart as direct light."""
    d = 5.0
    plate = shape_mesh(Slab(kind="slab", length_mm=30, width_mm=30, thickness_mm=d))
    lights = emitters([[0.1, 0.2, 0.0]], exponent=BEAM)
    problem = body(plate, [medium(mu_a, mu_s * (1 - g), g)], lights, cell_mm=1.0, face_mm=20.0)
    tallies = follow(problem, 100_000)
    found = float(tallies.direct[0, :, 1].sum() / tallies.photons[0])
    passed = np.exp(-mu_s * d)
    error = np.exp(-mu_a * d) * np.sqrt(passed * (1 - passed) / tallies.photons[0])
    assert abs(found - np.exp(-(mu_a + mu_s) * d)) <= 3 * error + 1e-6
    heading = tallies.heading[0].sum(axis=0) / tallies.direct[0].sum()
    np.testing.assert_allclose(heading, [0, 0, 1], atol=1e-5)


@pytest.mark.parametrize("exponent", [0.0, 4.0])
def test_beam_follows_its_power_of_the_cosine(exponent):
    """I = I0 cos^m: within an angle of the axis lies the share 1 - cos^(m + 1) (textbook)."""
    lights = emitters([[0.0, 0.0, 0.0]], exponent=exponent, direction=(0.3, -0.5, 0.8))
    problem = body(ball(50.0), [AIR], lights, cell_mm=1.0, face_mm=2.5)
    tallies = follow(problem, 200_000)
    axis = lights.direction[0]
    centres = problem.walls.centroids[problem.skin]
    cos = centres @ axis / np.linalg.norm(centres, axis=1)
    for least in (0.95, 0.8, 0.5, 0.2):
        exact = 1 - least ** (exponent + 1)
        # Faces of 2.5 mm blur the zone's bound by 0.01 either way.
        slope = (exponent + 1) * least**exponent
        assert leaving(tallies, cos > least).agrees(exact, digits=0.005 * slope)
    assert leaving(tallies).mean == pytest.approx(1.0, abs=1e-9)


def test_view_factor_of_coaxial_discs():
    """Siegel & Howell's catalogue, the classic formula: a black disc in the middle of the lid."""
    tube = shape_mesh(Rod(kind="rod", length_mm=10, diameter_mm=80))
    rng = np.random.default_rng(5)
    count = 400
    radius, turn = 10 * np.sqrt(rng.uniform(size=count)), rng.uniform(0, 2 * np.pi, count)
    places = np.stack([radius * np.cos(turn), radius * np.sin(turn), np.full(count, 1e-6)], axis=1)
    lights = Emitters(
        places, np.tile([0.0, 0.0, 1.0], (count, 1)), np.ones(count),
        np.zeros(count, np.int64), np.full(count, 1 / count), np.zeros(count, np.int64),
    )  # fmt: skip
    problem = body(tube, [AIR], lights, cell_mm=1.0, face_mm=1.0)
    centres = problem.walls.centroids[problem.skin]
    disc = (centres[:, 2] > 9.999) & (np.hypot(centres[:, 0], centres[:, 1]) < 10)
    area = float(problem.walls.areas_mm2[problem.skin][disc].sum())
    exact = float(
        coaxial_discs(radius_from_mm=10, radius_to_mm=float(np.sqrt(area / np.pi)), distance_mm=10)
    )
    assert leaving(follow(problem, 120_000), disc).agrees(exact, digits=0.003)


@pytest.mark.slow
@pytest.mark.parametrize("ratio", [1.0, 1.5, 2.0])
def test_led_grid_lights_a_panel(ratio):
    """Square grid of Lambertian LEDs, pitch p, panel at depth h: E between the LEDs over E above
    them, by a Poisson sum over K1 (derived in `optics.photometry`), to 0.5 %."""
    depth, many = 20.0, 21
    pitch = ratio * depth
    x = pitch * (np.arange(many) - many // 2)
    places = np.array([[a, b, 1e-6] for a in x for b in x])
    count = len(places)
    lights = Emitters(
        places, np.tile([0.0, 0.0, 1.0], (count, 1)), np.ones(count),
        np.zeros(count, np.int64), np.full(count, 1 / count), np.zeros(count, np.int64),
    )  # fmt: skip
    width = pitch * many
    box = shape_mesh(Slab(kind="slab", length_mm=width, width_mm=width, thickness_mm=depth))
    problem = body(box, [AIR], lights, cell_mm=1.0, face_mm=pitch / 6)
    tallies = follow(problem, 2_000_000)
    centre = problem.walls.centroids[problem.skin]
    # Far from where LEDs are missing.
    near = (centre[:, 2] > depth - 1e-6) & (np.abs(centre[:, :2]) < 4.5 * pitch).all(axis=1)
    offset = np.abs((centre[:, :2] + pitch / 2) % pitch - pitch / 2)
    area = problem.walls.areas_mm2[problem.skin]
    found, exact = [], []
    for zone in (offset.max(axis=1) < 0.15 * pitch, offset.min(axis=1) > 0.35 * pitch):
        chosen = near & zone
        relative = led_grid_relative_illuminance(
            offset[chosen, 0], offset[chosen, 1], pitch_mm=pitch, depth_mm=depth
        )
        found.append(leaving(tallies, chosen))
        exact.append(float((relative * area[chosen]).sum()))
    above, between = found
    quotient = between.mean / above.mean
    error = quotient * np.hypot(between.error / between.mean, above.error / above.mean)
    wanted = exact[1] / exact[0]
    assert Share(quotient, error).agrees(wanted, digits=0.005 * wanted)
