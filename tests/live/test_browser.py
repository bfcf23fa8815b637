"""The page in a real browser: a board dragged by mouse and keys, figures, save, undo, faults."""

from __future__ import annotations

import importlib.util
import json
import os
import re
import shutil
import signal
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from pathlib import Path

import pytest
from click.testing import CliRunner

from glowsim.cli.group import cli

pytest.importorskip("selenium")
from selenium import webdriver
from selenium.webdriver.chrome.service import Service
from selenium.webdriver.common.action_chains import ActionChains
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys

CHROMIUM, DRIVER = shutil.which("chromium"), shutil.which("chromedriver")
MISSING = not (CHROMIUM and DRIVER)
pytestmark = pytest.mark.skipif(
    MISSING and os.environ.get("GLOWSIM_REQUIRE_BROWSER") != "1",
    reason="no Chromium here; on Debian and Ubuntu: apt-get install chromium chromium-driver",
)
FLAGS = (
    *("--headless=new", "--no-sandbox", "--disable-dev-shm-usage", "--disable-quic"),
    *("--no-first-run", "--disable-background-networking", "--disable-component-update"),
    *("--disable-sync", "--use-angle=swiftshader", "--enable-unsafe-swiftshader"),
    "--window-size=1280,860",
)
PATIENCE_S = 60


def _scene_text():
    file = Path(__file__).with_name("props.py")
    spec = importlib.util.spec_from_file_location("live_props_in_browser", file)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module.SCENE.replace('"Test bud"', '"<script>window.caught = 1</script>"')


@pytest.fixture(scope="module")
def scene(tmp_path_factory):
    file = tmp_path_factory.mktemp("live") / "bud.toml"
    file.write_text(_scene_text(), encoding="utf-8")
    return file


@pytest.fixture(scope="module")
def address(scene):
    """Return the address that the command prints."""
    words = [sys.executable, "-m", "glowsim.cli", "live", str(scene), "--no-browser"]
    with subprocess.Popen(words, stdout=subprocess.PIPE, text=True, cwd=scene.parent) as process:
        yield re.search(r"http://\S+", process.stdout.readline()).group()
        process.send_signal(signal.SIGINT)
        assert process.wait(30) == 0


@pytest.fixture(scope="module")
def page(address, tmp_path_factory):
    options = webdriver.ChromeOptions()
    options.binary_location = CHROMIUM
    for flag in (*FLAGS, f"--user-data-dir={tmp_path_factory.mktemp('browser')}"):
        options.add_argument(flag)
    driver = webdriver.Chrome(options, Service(DRIVER))
    driver.set_page_load_timeout(PATIENCE_S)
    for _ in range(100):  # the command prints its address a moment before it serves
        try:
            urllib.request.urlopen(address, timeout=10).close()
            break
        except OSError:
            time.sleep(0.1)
    driver.get(address)
    opened = Page(driver)
    opened.until("return window.glowsimStage?.shown && glowsimStage.outlines.boards.length")
    opened.rests()
    yield opened
    driver.quit()


class Page:
    """What a hand and an eye do with the page."""

    def __init__(self, driver):
        self.driver = driver

    def ask(self, script):
        return self.driver.execute_script(script)

    def until(self, script, what=bool):
        stop = time.monotonic() + PATIENCE_S
        while time.monotonic() < stop:
            if what(value := self.ask(script)):
                return value
            time.sleep(0.05)
        told = (
            self.text(".told"),
            self.text(".mark"),
            self.ask("return glowsimStage.outlines.chosen"),
        )
        raise AssertionError(f"never: {script}: {value}; {told}")

    def figures(self):
        return self.ask(
            "const r = new XMLHttpRequest(); r.open('GET', '/live/figures', false); r.send();"
            "return JSON.parse(r.responseText)"
        )

    def rests(self):
        stop = time.monotonic() + PATIENCE_S
        while not (found := self.figures())["rests"]:
            assert time.monotonic() < stop, found["error"]
            time.sleep(0.1)
        return found

    def canvas(self):
        return self.driver.find_element(By.CSS_SELECTOR, ".stage canvas")

    def place(self, board):
        return self.ask(
            f"const b = glowsimStage.outlines.boards[{board}]; return b && [3, 7, 11]"
            ".map(k => b.frame[k])"
        )

    def press(self, words):
        for button in self.driver.find_elements(By.CSS_SELECTOR, ".quiet"):
            if button.text == words:
                button.click()
                return
        raise AssertionError(f"no button '{words}'")

    def text(self, selector):
        return self.driver.find_element(By.CSS_SELECTOR, selector).text

    def grab(self, board):
        x, y = self.ask(
            f"const s = glowsimStage, b = s.outlines.boards[{board}];"
            "return s.onScreen(s.outlines.place(b).toArray())"
        )
        canvas = self.canvas()
        middle = canvas.size["width"] / 2, canvas.size["height"] / 2
        hand = ActionChains(self.driver, duration=10)
        return hand.move_to_element_with_offset(canvas, x - middle[0], y - middle[1])


