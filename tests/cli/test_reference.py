"""The reference solver and its comparison with quick on the command line."""

from __future__ import annotations

import json
import signal
import time
from pathlib import Path
from types import SimpleNamespace

import pytest
from PIL import Image

from glowsim.cli import reference as cli_reference
from glowsim.transport import reference
from glowsim.transport.reference import run as run_module
from glowsim.transport.store import load_glow, load_tallies
from tests.support.scenes import THIN

SCENE = """
title = "Little puff"
[room]
illuminance_lx = 10
[[bodies]]
name = "puff"
shape = { kind = "orb", diameter_mm = 30 }
material = "upholstery_foam_white"
detail_mm = 6
cell_mm = 3
  [[bodies.lights]]
  board = "rgb_5050_18ma"
  position_mm = [0, 0, 0]
[[bodies]]
name = "rod"
shape = { kind = "rod", length_mm = 30, diameter_mm = 10 }
material = "wood_dowel"
position_mm = [0, 0, -40]
"""
pytestmark = pytest.mark.usefixtures("small_batches")
FEW = ("--photons", "1", "--no-pictures")


@pytest.fixture
def scene(tmp_path) -> Path:
    path = tmp_path / "little.toml"
    path.write_text(SCENE)
    return path


@pytest.fixture
def run(typed):
    """Run a command; what would mend a scene is tried in `tests/decisions`."""
    return lambda *arguments: typed(*arguments, *["--no-suggest"] * (arguments[0] == "glow"))


def photons(scene):
    tables = load_tallies(scene.parent / "little-glow" / "reference.npz")
    return sum(int(table["photons"].sum()) for table in tables.values())


@pytest.mark.slow
def test_sure_asks_the_reference_where_quick_is_rough_only(run, scene):
    scene.write_text(SCENE.replace("diameter_mm = 30 }", "diameter_mm = 60 }") + THIN)
    shown = run("glow", scene, "--sure", *FEW)
    assert shown.returncode == 0, shown.stderr
    said = " ".join(shown.stdout.split())
    assert "(quick and reference solver)" in said
    assert "trust: puff: well inside what the quick solver holds for" in said
    assert "trust: thin: solved by the reference, since quick is a rough guide here" in said
    assert "trust: thin: single bright faces are known to" in said
    folder = scene.parent / "little-glow"
    assert {path.name for path in folder.iterdir()} == {
        *("glow.npz", "reference.npz", "sure.npz", "sure-findings.json"),
    }
    assert [body.by_reference for body in load_glow(folder / "sure.npz").bodies] == [
        *(False, False, True),
    ]
    had = photons(scene)
    more = run("glow", scene, "--sure", "--photons", had + 1, "--resume", "--no-pictures")
    assert more.returncode == 0, more.stderr
    assert photons(scene) > had
    for wrong in (("glow", scene, "--sure", "--reference"), ("glow", scene, "--time", "5")):
        assert run(*wrong).returncode == 2
    for command in ("place", "modules"):
        count = ("--count", "1") if command == "place" else ()
        refused = run(command, scene, *count, "--time", "5")
        assert refused.returncode == 2
        assert "--time is for --sure" in " ".join(refused.stderr.split())


def test_reference_stands_beside_quick_and_goes_on(run, scene):
    quick = run("glow", scene, "--no-pictures")
    assert quick.returncode == 0, quick.stderr
    folder = scene.parent / "little-glow"
    before = {path.name: path.read_bytes() for path in folder.iterdir()}
    first = run("glow", scene, "--reference", "--photons", "1", "--size", "320x240")
    assert first.returncode == 0, first.stderr
    for text in ("reference solver", "noise, ±", "single bright faces are known to"):
        assert text in first.stdout
    for name, content in before.items():
        assert (folder / name).read_bytes() == content
    assert {path.name for path in folder.iterdir()} - set(before) == {
        *("reference.npz", "reference-findings.json", "reference-photo.png"),
        *("reference-brightness.png", "reference.glb", "reference.ply"),
    }
    data = json.loads((folder / "reference-findings.json").read_text())
    assert data["solver"] == "reference"
    assert data["noise"]["puff"] > 0
    had = photons(scene)
    again = run("glow", scene, "--reference", *FEW)
    assert again.returncode == 0
    assert photons(scene) == had
    refused = run("glow", scene, "--reference", "--photons", had + 1)
    assert refused.returncode == 2
    assert "add --resume to go on from there, or --fresh" in " ".join(refused.stderr.split())
    assert photons(scene) == had
    more = run("glow", scene, "--reference", "--photons", had + 1, "--resume", "--no-pictures")
    assert more.returncode == 0, more.stderr
    assert photons(scene) > had
    fresh = run("glow", scene, "--reference", *FEW, "--fresh")
    assert fresh.returncode == 0
    assert photons(scene) == had
    still = run("glow", scene, "--no-pictures", "--json")
    assert json.loads(still.stdout)["solver"] == "quick"


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (("--reference", "--resume"), "nothing to go on from"),
        (("--reference", "--noise", "0"), "0.0 is not in the range"),
        (("--reference", "--noise", "2%"), "'2%' is not a valid float"),
        (("--reference", "--time", "0"), "0.0 is not in the range"),
        (("--noise", "0.05"), "add --reference or --sure"),
        (("--resume",), "add --reference or --sure"),
        (("--reference", "--fresh", "--resume"), "choose one"),
    ],
)
def test_options_that_cannot_be(run, scene, arguments, message):
    shown = run("glow", scene, *arguments)
    assert shown.returncode == 2
    assert message in " ".join(shown.stderr.split())
    assert "Traceback" not in shown.stderr
    assert not list(scene.parent.glob("*-glow/*"))


