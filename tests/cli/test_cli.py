"""The command line as a user meets it: output, exit codes, messages, files."""

from __future__ import annotations

import errno
import json
import os
import re
import signal
import subprocess
import sys
import time
import tomllib
from pathlib import Path

import jsonschema
import pytest
from PIL import Image

from glowsim.cli.group import cli
from tests.support.commands import command, run

GOOD = """
title = "Little spike"
[room]
illuminance_lx = 10
[[bodies]]
name = "spike"
shape = { kind = "spike", length_mm = 60, base_diameter_mm = 30 }
material = "upholstery_foam_white"
detail_mm = 5
cell_mm = 3
  [[bodies.lights]]
  board = "round_7_12ma"
  position_mm = [0, 0, 12]
"""


@pytest.fixture
def scene(tmp_path) -> Path:
    path = tmp_path / "little.toml"
    path.write_text(GOOD)
    return path


def test_help_names_every_command_and_an_example(typed):
    shown = typed("--help")
    assert shown.returncode == 0
    for name in ("check", "glow", "turntable", "catalogue", "schema", "Start with: glowsim demo"):
        assert name in shown.stdout


@pytest.mark.parametrize("name", ["check", "glow", "turntable", "catalogue", "schema"])
def test_each_command_shows_an_example(typed, name):
    shown = typed(name, "--help")
    assert shown.returncode == 0
    assert "Example" in shown.stdout
    assert f"glowsim {name}" in shown.stdout


def test_glow_writes_everything_and_reuses_it(scene, typed):
    first = typed("glow", scene, "--size", "320x240")
    assert first.returncode == 0, first.stderr
    assert "Little spike" in first.stdout
    for heading in (
        "Evenness",
        "Does it look lit?",
        "Findings",
        "Where the light went",
        "trust:",
    ):
        assert heading in first.stdout
    folder = scene.parent / "little-glow"
    written = {path.name for path in folder.iterdir()}
    assert written == {
        *("glow.npz", "findings.json", "photo.png", "brightness.png", "glow.glb", "glow.ply")
    }
    with Image.open(folder / "photo.png") as picture:
        assert picture.size == (320, 240)
    assert json.loads((folder / "findings.json").read_text())["title"] == "Little spike"
    before = (folder / "glow.npz").stat().st_mtime_ns
    again = typed("glow", scene, "--no-pictures", "--no-suggest")
    assert again.returncode == 0
    assert (folder / "glow.npz").stat().st_mtime_ns == before
    fresh = typed("glow", scene, "--no-pictures", "--no-suggest", "--fresh")
    assert fresh.returncode == 0
    assert (folder / "glow.npz").stat().st_mtime_ns != before


def test_old_pictures_beside_new_figures_are_said(scene, typed):
    folder = scene.parent / "little-glow"
    findings = folder / "findings.json"
    first = typed("glow", scene, "--size", "320x240", "--no-suggest")
    assert first.returncode == 0, first.stderr
    drawn = ["brightness.png", "glow.glb", "glow.ply", "photo.png"]
    assert json.loads(findings.read_text())["shown_in"] == drawn
    same = typed("glow", scene, "--no-pictures", "--no-suggest")
    assert "of an earlier result" not in same.stdout
    assert json.loads(findings.read_text())["shown_in"] == drawn
    scene.write_text(GOOD.replace("illuminance_lx = 10", "illuminance_lx = 30"))
    for _ in range(2):
        other = typed("glow", scene, "--no-pictures", "--no-suggest")
        assert (
            "note: of an earlier result in little-glow: photo.png, brightness.png" in other.stdout
        )
        assert json.loads(findings.read_text())["shown_in"] == []


def test_a_set_is_not_half_written(scene, typed, monkeypatch):
    def full(*args, **kwargs):
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr("PIL.Image.Image.save", full)
    shown = typed("glow", scene, "--size", "320x240", "--no-suggest")
    assert shown.returncode == 2
    assert "photo.png: cannot be written: No space left on device" in shown.stderr
    assert "/." not in shown.stderr
    assert [path.name for path in (scene.parent / "little-glow").iterdir()] == ["glow.npz"]