def test_a_board_is_dragged_and_the_glow_follows(page):
    page.rests()
    before, shown = page.place(1), page.ask("return glowsimStage.shown")
    hand = page.grab(1).click_and_hold()
    for _ in range(8):
        hand = hand.move_by_offset(0, -6)
    hand.perform()
    page.until("return glowsimStage.shown", lambda n: n > shown)
    assert page.ask("return glowsimStage.full") is False
    ActionChains(page.driver).release().perform()
    page.rests()
    page.until("return glowsimStage.full")
    after = page.place(1)
    assert after[2] > before[2] + 5
    assert after[:2] == pytest.approx(before[:2], abs=1.0)
    page.press("undo")
    page.until(
        "return glowsimStage.outlines.boards[1].frame[11]", lambda z: z == pytest.approx(before[2])
    )
    page.press("redo")
    page.until(
        "return glowsimStage.outlines.boards[1].frame[11]", lambda z: z == pytest.approx(after[2])
    )


def test_keys_nudge_and_numbers_can_be_typed(page):
    page.grab(1).click().perform()
    before = page.place(1)[2]
    page.canvas().send_keys(Keys.ARROW_DOWN)
    page.canvas().send_keys(Keys.SHIFT + Keys.ARROW_DOWN)
    page.until(
        "return glowsimStage.outlines.boards[1].frame[11]",
        lambda z: z == pytest.approx(before - 1.1, abs=0.01),
    )
    field = page.driver.find_element(By.CSS_SELECTOR, ".carried input")
    field.send_keys(Keys.CONTROL + "a" + Keys.NULL, "33", Keys.ENTER)
    page.until(
        "return glowsimStage.outlines.boards[1].frame[11]",
        lambda z: z == pytest.approx(33, abs=0.06),
    )


def test_the_page_tells_what_the_commands_tell_of_the_saved_scene(page, scene, monkeypatch):
    monkeypatch.chdir(scene.parent)
    ours = page.rests()
    page.press("save")
    saved = scene.with_name("bud-live.toml")
    stop = time.monotonic() + PATIENCE_S
    while not saved.exists() and time.monotonic() < stop:
        time.sleep(0.05)
    assert scene.read_text(encoding="utf-8") == _scene_text()
    assert "# on the plate" in saved.read_text(encoding="utf-8")

    def printed(*words):
        result = CliRunner().invoke(cli, [*words, "--json"])
        assert result.exit_code == 0, result.output
        return json.loads(result.output)

    glow = printed("glow", str(saved), "--no-pictures")
    del glow["files"], glow["wiring"]
    assert ours["glow"] == glow
    assert ours["power"] == printed("power", str(saved))
    sentence = page.text(".sentence")
    even = glow["evenness"][0]
    assert f"{even['grade']}: {100 * even['within_share']:.0f} % of it is even" in sentence
    assert f"{ours['power']['battery']['hours']:.1f} h" in sentence
    # The title is a script: shown, never run.
    assert page.text(".title").startswith("<script>")
    assert page.ask("return window.caught") is None


def test_a_broken_file_is_told_and_loses_nothing(page, scene):
    saved = scene.with_name("bud-live.toml")
    good = saved.read_text(encoding="utf-8")
    saved.write_text(good.replace("upholstery", "upholstry"), encoding="utf-8")
    page.until("return document.querySelector('.told').innerText", lambda t: "line 11" in t)
    assert page.place(1)[2] == pytest.approx(33, abs=0.06)
    saved.write_text(good, encoding="utf-8")
    page.until("return document.querySelector('.told').innerText", lambda t: t == "")


def test_strangers_are_refused(address):
    plain, _, _ = address.partition("?")
    port = int(plain.rsplit(":", 1)[1].strip("/"))
    for path, headers in (
        ("", {}),
        ("live/light", {}),
        ("live/figures?token=guessed", {}),
        (address[len(plain) :], {"Host": f"evil.example:{port}"}),
        (address[len(plain) :], {"Origin": "http://evil.example"}),
        ("_nicegui_ws/socket.io/?EIO=4&transport=polling", {}),
    ):
        request = urllib.request.Request(plain + path, headers=headers)
        with pytest.raises(urllib.error.HTTPError) as refused:
            urllib.request.urlopen(request, timeout=10)
        assert refused.value.code == 403


def test_a_port_in_use_is_one_message(scene):
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = str(taken.getsockname()[1])
        words = [sys.executable, "-m", "glowsim.cli", "live", str(scene), "--no-browser"]
        result = subprocess.run([*words, "--port", port], capture_output=True, text=True)
    assert result.returncode == 2
    assert f"port {port} is in use" in result.stderr
    assert "Traceback" not in result.stderr
