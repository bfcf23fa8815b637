"""The public Python API: its names, and the five lines that the package promises."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

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


def test_an_unknown_name_is_said():
    with pytest.raises(AttributeError, match="no attribute 'glimmer'"):
        glowsim.glimmer  # noqa: B018


def five_lines(text):
    """Return the first indented or fenced block of five lines that starts with the import."""
    lines = [line.strip() for line in text.splitlines()]
    first = lines.index("import glowsim")
    return "\n".join(lines[first : first + 5])


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
