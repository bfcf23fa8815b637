"""Setting up from a fresh clone: what is missing is said in one line, before anything is made."""

from __future__ import annotations

import importlib.util
import subprocess
import sys
from pathlib import Path

import pytest

from glowsim import start

FILE = Path(start.__file__)


@pytest.fixture
def no_environment(monkeypatch, tmp_path):
    monkeypatch.setattr(start, "VENV", tmp_path / ".venv")
    monkeypatch.setattr(start, "STAMP", tmp_path / ".venv" / "installed")


def lacking(monkeypatch, module):
    found = importlib.util.find_spec
    monkeypatch.setattr(
        importlib.util, "find_spec", lambda name: None if name == module else found(name)
    )


@pytest.mark.parametrize("module", ["venv", "ensurepip"])
def test_a_missing_module_is_named_with_its_package(monkeypatch, capsys, no_environment, module):
    lacking(monkeypatch, module)
    assert start.main(["demo"]) == 2
    said = capsys.readouterr().err
    assert said.count("\n") == 1
    assert f"'{module}' is missing" in said
    assert "apt-get install python3-venv" in said
    assert not start.VENV.exists()


def test_an_old_python_is_refused(monkeypatch, capsys, no_environment):
    monkeypatch.setattr(sys, "version_info", (3, 9, 1))
    assert start.main(["test"]) == 2
    assert "needs Python 3.11 or newer" in capsys.readouterr().err


def test_an_unknown_word_shows_the_words_there_are(capsys):
    assert start.main(["dmeo"]) == 2
    said = capsys.readouterr().out
    for word in ("demo", "test", "lint", "bench"):
        assert f"start.py {word} " in said


def test_it_needs_nothing_that_is_not_there_yet():
    """An interpreter without any site packages reads it and says how to use it."""
    run = subprocess.run(
        [sys.executable, "-I", "-S", str(FILE)], capture_output=True, text=True, check=False
    )
    assert run.returncode == 2
    assert "Set up and run from a fresh clone" in run.stdout
