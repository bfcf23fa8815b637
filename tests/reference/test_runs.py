"""What a run promises: the same numbers on any number of threads and in any number of goes, an
exact account, an honest error, and that nothing done is lost when it is stopped."""

from __future__ import annotations

import itertools
import os
import signal
import subprocess
import sys
import threading
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from scipy.stats import chi2

from glowsim.errors import SolveError
from glowsim.geometry.patterns import placed
from glowsim.geometry.shapes import shape_mesh
from glowsim.scene import Orb, Slab
from glowsim.transport.problem import AIR, Layer
from glowsim.transport.reference import Goal, Tallies, noise_of, solve_body
from glowsim.transport.reference import run as run_module
from glowsim.transport.reference.glow import glow_of
from glowsim.transport.reference.noise import DARK, standard_error
from tests.support.bodies import body, emitters, medium, opaque
from tests.support.monte_carlo import follow, leaving

pytestmark = pytest.mark.usefixtures("small_batches")
BANDS = medium([0.01, 0.02, 0.2], [0.8, 0.8, 1.6], 0.4, 1.4)


def mixed_body(lights=((3.0, 1.0, 12.0), (-4.0, 0.0, 8.0))):
    """A block with a pocket, a core, paint on all of it, and bands that scatter differently."""
    block = shape_mesh(Slab(kind="slab", length_mm=30, width_mm=20, thickness_mm=20))
    pocket = shape_mesh(Orb(kind="orb", diameter_mm=8)).moved(placed((8, 3, 12), (0, 0, 0)))
    core = shape_mesh(Orb(kind="orb", diameter_mm=6)).moved(placed((-9, 2, 9), (0, 0, 0)))
    paint = Layer("paint", np.array([0.5, 0.4, 0.3]), np.array([0.4, 0.4, 0.5]), 0.1)
    return body(
        block, [BANDS, AIR, opaque(0.6)], emitters(lights), inserts=[pocket, core],
        cell_mm=2.0, face_mm=8.0, layers=[paint],
    )  # fmt: skip


@pytest.fixture(scope="module")
def problem():
    return mixed_body()


def same(one: Tallies, other: Tallies) -> bool:
    mine, others = one.arrays(), other.arrays()
    return all(np.array_equal(mine[name], others[name]) for name in mine if name != "seconds")


def test_same_seed_same_numbers_on_any_number_of_threads(problem, monkeypatch):
    runs = []
    for threads in (1, 5):
        monkeypatch.setattr(os, "cpu_count", lambda threads=threads: threads)
        runs.append(follow(problem, 8_000, seed=3))
    assert runs[0].photons[0] > 4 * runs[0].batch
    assert same(runs[0], runs[1])
    assert not same(runs[0], follow(problem, 8_000, seed=4))


@pytest.mark.parametrize("jumps", [False, pytest.param(True, marks=pytest.mark.slow)])
def test_in_several_goes_as_in_one(problem, jumps):
    whole = follow(problem, 12_000, seed=5, jumps=jumps)
    part = follow(problem, 4_000, seed=5, jumps=jumps)
    kept = Tallies.from_arrays({k: v.copy() for k, v in part.arrays().items()})
    goal = Goal(noise=None, photons=12_000)
    _, resumed = solve_body(problem, seed=5, goal=goal, jumps=jumps, earlier=kept)
    assert part.photons[0] < whole.photons[0]
    assert same(whole, resumed)


def test_photons_gone_on_from_must_fit(problem):
    tallies = follow(problem, 1000, seed=5)
    with pytest.raises(SolveError, match="seed 5"):
        solve_body(problem, seed=6, earlier=tallies)
    with pytest.raises(SolveError, match="without jumps"):
        solve_body(problem, seed=5, jumps=True, earlier=tallies)
    with pytest.raises(SolveError, match="another body"):
        solve_body(mixed_body([(3.0, 1.0, 12.0)]), seed=5, earlier=tallies)
    arrays = tallies.arrays()
    del arrays["out"], arrays["batch"]
    with pytest.raises(SolveError, match="lack out, batch"):
        Tallies.from_arrays(arrays)


@pytest.mark.parametrize("jumps", [False, True])
def test_account_is_exact(problem, jumps):
    """To 1e-9 of the launched weight in every batch; each batch of the first run stands alone."""
    tallies = follow(problem, 1, seed=7, jumps=jumps)
    for batches in (1, 2, 5):
        goal = Goal(noise=None, photons=batches * tallies.batch)
        glow, tallies = solve_body(problem, seed=7, goal=goal, jumps=jumps, earlier=tallies)
        assert tallies.photons.tolist() == [batches * tallies.batch] * 2
        assert abs(tallies.balance()).max() < 1e-9
        assert tallies.lost.max() == 0
        np.testing.assert_allclose(tallies.out.sum(axis=1), tallies.escaped, rtol=1e-12)
    # Chance gives and takes evenly, so that without it the account closes but for noise.
    assert abs(glow.account.error).max() < 0.01
    area = glow.surface.areas_mm2
    shares = ((glow.diffuse + glow.direct) * area).sum(axis=2)
    np.testing.assert_allclose(shares, tallies.escaped / tallies.photons[:, None], rtol=1e-5)


