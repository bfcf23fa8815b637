"""The page in a real browser: a board dragged by mouse and keys, figures, save, undo, faults."""

from __future__ import annotations

import json
import re
import time
import urllib.error
import urllib.request
from pathlib import Path

import pytest
from click.testing import CliRunner

import glowsim.live
from glowsim.cli.group import cli
from tests.live.props import SCENE, write_scene
from tests.support.browser import PATIENCE_S, Page, browsing, needs_browser, serving

pytest.importorskip("selenium")
from selenium.webdriver.common.action_chains import ActionChains
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys

pytestmark = needs_browser


FLICKER = """
[[pulses]]
zone = "all"
pattern = "blink"
period_s = 0.25
low = 0.2
"""
TEXT = SCENE.replace('"Test bud"', '"<script>window.caught = 1</script>"') + FLICKER


@pytest.fixture(scope="module")
def scene(tmp_path_factory):
    return write_scene(tmp_path_factory.mktemp("live"), TEXT)


@pytest.fixture(scope="module")
def address(scene):
    """Return the address that the command prints."""
    with serving(scene, cwd=scene.parent) as (address, _):
        yield address


@pytest.fixture(scope="module")
def page(address, tmp_path_factory):
    with browsing(tmp_path_factory.mktemp("browser")) as driver:
        driver.get(address)
        opened = Page(driver)
        opened.until("return window.glowsimStage?.shown && glowsimStage.outlines.boards.length")
        opened.rests()
        yield opened


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


SEEN = """
const s = glowsimStage, p = s.picture, w = s.$el.clientWidth, h = s.$el.clientHeight;
const kept = (solid) => {
  p.keep(s.scene, s.orbit.camera, w, h, solid);
  const bytes = new Uint8Array(4 * w * h);
  p.renderer.readRenderTargetPixels(p.kept.target, 0, 0, w, h, bytes);
  return bytes;
};
const whole = kept(false), first = kept(s.glow.mesh), again = kept(s.glow.mesh);
const differ = (one) => whole.reduce((sum, v, k) => sum + (v !== one[k]), 0);
const bright = again.reduce((most, v) => Math.max(most, v), 0);
return [p.seen.count, s.glow.mesh.geometry.index.count, differ(first), differ(again), bright];
"""


def test_of_the_surface_but_what_is_seen_is_drawn_and_the_picture_stays(page):
    seen, every, first, again, bright = page.ask(SEEN)
    assert 0 < seen < every / 2
    assert first == again == 0
    assert bright > 0


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


def _saved(page, scene):
    """Return the scene as saved, a board nudged first: what is as it was is not saved."""
    saved = scene.with_name("bud-live.toml")
    if not saved.exists():
        buttons = page.driver.find_elements(By.CSS_SELECTOR, "button")
        if not any(b.text.strip() == "undo" and b.is_enabled() for b in buttons):
            before = page.place(1)[2]
            page.grab(1).click().perform()
            page.canvas().send_keys(Keys.ARROW_UP)
            page.until(
                "return glowsimStage.outlines.boards[1].frame[11]",
                lambda z: z == pytest.approx(before + 1, abs=0.06),
            )
        page.rests()
        page.press("save")
        stop = time.monotonic() + PATIENCE_S
        while not saved.exists() and time.monotonic() < stop:
            time.sleep(0.05)
    return saved


def test_the_page_tells_what_the_commands_tell_of_the_saved_scene(page, scene, monkeypatch):
    monkeypatch.chdir(scene.parent)
    saved = _saved(page, scene)
    ours = page.rests()
    assert scene.read_text(encoding="utf-8") == TEXT
    assert "# on the plate" in saved.read_text(encoding="utf-8")

    def printed(*words):
        result = CliRunner().invoke(cli, [*words, "--json"])
        assert result.exit_code == 0, result.output
        return json.loads(result.stdout)

    glow = printed("glow", str(saved), "--no-pictures", "--no-suggest")
    del glow["files"], glow["wiring"], glow["heat"]
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
    saved = _saved(page, scene)
    before, good = page.place(1), saved.read_text(encoding="utf-8")
    saved.write_text(good.replace("upholstery", "upholstry"), encoding="utf-8")
    page.until("return document.querySelector('.told').innerText", lambda t: "line 11" in t)
    assert page.place(1) == before
    saved.write_text(good, encoding="utf-8")
    page.until("return document.querySelector('.told').innerText", lambda t: t == "")


def test_the_map_has_the_marks_of_the_findings(page):
    found = page.rests()["glow"]["findings"]
    page.press("figures")
    page.until("return glowsimStage.placed.length", lambda n: n == len(found))
    assert page.ask("return glowsimStage.placed.map(m => m.number)") == [f["number"] for f in found]
    assert page.ask("return glowsimStage.placed.some(m => m.seen)")
    key = page.shown(".legend .key")
    assert all(f["kind"].split()[0] in key for f in found)
    page.press("figures")


