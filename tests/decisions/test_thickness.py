"""Thickness sweeps against closed forms, and the search for the least that is enough."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from glowsim.catalogue import load_catalogue
from glowsim.decisions.advice import _between, _by_reference, grain_mm
from glowsim.decisions.step import judged
from glowsim.decisions.thickness import thickness, values_mm
from glowsim.decisions.worth import LEAST_GAIN, off_log
from glowsim.electrics.heat import heat_of
from glowsim.errors import GlowsimError, MaterialError, SceneError
from glowsim.findings.evenness import evenness
from glowsim.scene import parse_scene
from glowsim.transport.reference import Goal
from glowsim.transport.solve import solve
from tests.support.diffusion import hollow_sphere_escape_fraction
from tests.support.photometry import led_grid_relative_illuminance
from tests.support.sweeps import SPIKE, orb, spike

PITCH_MM = 40.0
ROWS = range(-2, 3)


def light_box(target: float):
    """A flat box of black film that lets half through, with 5 x 5 LEDs 40 mm apart in it; judged
    is the cell above the LED in the middle."""
    strips = "".join(
        f"""
  [[bodies.lights]]
  board = "row"
  led_count = {len(ROWS)}
  position_mm = [0, {PITCH_MM * k}, 30]
  along = [1, 0, 0]
  drive = {{ red = 0.1, green = 0.1, blue = 0.1 }}
"""
        for k in ROWS
    )
    return parse_scene(
        f"""
