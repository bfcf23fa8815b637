"""How fast and how large: tables against the targets, for the machine that runs them.

    python -m pytest -m benchmark -s tests/benchmarks

Times are printed, never asserted: they say as much about the machine as about the program. What
must hold on any machine is: ratios of times taken in one run, how work grows, and memory.
"""

from __future__ import annotations

import dataclasses
import os
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image
from rich import box
from rich.console import Console
from rich.table import Table

from glowsim.scene import parse_scene
from glowsim.transport.build import body_problem
from glowsim.transport.plan import plan_of
from glowsim.transport.problem import BodyProblem
from glowsim.transport.quick import DRAFT, FULL, QuickBody

pytestmark = pytest.mark.benchmark

THISTLE = Path(__file__).parents[2] / "scenes" / "thistle_staff.toml"
SPIKE = """
[[bodies]]
name = "spike"
shape = {{ kind = "spike", length_mm = 120, base_diameter_mm = 40, tip_radius_mm = 2 }}
material = "upholstery_foam_white"
cell_mm = {cell_mm}
detail_mm = {detail_mm}
  [[bodies.lights]]
  board = "round_7"
  position_mm = [0, 0, 14]
  separate_leds = {apart}
"""
MEMORY_RUN = """
import resource
from tests.benchmarks.test_speed import spike
from glowsim.transport.quick import QuickBody
problem = spike(cell_mm=1.27)
QuickBody(problem).respond(problem.emitters)
print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024)
"""


def spike(cell_mm: float, detail_mm: float = 1.5, apart: bool = True) -> BodyProblem:
    """Return the solid spike of 120 mm with a round board of seven LEDs, each its own light."""
    text = SPIKE.format(cell_mm=cell_mm, detail_mm=detail_mm, apart=str(apart).lower())
    return body_problem(plan_of(parse_scene(text)), 0)


def timed(run: Callable[[], Any], repeats: int = 1) -> tuple[Any, float, float]:
    """Return what `run` gives, and the least wall and processor seconds of some repeats."""
    wall, cpu, result = [], [], None
    for _ in range(repeats):
        start, busy = time.perf_counter(), time.process_time()
        result = run()
        wall.append(time.perf_counter() - start)
        cpu.append(time.process_time() - busy)
    return result, min(wall), min(cpu)


def table_of(title: str, *columns: str) -> Table:
    table = Table(title=title, title_justify="left", box=box.SIMPLE_HEAD)
    table.add_column(columns[0])
    for name in columns[1:]:
        table.add_column(name, justify="right")
    return table


def show(table: Table) -> None:
    """Print a table, with how busy the machine is: that alone can double every wall time."""
    if hasattr(os, "getloadavg"):
        busy = f"{os.getloadavg()[0]:.1f} programs running on {os.cpu_count()} processors"
        table.caption = f"{table.caption}; {busy}" if table.caption else busy
    table.caption_justify = "left"
    Console(width=110).print(table)


def against(seconds: float, target: float) -> tuple[str, str, str]:
    """Return a measured time, its target and the verdict as cells of a table."""
    return f"{seconds:.3g} s", f"{target:g} s", "within" if seconds <= target else "OVER"


def test_a_solid_spike_and_a_light_moved_in_it():
    problem = spike(cell_mm=1.27)
    _, first, _ = timed(lambda: QuickBody(problem).respond(problem.emitters))
    ready, prepare, prepare_cpu = timed(lambda: QuickBody(problem), 3)
    whole, solve, solve_cpu = timed(lambda: ready.respond(problem.emitters), 3)
    one = problem.emitters.of(0)
    moved = dataclasses.replace(one, position=one.position + np.array([1.5, 0.5, 4.0]))
    again, move, move_cpu = timed(lambda: ready.respond(moved), 5)
    table = table_of(
        f"Solid spike, 120 mm: {ready.cell_count} cells, {whole.diffuse.shape[0]} lights, "
        "3 channels",
        "step", "wall", "target", "", "processor",
    )  # fmt: skip
    table.add_row("whole solve, first in this process", *against(first, 3.0), "")
    table.add_row(
        "whole solve, again", *against(prepare + solve, 3.0), f"{prepare_cpu + solve_cpu:.3g} s"
    )
    table.add_row("  of it grid, matrices, multigrid", f"{prepare:.3g} s", "", "",
                  f"{prepare_cpu:.3g} s")  # fmt: skip
    table.add_row("one light moved, per channel", *against(move / 3, 0.15), f"{move_cpu / 3:.3g} s")
    show(table)
    assert 25_000 < ready.cell_count < 40_000
    assert whole.diffuse.shape[:2] == (7, 3)
    assert again.diffuse.shape[:2] == (1, 3)
    # Seven lights and everything that is prepared once, against one light in what is ready.
    assert move_cpu < 0.4 * (prepare_cpu + solve_cpu)


