"""How soon the picture follows the pointer, in a real browser, on the demo scenes."""

from __future__ import annotations

import os
import shutil
import time
from pathlib import Path

import numpy as np
import pytest

from tests.support.browser import Page, browsing, needs_browser, serving

pytest.importorskip("selenium")
from selenium.webdriver.common.action_chains import ActionChains

ROOT = Path(__file__).parent.parent.parent
MOVES = 20
PATIENCE_S = 20.0
WATCH = """
window.waits = [];
const stage = glowsimStage;
stage.$refs.canvas.addEventListener("pointermove", (event) => {
  const before = stage.shown, start = event.timeStamp;
  const look = () => requestAnimationFrame(() => {
    if (stage.shown <= before) return look();
    // The frame after the one that drew it.
    requestAnimationFrame(() => waits.push(performance.now() - start));
  });
  look();
});
"""
FRAMES = """
const done = arguments[0], stage = glowsimStage, start = performance.now();
let frames = 0;
const turn = () => {
  stage.orbit.turn(2, 0);
  stage.redraw();
  frames += 1;
  if (performance.now() - start < 2000) requestAnimationFrame(turn);
  else done((1000 * frames) / (performance.now() - start));
};
requestAnimationFrame(turn);
"""


def busy_s(*roots):
    """Return the processor time of programs and all that they started [s], as Linux tells it."""
    ticks, parents = {}, {}
    for stat in Path("/proc").glob("[0-9]*/stat"):
        try:
            fields = stat.read_text().rpartition(")")[2].split()
        except OSError:  # it has just ended
            continue
        pid = int(stat.parent.name)
        ticks[pid], parents[pid] = int(fields[11]) + int(fields[12]), int(fields[1])

    def is_of(pid):
        return pid in roots or (pid in parents and is_of(parents[pid]))

    return sum(t for pid, t in ticks.items() if is_of(pid)) / os.sysconf("SC_CLK_TCK")


@pytest.mark.benchmark
@needs_browser
@pytest.mark.parametrize("name", ["thistle_staff", "geode_shoulder", "reed_blade", "moon_orb"])
def test_pointer_to_picture(name, tmp_path):
    for part in ("scenes", "assets"):
        shutil.copytree(ROOT / part, tmp_path / part)
    scene = tmp_path / "scenes" / f"{name}.toml"
    with (
        serving(scene, cwd=tmp_path) as (address, server),
        browsing(tmp_path / "browser") as driver,
    ):
        started = time.perf_counter()
        driver.get(address)
        page = Page(driver)
        page.until("return window.glowsimStage?.shown && glowsimStage.outlines.boards.length")
        first_s = time.perf_counter() - started
        page.rests()
        page.ask(WATCH)
        page.grab(0).click_and_hold().perform()
        programs = server.pid, driver.service.process.pid
        before_s = [busy_s(pid) for pid in programs]
        for k in range(MOVES):
            before = page.ask("return waits.length")
            # Never twice to one place, for what is known there already comes back at once; upward,
            # for the moon's ring cannot sink into its foot: what stays where it is has no picture.
            step = (-1) ** k * (3 + k) if k else -(3 + MOVES)
            ActionChains(driver, duration=0).move_by_offset(0, step).perform()
            stop = time.monotonic() + PATIENCE_S
            while page.ask("return waits.length") == before and time.monotonic() < stop:
                time.sleep(0.02)
        spent = [busy_s(pid) - was for pid, was in zip(programs, before_s, strict=True)]
        ActionChains(driver).release().perform()
        waits = np.array(page.ask("return waits"))
        rate = driver.execute_async_script(FRAMES)
        faces = page.ask("return glowsimStage.glow.mesh.geometry.index.count / 3")
    program, browser = (1000 * seconds / MOVES for seconds in spent)
    print(
        f"\n{name}: first light {first_s:.1f} s; pointer to picture median {np.median(waits):.0f} "
        f"ms, 95th percentile {np.percentile(waits, 95):.0f} ms of {len(waits)}; processor time of "
        f"a move {program:.0f} ms program, {browser:.0f} ms browser; turning {faces:.0f} faces "
        f"{rate:.0f} frames a second"
    )
    assert len(waits) >= MOVES // 2