@pytest.mark.parametrize("more", [(), ("--reference",)])
@pytest.mark.parametrize("name", ["glow", "agreement"])
def test_a_refused_scene_leaves_the_old_results(scene, typed, name, more):
    folder = scene.parent / "little-glow"
    folder.mkdir()
    for old in ("glow.npz", "reference.npz"):
        (folder / old).write_bytes(b"hours of photons")
    scene.write_text(GOOD.replace("[0, 0, 12]", "[0, 0, 80]"))
    shown = typed(name, scene, "--fresh", *(more if name == "glow" else ()))
    assert shown.returncode == 2
    assert "outside the body" in shown.stderr
    for old in ("glow.npz", "reference.npz"):
        assert (folder / old).read_bytes() == b"hours of photons"


def test_json_is_all_that_is_printed(scene, typed):
    shown = typed("glow", scene, "--no-pictures", "--no-suggest", "--json", "--out", "elsewhere")
    data = json.loads(shown.stdout)
    assert data["solver"] == "quick"
    assert data["energy"]["error_share"] < 1e-3
    assert data["cautions"][0].startswith("Heat: 1 of 1 boards get too warm")
    assert (scene.parent / "elsewhere" / "findings.json").is_file()


def test_same_seed_gives_the_same_findings(scene, typed):
    one, two, other = (
        json.loads(
            typed(
                "glow",
                scene,
                "--no-pictures",
                "--no-suggest",
                "--json",
                "--seed",
                seed,
                "--out",
                f"s{k}",
            ).stdout
        )["evenness"]
        for k, seed in enumerate((3, 3, 4))
    )
    assert one == two
    assert one != other


def test_check_prints_sizes_and_depths(scene, typed):
    shown = typed("check", scene)
    assert shown.returncode == 0
    for text in ("30 x 30 x 60", "upholstery_foam_white", "round_7_12ma", "sound"):
        assert text in shown.stdout
    data = json.loads(typed("check", scene, "--json").stdout)
    (body,) = data["bodies"]
    assert body["lights"][0]["leds"] == 7
    # About a frustum 59 mm high from a radius of 15 to 1 mm: pi h (R^2 + R r + r^2) / 3.
    assert body["volume_cm3"] == pytest.approx(14.9, rel=0.01)


def test_check_refuses_a_board_that_sticks_out(scene, typed):
    scene.write_text(GOOD.replace("[0, 0, 12]", "[0, 0, 27]"))
    shown = typed("check", scene)
    # LEDs still inside, but the 23 mm board is wider than the spike there.
    assert shown.returncode == 2
    assert "do not fit" in shown.stdout
    assert "mm out of the body" in shown.stderr
    assert f"{scene.name}, line " in shown.stderr
    data = typed("check", scene, "--json")
    assert data.returncode == 2
    (misfit,) = json.loads(data.stdout)["bodies"][0]["misfits"]
    assert misfit["blocks"]
    assert 0.1 < misfit["by_mm"] < 5


def test_turntable_writes_an_animation(scene, typed):
    shown = typed("turntable", scene, "--frames", "4", "--size", "160x120")
    assert shown.returncode == 0, shown.stderr
    with Image.open(scene.parent / "little-glow" / "turntable.webp") as picture:
        assert picture.n_frames == 4
        assert picture.size == (160, 120)


@pytest.mark.skipif(sys.platform == "win32", reason="signals are Unix's")
def test_ctrl_c_keeps_the_frames_that_are_finished(scene):
    # A shell in the background passes an ignored Ctrl-C on to its children: not to this one.
    running = subprocess.Popen(
        command("turntable", scene, "--frames", "300"),
        cwd=scene.parent,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL),
    )
    folder = scene.parent / "little-glow"
    try:
        while running.poll() is None and len(list(folder.glob(".turntable-*/*.png"))) < 2:
            time.sleep(0.05)
        running.send_signal(signal.SIGINT)
        out, err = running.communicate(timeout=120)
    finally:
        running.kill()
    assert running.returncode == 130, out + err
    kept = re.search(r"stopped: (\d+) of 300 frames are kept in (\S+)", err)
    assert kept, err
    frames = sorted((scene.parent / kept.group(2)).glob("*.png"))
    assert len(frames) == int(kept.group(1)) >= 2
    for frame in frames:
        with Image.open(frame) as picture:
            picture.load()
    assert "Traceback" not in err
    assert {path.name for path in folder.iterdir()} == {"glow.npz", "turntable_frames"}