def test_a_board_moved_beside_a_light_moved():
    problem = spike(cell_mm=1.27, apart=False)
    ready = QuickBody(problem)
    table = table_of("A moved board that casts its shadow, beside a moved light alone",
                     "answer", "light, processor", "board, processor", "ratio")  # fmt: skip
    for quality in (FULL, DRAFT):
        heights = iter(range(1, 10))

        def board(quality=quality, heights=heights):
            step = np.array([0.0, 0.0, 0.7 * next(heights)])
            boards = []
            for one in problem.boards:
                frame = one.shape.frame.copy()
                frame[:3, 3] += step
                shape = dataclasses.replace(one.shape, frame=frame)
                boards.append(dataclasses.replace(one, shape=shape))
            lights = problem.emitters
            moved = dataclasses.replace(lights, position=lights.position + step)
            return ready.respond(moved, boards, quality)

        board()
        _, _, alone = timed(lambda q=quality: ready.respond(problem.emitters, (), q), 3)
        _, _, both = timed(board, 4)
        table.add_row(
            quality.name, f"{1000 * alone:.0f} ms", f"{1000 * both:.0f} ms", f"{both / alone:.2f}"
        )
    show(table)
    # Laying the body anew would cost many times a light.
    assert both < 5 * alone


@pytest.mark.skipif(sys.platform == "win32", reason="the resource module is Unix's")
def test_memory_of_a_solid_spike():
    root = Path(__file__).parents[2]
    done = subprocess.run(
        [sys.executable, "-c", MEMORY_RUN], cwd=root, capture_output=True, text=True, check=True
    )
    peak_mb = float(done.stdout.split()[-1]) / (1024 if sys.platform == "darwin" else 1)
    table = table_of("Memory of that solve, all of Python included", "", "peak", "target")
    table.add_row("solid spike", f"{peak_mb:.0f} MB", "600 MB")
    show(table)
    assert peak_mb < 600


def glowsim(*arguments: str, folder: Path) -> tuple[float, float]:
    """Run a command in a new process, as a user does; return wall and processor seconds."""
    start, busy = time.perf_counter(), sum(os.times()[2:4])
    subprocess.run(
        [sys.executable, "-m", "glowsim.cli", *arguments],
        cwd=folder,
        capture_output=True,
        check=True,
    )
    return time.perf_counter() - start, sum(os.times()[2:4]) - busy


def test_the_thistle_staff_from_the_command_line(tmp_path):
    scene = str(THISTLE)
    cold = glowsim("glow", scene, "--size", "1280x960", folder=tmp_path)
    saved = glowsim("glow", scene, "--size", "1280x960", folder=tmp_path)
    turn = glowsim("turntable", scene, "--frames", "72", "--size", "640x480", folder=tmp_path)
    table = table_of(
        "Thistle staff, 63 LEDs: new processes, loading of Python included",
        "command", "wall", "target", "", "processor",
    )  # fmt: skip
    for name, (wall, cpu), target in (
        ("glow with two 1280x960 pictures, cold", cold, 30),
        ("the same from the saved result", saved, 5),
        ("turntable of 72 frames 640x480", turn, 60),
    ):
        table.add_row(name, *against(wall, target), f"{cpu:.3g} s")
    show(table)
    folder = tmp_path / "thistle_staff-glow"
    with Image.open(folder / "photo.png") as photo, Image.open(folder / "brightness.png") as chart:
        assert photo.size == chart.size == (1280, 960)
    with Image.open(folder / "turntable.webp") as animation:
        assert animation.n_frames == 72
    # Processor time, since another program may take the machine away meanwhile.
    assert saved[1] < cold[1]


def test_time_grows_in_proportion_to_the_cells():
    table = table_of(
        "Solve time and size of the grid (one light, 3 channels, the same surface)",
        "cells", "prepare", "solve", "both, processor", "us per cell",
    )  # fmt: skip
    cells, seconds = [], []
    for cell_mm in (1.95, 1.27, 0.82, 0.56):
        problem = spike(cell_mm, detail_mm=2.5, apart=False)
        ready, prepare, prepare_cpu = timed(lambda p=problem: QuickBody(p), 2)
        _, solve, solve_cpu = timed(lambda r=ready, p=problem: r.respond(p.emitters), 2)
        cells.append(ready.cell_count)
        seconds.append(prepare_cpu + solve_cpu)
        table.add_row(
            str(cells[-1]), f"{prepare:.3g} s", f"{solve:.3g} s", f"{seconds[-1]:.3g} s",
            f"{1e6 * seconds[-1] / cells[-1]:.1f}",
        )  # fmt: skip
    exponent = float(np.polyfit(np.log(cells), np.log(seconds), 1)[0])
    table.caption = f"time grows as cells to the power {exponent:.2f}"
    show(table)
    assert cells[0] < 15_000
    assert cells[-1] > 250_000
    assert exponent < 1.25
