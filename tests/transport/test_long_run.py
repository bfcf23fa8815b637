"""The reference solver over a whole scene: saved, resumed, interrupted, refused."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from glowsim.errors import SolveError
from glowsim.scene import parse_scene
from glowsim.transport import long_run
from glowsim.transport.build import body_problem
from glowsim.transport.plan import plan_of
from glowsim.transport.reference import Goal, solve_body
from glowsim.transport.solve import solve
from glowsim.transport.store import load_glow, load_tallies

SCENE = """
[[bodies]]
name = "puff"
shape = { kind = "orb", diameter_mm = 24 }
material = "polyester_stuffing"
detail_mm = 6
  [[bodies.lights]]
  board = "rgb_5050_18ma"
  position_mm = [0, 0, 0]
  zone = "a"
  [[bodies.patterns]]
  kind = "along"
  count = 3
  step_mm = [50, 0, 0]
[[bodies]]
name = "rod"
shape = { kind = "rod", length_mm = 30, diameter_mm = 20 }
material = "wood_dowel"
[[bodies]]
name = "drop"
shape = { kind = "orb", diameter_mm = 30 }
material = "polyester_stuffing"
detail_mm = 6
  [[bodies.lights]]
  board = "rgb_5050_18ma"
  position_mm = [0, 0, 3]
"""
pytestmark = pytest.mark.usefixtures("small_batches")
FEW = Goal(noise=None, photons=1)
"""One batch: photons are followed in whole batches."""


def worked_on(text=SCENE, **options):
    done: list[str] = []
    glow = solve(parse_scene(text), method="reference", report=done.append, **options)
    return glow, [line for line in done if line.startswith("following")]


def photons_in(path):
    return {key: int(tables["photons"].sum()) for key, tables in load_tallies(path).items()}


def three_batches(path):
    return Goal(noise=None, photons=2 * max(photons_in(path).values()) + 1)


@pytest.fixture(scope="module")
def begun(tmp_path_factory):
    """A finished run of FEW, and its file's content."""
    path = tmp_path_factory.mktemp("begun") / "reference.npz"
    glow, done = worked_on(saved=path, goal=FEW)
    assert len(done) == 2
    return glow, path.read_bytes()


@pytest.fixture
def saved(begun, tmp_path):
    path = tmp_path / "reference.npz"
    path.write_bytes(begun[1])
    return path


def test_the_file_holds_the_glow_its_errors_and_its_photons(begun, saved):
    glow, _ = begun
    back = load_glow(saved)
    assert back.solver == "reference"
    assert [body.name for body in back.bodies] == ["puff", "rod", "drop"]
    assert len(back.copies) == 5
    for old, new in zip(glow.bodies, back.bodies, strict=True):
        np.testing.assert_array_equal(new.diffuse, old.diffuse)
        assert new.likeness == old.likeness
        if new.light_count:
            assert new.error is not None
            np.testing.assert_array_equal(new.error, old.error)
            assert (new.error > 0).any()
    assert len(photons_in(saved)) == 2
    assert min(photons_in(saved).values()) > 0


def test_fresh_photons_replace_the_old_ones_only_once_they_are_there(saved, monkeypatch):
    before = saved.read_bytes()

    def stopped(*args, **kwargs):
        raise KeyboardInterrupt

    with monkeypatch.context() as busy:
        busy.setattr(long_run, "solve_body", stopped)
        with pytest.raises(KeyboardInterrupt):
            worked_on(saved=saved, goal=FEW, fresh=True, seed=9)
    assert saved.read_bytes() == before
    _, done = worked_on(saved=saved, goal=FEW, fresh=True, seed=9)
    assert len(done) == 2
    assert load_glow(saved).seed == 9