def test_bands_that_scatter_differently_are_what_they_are_alone(problem):
    """Blue, whose scattering differs, against a run of a body that is blue in all bands."""
    blue = medium([0.2] * 3, [1.6] * 3, 0.4, 1.4)
    paint = replace(problem.layers[0], reflectance=np.full(3, 0.3), transmittance=np.full(3, 0.5))
    alone = replace(problem, media=(blue, *problem.media[1:]), layers=(paint,))
    one = leaving(follow(problem, 30_000), band=2)
    assert one.agrees(leaving(follow(alone, 30_000, seed=9), band=2))


@pytest.mark.slow
def test_error_is_honest():
    """Forty batches of new photons spread about their mean as the standard error says
    (chi-square, 0.5 to 99.5 %), face by face."""
    ball = shape_mesh(Orb(kind="orb", diameter_mm=20))
    lights = emitters([[2.0, 0.0, 1.0]])
    problem = body(ball, [medium(0.02, 1.0, 0.5, 1.4)], lights, cell_mm=1.0, face_mm=9.0)
    follower = run_module.Follower(problem, seed=1, jumps=True, earlier=None)
    tallies, so_far = follower.tallies, [follower.tallies.out[0, :, 1].copy()]
    for batches in range(1, 41):
        goal = Goal(noise=None, photons=batches * tallies.batch)
        follower.follow_until(goal, lambda progress: None, lambda: False, 0.0)
        so_far.append(tallies.out[0, :, 1].copy())
    values = np.diff(so_far, axis=0)[:, ::4] / tallies.batch  # faces that hardly hang together
    error = standard_error(tallies, 0)[::4, 1] * np.sqrt(40)
    statistic = float((((values - values.mean(axis=0)) / error) ** 2).sum())
    freedom = 39 * values.shape[1]
    low, high = chi2.ppf([0.005, 0.995], freedom)
    assert low < statistic < high, statistic / freedom


def test_run_ends_at_the_noise_asked_for(problem):
    areas = problem.walls.areas_mm2[problem.skin]
    seen = []
    _, tallies = solve_body(problem, goal=Goal(noise=0.2), report=seen.append)
    noises = [noise_of(tallies, light, areas) for light in range(2)]
    assert max(noises) <= 0.2
    # Photons are not wasted: half of them would not have done.
    assert max(noises) > 0.2 / np.sqrt(8)
    assert seen[0].what == "compiling"
    assert seen[-1].share == 1.0
    assert seen[-1].photons == tallies.photons.sum()
    assert not tallies.stopped
    _, again = solve_body(problem, goal=Goal(noise=0.2), earlier=tallies)
    assert again.photons.sum() == tallies.photons.sum()


def test_run_ends_when_time_is_up(problem):
    """It has no other goal: if it did not, it would run for ever."""
    _, tallies = solve_body(problem, goal=Goal(noise=None, seconds=1.5))
    assert tallies.seconds >= 1.5
    assert tallies.photons.min() > 0
    assert not tallies.stopped


def test_no_round_begins_after_the_time(problem, monkeypatch):
    """By a clock that goes on by a second whenever it is looked at."""
    ticks = itertools.count(1.0)
    clock = SimpleNamespace(perf_counter=lambda: next(ticks))
    follower = run_module.Follower(problem, seed=1, jumps=True, earlier=None)
    monkeypatch.setattr(run_module, "time", clock)
    goal = Goal(noise=None, seconds=300.0)
    tallies = follower.follow_until(goal, lambda progress: None, lambda: False, 0.0)
    had = int(tallies.photons.sum())
    assert had >= 2 * tallies.batch
    follower.follow_until(goal, lambda progress: None, lambda: False, 0.0)
    assert tallies.photons.sum() == had


@pytest.mark.parametrize("seconds", [0.0, 1e-3])
def test_however_little_time_each_light_has_one_batch(problem, seconds):
    glow, tallies = solve_body(problem, goal=Goal(noise=0.01, seconds=seconds))
    assert tallies.photons.tolist() == [tallies.batch] * 2
    assert np.isfinite(glow.error).all()
    assert glow.trust == ()
    assert not tallies.stopped


def test_asked_to_stop_it_keeps_what_is_done(problem):
    seen = []

    def stop():
        return seen[-1].photons > 0

    goal = Goal(noise=1e-6)
    glow, tallies = solve_body(
        problem, seed=1, goal=goal, jumps=False, report=seen.append, stop=stop
    )
    assert tallies.stopped
    assert (glow.diffuse >= 0).all()
    count = int(tallies.photons[0])
    assert count > 0
    np.testing.assert_array_equal(follow(problem, count).out[0], tallies.out[0])


