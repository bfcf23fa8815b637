"""Choosing how to draw: OpenGL is tried in a process of its own, once."""

from __future__ import annotations

import json
import subprocess
import time
from dataclasses import asdict
from pathlib import Path

import pytest

from glowsim.errors import PictureError
from glowsim.pictures import backends
from glowsim.pictures.backends import Probe, choose_backend, probed


def answers(monkeypatch: pytest.MonkeyPatch, stdout: str, code: int = 0, stderr: str = "") -> list:
    """Let the trial end with the given output; return the list of trials made."""
    trials: list[object] = []

    def run(command: list[str], **options: object) -> subprocess.CompletedProcess:
        if "glowsim.pictures.backends" in command[-1]:
            trials.append(command)
        return subprocess.CompletedProcess(command, code, stdout, stderr)

    monkeypatch.setattr(backends.subprocess, "run", run)
    return trials


def pretend(monkeypatch: pytest.MonkeyPatch, fault: str = "", gl_ms: float = 10.0) -> None:
    monkeypatch.setattr(backends.sys, "platform", "linux")
    probe = Probe(fault, gl_ms, 40.0, time.time())
    monkeypatch.setattr(backends, "probed", lambda again=False: probe)


def test_the_faster_one_is_chosen_and_said(monkeypatch: pytest.MonkeyPatch) -> None:
    pretend(monkeypatch, gl_ms=10)
    assert choose_backend("auto") == (
        "gl",
        "OpenGL is faster here (10 ms by OpenGL, 40 ms by rays)",
    )
    assert choose_backend("auto", pictures=100)[0] == "gl"
    few, why = choose_backend("auto", pictures=6)
    assert few == "embree"
    assert "so few pictures" in why
    pretend(monkeypatch, gl_ms=90)
    assert choose_backend("auto")[0] == "embree"


def test_without_open_gl_rays_are_used_and_the_packages_named(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    pretend(monkeypatch, fault='Library "GL" not found.')
    name, reason = choose_backend("auto")
    assert name == "embree"
    assert 'Library "GL" not found' in reason
    assert "libegl1 libgl1 libgl1-mesa-dri" in reason
    assert "\n" not in reason
    with pytest.raises(PictureError, match=r"OpenGL cannot be used: .*use the back end 'embree'"):
        choose_backend("gl")


def test_macos_uses_rays(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(backends.sys, "platform", "darwin")
    assert choose_backend("auto")[0] == "embree"
    with pytest.raises(PictureError, match="macOS"):
        choose_backend("gl")


def test_rays_need_no_trial(monkeypatch: pytest.MonkeyPatch) -> None:
    trials = answers(monkeypatch, "")
    assert choose_backend("embree")[0] == "embree"
    assert not trials


def test_an_unknown_back_end_names_the_nearest() -> None:
    with pytest.raises(PictureError, match="'embre' is not a back end; did you mean 'embree'"):
        choose_backend("embre")


def test_a_trial_is_made_once(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    cache = tmp_path / "folder" / "opengl.json"
    good = Probe("", 12.0, 30.0, 1.0)
    trials = answers(monkeypatch, "a library's greeting\n" + json.dumps(asdict(good)) + "\n")
    assert probed(cache=cache) == good
    assert probed(cache=cache) == good
    assert len(trials) == 1


def test_a_crash_is_a_fault_and_tried_again_later(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    cache = tmp_path / "opengl.json"
    trials = answers(monkeypatch, "", code=-11, stderr="driver\nSegmentation fault\n")
    probe = probed(cache=cache)
    assert probe.fault == "the trial ended with -11: Segmentation fault"
    probed(cache=cache)
    assert len(trials) == 1
    probed(again=True, cache=cache)
    assert len(trials) == 2
    later = time.time() + 2 * backends.TRUSTED_S
    monkeypatch.setattr(backends.time, "time", lambda: later)
    probed(cache=cache)
    assert len(trials) == 3


def test_other_versions_are_tried_again(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    cache = tmp_path / "opengl.json"
    trials = answers(monkeypatch, json.dumps(asdict(Probe("", 12.0, 30.0, 1.0))))
    probed(cache=cache)
    monkeypatch.setattr(backends, "version", lambda name: "99")
    probed(cache=cache)
    assert len(trials) == 2


def test_a_broken_cache_and_one_that_cannot_be_written_do_no_harm(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    cache = tmp_path / "opengl.json"
    cache.write_text("{", encoding="utf-8")
    answers(monkeypatch, json.dumps(asdict(Probe("", 12.0, 30.0, 1.0))))
    assert not probed(cache=cache).fault
    (tmp_path / "file").write_text("", encoding="utf-8")
    assert not probed(cache=tmp_path / "file" / "opengl.json").fault


def test_a_trial_that_hangs_is_a_fault(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    def hang(command: list[str], **options: object) -> None:
        raise subprocess.TimeoutExpired(command, 120)

    monkeypatch.setattr(backends.subprocess, "run", hang)
    assert "did not end" in probed(cache=tmp_path / "opengl.json").fault
