"""How long `power` and `pulse` take on the thistle staff from a saved glow.

    python -m pytest -m benchmark -s tests/benchmarks/test_pulse_speed.py

Targets on a free laptop of two cores: figures in 3 s, an animation of 250 frames in 30 s.
"""

from __future__ import annotations

import os
import subprocess
import sys
import time
from pathlib import Path

import pytest
from rich.console import Console
from rich.table import Table

pytestmark = pytest.mark.benchmark

THISTLE = Path(__file__).parents[2] / "scenes" / "thistle_staff.toml"
RUNS = {
    "power": ("power",),
    "pulse, figures": ("pulse", "--no-pictures"),
    "pulse, 10 s at 25 frames, 480x360": (
        *("pulse", "--seconds", "10", "--fps", "25", "--size", "480x360"),
    ),
}


def test_power_and_pulse(tmp_path):
    out = tmp_path / "out"
    prepare = ("glow", THISTLE, "--no-pictures", "--out", out)
    subprocess.run([sys.executable, "-m", "glowsim.cli", *map(str, prepare)], check=True)
    table = Table("command", "wall s", "CPU s", title="Thistle staff, from a saved glow")
    cpu = []
    for name, (command, *options) in RUNS.items():
        more = [] if command == "power" else ["--out", str(out)]
        wall, before = time.perf_counter(), os.times()
        subprocess.run(
            [sys.executable, "-m", "glowsim.cli", command, str(THISTLE), *options, *more],
            check=True,
            capture_output=True,
        )
        after = os.times()
        cpu.append(
            after.children_user + after.children_system
            - before.children_user - before.children_system
        )  # fmt: skip
        table.add_row(name, f"{time.perf_counter() - wall:.1f}", f"{cpu[-1]:.1f}")
    Console().print(table)
    # Drawing nothing must be far less work than drawing 250 frames.
    assert cpu[1] < cpu[2] / 2