def test_resuming_gives_the_numbers_of_one_long_run(saved, tmp_path):
    before, goal = photons_in(saved), three_batches(saved)
    told: list[int] = []

    def watch(body, share, progress):
        if progress.what == "photons":
            told.append(progress.photons)

    resumed, done = worked_on(saved=saved, goal=goal, resume=True, watch=watch)
    assert len(done) == 2
    assert min(told) >= min(before.values()), "it starts from what was saved, not from nothing"
    after = photons_in(saved)
    assert all(after[key] >= 3 * before[key] for key in before)
    at_once, _ = worked_on(saved=tmp_path / "once.npz", goal=goal)
    for one, other in zip(resumed.bodies, at_once.bodies, strict=True):
        np.testing.assert_array_equal(one.diffuse, other.diffuse)
        if one.light_count:
            np.testing.assert_array_equal(one.error, other.error)


def test_new_photons_are_not_the_old_ones_again(begun, saved):
    few, _ = begun
    resumed, _ = worked_on(saved=saved, goal=three_batches(saved), resume=True)
    old, new = few.bodies[0], resumed.bodies[0]
    # Re-used photons would leave the mean as it was and the error too.
    assert np.abs(new.diffuse - old.diffuse).max() > 0
    met = old.error[0, 1] > 0  # the board keeps its first photons from some faces behind it
    ratio = float(np.sqrt((new.error[0, 1, met] ** 2).sum() / (old.error[0, 1, met] ** 2).sum()))
    share = float(few.bodies[0].account.escaped[0, 1])
    assert ratio == pytest.approx(np.sqrt(1 / 3), rel=0.1)
    assert new.account.escaped[0, 1] == pytest.approx(share, abs=0.02)


def test_a_goal_that_is_reached_needs_no_photons(begun, saved):
    before = saved.stat().st_mtime_ns
    for resume in (False, True):
        again, done = worked_on(saved=saved, goal=FEW, resume=resume)
        assert done == []
        np.testing.assert_array_equal(again.bodies[0].diffuse, begun[0].bodies[0].diffuse)
    assert saved.stat().st_mtime_ns == before


def test_drive_place_and_name_need_no_photons(saved):
    moved = SCENE.replace("[50, 0, 0]", "[0, 70, 0]").replace('zone = "a"', 'zone = "b"')
    glow, done = worked_on(moved.replace('"puff"', '"cloud"'), saved=saved, goal=FEW)
    assert done == []
    assert glow.bodies[0].name == "cloud"
    assert glow.copies[1].transform[1, 3] == 70
    assert glow.lights[0].zone == "b"


def test_too_few_photons_are_neither_thrown_away_nor_followed_again(saved):
    before = saved.read_bytes()
    with pytest.raises(SolveError, match=r"already holds .* photons.*add --resume .*or --fresh"):
        worked_on(saved=saved, goal=three_batches(saved))
    assert saved.read_bytes() == before


def test_nothing_to_go_on_from(tmp_path):
    with pytest.raises(SolveError, match="nothing to go on from"):
        worked_on(saved=tmp_path / "none.npz", goal=FEW, resume=True)


def test_photons_of_another_scene_are_not_used(saved):
    other = SCENE.replace("diameter_mm = 24", "diameter_mm = 26").replace("[0, 0, 3]", "[0, 0, 4]")
    with pytest.raises(SolveError, match="before the scene changed"):
        worked_on(other, saved=saved, goal=FEW, resume=True)


def test_only_the_body_that_changed_starts_again(saved):
    before = photons_in(saved)
    _, done = worked_on(SCENE.replace("[0, 0, 3]", "[0, 0, 4]"), saved=saved, goal=FEW)
    assert done == ["following photons through drop"]
    assert len(set(photons_in(saved)) & set(before)) == 1


@pytest.mark.parametrize("resume", [False, True])
def test_photons_of_another_seed_are_not_mixed(saved, resume):
    with pytest.raises(SolveError, match=r"photons of seed 0, not 7: give --seed 0"):
        worked_on(saved=saved, goal=three_batches(saved), resume=resume, seed=7)