[findings]
evenness_target = {target}
[coats.black_film]
label = "lets half through, sends nothing back"
reflectance = 0.0
transmittance = 0.5
[boards.row]
like = "strip_30"
pitch_mm = {PITCH_MM}
[[bodies]]
name = "box"
material = "black_film"
shape = {{ kind = "slab", length_mm = 240, width_mm = 240, thickness_mm = 60 }}
detail_mm = 5
glow_where = {{ centre_mm = [0, 0, 60], radius_mm = 28.3, facing = [0, 0, 1] }}
{strips}
"""
    )


def grid_evenness(centre, area, depth_mm: float):
    """Return evenness above the 25 LEDs: each Lambertian LED gives h^2 / (r^2 + h^2)^2."""
    leds = PITCH_MM * np.array(ROWS)
    across = (centre[:, 0, None, None] - leds[:, None]) ** 2
    along = (centre[:, 1, None, None] - leds) ** 2
    return evenness("exact", (1 / (across + along + depth_mm**2) ** 2).sum(axis=(1, 2)), area)


@pytest.fixture(scope="module")
def box():
    return thickness(light_box(target=0.75), from_mm=16, to_mm=32, steps=3)


@pytest.mark.slow
def test_light_box_follows_pitch_over_depth(box):
    """The trade's question of LED pitch over depth, against the sum over the LEDs at each step,
    and against the endless grid (Poisson's sum, `support.photometry`), which 25 LEDs fall short
    of by some percent."""
    assert box.variation.vary == "depth"
    for step in box.steps:
        body = step.glow.bodies[0]
        centre = body.surface.centroids[body.glows]
        area = body.surface.areas_mm2[body.glows]
        exact = grid_evenness(centre, area, step.value)
        assert step.even == pytest.approx(exact.p5_over_mean, rel=0.01)
        assert step.evenness.u0 == pytest.approx(exact.u0, rel=0.01)
        endless = led_grid_relative_illuminance(
            centre[:, 0], centre[:, 1], pitch_mm=PITCH_MM, depth_mm=step.value
        )
        assert step.even == pytest.approx(evenness("", endless, area).p5_over_mean, rel=0.05)


@pytest.mark.slow
def test_light_box_recommends_the_depth_that_is_even_enough(box):
    advice = box.advice[0]
    assert advice.meets
    assert advice.predicted == pytest.approx(advice.step.worse_end, rel=0.02)
    body = advice.step.glow.bodies[0]
    centre, area = body.surface.centroids[body.glows], body.surface.areas_mm2[body.glows]
    grain = grain_mm(32 - 16)
    depths = np.arange(16, 32, grain)
    # LEDs stand out as peaks: their bright end is worse than the dark one.
    exact = [grid_evenness(centre, area, depth).worse_end for depth in depths]
    least = depths[np.argmax(np.array(exact) >= 0.75)]
    assert advice.value_mm == pytest.approx(least, abs=1.01 * grain)
    assert f"a depth of {advice.value_mm:g} mm is the least that is even enough" in advice.text
    assert "position_mm = [0, 0, " in advice.edit


@pytest.fixture(scope="module")
def shell():
    return thickness(orb(), from_mm=1, to_mm=4, steps=2)


@pytest.mark.slow
def test_shell_lets_out_what_its_wall_lets_through(shell):
    """Share let out of a closed shell, T / (T + A) in the flat limit; closed form of diffusion
    theory for the sphere (`support.diffusion`). The board takes no light: it is white."""
    for step in shell.steps:
        exact = hollow_sphere_escape_fraction(
            inner_radius_mm=12 - step.value,
            wall_mm=step.value,
            mu_a_per_mm=0.02,
            mu_s_reduced_per_mm=2.0,
            n=1.5,
        )
        assert step.escape_fraction == pytest.approx(float(exact), rel=0.02)


@pytest.mark.slow
def test_shell_weighs_what_its_wall_holds(shell):
    for step in shell.steps:
        volume_mm3 = 4 / 3 * np.pi * (12**3 - (12 - step.value) ** 3)
        assert step.weight_g == pytest.approx(volume_mm3 * 1e-3, rel=0.01)


@pytest.mark.slow
def test_a_thicker_wall_is_dimmer(shell):
    means = [step.evenness.mean_cd_m2 for step in shell.steps]
    assert means == sorted(means, reverse=True)
    assert [step.escape_fraction for step in shell.steps] == sorted(
        (step.escape_fraction for step in shell.steps), reverse=True
    )


@pytest.mark.slow
def test_thin_steps_are_called_a_rough_guide(shell):
    assert shell.steps[0].trust  # 2 transport lengths
    assert not shell.steps[-1].trust  # 8 of them
    assert shell.steps[0].as_json()["rough_guide_because"]


def test_several_materials_stand_side_by_side():
    names = ("upholstery_foam_white", "upholstery_foam_charcoal")
    answer = thickness(spike(), "spike", from_mm=0, to_mm=8, steps=2, materials=names)
    assert [step.material for step in answer.steps] == [names[0]] * 2 + [names[1]] * 2
    white, charcoal = (answer.of(name)[0] for name in names)
    assert charcoal.escape_fraction < white.escape_fraction / 3
    assert charcoal.weight_g == pytest.approx(white.weight_g)
    for advice in answer.advice:
        assert not advice.meets
        assert "no value tried is even enough" in advice.text
        steps = answer.of(advice.material)
        least = min(off_log(step) for step in steps)
        near = [step for step in steps if (1 - LEAST_GAIN) * off_log(step) <= least]
        brightest = max(step.evenness.mean_cd_m2 for step in near)
        assert advice.step.evenness.mean_cd_m2 == brightest
    # Black foam over the same light is no gain on white foam as drawn.
    assert not answer.advice[1].worth
    assert answer.advice[1].edit == "leave it as it is"
    assert "leave it as it is" in answer.advice[1].text
    assert answer.before.evenness == answer.of(names[0])[0].evenness


def test_the_named_body_is_judged_and_no_other():
    """A body may be called as a copy of another would be."""
    first = SPIKE[SPIKE.index("[[bodies]]") : SPIKE.rindex("[[bodies]]")]
    second = first.replace('name = "spike"', 'name = "spike 2"').replace("red = 0.2", "red = 0.4")
    text = SPIKE + second
    scene = parse_scene(text)
    glow = solve(scene)
    catalogue = load_catalogue(scene.toml)
    one, two = (judged(glow, scene, k, 0.0, "upholstery_foam_white", catalogue) for k in (0, 2))
    assert len(one.findings.bodies) == len(two.findings.bodies) == 1
    emitted = [step.findings.account.emitted_lm for step in (one, two)]
    np.testing.assert_allclose(emitted[1], emitted[0] * [2, 1, 1])
    assert two.evenness.mean_cd_m2 > 1.1 * one.evenness.mean_cd_m2


def test_heat_is_named_where_it_limits_the_glow():
    bright = "{ red = 1, green = 1, blue = 1 }"
    answer = thickness(spike(drive=bright), "spike", from_mm=0, to_mm=2, steps=2)
    step, text = answer.advice[0].step, answer.advice[0].text
    assert step.as_json()["above_heat_limit"]
    assert "Heat, not optics, limits this glow" in text
    # By the heat sum, at every step and in every command.
    (board,) = heat_of(step.scene_file, how_soon=False).boards
    assert step.heat.limit_w == pytest.approx(board.bearable_w)
    assert f"As driven it gets {board.board_c:.0f} °C warm" in text
    told = answer.advice[0].as_json()
    assert told["warmest_board_bears_w"] == pytest.approx(board.bearable_w, abs=1e-4)
    assert told["warmest_board_c"] == pytest.approx(board.board_c, abs=0.05)
    assert all(one.heat.board_c is not None for one in answer.steps)
    factor = step.heat.heat_factor
    dimmed = f"{{ red = {factor:.6f}, green = {factor:.6f}, blue = {factor:.6f} }}"
    again = thickness(spike(drive=dimmed), "spike", from_mm=0, to_mm=2, steps=2).advice[0].step
    assert again.evenness.mean_cd_m2 == pytest.approx(step.mean_at_cd_m2(factor), rel=1e-4)
    assert again.lit.grade == step.grade_at(factor)
    assert again.heat.power_w == pytest.approx(again.heat.limit_w, rel=1e-3)
    assert again.even == pytest.approx(step.even, rel=1e-4)


@pytest.mark.slow
def test_a_board_that_does_not_fit_is_named():
    """25 mm up the spike is 17 mm wide, enough for the LEDs; the board is 23 mm wide."""
    answer = thickness(spike(), "spike", from_mm=35, to_mm=36, steps=2, vary="depth")
    assert "board sticks 2.4 mm out of the body at (-11.5, 0.0, 25.0) mm" in answer.advice[0].text


def test_the_reference_solver_can_be_asked_at_what_is_recommended():
    goal = Goal(noise=None, photons=20_000)
    advice = thickness(spike(), "spike", from_mm=0, to_mm=4, steps=2, check=goal).advice[0]
    assert advice.reference.glow.solver == "reference"
    assert advice.reference.value == advice.value_mm
    quick, reference = advice.step.evenness, advice.reference.evenness
    assert reference.mean_cd_m2 == pytest.approx(quick.mean_cd_m2, rel=0.05)
    assert "The reference solver gives 5%/mean" in advice.text
    assert advice.as_json()["reference"]["solver"] == "reference"


def test_the_verdict_of_the_reference_solver_counts():
    def step(even: float, shifted: tuple[str, ...] = ()) -> SimpleNamespace:
        figures = SimpleNamespace(
            p5_over_mean=even, mean_cd_m2=10.0, noise={"p5_over_mean": 0.01}, shifted=shifted
        )
        return SimpleNamespace(even=even, evenness=figures, enough=even >= 0.5)

    assert "is not even enough" in " ".join(_by_reference(step(0.52), step(0.45)))
    assert "is even enough" in " ".join(_by_reference(step(0.45), step(0.52)))
    assert len(_by_reference(step(0.52), step(0.55))) == 1
    noisy = _by_reference(step(0.52), step(0.45, ("p5_over_mean",)))
    assert "more --time" in noisy[1]


@pytest.mark.parametrize(
    ("curve", "target"),
    [
        (lambda x: 1 - np.exp(-x / 12), 0.5),
        (lambda x: x**2 / 1600, 0.5),
        (lambda x: 0.5 + 0.5 * np.tanh((x - 21) / 3), 0.6),
        (lambda x: 0.8 * x / (x + 10), 0.3),
    ],
)
def test_the_search_finds_the_least_round_value(curve, target):
    solved = []

    def solve(value):
        solved.append(value)
        return SimpleNamespace(value=value, worse_end=float(curve(value)))

    steps = [SimpleNamespace(value=x, worse_end=float(curve(x))) for x in np.linspace(5, 40, 8)]
    first = next(k for k, step in enumerate(steps) if step.worse_end >= target)
    step, predicted = _between(steps, first, target, solve)
    grain = grain_mm(35)
    rounded = np.arange(5, 40 + grain, grain)
    least = rounded[curve(rounded) >= target - 1e-12][0]
    assert step.worse_end >= target
    assert least - 1e-9 <= step.value <= least + grain + 1e-9
    assert len(solved) <= 5
    if predicted is not None:
        assert predicted == pytest.approx(step.worse_end, rel=0.02)


def test_values_are_round_and_keep_their_ends():
    assert values_mm(0.8, 4, 8) == [0.8, 1.26, 1.71, 2.17, 2.63, 3.09, 3.54, 4]
    assert values_mm(5, 40, 8) == [5, 10, 15, 20, 25, 30, 35, 40]
    assert values_mm(1, 1.04, 3) == [1, 1.02, 1.04]
    assert grain_mm(35) == 0.5
    assert grain_mm(3.2) == 0.05


@pytest.mark.parametrize(
    ("arguments", "kind", "said"),
    [
        ({"from_mm": 9, "to_mm": 9}, SceneError, "from 9 to 9 mm does not"),
        ({"from_mm": -1, "to_mm": 9}, SceneError, "from -1 to 9 mm does not"),
        ({"from_mm": 1, "to_mm": 9, "steps": 0}, SceneError, "takes 2 to 200 steps, not 0"),
        ({"from_mm": 1, "to_mm": 1.01, "steps": 9}, SceneError, "nothing is made that closely"),
        ({"from_mm": 2, "to_mm": 30}, SceneError, "leaves no hollow"),
        ({"from_mm": 2, "to_mm": 3, "body": "moon"}, SceneError, "no body 'moon'"),
        ({"from_mm": 2, "to_mm": 3, "materials": ["glass"]}, MaterialError, "no material 'glass'"),
        ({"from_mm": 2, "to_mm": 50, "vary": "depth"}, SceneError, "outside the body 'orb'"),
        ({"from_mm": 0.2, "to_mm": 50, "vary": "size"}, GlowsimError, "wall_mm"),
    ],
)
def test_bad_asks_are_refused_before_anything_is_solved(arguments, kind, said, monkeypatch):
    monkeypatch.setattr("glowsim.decisions.thickness.solve_scenes", None)
    with pytest.raises(kind) as fault:
        thickness(orb(), **arguments)
    assert said in str(fault.value)
    assert "\n" not in str(fault.value)
