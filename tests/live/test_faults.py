"""What must not lose anything: a kill while saving, a connection lost, a long day of dragging."""

from __future__ import annotations

import gc
import os
import signal
import subprocess
import sys
import time
import tracemalloc

import pytest

from glowsim.live.edits import BoardAt
from glowsim.live.session import Session
from glowsim.scene import read_scene
from tests.live.props import write_scene
from tests.support.browser import Page, browsing, needs_browser, serving

pytest.importorskip("selenium")
from selenium.webdriver.common.keys import Keys

pytestmark = pytest.mark.slow
SAVING = """
import itertools, sys
from pathlib import Path
from glowsim.live import edits
from glowsim.live.edits import BoardAt
from glowsim.live.session import Session
session = Session(Path(sys.argv[1]), begun=False)
for k in itertools.count():
    session.do("move", lambda p: edits.moved(p, BoardAt(0, 1), (0, 0, 30 + k % 7)))
    session.save()
    print(k, flush=True)
"""
LATER_S = (0.0, 0.013, 0.031)
"""When it is killed, after a save: at several moments of the next one."""
DRAGS = 40
MOST_GROWTH_MB = 4.0
"""In as many drags again, of some 93. A glow kept for every drag would make twenty times as much;
steps to undo make a little."""


@pytest.fixture
def scene(tmp_path):
    return write_scene(tmp_path)


@pytest.mark.parametrize("later_s", LATER_S)
def test_killed_while_saving_the_file_is_whole(scene, later_s):
    words = [sys.executable, "-c", SAVING, str(scene)]
    with subprocess.Popen(words, stdout=subprocess.PIPE, text=True) as process:
        for _ in range(3):
            process.stdout.readline()
        time.sleep(later_s)
        process.kill()
    saved = read_scene(scene.with_name("bud-live.toml"))
    assert 30 <= saved.scene.bodies[0].lights[1].position_mm[2] < 37
    assert read_scene(scene).scene.bodies[0].lights[1].position_mm[2] == 34
    again = Session(scene, begun=False)  # what was not saved yet is offered
    assert again.left_over is None or "[[bodies]]" in again.left_over
    again.close()


@needs_browser
def test_a_connection_that_is_lost_comes_back_and_one_that_is_gone_is_told(scene, tmp_path_factory):
    with (
        serving(scene, cwd=scene.parent) as (address, process),
        browsing(tmp_path_factory.mktemp("browser")) as driver,
    ):
        driver.get(address)
        page = Page(driver)
        page.until("return window.glowsimStage?.shown && glowsimStage.outlines.boards.length")
        page.rests()
        page.grab(1).click().perform()
        before = page.place(1)[2]
        page.ask("window.socket.io.engine.close()")
        page.until("return window.socket.connected")
        page.canvas().send_keys(Keys.ARROW_UP)
        page.until(
            "return glowsimStage.outlines.boards[1].frame[11]",
            lambda z: z == pytest.approx(before + 1, abs=0.01),
        )
        os.kill(process.pid, signal.SIGSTOP)  # asleep
        time.sleep(3)
        os.kill(process.pid, signal.SIGCONT)
        page.canvas().send_keys(Keys.ARROW_UP)
        page.until(
            "return glowsimStage.outlines.boards[1].frame[11]",
            lambda z: z == pytest.approx(before + 2, abs=0.01),
        )
        time.sleep(1)
        process.kill()
        page.until("return document.body.innerText.includes('Connection lost')")
    assert Session(scene, begun=False).left_over is not None  # and nothing is


def test_dragging_for_long_needs_no_more_memory(scene):
    """By what Python and numpy hold: what the system counts for the process hangs on what other
    tests left in it."""
    tracemalloc.start()
    session = Session(scene)
    at = BoardAt(0, 1)
    assert session.wait()

    def drag(k):
        session.drag(at, 0, (2.0 * (k % 5) - 4.0, 0.0, 32.0 + 0.1 * (k % 83)))
        session.wait()
        if k % 2:
            session.release()

    def memory_mb():
        session.release()
        assert session.wait()  # with all that belongs to an answer at rest
        gc.collect()
        return tracemalloc.get_traced_memory()[0] / 2**20

    try:
        for k in range(DRAGS):
            drag(k)  # until all that is kept of the last answers is full
        full = memory_mb()
        for k in range(DRAGS, 2 * DRAGS):
            drag(k)
        assert memory_mb() - full < MOST_GROWTH_MB
    finally:
        tracemalloc.stop()
    assert session.error == ""
    session.close()