@pytest.mark.parametrize("resume", [False, True])
def test_photons_that_jumped_are_not_mixed_with_others(saved, resume):
    with pytest.raises(SolveError, match=r"single steps, not with every scattering.*--plain"):
        worked_on(saved=saved, goal=FEW, resume=resume, jumps=False)


def test_a_broken_file_is_said(tmp_path):
    path = tmp_path / "reference.npz"
    path.write_bytes(b"PK\x03\x04 broken")
    with pytest.raises(SolveError, match="not a readable result file"):
        worked_on(saved=path, goal=FEW, resume=True)
    told: list[str] = []
    solve(parse_scene(SCENE), method="reference", saved=path, goal=FEW, report=told.append)
    assert any("solve it again" in line for line in told)
    assert load_glow(path).solver == "reference"


def test_ctrl_c_keeps_what_is_done_and_the_rest_follows(saved, tmp_path):
    path = tmp_path / "stopped.npz"

    pressed: list[int] = []

    def press(body, share, progress):
        if progress.photons and not pressed:
            pressed.append(progress.photons)
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt, match=r"photons are kept in .*--resume goes on"):
        worked_on(saved=path, goal=Goal(noise=None, photons=10**9), watch=press)
    kept = photons_in(path)
    assert len(kept) == 1, "the second body was not begun"
    enough = Goal(noise=None, photons=max(kept.values()) + 1)
    glow, _ = worked_on(saved=path, goal=enough, resume=True)
    whole, _ = worked_on(saved=tmp_path / "whole.npz", goal=enough)
    np.testing.assert_array_equal(glow.bodies[0].diffuse, whole.bodies[0].diffuse)
    assert len(glow.copies) == 5


def test_ctrl_c_before_anything_is_done(tmp_path):
    def press(text):
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt, match="nothing is kept"):
        solve(
            parse_scene(SCENE), method="reference", saved=tmp_path / "x.npz", goal=FEW, report=press
        )
    assert not list(tmp_path.iterdir())


def test_quick_and_reference_do_not_take_each_other_for_themselves(saved):
    told: list[str] = []
    glow = solve(parse_scene(SCENE), saved=saved.with_name("glow.npz"), report=told.append)
    assert glow.solver == "quick"
    assert load_glow(saved).solver == "reference"


def test_a_goal_of_seconds_is_shared_by_the_bodies(tmp_path, monkeypatch):
    path, asked = tmp_path / "timed.npz", []

    def timed(problem, *, goal, **rest):
        asked.append((problem.name, goal.seconds))
        body, tallies = solve_body(problem, goal=FEW, **rest)
        return body, replace(tallies, seconds=tallies.seconds + 1.0)

    monkeypatch.setattr(long_run, "solve_body", timed)
    goal = Goal(noise=None, seconds=1.05)
    glow, _ = worked_on(saved=path, goal=goal)
    assert [name for name, _ in asked[:2]] == ["puff", "drop"]
    assert asked[0][1] == pytest.approx(1.05 / 2)
    assert 0 <= asked[1][1] < 1.05
    assert all(body.account.escaped.any() for body in glow.bodies if body.light_count)
    again, done = worked_on(saved=path, goal=goal)
    assert done == [], "the time was spent already"
    np.testing.assert_array_equal(again.bodies[0].diffuse, glow.bodies[0].diffuse)


def test_a_light_that_has_had_no_photon_is_said():
    """Stopped at once: nothing is known, and the result says so."""
    scene_file = parse_scene(SCENE)
    plan = plan_of(scene_file)
    problem = body_problem(plan, 0)
    body, tallies = solve_body(problem, goal=FEW, stop=lambda: True)
    assert tallies.photons.sum() == 0
    assert "1 of its 1 lights have had no photon yet" in body.trust[0]
    full, _ = solve_body(problem, goal=FEW)
    assert full.trust == ()