@pytest.mark.skipif(sys.platform == "win32", reason="signals are Unix's")
def test_ctrl_c_during_an_import_is_not_swallowed(tmp_path):
    """Compiled libraries drop a KeyboardInterrupt that meets them while they are set up."""
    (tmp_path / "slow.py").write_text(
        "import os, signal\n"
        "try:\n    os.kill(os.getpid(), signal.SIGINT)\n    os.getpid()\n"
        "except KeyboardInterrupt:\n    pass\n"
    )
    code = (
        "import sys, signal; signal.signal(signal.SIGINT, signal.default_int_handler)\n"
        "import glowsim.cli.main as m, glowsim.cli.group as g\n"
        "def late():\n    import slow\n    print('went on')\n"
        "g.cli.main = lambda **_: late()\n"
        "m.main()\n"
    )
    ended = subprocess.run(
        [sys.executable, "-c", code],
        env={**os.environ, "PYTHONPATH": os.pathsep.join([str(tmp_path), *sys.path])},
        capture_output=True,
        text=True,
        check=False,
    )
    assert (ended.returncode, ended.stdout, ended.stderr) == (130, "", "glowsim: stopped\n")


@pytest.mark.skipif(sys.platform == "win32", reason="signals are Unix's")
def test_ctrl_c_again_does_not_wait_for_threads():
    """A solve runs on in its threads, which the first Ctrl-C waits for."""
    code = (
        "import os, signal, threading\n"
        "signal.signal(signal.SIGINT, signal.default_int_handler)\n"
        "import glowsim.cli.main as m, glowsim.cli.group as g\n"
        "from concurrent.futures import ThreadPoolExecutor\n"
        "def long(**_):\n"
        "    with ThreadPoolExecutor(1) as pool:\n"
        "        pool.submit(threading.Event().wait)\n"
        "        threading.Timer(0.3, os.kill, (os.getpid(), signal.SIGINT)).start()\n"
        "        os.kill(os.getpid(), signal.SIGINT)\n"
        "g.cli.main = long\n"
        "m.main()\n"
    )
    ended = subprocess.run(
        [sys.executable, "-c", code],
        env={**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)},
        capture_output=True,
        text=True,
        check=False,
        timeout=120,
    )
    assert (ended.returncode, ended.stdout, ended.stderr) == (130, "", "glowsim: stopped\n")


@pytest.mark.skipif(sys.platform == "win32", reason="signals are Unix's")
def test_told_to_end_is_taken_for_ctrl_c(typed, monkeypatch):
    monkeypatch.setattr(cli, "main", lambda **_: signal.raise_signal(signal.SIGTERM))
    shown = typed()
    assert (shown.returncode, shown.stderr) == (130, "glowsim: stopped\n")
    assert signal.getsignal(signal.SIGTERM) is signal.SIG_DFL


def test_a_screen_of_plain_letters(scene):
    scene.write_text(GOOD.replace("Little spike", "Kleine Größe ×"))
    arguments = ("glow", scene, "--no-pictures", "--no-suggest")
    shown = run(*arguments, folder=scene.parent, PYTHONIOENCODING="ascii")
    assert shown.returncode == 0, shown.stderr
    assert "Traceback" not in shown.stderr
    assert "\x1b[" not in shown.stdout, "colours reach no pipe"
    data = run("check", scene, "--json", folder=scene.parent, PYTHONIOENCODING="ascii")
    assert json.loads(data.stdout)["title"] == "Kleine Größe ×"


def test_what_is_echoed_is_cut(scene, typed):
    scene.write_text(GOOD.replace("upholstery_foam_white", "x" * 100_000))
    shown = typed("check", scene)
    assert shown.returncode == 2
    assert len(shown.stderr) < 1000
    assert "line 8: bodies[0].material: there is no material 'xxx" in shown.stderr
    shown = typed("glow", scene, "--size", "x" * 100_000)
    assert shown.returncode == 2
    assert len(shown.stderr) < 1500


def test_a_size_no_picture_has_is_refused_before_anything_is_solved(scene, typed):
    shown = typed("glow", scene, "--size", "160x120")
    assert shown.returncode == 2
    assert "each side must be a whole number from 240 to 8192" in " ".join(shown.stderr.split())
    assert not (scene.parent / "little-glow").exists()