def test_what_is_under_the_pointer_stays_there_as_it_comes_nearer(page):
    page.canvas().send_keys(Keys.ESCAPE)  # what a board in hand carries would lie over it
    where = "return glowsimStage.onScreen([0, 0, 55])"
    x, y = before = page.ask(where)
    left, top = page.canvas().location.values()
    told = {"type": "mouseWheel", "x": x + left, "y": y + top, "deltaX": 0}
    page.driver.execute_cdp_cmd("Input.dispatchMouseEvent", told | {"deltaY": -900})
    page.until("return glowsimStage.orbit.zoom", lambda zoom: zoom > 3)
    page.until(where, lambda now: now == pytest.approx(before, abs=8))
    page.driver.execute_cdp_cmd("Input.dispatchMouseEvent", told | {"deltaY": 900})
    page.until(where, lambda now: now == pytest.approx(before, abs=0.1))


def test_what_flashes_too_often_is_not_played_before_it_is_confirmed(page):
    page.by(motion="reduce")
    page.press("pulse")
    page.until("return document.body.innerText.includes('epilepsy')")
    assert page.ask("return glowsimStage.pulse") is None
    page.press("play it all the same")
    page.until("return glowsimStage.pulse && 1")
    assert page.ask("return glowsimStage.playing") is False  # less motion was asked for
    moment = page.driver.find_element(By.CSS_SELECTOR, ".strips input")
    moment.send_keys(Keys.ARROW_RIGHT)
    page.until("return glowsimStage.moment", lambda t: t > 0)
    page.press("play")
    before = page.ask("return glowsimStage.moment")
    page.until("return glowsimStage.moment", lambda t: t != before)
    page.press("pulse")
    page.until("return glowsimStage.pulse === null")
    page.by()


def test_everything_can_be_reached_by_keys_and_is_seen_when_it_is(page):
    page.ask("document.activeElement.blur(); document.body.focus()")
    seen, outlined = [], {}
    for _ in range(40):
        ActionChains(page.driver).send_keys(Keys.TAB).perform()
        words, outline = page.ask(
            "const e = document.activeElement; return [e.tagName == 'CANVAS' ? 'stage' : "
            "e == document.body ? '' : e.innerText.trim(), getComputedStyle(e).outlineStyle]"
        )
        if not words:  # the browser's own frame, between the last and the first
            continue
        if words in seen:
            break
        seen.append(words)
        outlined[words] = outline
    assert {"stage", "figures", "pulse", "make", "keep this try", "photo"} <= set(seen)
    assert page.ask("return [...document.querySelectorAll('.handle')].length") > 8
    assert [words for words, outline in outlined.items() if outline == "none"] == []
    page.driver.find_element(By.CSS_SELECTOR, "[data-handle=even]").send_keys(Keys.ENTER)
    page.until("return document.body.innerText.includes('A typical place is off by')")
    ActionChains(page.driver).send_keys(Keys.ESCAPE).perform()


def test_browser_finds_no_fault_in_the_scripts(page):
    assert page.faults() == []
    live = Path(glowsim.live.__file__).parent
    for script in sorted([*live.glob("*.js"), *live.glob("js/*.js")]):
        # What is imported is not there; what is no JavaScript would not come so far.
        text = re.sub(r'from "[^"]+"', 'from "data:text/javascript,"', script.read_text("utf-8"))
        page.driver.switch_to.new_window("tab")
        told = page.driver.execute_async_script(
            "const done = arguments[1]; import('data:text/javascript;charset=utf-8,' + "
            "encodeURIComponent(arguments[0])).then(() => done(''), (e) => done(String(e)))",
            text,
        )
        page.driver.close()
        page.driver.switch_to.window(page.driver.window_handles[0])
        assert "does not provide an export" in told or told == "", (script.name, told)


@pytest.mark.slow
def test_a_second_page_follows_the_first(page, address):
    first = page.driver.current_window_handle
    page.driver.switch_to.new_window("tab")
    page.driver.get(address)
    page.until("return window.glowsimStage?.shown && glowsimStage.outlines.boards.length")
    second = page.driver.current_window_handle
    page.driver.switch_to.window(first)
    page.grab(1).click().perform()
    page.canvas().send_keys(Keys.ARROW_UP)
    moved = page.place(1)
    page.rests()
    page.driver.switch_to.window(second)
    page.until(
        "return glowsimStage.outlines.boards[1].frame[11]",
        lambda z: z == pytest.approx(moved[2], abs=1.01),
    )
    here = page.place(1)
    page.driver.close()
    page.driver.switch_to.window(first)
    assert page.place(1) == here
    assert page.rests()["rests"]  # a page that is closed takes nothing with it


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
