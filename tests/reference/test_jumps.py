"""Jumps on = off: crossing clear material in single steps changes nothing that is observed."""

from __future__ import annotations

import numpy as np
import pytest

from glowsim.geometry.shapes import shape_mesh
from glowsim.optics.exact import decay_constant, decay_constant_of_phase
from glowsim.scene import Orb
from glowsim.transport.problem import BodyProblem
from glowsim.transport.reference.jumps import FAR, jump_rule
from tests.support.bodies import body, emitters, medium, shell
from tests.support.monte_carlo import follow, leaving

RADIUS = 20.0


def ball(lengths: float, g: float, n: float) -> BodyProblem:
    """A ball whose radius is so many transport lengths, lit from off its middle."""
    reduced = lengths / RADIUS
    outer = shape_mesh(Orb(kind="orb", diameter_mm=2 * RADIUS))
    lights = emitters([[3.0, 2.0, 1.0]], both_ways=True)
    # Absorption lets out three quarters of the light, whatever the thickness.
    material = medium(0.0012 / reduced, reduced, g, n)
    return body(outer, [material], lights, cell_mm=1.0, face_mm=2.5)


def thick_shell(g: float, n: float) -> BodyProblem:
    """A shell five transport lengths thick, lit from its hollow."""
    outer = shape_mesh(Orb(kind="orb", diameter_mm=2 * RADIUS))
    lights = emitters([[1.0, 0.0, 2.0]], region=1, both_ways=True)
    return shell(outer, medium(0.002, 1.0, g, n), 5.0, lights, cell_mm=2.0, face_mm=5.0)


def compare(problem: BodyProblem, photons: int) -> list[str]:
    """Return what differs by more than three standard errors; photons are shared by none."""
    off = follow(problem, photons, seed=1, jumps=False)
    on = follow(problem, photons, seed=2, jumps=True)
    x = problem.walls.centroids[problem.skin][:, 0]
    zones = {"all": x == x, "near side": x > 0.5 * RADIUS, "far side": x < -0.5 * RADIUS}
    wrong = []
    for name, zone in zones.items():
        one, other = leaving(off, zone), leaving(on, zone)
        error = np.hypot(one.error, other.error) / one.mean
        print(f"{name}: {100 * (other.mean / one.mean - 1):+.3f} +- {100 * error:.3f} %")
        if not one.agrees(other):
            wrong.append(name)
        assert name != "all" or error < 0.0015 or photons < 500_000
    return wrong


@pytest.mark.parametrize(("g", "n"), [(0.0, 1.5), (0.9, 1.0)])
def test_on_is_off(g, n):
    problem = ball(10.0, g, n)
    assert compare(problem, 60_000) == []
    assert follow(problem, 1000, jumps=True).events[0, 3] > 0


@pytest.mark.slow
@pytest.mark.parametrize("n", [1.0, 1.5])
@pytest.mark.parametrize(("g", "photons"), [(0.0, 2_000_000), (0.9, 600_000)])
def test_on_is_off_in_a_ball(g, n, photons):
    """To one sigma of 0.05 % in all, ten transport lengths in radius."""
    assert compare(ball(10.0, g, n), photons) == []


@pytest.mark.slow
@pytest.mark.parametrize("n", [1.0, 1.5])
@pytest.mark.parametrize(("g", "photons"), [(0.0, 1_500_000), (0.9, 600_000)])
def test_on_is_off_in_a_shell(g, n, photons):
    assert compare(thick_shell(g, n), photons) == []


def test_rule():
    mu_a = np.array([0.01, 0.02, 3.0])
    rule = jump_rule(mu_a, 10.0, 0.9, [0, 1], True)
    assert rule.ahead_mm == pytest.approx(1 / 1.01)
    assert rule.margin_mm == pytest.approx(1.1 / 1.01)
    assert rule.from_mm > rule.margin_mm
    assert rule.decay_per_mm[2] == 0.0
    # Diffusion theory's sqrt(3 mu_a (mu_a + mu_s')) is right to first order in the absorption.
    assert rule.decay_per_mm[0] == pytest.approx(np.sqrt(3 * 0.01 * 1.01), rel=3e-3)
    assert jump_rule(mu_a, 10.0, 0.9, [0, 1], False).from_mm == FAR
    assert jump_rule(mu_a, 0.0, 0.0, [0, 1], True).from_mm == FAR
    # Where a band is nearly black nothing diffuses.
    assert jump_rule(mu_a, 10.0, 0.9, [0, 1, 2], True).from_mm == FAR


@pytest.mark.parametrize("albedo", [0.5, 0.8, 0.99, 0.9999])
def test_decay_constant_of_isotropic_scattering(albedo):
    exact = decay_constant(albedo)
    assert decay_constant_of_phase(albedo=albedo, g=0.0) == pytest.approx(exact, rel=1e-9)


@pytest.mark.parametrize("g", [-0.3, 0.5, 0.9])
def test_decay_constant_comes_down_to_diffusion(g):
    """sqrt(3 (1 - c) (1 - c g)) for little absorption (textbook)."""
    for absorbed, tolerance in ((1e-3, 3e-3), (1e-5, 3e-5)):
        albedo = 1 - absorbed
        diffusion = np.sqrt(3 * absorbed * (1 - albedo * g))
        found = decay_constant_of_phase(albedo=albedo, g=g)
        assert found == pytest.approx(diffusion, rel=tolerance)
        assert found < diffusion


def test_light_falls_off_as_the_decay_constant_says():
    """Plain transport at g = 0.9, absorption a tenth: from depth to depth light falls by exp(-k d),
    where diffusion theory would say 15 % more in the exponent."""
    mu_a, mu_s, g = 0.1, 0.9, 0.9
    k = decay_constant_of_phase(albedo=mu_s / (mu_a + mu_s), g=g) * (mu_a + mu_s)
    near, far = (np.array([60.0, 80.0]) / (mu_a + mu_s)) * 0.5
    shares = []
    for radius in (near, far):
        outer = shape_mesh(Orb(kind="orb", diameter_mm=2 * radius))
        lights = emitters([[0.0, 0.0, 0.0]], both_ways=True)
        material = medium(mu_a, mu_s * (1 - g), g)
        problem = body(outer, [material], lights, cell_mm=1.0, face_mm=radius)
        shares.append(leaving(follow(problem, 60_000)))
    # What leaves a large ball goes as R exp(-k R), the same function of depth at its surface.
    one, other = shares
    found = -np.log(other.mean / one.mean * near / far) / (far - near)
    error = np.hypot(one.error / one.mean, other.error / other.mean) / (far - near)
    assert abs(found - k) < 3 * error + 0.004 * k
