"""The public Python API: its names, and the five lines that the package promises."""

from __future__ import annotations

import subprocess
import sys
import tomllib
from pathlib import Path

import pytest
from PIL import Image

import glowsim

ROOT = Path(__file__).parent.parent


@pytest.mark.parametrize("name", glowsim.__all__)
def test_every_public_name_is_there(name):
    assert getattr(glowsim, name).__name__ == name
    assert getattr(glowsim, name).__doc__


def test_type_checkers_see_the_same_names():
    text = (ROOT / "glowsim" / "__init__.py").read_text(encoding="utf-8")
    seen = {line.split(" as ")[1] for line in text.splitlines() if line.startswith("    from ")}
    assert seen == set(glowsim.__all__)


def test_the_version_is_that_of_the_package():
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    assert glowsim.__version__ == project["version"]


def test_an_unknown_name_is_said():
    with pytest.raises(AttributeError, match="no attribute 'glimmer'"):
        glowsim.glimmer  # noqa: B018


def five_lines(text):
    """Return the first indented or fenced block of five lines that starts with the import."""
    lines = [line.strip() for line in text.splitlines()]
    first = lines.index("import glowsim")
    return "\n".join(lines[first : first + 5])


@pytest.mark.slow
@pytest.mark.parametrize("source", ["glowsim/__init__.py", "README.md"])
def test_five_lines_judge_and_show(source):
    code = five_lines((ROOT / source).read_text(encoding="utf-8"))
    last = code.splitlines()[-1].split("#")[0]
    code = code.replace(code.splitlines()[-1], f"picture = {last}\nprint(picture.size)")
    run = subprocess.run(
        [sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert run.returncode == 0, run.stderr
    assert "Moon orb, seen from 2.5 m" in run.stdout
    assert "hot spot on moon at (" in run.stdout
    assert "(1280, 960)" in run.stdout


SCENE = """
title = "A <small> ball"
[[bodies]]
name = "ball"
shape = { kind = "orb", diameter_mm = 40 }
material = "upholstery_foam_white"
detail_mm = 6
cell_mm = 4
  [[bodies.lights]]
  board = "rgb_5050_18ma"
  position_mm = [0, 0, 0]
  zone = "core"
"""


@pytest.fixture(scope="module")
def solved():
    prop = glowsim.parse_scene(SCENE)
    return prop, glowsim.solve(prop)


def test_paths_may_be_texts(solved, tmp_path, monkeypatch):
    prop, glow = solved
    monkeypatch.chdir(tmp_path)
    glowsim.save_glow(glow, "one.npz")
    assert glowsim.load_glow("one.npz").title == prop.scene.title
    glowsim.solve(prop, saved="two.npz")
    assert glowsim.load_glow("two.npz").title == prop.scene.title
    glowsim.save_picture(Image.new("RGB", (8, 8)), "one.png")
    assert (tmp_path / "one.png").is_file()


def test_an_unknown_zone_is_refused(solved):
    _, glow = solved
    with pytest.raises(glowsim.SolveError, match="zone 'cor'; did you mean 'core'"):
        glow.driven({"cor": [1, 1, 1]})
    half = glow.driven({"core": [0.5, 0.5, 0.5]})
    (copy,) = glow.copies
    assert half.exitance_lm_mm2(copy) == pytest.approx(0.5 * glow.exitance_lm_mm2(copy))


def test_results_show_themselves_briefly_and_in_a_notebook(solved):
    prop, glow = solved
    for shown in (prop, glow, glow.bodies[0]):
        assert len(repr(shown)) < 120
    for shown in (prop, glow, glowsim.findings_of(glow, prop.scene)):
        html = shown._repr_html_()
        assert "A &lt;small&gt; ball" in html
        assert "<td>ball</td>" in html
        assert "<small>" not in html
    assert "<p>1. " in glowsim.findings_of(glow, prop.scene)._repr_html_()


def test_the_package_lists_its_own_names_only():
    assert [name for name in dir(glowsim) if not name.startswith("__")] == glowsim.__all__


def test_flashes_can_be_counted(solved):
    prop, glow = solved
    with pytest.raises(glowsim.SceneError, match=r"no \[\[pulses\]\]"):
        glowsim.flashes(prop, glow)
    text = SCENE + '[[pulses]]\nzone = "core"\npattern = "blink"\nperiod_s = 0.2\n'
    found = glowsim.flashes(glowsim.parse_scene(text), glow, seconds=2)
    assert set(found) == {"on a screen", "of the prop"}
    assert found["of the prop"].general.anywhere == pytest.approx(5, abs=0.5)
