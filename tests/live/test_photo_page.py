"""The page of a readings file in a real browser: points clicked, the fit seen, all of it saved."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from glowsim.calibration.readings import read_readings
from tests.support.browser import Page, browsing, needs_browser, serving

pytest.importorskip("selenium")
from selenium.webdriver.common.action_chains import ActionChains
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys

pytestmark = [needs_browser, pytest.mark.slow]
DEMO = Path(__file__).parent.parent.parent / "scenes" / "readings"
ON_SCREEN = """
const m = glowsimPhoto.$refs.photo.getScreenCTM();
const p = new DOMPoint(...arguments[0]).matrixTransform(m);
return [p.x, p.y];
"""
SENTENCE = "return document.querySelector('.sentence').innerText"


def pointer(driver, *pixels):
    """Press at a pixel of the photo, drag to the others, and let go."""
    hand = ActionChains(driver, duration=10)
    mouse = hand.w3c_actions.pointer_action
    places = [[round(v) for v in driver.execute_script(ON_SCREEN, pixel)] for pixel in pixels]
    mouse.move_to_location(*places[0])
    mouse.pointer_down()
    for place in places[1:]:
        mouse.move_to_location(*place)
    mouse.pointer_up()
    hand.perform()


def test_points_are_clicked_dragged_and_saved(tmp_path):
    folder = tmp_path / "readings"
    shutil.copytree(DEMO, folder)
    file = folder / "white_foam.toml"
    text = file.read_text(encoding="utf-8")
    file.write_text(text[: text.index("points = [")] + text[text.index("toward =") :], "utf-8")
    with (
        serving(file, cwd=folder) as (address, _),
        browsing(tmp_path / "browser") as driver,
    ):
        driver.get(address)
        page = Page(driver)
        page.until("return window.glowsimPhoto?.shown && glowsimPhoto.unit < 1 && 1")
        for n, pixel in enumerate([(115, 60), (60, 359), (161, 359)]):
            page.until("return glowsimPhoto.current", lambda c, n=n: c == n)
            words = f"Click {page.ask(f'return glowsimPhoto.points[{n}].words')}"
            page.until(SENTENCE, lambda said, words=words: words in said)
            pointer(driver, pixel)
            page.until(f"return glowsimPhoto.points[{n}].pixel && 1")
        page.until("return glowsimPhoto.outline.length")
        pointer(driver, (115, 60), (109, 52))
        page.until("return glowsimPhoto.profile.length")
        page.until(SENTENCE, lambda said: "the light falls to" in said)
        row = driver.find_element(By.CSS_SELECTOR, ".sheet li button")
        row.send_keys(Keys.ARROW_LEFT)
        page.until("return glowsimPhoto.points[0].pixel[0]", lambda x: abs(x - 108) < 0.7)
        page.press("save")
        page.until("return document.body.innerText.includes('saved in white_foam.toml') && 1")
        assert page.faults() == []
    photo = read_readings(file).bench.photos[0]
    (x, y), *_ = (mark.pixel for mark in photo.points)
    assert (x, y) == pytest.approx((108, 52), abs=0.7)
