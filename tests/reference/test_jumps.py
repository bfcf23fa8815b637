"""Jumps on = off: crossing clear material in single steps changes nothing that is observed."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from glowsim.geometry.shapes import shape_mesh
from glowsim.optics.exact import decay_constant, decay_constant_of_phase
from glowsim.optics.milne import departure
from glowsim.scene import Orb, Spike
from glowsim.transport.problem import BodyProblem, Kind
from glowsim.transport.reference.jumps import NO_JUMPS, jump_rule
from glowsim.transport.reference.packing import face_index
from glowsim.transport.reference.passage import MOST
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
    x, _, z = problem.walls.centroids[problem.skin].T
    zones = {"all": x == x, "near side": x > 0.5 * RADIUS, "far side": x < -0.5 * RADIUS}
    if z.max() > 2 * RADIUS:
        zones = {"all": x == x, "low": z < 24, "next": (z >= 24) & (z < 48)}
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
    assert compare(problem, 25_000) == []
    assert follow(problem, 1000, jumps=True).events[0, 3] > 0


@pytest.mark.slow
@pytest.mark.parametrize("n", [1.0, 1.5])
@pytest.mark.parametrize(("g", "photons"), [(0.0, 2_000_000), (0.9, 600_000)])
def test_on_is_off_in_a_ball(g, n, photons):
    """To one sigma of 0.05 % in all, ten transport lengths in radius."""
    assert compare(ball(10.0, g, n), photons) == []


@pytest.mark.slow
@pytest.mark.parametrize("n", [1.0, 1.5])
def test_on_is_off_in_a_large_ball(n):
    """Thirty transport lengths in radius: photons start again close to the wall."""
    assert compare(ball(30.0, 0.0, n), 1_000_000) == []


@pytest.mark.slow
@pytest.mark.parametrize("n", [1.0, 1.5])
def test_on_is_off_in_a_spike(n):
    """Its balls touch the wall in a ring only, and grow small toward the tip."""
    outer = shape_mesh(Spike(kind="spike", length_mm=120, base_diameter_mm=40, tip_radius_mm=2))
    material = medium(0.0012, 2.0, 0.0, n)
    lights = emitters([[0.1, 0.2, 14.0]], both_ways=True)
    problem = body(outer, [material], lights, cell_mm=1.0, face_mm=2.5)
    assert compare(problem, 1_000_000) == []


@pytest.mark.slow
@pytest.mark.parametrize("n", [1.0, 1.5])
@pytest.mark.parametrize(("g", "photons"), [(0.0, 1_500_000), (0.9, 600_000)])
def test_on_is_off_in_a_shell(g, n, photons):
    assert compare(thick_shell(g, n), photons) == []


def test_rule():
    mu_a = np.array([0.01, 0.02, 3.0])
    rule = jump_rule(mu_a, 10.0, 0.9, [0, 1], 1.5)
    length = 1 / 1.01
    assert rule.ahead_mm == pytest.approx(length)
    small, large = rule.margin_mm - rule.settle_mm
    # Set back by a transport length, a photon still starts below the wall.
    assert small == pytest.approx(2.1 * length)
    assert large == pytest.approx(1.1 * length)
    assert rule.settle_mm[1] == pytest.approx(
        length * departure(1.1, n=1.5, g=0.9, set_back=1.0), rel=1e-6
    )
    assert (rule.from_mm > rule.margin_mm).all()
    assert rule.most_mm == pytest.approx(MOST / rule.decay_per_mm.max())
    assert rule.decay_per_mm[2] == 0.0
    # Diffusion theory's sqrt(3 mu_a (mu_a + mu_s')) is right to first order in the absorption.
    assert rule.decay_per_mm[0] == pytest.approx(np.sqrt(3 * 0.01 * 1.01), rel=3e-3)
    assert jump_rule(mu_a, 0.0, 0.0, [0, 1], 1.5) is NO_JUMPS
    # Where a band is nearly black nothing diffuses.
    assert jump_rule(mu_a, 10.0, 0.9, [0, 1, 2], 1.5) is NO_JUMPS


def test_walls_of_more_than_one_kind_are_kept_clear_of():
    mu_a = np.full(3, 0.01)
    mixed, bare = (jump_rule(mu_a, 1.0, 0.0, [0, 1, 2], index) for index in (None, 1.0))
    assert (mixed.settle_mm == 0).all()
    assert mixed.margin_mm[0] == mixed.margin_mm[1] == pytest.approx(3 / 1.01)
    assert bare.margin_mm[1] < mixed.margin_mm[1]


def test_which_walls_are_of_one_kind():
    """Bare faces of one index, or walls that send light back diffusely; not two sorts together."""
    lights = emitters([[3.0, 2.0, 1.0]], both_ways=True)
    outer = shape_mesh(Orb(kind="orb", diameter_mm=2 * RADIUS))
    for n in (1.0, 1.5):
        hollow = shell(outer, medium(0.002, 1.0, 0.0, n), 5.0, lights, cell_mm=2.0, face_mm=5.0)
        assert face_index(hollow, 0) == n
        core = replace(hollow, media=(hollow.media[0], replace(hollow.media[1], kind=Kind.OPAQUE)))
        assert face_index(core, 0) == (1.0 if n == 1.0 else None)
        filled = replace(
            hollow, media=(hollow.media[0], replace(hollow.media[1], kind=Kind.SCATTERS))
        )
        assert face_index(filled, 0) is None
        coat = np.where(hollow.outside == -1, 0, -1)
        painted = replace(hollow, coat=coat)
        assert face_index(painted, 0) == (1.0 if n == 1.0 else None)


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
        shares.append(leaving(follow(problem, 40_000)))
    # What leaves a large ball goes as R exp(-k R), the same function of depth at its surface.
    one, other = shares
    found = -np.log(other.mean / one.mean * near / far) / (far - near)
    error = np.hypot(one.error / one.mean, other.error / other.mean) / (far - near)
    assert abs(found - k) < 3 * error + 0.004 * k