def test_a_full_disk_names_the_file_asked_for(scene, typed, monkeypatch):
    def full(*args, **kwargs):
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr("numpy.savez", full)
    shown = typed("glow", scene, "--no-pictures", "--no-suggest")
    assert shown.returncode == 2
    assert "little-glow/glow.npz: cannot be written" in shown.stderr.replace("\\", "/")
    assert "No space left on device" in shown.stderr


def test_a_folder_that_cannot_be_written_is_said(scene, typed):
    (scene.parent / "taken").write_text("")
    shown = typed("glow", scene, "--no-pictures", "--out", "taken/deeper")
    assert shown.returncode == 2
    assert "taken" in shown.stderr
    assert "cannot be" in shown.stderr
    assert "Traceback" not in shown.stderr


def test_catalogue_lists_finds_and_suggests(typed):
    assert "upholstery_foam_white" in typed("catalogue").stdout
    assert "Struts" in typed("catalogue", "upholstery_foam_white").stdout
    wrong = typed("catalogue", "upholstry_foam_white")
    assert wrong.returncode == 2
    assert "did you mean 'upholstery_foam_white'?" in wrong.stderr
    assert json.loads(typed("catalogue", "boards", "--json").stdout)["boards"]


def test_schema_is_json_and_knows_inline_entries(typed):
    schema = json.loads(typed("schema").stdout)
    assert schema["properties"]["materials"]["additionalProperties"]["$ref"] == "#/$defs/Material"
    assert "like" in schema["$defs"]["Material"]["properties"]


def test_schema_takes_the_demo_scenes_and_not_a_misspelt_key(typed):
    schema = json.loads(typed("schema").stdout)
    kind = jsonschema.validators.validator_for(schema)
    kind.check_schema(schema)
    scenes = sorted((Path(__file__).parents[2] / "scenes").glob("*.toml"))
    assert scenes
    for path in scenes:
        kind(schema).validate(tomllib.loads(path.read_text(encoding="utf-8")))
    with pytest.raises(jsonschema.ValidationError, match="materiel"):
        kind(schema).validate(tomllib.loads(GOOD.replace("material =", "materiel =")))


@pytest.mark.parametrize(
    ("change", "message"),
    [
        (("material =", "materiel ="), "unknown key; did you mean 'material'?"),
        (
            ("upholstery_foam_white", "upholstery_foam_wite"),
            "did you mean 'upholstery_foam_white'?",
        ),
        (("round_7_12ma", "round_8"), "line 12: bodies[0].lights[0].board"),
        (("length_mm = 60", "length_mm = -60"), "must be at least 0.01"),
        (("length_mm = 60", 'length_mm = "6 parsec"'), "'parsec' is not a known unit of length"),
        (("[0, 0, 12]", "[0, 0, 80]"), "outside the body 'spike'"),
        (
            (
                'shape = { kind = "spike", length_mm = 60, base_diameter_mm = 30 }',
                'mesh = { file = "no.stl" }',
            ),
            "there is no mesh file",
        ),
        (("[[bodies]]", "[[bodies]"), "not valid TOML"),
    ],
)
@pytest.mark.parametrize("command", ["check", "glow"])
def test_bad_input_gives_one_clear_message_and_exit_code_2(scene, typed, command, change, message):
    scene.write_text(GOOD.replace(*change))
    shown = typed(command, scene)
    assert shown.returncode == 2
    assert message in shown.stderr
    assert "Traceback" not in shown.stderr
    assert "little.toml" in shown.stderr
    assert not list(scene.parent.glob("*-glow/*")), "bad input must leave nothing behind"


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (("glow", "nowhere.toml"), "there is no such file"),
        (("glow",), "Missing argument 'SCENE'"),
        (("glow", "little.toml", "--size", "big"), "'big' is not a size; write it as 1280x960"),
        (("glow", "little.toml", "--sise", "1x1"), "Did you mean"),
        (("turntable", "little.toml", "--frames", "0"), "0 is not in the range"),
        (("turntable", "little.toml", "--file", "x.bmp", "--frames", "1"), ".bmp"),
        (("chek", "little.toml"), "did you mean 'check'?"),
    ],
)
def test_wrong_arguments(scene, typed, arguments, message):
    shown = typed(*arguments)
    assert shown.returncode == 2
    assert message in shown.stderr
    assert "Traceback" not in shown.stderr
