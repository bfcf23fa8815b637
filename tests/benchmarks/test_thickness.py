"""How long a sweep of eight steps takes, against the target of 30 s on 2 cores.

python -m pytest -m benchmark -s tests/benchmarks/test_thickness.py
"""

from __future__ import annotations

import resource
import subprocess
import sys
import time
from pathlib import Path

import pytest
from rich import box
from rich.console import Console
from rich.table import Table

pytestmark = pytest.mark.benchmark

THISTLE = Path(__file__).parents[2] / "scenes" / "thistle_staff.toml"


def test_eight_steps_of_the_spike(tmp_path):
    """Times are printed, never asserted; a sweep that goes on must cost less than a fresh one."""
    table = Table(title="thickness, 8 steps, 120 mm spike (target 30 s)", box=box.SIMPLE_HEAD)
    for heading in ("sweep", "wall clock s", "CPU s", "peak MB of one process"):
        table.add_column(heading, justify="right")
    cost = {}
    for name, more in (
        ("fresh, figures only", ("--no-pictures",)),
        ("again, kept steps", ("--no-pictures",)),
        ("again, with pictures", ()),
    ):
        clock, used = time.perf_counter(), _children()
        command = ("thickness", THISTLE, "--from", "5", "--to", "40", "--out", tmp_path, *more)
        done = subprocess.run(
            [sys.executable, "-m", "glowsim.cli", *map(str, command)],
            capture_output=True,
            text=True,
            check=False,
        )
        assert done.returncode == 0, done.stderr
        cost[name] = _children() - used
        peak = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024
        table.add_row(
            name, f"{time.perf_counter() - clock:.1f}", f"{cost[name]:.1f}", f"{peak:.0f}"
        )
    Console().print(table)
    assert cost["again, kept steps"] < cost["fresh, figures only"]


def _children() -> float:
    """Return the CPU time of processes that have ended [s]."""
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime
