"""`glowsim thickness` as a user meets it."""

from __future__ import annotations

import csv
import json
import os
import signal
import subprocess
import time
from pathlib import Path

import pytest
from PIL import Image

from tests.support.commands import command, run
from tests.support.sweeps import ORB, SPIKE

RANGE = ("--from", "2", "--to", "8", "--steps", "3")


@pytest.fixture
def scene(tmp_path) -> Path:
    path = tmp_path / "little.toml"
    path.write_text(SPIKE)
    return path


@pytest.mark.slow
def test_it_writes_table_chart_and_sheet_and_says_what_to_do(scene):
    scene.write_text("[findings]\nevenness_target = 0.1\n" + ORB)
    walls = ("--from", "1", "--to", "4", "--steps", "3")
    done = run("thickness", scene, *walls, "--size", "160x120", folder=scene.parent)
    assert done.returncode == 0, done.stderr
    for words in (
        "Varied: the wall of the shell",
        "5%/mean",
        "off by",
        "  -> 1",
        "Compared with now: off by",
        "To build it: wall_mm = 1",
        "trust:",
        "Written:",
    ):
        assert words in done.stdout
    folder = scene.parent / "little-glow"
    written = {path.name for path in folder.iterdir()}
    assert written == {
        *("steps", "thickness.csv", "thickness.json", "thickness.png", "thickness_sheet.png")
    }
    rows = list(csv.DictReader((folder / "thickness.csv").read_text().splitlines()))
    assert [row["value_mm"] for row in rows[:3]] == ["1.0", "2.5", "4.0"]
    assert [row["recommended"] for row in rows] == ["False"] * 3 + ["True"]
    plain = json.loads((folder / "thickness.json").read_text())
    assert plain["vary"] == "wall"
    assert len(plain["steps"]) == 3
    assert plain["recommended"][0]["step"]["weight_g"] > 0
    with Image.open(folder / "thickness_sheet.png") as sheet:
        assert sheet.width > 2 * 160


@pytest.mark.slow
def test_it_says_so_where_no_step_is_worth_it(scene):
    done = run("thickness", scene, *RANGE, "--no-pictures", folder=scene.parent)
    assert done.returncode == 0, done.stderr
    assert "Varied: material added all round the body" in done.stdout
    assert "  -> " not in done.stdout
    assert "none is worth it" in done.stdout
    assert "To build it: leave it as it is" in done.stdout
    table = (scene.parent / "little-glow" / "thickness.csv").read_text().splitlines()
    assert [row["recommended"] for row in csv.DictReader(table)] == ["False"] * 4


@pytest.mark.slow
def test_json_is_all_there_is_on_standard_output(scene):
    done = run(
        "thickness",
        *(scene, *RANGE, "--vary", "size", "--from", "60", "--to", "80", "--steps", "2"),
        *("--workers", "1", "--no-pictures", "--json", "--out", "here"),
        folder=scene.parent,
    )
    assert done.returncode == 0, done.stderr
    data = json.loads(done.stdout)
    assert data["now_mm"] == 60
    assert [step["value_mm"] for step in data["steps"]] == [60, 80]
    assert data["files"] == [str(Path("here", f"thickness.{e}")) for e in ("csv", "json")]


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("--from", "8", "--to", "2"), "from 8 to 2 mm does not"),
        ((*RANGE, "--steps", "0"), "takes 2 to 200 steps, not 0"),
        ((*RANGE, "--body", "spyke"), "did you mean 'spike'"),
        ((*RANGE, "--body", "stand"), "'stand' has no light"),
        ((*RANGE, "--material", "eva_foam_wite"), "did you mean 'eva_foam_white'"),
        ((*RANGE, "--vary", "wall", "--to", "40"), "leaves no hollow"),
        ((*RANGE, "--time", "5"), "add --reference"),
        (("--from", "thin", "--to", "2"), "'thin' is not a length"),
    ],
)
def test_bad_input_leaves_everything_alone(scene, typed, arguments, said):
    folder = scene.parent / "little-glow"
    folder.mkdir()
    (folder / "thickness.csv").write_text("mine")
    done = typed("thickness", scene, *arguments)
    assert done.returncode == 2
    assert said in done.stderr
    assert "Traceback" not in done.stderr
    assert done.stdout == ""
    assert (folder / "thickness.csv").read_text() == "mine"
    assert [path.name for path in folder.iterdir()] == ["thickness.csv"]


@pytest.mark.skipif(os.name == "nt", reason="Ctrl-C cannot be sent to a single program there")
def test_ctrl_c_keeps_finished_steps(scene):
    steps = scene.parent / "little-glow" / "steps"
    many = (scene, "--from", "1", "--to", "40", "--steps", "120", "--no-pictures")
    with subprocess.Popen(
        command("thickness", *many),
        cwd=scene.parent,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
    ) as running:
        while running.poll() is None and len(list(steps.glob("[0-9a-f]*.npz"))) < 2:
            time.sleep(0.1)
        os.killpg(running.pid, signal.SIGINT)  # as a terminal does: to all of its processes
        said = running.communicate(timeout=600)[1]
    assert running.returncode == 130, said
    assert "bodies are solved and kept in" in said
    assert "Traceback" not in said
    kept = len(list(steps.glob("[0-9a-f]*.npz")))
    assert 2 <= kept < 121
    assert not (scene.parent / "little-glow" / "thickness.csv").exists()
