"""From no scene to a saved one, in a real browser, as somebody new to it does."""

from __future__ import annotations

from pathlib import Path

import pytest

from glowsim.scene import read_scene
from tests.support.browser import Page, browsing, needs_browser, serving

pytest.importorskip("selenium")
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys

MESH = Path(__file__).parent.parent.parent / "assets" / "geode_crystal_short.obj"
pytestmark = [needs_browser, pytest.mark.slow]


@pytest.fixture
def page(tmp_path, tmp_path_factory):
    with (
        serving(cwd=tmp_path) as (address, _),
        browsing(tmp_path_factory.mktemp("browser")) as driver,
    ):
        driver.get(address)
        opened = Page(driver)
        opened.until("return document.querySelector('.begin')")
        yield opened


def choose(page, label, value):
    select = page.driver.find_element(By.CSS_SELECTOR, f"select[aria-label='{label}']")
    page.driver.execute_script(
        "arguments[0].value = arguments[1]; arguments[0].dispatchEvent(new Event('change'))",
        select,
        value,
    )


def test_a_sketch_becomes_a_scene_on_the_stage(page, tmp_path):
    choose(page, "shape", "orb")
    choose(page, "light board", "ring_24")
    field = page.driver.find_element(By.CSS_SELECTOR, "input[aria-label='across in mm']")
    field.send_keys(Keys.CONTROL + "a" + Keys.NULL, "40")
    page.press("light it")
    page.until("return document.querySelector('.begin .wrong').innerText", lambda t: "room" in t)
    assert list(tmp_path.iterdir()) == []
    choose(page, "light board", "round_7")
    page.press("light it")
    page.until("return window.glowsimStage?.shown")
    page.rests()
    assert read_scene(tmp_path / "orb.toml").scene.bodies[0].shape.diameter_mm == 40
    page.grab(0).click().perform()
    page.canvas().send_keys(Keys.ARROW_UP)
    page.until("return document.querySelector('[title=\\'save: the scene\\']')")
    page.press("save")
    page.until("return document.body.innerText.includes('saved as')")
    assert (tmp_path / "orb-live.toml").exists()


def by_chooser(page):
    page.driver.find_element(By.CSS_SELECTOR, ".begin input[type=file]").send_keys(str(MESH))


def by_mouse(page):
    """Drag the file over the page and let go of it, as the browser is told by the desktop."""
    files = {"items": [], "files": [str(MESH)], "dragOperationsMask": 1}
    for kind in ("dragEnter", "dragOver", "drop"):
        told = {"type": kind, "x": 300, "y": 300, "data": files}
        page.driver.execute_cdp_cmd("Input.dispatchDragEvent", told)
        if kind == "dragOver":
            page.until("return document.querySelector('.over')")


@pytest.mark.parametrize("given", [by_chooser, by_mouse])
def test_a_mesh_is_asked_for_its_size(page, tmp_path, given):
    given(page)
    page.until("return document.querySelector('.begin').innerText.includes('right?')")
    assert "58 mm high" in page.text("select[aria-label='its size']")
    choose(page, "light board", "rgb_5050_5ma")
    page.press("light it")
    page.until("return window.glowsimStage?.shown")
    mesh = read_scene(tmp_path / "geode_crystal_short.toml").scene.bodies[0].mesh
    assert (mesh.file, mesh.units) == (MESH.name, "mm")
    assert (tmp_path / MESH.name).read_bytes() == MESH.read_bytes()
