"""Sweeps: the same glow however it is solved, finished bodies kept, clear ends."""

from __future__ import annotations

import signal
import sys
from concurrent.futures import Executor, Future, ThreadPoolExecutor

import numpy as np
import pytest

from glowsim.decisions import sweep
from glowsim.decisions.sweep import cluster, local_processes, solve_scenes
from glowsim.decisions.thickness import thickness
from glowsim.decisions.vary import variation_of
from glowsim.errors import GeometryError, SceneError, SolveError
from glowsim.transport.solve import solve
from tests.support.sweeps import spike

LAYERS = (0.0, 3.0, 6.0)
LABELS = tuple(map(str, LAYERS))


def scenes():
    variation = variation_of(spike())
    return [variation.at(layer) for layer in LAYERS]


def alike(one, other) -> bool:
    return all(
        np.array_equal(a.diffuse, b.diffuse) and np.array_equal(a.direct, b.direct)
        for a, b in zip(one.bodies, other.bodies, strict=True)
    )


@pytest.fixture(scope="module")
def plain():
    return solve_scenes(scenes(), labels=LABELS)


class Stopped(Executor):
    """Solves one job at a time; Ctrl-C comes with job number `stop`."""

    def __init__(self, stop: int) -> None:
        self.stop, self.done = stop, 0

    def submit(self, function, /, *arguments, **more):
        future: Future = Future()
        self.done += 1
        if self.done > self.stop:
            future.set_exception(KeyboardInterrupt())
        else:
            future.set_result(function(*arguments, **more))
        return future


def test_a_swept_scene_is_the_scene_solved_alone(plain):
    alone = solve(scenes()[1])
    assert alike(plain[1], alone)
    assert plain[1].copies[0].name == alone.copies[0].name
    assert [light.name for light in plain[1].lights] == [light.name for light in alone.lights]


def test_threads_give_the_same_numbers(plain):
    with ThreadPoolExecutor(3) as executor:
        swept = solve_scenes(scenes(), labels=LABELS, executor=executor)
    assert all(map(alike, swept, plain))


def test_processes_give_the_same_numbers_and_ctrl_c_reaches_none(plain):
    """Not even one that only starts."""
    can_hold_back = hasattr(signal, "pthread_sigmask")
    with local_processes(2) as executor:
        if can_hold_back:
            held_back = executor.submit(signal.pthread_sigmask, signal.SIG_BLOCK, []).result()
            assert signal.SIGINT in held_back
        swept = solve_scenes(scenes()[:2], labels=LABELS[:2], executor=executor)
    assert all(map(alike, swept, plain[:2]))
    if can_hold_back:
        assert signal.SIGINT not in signal.pthread_sigmask(signal.SIG_BLOCK, [])


@pytest.mark.slow
def test_a_dask_cluster_gives_the_same_numbers(plain, tmp_path):
    distributed = pytest.importorskip("distributed", reason="the extra [dask] is not installed")
    with (
        distributed.LocalCluster(
            n_workers=1,
            threads_per_worker=2,
            processes=False,
            dashboard_address=None,
            local_directory=str(tmp_path),
        ) as local,
        cluster(local.scheduler_address) as executor,
    ):
        swept = solve_scenes(scenes(), labels=LABELS, executor=executor)
        answer = thickness(spike(), "spike", from_mm=0, to_mm=6, steps=3, executor=executor)
    assert all(map(alike, swept, plain))
    assert [step.value for step in answer.steps] == list(LAYERS)
    assert all(alike(step.glow, glow) for step, glow in zip(answer.steps, plain, strict=True))


def test_without_dask_it_says_what_to_install(monkeypatch):
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(SolveError, match=r"pip install 'glowsim\[dask\]'"), cluster("tcp://x:1"):
        pass


