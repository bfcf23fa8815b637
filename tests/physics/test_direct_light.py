"""Light that never scatters: beams, inverse square, cosine, clear slabs, an LED panel."""

from __future__ import annotations

import numpy as np
import pytest

from glowsim.geometry.mesh import Mesh
from glowsim.geometry.shapes import shape_mesh
from glowsim.scene import Orb, Rod, Slab
from glowsim.transport.problem import AIR, BodyProblem, Emitters
from tests.support.bodies import body, emitters, medium
from tests.support.monte_carlo import ratio
from tests.support.photometry import led_grid_relative_illuminance
from tests.support.slabs import lit_slab
from tests.support.solvers import reference
from tests.support.viewfactors import coaxial_discs


def in_air(mesh: Mesh, lights: Emitters, face_mm: float) -> BodyProblem:
    """A body of air: every face is an opening, so what arrives there leaves."""
    return body(mesh, [AIR], lights, cell_mm=1.0, face_mm=face_mm)


def leds_facing_up(places: np.ndarray) -> Emitters:
    """One light of many matt LEDs, or of a matt surface, that face upwards."""
    count = len(places)
    return Emitters(
        places,
        np.tile([0.0, 0.0, 1.0], (count, 1)),
        np.ones(count),
        np.zeros(count, np.int64),
        np.full(count, 1 / count),
        np.zeros(count, np.int64),
    )


@pytest.mark.parametrize("exponent", [0.0, 4.0])
def test_beam_follows_cosine_power_and_inverse_square(solve, exponent):
    """I = I0 cos^m, flux = 2 pi I0 / (m + 1), E = I cos(incidence) / r^2 (textbook)."""
    ball = shape_mesh(Orb(kind="orb", diameter_mm=100))
    place = np.array([8.0, -5.0, 4.0])
    lights = emitters([place], exponent=exponent, direction=(0.3, -0.5, 0.8))
    problem = in_air(ball, lights, 5.0)
    leaving = solve(problem, 200_000)
    way = leaving.centroids - place
    distance = np.linalg.norm(way, axis=1)
    cos = way @ lights.direction[0] / distance
    incidence = (way * problem.walls.normals[problem.skin]).sum(axis=1) / distance
    intensity = (exponent + 1) / (2 * np.pi) * np.maximum(cos, 0.0) ** exponent * (cos > 0)
    arrives = intensity * incidence / distance**2 * leaving.areas
    # Faces of 5 mm that lie across the horizon are left out.
    zone = np.digitize(cos, [-0.1, 0.1, 0.3, 0.5, 0.7, 0.85, 0.95])
    for k in range(2, 8):
        exact = float(arrives[zone == k].sum())
        # The light on a face is taken from its middle: good to 0.2 % of what falls on the zone.
        assert leaving.leaves(zone == k).agrees(exact, digits=2e-3 * exact, within=5e-3)
    assert leaving.leaves(zone == 0).mean == 0
    assert leaving.leaves().mean == pytest.approx(1.0, abs=1e-9)


def test_view_factor_of_coaxial_discs(solve):
    """Siegel & Howell's catalogue, the classic formula: a black disc in the middle of the lid."""
    tube = shape_mesh(Rod(kind="rod", length_mm=10, diameter_mm=40))
    k = np.arange(100) + 0.5
    radius, turn = 10 * np.sqrt(k / 100), np.pi * (1 + np.sqrt(5)) * k
    places = np.stack([radius * np.cos(turn), radius * np.sin(turn), np.full(100, 1e-6)], axis=1)
    leaving = solve(in_air(tube, leds_facing_up(places), 2.0), 400_000)
    centre = leaving.centroids
    disc = (centre[:, 2] > 9.999) & (np.hypot(centre[:, 0], centre[:, 1]) < 10)
    as_large = float(np.sqrt(leaving.areas[disc].sum() / np.pi))
    exact = float(coaxial_discs(radius_from_mm=10, radius_to_mm=as_large, distance_mm=10))
    # The disc of faces has a jagged edge.
    assert leaving.leaves(disc).agrees(exact, digits=1e-3, within=5e-3)


