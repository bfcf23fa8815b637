"""Set up and run from a fresh clone, with nothing but Python and pip.

    python3 glowsim/start.py demo          set up, then light the demo scene
    python3 glowsim/start.py test          set up, then run the tests (more arguments go to pytest)
    python3 glowsim/start.py lint          set up, then check style and types
    python3 glowsim/start.py bench         set up, then print the tables of speed and memory

It makes a virtual environment in `.venv` beside the project and installs into that alone. This
file uses the standard library only, and runs before anything is installed.
"""

from __future__ import annotations

import hashlib
import importlib.util
import os
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
VENV = ROOT / ".venv"
STAMP = VENV / "installed"
OLDEST = (3, 11)
SCENE = Path("scenes") / "thistle_staff.toml"


def main(arguments: list[str]) -> int:
    """Run one of the commands; return the exit code."""
    if not arguments or arguments[0] not in ("demo", "test", "lint", "bench"):
        print(__doc__)
        return 2
    missing = _missing()
    if missing:
        print(f"glowsim: {missing}", file=sys.stderr)
        return 2
    command, more = arguments[0], arguments[1:]
    extras = "[live]" if command == "demo" else "[dev]"
    if not _set_up(extras):
        return 2
    if command == "demo":
        return _run("-m", "glowsim.cli", "glow", str(SCENE), *more)
    if command == "test":
        return _run("-m", "pytest", "-n", "auto", "--dist", "worksteal", *more)
    if command == "bench":
        return _run("-m", "pytest", "-m", "benchmark", "-s", "tests/benchmarks", *more)
    steps = (("ruff", "check", "."), ("ruff", "format", "--check", "."), ("mypy",))
    return max(_run("-m", *step) for step in steps)


def _missing() -> str:
    """Say in one line what this machine lacks, or nothing."""
    if sys.version_info < OLDEST:
        return (
            f"needs Python {OLDEST[0]}.{OLDEST[1]} or newer; this is {sys.version.split()[0]}. "
            "Install a newer one and start this with it, as in: python3.12 glowsim/start.py demo"
        )
    if VENV.exists():
        return ""
    for module in ("venv", "ensurepip"):
        if importlib.util.find_spec(module) is None:
            return (
                f"Python's module '{module}' is missing; on Debian and Ubuntu install it with: "
                "sudo apt-get install python3-venv"
            )
    return ""


def _set_up(extras: str) -> bool:
    """Make the environment and install the project, unless that has been done already."""
    wanted = hashlib.sha256((ROOT / "pyproject.toml").read_bytes() + extras.encode()).hexdigest()
    done = STAMP.read_text().split() if STAMP.exists() else []
    if wanted in done:
        return True
    print("glowsim: setting up in .venv; the first time takes a minute or two", flush=True)
    if not VENV.exists() and subprocess.call([sys.executable, "-m", "venv", str(VENV)]) != 0:
        print("glowsim: could not make .venv; see the message above", file=sys.stderr)
        return False
    if _run("-m", "pip", "install", "--quiet", "--editable", f"{ROOT}{extras}") != 0:
        print("glowsim: pip could not install; see the message above", file=sys.stderr)
        return False
    STAMP.write_text("\n".join([*done, wanted]) + "\n")
    return True


def _run(*arguments: str) -> int:
    """Run the environment's Python in the project's folder; return its exit code."""
    python = VENV / ("Scripts/python.exe" if os.name == "nt" else "bin/python")
    # Where this process runs in an environment of its own, that must not leak into the new one.
    clean = {k: v for k, v in os.environ.items() if k not in ("PYTHONPATH", "PYTHONHOME")}
    try:
        return subprocess.call([str(python), *arguments], cwd=ROOT, env=clean)
    except KeyboardInterrupt:
        return 130


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