def test_a_silent_address_is_named(monkeypatch):
    distributed = pytest.importorskip("distributed", reason="the extra [dask] is not installed")

    def nobody(*_, **__):
        raise OSError("timed out")

    monkeypatch.setattr(distributed, "Client", nobody)
    with pytest.raises(SolveError, match="no Dask scheduler answers at 'tcp://x:1'"):
        cluster("tcp://x:1").__enter__()


def test_what_is_alike_is_solved_once(monkeypatch):
    counted = []
    monkeypatch.setattr(
        sweep, "solve_body", lambda problem, seed: counted.append(problem.name) or real(problem)
    )
    variation = variation_of(spike())
    same = [variation.at(2.0), variation.at(2.0)]
    first, second = solve_scenes(same, labels=("a", "b"))
    assert sorted(counted) == ["spike", "stand"]
    assert first.bodies[0] is second.bodies[0]


def test_an_interrupted_sweep_goes_on_where_it_was(tmp_path, plain, monkeypatch):
    with pytest.raises(KeyboardInterrupt, match="2 of 4 bodies are solved and kept in"):
        solve_scenes(scenes(), labels=LABELS, executor=Stopped(2), folder=tmp_path)
    assert len(list(tmp_path.glob("*.npz"))) == 2
    told = []
    swept = solve_scenes(
        scenes(), labels=LABELS, folder=tmp_path, progress=lambda *so_far: told.append(so_far)
    )
    assert told == [(2, 4), (3, 4), (4, 4)]
    assert all(map(alike, swept, plain))
    monkeypatch.setattr(sweep, "solve_body", None)
    again = solve_scenes(scenes(), labels=LABELS, folder=tmp_path)
    assert all(map(alike, again, plain))


def test_another_seed_or_a_broken_file_is_solved_anew(tmp_path):
    one = scenes()[:1]
    solve_scenes(one, labels=("a",), folder=tmp_path)
    kept = set(tmp_path.glob("*.npz"))
    solve_scenes(one, labels=("a",), folder=tmp_path, seed=1)
    assert len(set(tmp_path.glob("*.npz"))) == 2 * len(kept)
    for file in kept:
        file.write_bytes(b"half a file")
    (fresh,) = solve_scenes(one, labels=("a",), folder=tmp_path)
    assert alike(fresh, solve(one[0]))


@pytest.mark.parametrize("what", ["VERSION", "version"])
def test_another_version_is_solved_anew(tmp_path, monkeypatch, what):
    one = scenes()[:1]
    solve_scenes(one, labels=("a",), folder=tmp_path)
    kept = set(tmp_path.glob("*.npz"))
    monkeypatch.setattr(sweep, what, -1 if what == "VERSION" else lambda package: "other")
    monkeypatch.setattr(sweep, "solve_body", None)
    with pytest.raises(TypeError):
        solve_scenes(one, labels=("a",), folder=tmp_path)
    assert set(tmp_path.glob("*.npz")) == kept


def test_a_fault_names_its_step():
    crowded = variation_of(spike(position_mm="[0, 0, 59.5]")).at(0.0)
    with pytest.raises(SceneError, match=r"with no layer: little\.toml, line 14: bodies"):
        solve_scenes([crowded], labels=("with no layer",))


def test_a_dead_process_is_explained():
    class Dead(Executor):
        def submit(self, function, /, *arguments, **more):
            from concurrent.futures.process import BrokenProcessPool

            future: Future = Future()
            future.set_exception(BrokenProcessPool("gone"))
            return future

    with pytest.raises(SolveError, match="too little memory"):
        solve_scenes(scenes(), labels=LABELS, executor=Dead())


def test_a_folder_that_cannot_be_written(tmp_path):
    (tmp_path / "steps").write_text("a file stands in the way")
    with pytest.raises(SolveError, match="cannot be written"):
        solve_scenes(scenes()[:1], labels=("a",), folder=tmp_path / "steps")


def test_geometry_faults_keep_their_kind():
    problem = GeometryError("two\nlines")
    assert str(type(problem)(f"step: {problem}")) == "step: two\nlines"


real = sweep.solve_body