def spread_over(triangles: np.ndarray, cuts: int = 4) -> np.ndarray:
    """Return the middles of the cuts^2 parts of each triangle, (parts, m, 3) float."""
    k = np.arange(cuts)
    a, b = (x.ravel() for x in np.meshgrid(k, k))
    upright = np.stack([a + 1 / 3, b + 1 / 3], axis=1)[a + b < cuts]
    turned = np.stack([a + 2 / 3, b + 2 / 3], axis=1)[a + b < cuts - 1]
    u, v = (np.concatenate([upright, turned]) / cuts).T
    weights = np.stack([1 - u - v, u, v], axis=1)
    return np.einsum("pc,mcx->pmx", weights, triangles)


@pytest.mark.parametrize(
    "spacing",
    [pytest.param(1.0, marks=pytest.mark.slow), 1.5, pytest.param(2.0, marks=pytest.mark.slow)],
)
@pytest.mark.slow_for("reference")
def test_led_grid_lights_a_panel(solve, spacing):
    """Square grid of Lambertian LEDs, pitch p, panel at depth h: how much darker it is between the
    LEDs than above them. By the sum of cos^4 / h^2 over the LEDs there are, and by the Poisson sum
    over K1 for an endless grid (derived in `support.photometry`)."""
    depth, led = 20.0, 1.0
    many, kept = (7, 1) if spacing < 2 else (9, 2)  # wide ones are farther from an endless grid
    pitch = spacing * depth
    x = pitch * (np.arange(many) - many // 2)
    places = np.array([[a, b, led] for a in x for b in x])
    box = Slab(kind="slab", length_mm=pitch * many, width_mm=pitch * many, thickness_mm=depth + led)
    leaving = solve(in_air(shape_mesh(box), leds_facing_up(places), depth / 5), 4_000_000)
    found, exact, endless = [], [], []
    centre = leaving.centroids
    offset = np.abs((centre[:, :2] + pitch / 2) % pitch - pitch / 2)
    panel = (centre[:, 2] > depth + led - 1e-6) & (np.abs(centre[:, :2]) < kept * pitch).all(axis=1)
    for zone in (offset.min(axis=1) > 0.35 * pitch, offset.max(axis=1) < 0.15 * pitch):
        chosen = panel & zone
        found.append(leaving.exitance(1.0 * chosen))
        spots = spread_over(leaving.problem.walls.triangles[leaving.problem.skin][chosen])[..., :2]
        weight = leaving.areas[chosen] / leaving.areas[chosen].sum()
        away = ((spots[:, :, None] - places[:, :2]) ** 2).sum(axis=3)
        exact.append(float((1 / (depth**2 + away) ** 2).sum(axis=2).mean(axis=0) @ weight))
        relative = led_grid_relative_illuminance(
            spots[..., 0], spots[..., 1], pitch_mm=pitch, depth_mm=depth
        )
        endless.append(float(relative.mean(axis=0) @ weight))
    wanted = exact[0] / exact[1]
    print(ratio(*found), wanted, endless[0] / endless[1])
    assert wanted == pytest.approx(endless[0] / endless[1], rel=0.01)
    assert ratio(*found).agrees(wanted, within=0.005)


@pytest.mark.parametrize(("mu_a", "mu_s"), [(0.1, 0.0), (0.02, 0.15), (0.4, 0.15)])
def test_unscattered_light_follows_beer_lambert(solve, mu_a, mu_s):
    """exp(-(mu_a + mu_s) d) between matched faces, kept apart as direct light."""
    check_beer_lambert(solve, mu_a, mu_s, 0.0)


@pytest.mark.parametrize("mu_a", [0.02, 0.3])
def test_forward_scattered_light_is_not_direct(mu_a):
    """For the reference alone: quick takes the forward peak of g = 0.8 for light unscattered, by
    the delta-P1 approximation."""
    check_beer_lambert(reference, mu_a, 0.3, 0.8)


def check_beer_lambert(solve, mu_a: float, mu_s: float, g: float) -> None:
    d = 5.0
    leaving = solve(lit_slab([(medium(mu_a, mu_s * (1 - g), g), d)], width=6.0), 100_000)
    direct = leaving.unscattered()
    exact = float(np.exp(-(mu_a + mu_s) * d))
    # Sums of single precision.
    assert direct.agrees(exact, digits=1e-6, within=1e-3)
    way = leaving.direct_moment[0].sum(axis=0) / (3 * direct.mean)
    np.testing.assert_allclose(way, [0, 0, -1], atol=1e-5)
    if mu_s == 0:
        assert leaving.stays_in(1).agrees(1 - exact, digits=1e-6, within=1e-3)
