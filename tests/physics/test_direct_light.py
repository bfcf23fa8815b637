"""Light that never scatters: beams, inverse square, cosine, clear slabs, an LED panel."""

from __future__ import annotations

import numpy as np
import pytest

from glowsim.geometry.shapes import shape_mesh
from glowsim.optics.photometry import led_grid_relative_illuminance
from glowsim.scene import Orb, Slab
from glowsim.transport.problem import AIR, Emitters
from tests.support.bodies import body, emitters, medium


def in_air(mesh, lights, face_mm):
    """A body of air: every face is an opening, so what arrives there leaves."""
    return body(mesh, [AIR], lights, cell_mm=1.0, face_mm=face_mm)


@pytest.mark.parametrize("exponent", [0.0, 1.0, 3.0])
def test_beam_follows_cosine_power_and_inverse_square(solve, exponent):
    """I = I0 cos^m, flux = 2 pi I0 / (m + 1), E = I / r^2 on a sphere around it (textbook)."""
    radius = 50.0
    ball = shape_mesh(Orb(kind="orb", diameter_mm=2 * radius))
    lights = emitters([[0.0, 0.0, 0.0]], exponent=exponent)
    leaving = solve(in_air(ball, lights, 15.0))
    cos = leaving.centroids[:, 2] / np.linalg.norm(leaving.centroids, axis=1)
    exact = np.where(cos > 0, (exponent + 1) / (2 * np.pi) * np.maximum(cos, 0) ** exponent, 0)
    exact /= radius**2
    zone = np.digitize(cos, [-1, -0.1, 0.1, 0.3, 0.5, 0.7, 0.85, 1])
    for k in np.unique(zone[np.abs(cos) > 0.15]):
        mine = (zone == k) & (np.abs(cos) > 0.15)
        weight = leaving.problem.walls.areas_mm2[leaving.problem.skin][mine]
        mean = (leaving.exitance[mine] * weight).sum() / weight.sum()
        wanted = (exact[mine] * weight).sum() / weight.sum()
        # One ray for a patch up to 0.3 of its distance wide: the midpoint rule is good to 1 %,
        # and to 2 % for light that ends sharply at the horizon, where patches count all or nothing.
        assert mean == pytest.approx(wanted, rel=0.01 if exponent else 0.02, abs=1e-9)
    assert leaving.total == pytest.approx(1.0, abs=1e-9)


@pytest.mark.parametrize(
    "ratio",
    [pytest.param(1.0, marks=pytest.mark.slow), 1.5, pytest.param(2.0, marks=pytest.mark.slow)],
)
def test_led_grid_lights_a_panel_as_the_closed_form_says(solve, ratio):
    """Square grid of Lambertian LEDs, pitch p, panel at depth h: E / E_mean above an LED and at
    the centre of a cell (Poisson sum over K1; derived in `optics.photometry`)."""
    depth, many = 20.0, 17
    pitch = ratio * depth
    half = pitch * (many // 2)
    x = np.linspace(-half, half, many)
    places = np.array([[a, b, 0.1] for a in x for b in x])
    count = len(places)
    lights = Emitters(
        places,
        np.tile([0.0, 0.0, 1.0], (count, 1)),
        np.ones(count),
        np.zeros(count, np.int64),
        np.full(count, 1 / count),
        np.zeros(count, np.int64),
    )
    width = 2 * half + pitch
    box = shape_mesh(Slab(kind="slab", length_mm=width, width_mm=width, thickness_mm=depth + 0.1))
    problem = in_air(box, lights, pitch / 6)
    # The direct light alone, on a few cells in the middle, far from the missing LEDs outside.
    leaving = solve(problem)
    centre = leaving.centroids
    top = centre[:, 2] > depth
    near = top & (np.abs(centre[:, :2]) < 2 * pitch).all(axis=1)
    offset = np.abs((centre[:, :2] + pitch / 2) % pitch - pitch / 2)
    above = near & (offset < 0.09 * pitch).all(axis=1)
    between = near & (offset > 0.41 * pitch).all(axis=1)
    exact = led_grid_relative_illuminance(
        offset[:, 0], offset[:, 1], pitch_mm=pitch, depth_mm=depth
    )
    area = leaving.problem.walls.areas_mm2[leaving.problem.skin]

    def mean(values, chosen):
        return float((values * area[chosen]).sum() / area[chosen].sum())

    found = mean(leaving.exitance[between], between) / mean(leaving.exitance[above], above)
    wanted = mean(exact[between], between) / mean(exact[above], above)
    # 17 x 17 LEDs miss a little far light: at most 1 % of the least lit place.
    assert found == pytest.approx(wanted, rel=0.03)


@pytest.mark.parametrize("mu_a", [0.02, 0.1, 0.4])
def test_clear_tinted_block_follows_beer_lambert(solve, mu_a):
    """exp(-mu_a d) between matched faces."""
    d, width = 5.0, 40.0
    air = shape_mesh(Slab(kind="slab", length_mm=width, width_mm=width, thickness_mm=3 * d))
    plate = shape_mesh(Slab(kind="slab", length_mm=width, width_mm=width, thickness_mm=d))
    inset = np.diag([0.99, 0.99, 1.0, 1.0])
    inset[2, 3] = d
    problem = body(
        air,
        [AIR, medium(mu_a, 0.0)],
        emitters([[0.1, 0.2, 1.0]], exponent=1e7),
        inserts=[plate.moved(inset)],
        cell_mm=2.5,
        face_mm=8.0,
    )
    leaving = solve(problem)
    assert leaving.total == pytest.approx(np.exp(-mu_a * d), rel=1e-3)
    assert leaving.absorbed == pytest.approx(1 - np.exp(-mu_a * d), rel=1e-3)
