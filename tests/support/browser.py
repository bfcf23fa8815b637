"""The page of `glowsim live` in a real browser: what a hand and an eye do with it."""

from __future__ import annotations

import os
import re
import shutil
import signal
import subprocess
import sys
import time
import urllib.request
from contextlib import contextmanager

import pytest

pytest.importorskip("selenium")
from selenium import webdriver
from selenium.webdriver.chrome.service import Service
from selenium.webdriver.common.action_chains import ActionChains
from selenium.webdriver.common.by import By

CHROMIUM, DRIVER = shutil.which("chromium"), shutil.which("chromedriver")
MISSING = not (CHROMIUM and DRIVER)
needs_browser = pytest.mark.skipif(
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


@contextmanager
def serving(*words, cwd):
    """Run the command; give the address that it prints."""
    command = [sys.executable, "-m", "glowsim.cli", "live", *map(str, words), "--no-browser"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True, cwd=cwd) as process:
        address = re.search(r"http://\S+", process.stdout.readline()).group()
        for _ in range(200):  # it prints the address a moment before it serves
            try:
                urllib.request.urlopen(address, timeout=10).close()
                break
            except OSError:
                time.sleep(0.1)
        try:
            yield address, process
        finally:
            if process.poll() is None:
                process.send_signal(signal.SIGINT)
                assert process.wait(30) == 0


@contextmanager
def browsing(folder, *flags):
    """Give a browser of its own, with nothing kept from elsewhere."""
    options = webdriver.ChromeOptions()
    options.binary_location = CHROMIUM
    options.set_capability("goog:loggingPrefs", {"browser": "ALL"})
    for flag in (*FLAGS, *flags, f"--user-data-dir={folder}"):
        options.add_argument(flag)
    driver = webdriver.Chrome(options, Service(DRIVER))
    driver.set_page_load_timeout(PATIENCE_S)
    try:
        yield driver
    finally:
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
        told = self.ask("return document.body.innerText")
        raise AssertionError(f"never: {script}: {value}; the page says: {told[-600:]}")

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
        for button in self.driver.find_elements(By.CSS_SELECTOR, "button"):
            if button.text.strip() == words and button.is_displayed():
                button.click()
                return
        raise AssertionError(f"no button '{words}'")

    def by(self, scheme="dark", motion="no-preference"):
        """Prefer dark or light, and less motion or not."""
        features = {"prefers-color-scheme": scheme, "prefers-reduced-motion": motion}
        told = {"features": [{"name": name, "value": value} for name, value in features.items()]}
        self.driver.execute_cdp_cmd("Emulation.setEmulatedMedia", told)

    def shown(self, selector):
        """Return the words of what is shown of a selector."""
        return self.ask(
            "return [...document.querySelectorAll(arguments[0])].filter(e => e.offsetParent)"
            ".map(e => e.innerText).join(' ')".replace("arguments[0]", repr(selector))
        )

    def faults(self):
        """Return what the browser's console complains of, refused addresses apart."""
        found = [entry["message"] for entry in self.driver.get_log("browser")]
        return [words for words in found if "status of 40" not in words]

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