def test_ctrl_c_keeps_what_is_done(problem):
    """Pressed by another thread, some time after photons have begun to come."""
    pressed: list[threading.Timer] = []

    def press(progress):
        if progress.photons and not pressed:
            pressed.append(threading.Timer(0.3, os.kill, (os.getpid(), signal.SIGINT)))
            pressed[0].start()

    before = signal.getsignal(signal.SIGINT)
    _, tallies = solve_body(problem, goal=Goal(noise=1e-6, seconds=600), report=press)
    assert tallies.stopped
    assert tallies.photons.sum() > 0
    assert abs(tallies.balance()[tallies.photons > 0]).max() < 1e-9
    assert signal.getsignal(signal.SIGINT) is before


def test_a_light_of_which_nothing_came_out_is_not_known_to_be_dark(problem):
    tallies = follow(problem, 1000, seed=5)
    tallies.out[1] = tallies.square[1] = 0
    assert np.isinf(standard_error(tallies, 1)).all()
    assert np.isfinite(standard_error(tallies, 0)).all()
    tallies.photons[1] = DARK
    assert not standard_error(tallies, 1).any()


def test_dark_light_does_not_run_for_ever(monkeypatch):
    """An opaque core walls the light in, nothing gets out: there is no noise to bring down."""
    monkeypatch.setattr("glowsim.transport.reference.noise.DARK", 20_000)
    ball = shape_mesh(Orb(kind="orb", diameter_mm=20))
    inner = shape_mesh(Orb(kind="orb", diameter_mm=10))
    hollow = shape_mesh(Orb(kind="orb", diameter_mm=6))
    lights = emitters([[0.0, 0.0, 0.0]], region=2)
    problem = body(
        ball, [medium(0.01, 1.0), opaque(0.5), AIR], lights, inserts=[inner, hollow],
        cell_mm=1.0, face_mm=9.0,
    )  # fmt: skip
    glow, tallies = solve_body(problem, goal=Goal(noise=0.1))
    assert glow.diffuse.max() == 0
    assert tallies.absorbed[0, 1] / tallies.photons[0] == pytest.approx([1, 1, 1], abs=6e-3)


def test_light_that_circles_for_ever_is_counted():
    """In a clear cube of index 1.5 total reflection holds what meets all six faces at more than
    41.8 degrees: the share 3 cos(theta) - 2 of all directions (derived: six cones around the
    axes are let out, which do not overlap; 1 - 6 (1 - cos theta) / 2)."""
    cube = shape_mesh(Slab(kind="slab", length_mm=20, width_mm=20, thickness_mm=20))
    lights = emitters([[1.0, 2.0, 11.0]], both_ways=True)
    problem = body(cube, [medium(0.0, 0.0, 0.0, 1.5)], lights, cell_mm=1.0, face_mm=30.0)
    tallies = follow(problem, 3000)
    trapped = tallies.events[0, 4] / tallies.photons[0]
    exact = 3 * np.sqrt(1 - 1 / 1.5**2) - 2
    assert abs(trapped - exact) < 3 * np.sqrt(exact * (1 - exact) / tallies.photons[0])
    assert "circles for ever" in glow_of(problem, tallies).trust[0]
    assert abs(tallies.balance()).max() < 1e-9
    assert tallies.events[0, 2] == 0


def test_body_without_lights_is_dark():
    ball = shape_mesh(Orb(kind="orb", diameter_mm=20))
    problem = body(ball, [medium(0.01, 1.0)], emitters(np.zeros((0, 3))), cell_mm=1.0, face_mm=9.0)
    glow, tallies = solve_body(problem)
    assert glow.diffuse.shape == (0, 3, len(problem.skin))
    assert tallies.photons.sum() == 0


@pytest.mark.slow
def test_compiled_code_is_kept_where_the_user_may_write(tmp_path):
    """Read-only places do not stop it: it then compiles every time."""
    code = (
        "from glowsim.transport.reference import compiled;"
        "import numba; print(compiled._OPTIONS['cache'], numba.config.CACHE_DIR)"
    )
    for folder, kept in ((tmp_path / "new", True), (tmp_path / "file" / "below", False)):
        (tmp_path / "file").touch()
        result = subprocess.run(
            [sys.executable, "-c", code], env={**os.environ, "NUMBA_CACHE_DIR": str(folder)},
            capture_output=True, text=True, check=True,
        )  # fmt: skip
        assert result.stdout.split()[0] == str(kept)
        assert folder.exists() == kept


def test_batches_do_not_depend_on_the_machine(problem):
    sizes = {
        run_module.Follower(problem, seed=1, jumps=False, earlier=None).tallies.batch
        for _ in range(2)
    }
    assert len(sizes) == 1