def test_ctrl_c_saves_and_says_how_to_go_on(run, scene, monkeypatch):
    pressed: list[int] = []
    said = cli_reference._Rate.said

    def press(self, now):
        if now.photons and not pressed:
            pressed.append(now.photons)
            signal.raise_signal(signal.SIGINT)
        return said(self, now)

    with monkeypatch.context() as patched:
        patched.setattr(cli_reference._Rate, "said", press)
        stopped = run("glow", scene, "--reference", "--noise", "0.0005")
    assert stopped.returncode == 130
    told = " ".join(stopped.stderr.split())
    assert "photons are kept in" in told
    assert "--resume goes on from there" in told
    had = photons(scene)
    assert had >= pressed[0] > 0
    goal = ("--photons", had + 1, "--no-pictures")
    assert run("glow", scene, "--reference", "--resume", *goal).returncode == 0
    assert photons(scene) > had
    assert len(load_glow(scene.parent / "little-glow" / "reference.npz").copies) == 2


def test_time_that_is_over_before_the_first_photon_still_gives_each_light_some(
    run, scene, monkeypatch
):
    """As on a busy machine: compiling has taken all of it."""
    late = SimpleNamespace(perf_counter=lambda: time.perf_counter() - 1000)
    monkeypatch.setattr(reference, "time", late)
    shown = run("glow", scene, "--reference", "--time", "1", "--no-pictures")
    assert shown.returncode == 0, shown.stderr
    assert photons(scene) > 0
    assert "painted" not in shown.stdout


def test_a_result_without_photons_is_an_error(run, scene, monkeypatch):
    def nothing(self, *_):
        return self.tallies

    with monkeypatch.context() as patched:
        patched.setattr(run_module.Follower, "follow_until", nothing)
        for command in ("glow", "agreement"):
            arguments = ["--reference"] if command == "glow" else []
            shown = run(command, scene, *arguments, "--time", "1", "--no-pictures", "--fresh")
            assert shown.returncode == 2
            told = " ".join(shown.stderr.split())
            assert "'puff' cannot be judged" in told
            assert "'puff: light 1' has let out no photon yet" in told
            assert "--resume" in told
            assert "painted" not in shown.stdout
    assert not list(scene.parent.glob("*-glow/*.json"))
    assert run("glow", scene, "--reference", "--resume", *FEW).returncode == 0


def test_agreement_tells_prints_draws_and_is_remembered(run, scene):
    shown = run("agreement", scene, "--photons", "1", "--size", "400x300")
    assert shown.returncode == 0, shown.stderr
    for text in ("slices along z", "too bright (+) or too dark (-)", "worst place", "puff: quick"):
        assert text in shown.stdout
    folder = scene.parent / "little-glow"
    with Image.open(folder / "agreement-puff.png") as picture:
        assert picture.size == (400, 300)
    data = json.loads((folder / "agreement.json").read_text())
    (body,) = data["bodies"]
    assert body["body"] == "puff"
    assert abs(body["let_out"]["value"] - 1) < 0.05
    assert body["slices"][0]["luminance"]["noise"] > 0
    had = photons(scene)
    again = run("agreement", scene, "--no-pictures", "--json")
    assert json.loads(again.stdout)["bodies"] == data["bodies"], "both results were at hand"
    assert photons(scene) == had
    later = run("glow", scene, "--no-pictures")
    assert "when last compared with the reference (on 'puff' of Little puff" in (
        " ".join(later.stdout.split())
    )
    # Another scene with a body like it, in a folder beside.
    other = scene.with_name("other.toml")
    other.write_text(SCENE.replace("diameter_mm = 30", "diameter_mm = 33"))
    assert "on 'puff' of Little puff" in " ".join(
        run("glow", other, "--no-pictures").stdout.split()
    )
    unlike = scene.with_name("unlike.toml")
    unlike.write_text(SCENE.replace("diameter_mm = 30", "diameter_mm = 60"))
    assert "last compared" not in (run("glow", unlike, "--no-pictures").stdout)


def test_agreement_goes_on_too(run, scene):
    assert run("agreement", scene, *FEW).returncode == 0
    had = photons(scene)
    refused = run("agreement", scene, "--photons", had + 1)
    assert refused.returncode == 2
    assert "--resume" in refused.stderr
    more = run("agreement", scene, "--photons", had + 1, "--resume", "--no-pictures")
    assert more.returncode == 0
    assert photons(scene) > had


def test_help_has_examples(run):
    for name in ("agreement", "glow"):
        shown = run(name, "--help")
        assert "--resume" in shown.stdout
        assert f"glowsim {name}" in shown.stdout
