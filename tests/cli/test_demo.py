"""`demo`: scenes of one's own to try, from a clone and from an installed package."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest
from click.testing import CliRunner

from glowsim.cli import demo
from glowsim.errors import GlowsimError

ROOT = Path(__file__).parents[2]
FORCED = tomllib.loads((ROOT / "pyproject.toml").read_text())["tool"]["hatch"]["build"]["targets"][
    "wheel"
]["force-include"]


def run(*arguments):
    return CliRunner().invoke(demo.command, [*arguments], catch_exceptions=False)


@pytest.mark.slow
def test_a_scene_is_copied_with_what_it_is_made_of_and_lit(tmp_path):
    out = tmp_path / "mine"
    said = run("reed_blade", "--out", str(out)).output
    assert "reed_blade.toml" in said
    assert (out / "reed_blade-glow" / "photo.png").stat().st_size > 10_000
    scene = out / "scenes" / "geode_shoulder.toml"
    for line in scene.read_text().splitlines():
        if 'file = "' in line:
            assert (scene.parent / line.split('"')[1]).exists(), line


def test_what_is_there_already_stays(tmp_path, monkeypatch):
    mine = tmp_path / "scenes" / "moon_orb.toml"
    mine.parent.mkdir()
    mine.write_text("# mine")
    demo._copy(demo.demo_folder(), tmp_path)
    assert mine.read_text() == "# mine"
    assert (tmp_path / "scenes" / "thistle_staff.toml").exists()


def test_an_unknown_scene_is_told_the_nearest(tmp_path):
    with pytest.raises(GlowsimError, match="did you mean 'moon_orb'"):
        run("moon_ord", "--out", str(tmp_path))


def test_every_scene_is_listed():
    assert run("--list").output.split() == sorted(
        path.stem for path in (ROOT / "scenes").glob("*.toml")
    )


def test_what_scenes_are_made_of_travels_with_the_package():
    """Else an installed `glowsim demo` copies scenes that lack their meshes."""
    assert FORCED["scenes"] == "glowsim/demos/scenes"
    for scene in (ROOT / "scenes").glob("*.toml"):
        for line in scene.read_text().splitlines():
            if 'file = "../' in line:
                file = line.split('"')[1].removeprefix("../")
                assert FORCED.get(file) == f"glowsim/demos/{file}", line
