"""The command line in a process of its own, as a user starts it."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path


def command(*arguments: object) -> list[str]:
    """Return what starts `glowsim` with these arguments."""
    return [sys.executable, "-m", "glowsim.cli", *map(str, arguments)]


def run(*arguments: object, folder: Path, **environment: str) -> subprocess.CompletedProcess[str]:
    """Run `glowsim` in a folder to its end, without colours."""
    return subprocess.run(
        command(*arguments),
        cwd=folder,
        capture_output=True,
        text=True,
        timeout=1800,  # a busy machine may take its time
        check=False,
        env={**os.environ, "NO_COLOR": "1", **environment},
    )
