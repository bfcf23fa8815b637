"""The command line in the tests' own process."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from glowsim.cli import main


@pytest.fixture
def typed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> Callable[..., subprocess.CompletedProcess[str]]:
    """Run the command line in the test's folder, much sooner than in a process of its own."""

    def typed(*arguments: object) -> subprocess.CompletedProcess[str]:
        words = [str(argument) for argument in arguments]
        monkeypatch.chdir(tmp_path)
        monkeypatch.setenv("NO_COLOR", "1")
        monkeypatch.setattr(sys, "argv", ["glowsim", *words])
        with pytest.raises(SystemExit) as end:
            main.main()
        shown = capsys.readouterr()
        return subprocess.CompletedProcess(words, int(end.value.code or 0), shown.out, shown.err)

    return typed
