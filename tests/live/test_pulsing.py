"""The zones in motion: what the page plays is the light that the commands tell of."""

from __future__ import annotations

import json
import time

import numpy as np
import pytest

from glowsim.electrics.as_wired import as_wired
from glowsim.errors import SceneError
from glowsim.live import skin
from glowsim.live.pulsing import pulsing_of
from glowsim.live.session import Session
from glowsim.pictures import Studio
from glowsim.transport.plan import plan_of
from tests.live.props import SCENE, write_scene

FLICKER = """
[[pulses]]
zone = "all"
pattern = "{pattern}"
period_s = {period}
low = 0.2
"""


@pytest.fixture(scope="module")
def sessions(tmp_path_factory):
    """Return a function that opens the test prop with a pulse; bodies are kept between them."""
    opened, kept = [], None

    def opening(more, battery="power_bank_10000"):
        nonlocal kept
        folder = tmp_path_factory.mktemp("pulse")
        text = SCENE.replace("power_bank_10000", battery) + more
        session = Session(write_scene(folder, text), kept=kept, begun=False)
        kept = session.kept
        opened.append(session)
        return session

    yield opening
    for session in opened:
        session.close()


def parsed(data):
    line, _, rest = data.partition(b"\n")
    told = json.loads(line)
    values = np.frombuffer(rest, "<f4")
    size = 3 * told["corners"]
    still, first = values[: 3 * size].reshape(3, size), 3 * size
    members = []
    for member in told["members"]:
        count = 3 * member["count"]
        own = values[first : first + 2 * count].reshape(2, count)
        full = np.zeros((3, size))
        full[:2, 3 * member["first"] : 3 * member["first"] + count] = own
        members.append(full)
        first += 2 * count
    assert first == len(values)
    return told, still, members


def test_at_full_level_it_is_the_light_that_a_photo_shows(sessions):
    session = sessions(FLICKER.format(pattern="swell", period=4))
    ready = pulsing_of(session)
    assert ready.warning == ""
    told, still, members = parsed(ready.data)
    scene_file = session.file()
    glow = as_wired(session.kept.glow(plan_of(scene_file)), scene_file)
    assert told["shape"] == skin.surface_key(glow)
    assert told["seconds"] == 12.0  # whole cycles, ten seconds at least
    levels = np.array(told["members"][0]["levels"])
    assert levels.min() == pytest.approx(0.2, abs=0.01)
    assert levels.max() == pytest.approx(1.0, abs=0.01)
    studio = Studio(glow, scene_file.scene, "embree")
    shown = (
        studio.stage.at_corners(studio.emission.total_lm_m2 / np.pi),
        studio.shading.across,
        studio.shading.sent_back,
    )
    for summed, part in zip(still + sum(members), shown, strict=True):
        np.testing.assert_allclose(summed, part.ravel(), rtol=1e-3, atol=1e-4 * part.max())


def test_flashes_are_warned_of(sessions):
    ready = pulsing_of(sessions(FLICKER.format(pattern="blink", period=0.2)))
    assert "5 times a second" in ready.warning
    assert "epilepsy" in ready.warning


def test_without_pulses_the_way_to_one_is_told(sessions):
    with pytest.raises(SceneError, match=r"has no \[\[pulses\]\] yet.*zone = \"all\""):
        pulsing_of(sessions(""))


def test_what_is_shown_is_as_wired(sessions):
    """A lithium cell behind thin wires takes blue away: the stage knows it, as `glow` does."""
    wire = '\n[wiring]\nkind = "chain"\nfeed_mm = 3000\nspacing_mm = 300\ngauge = 30\n'
    session = sessions(wire, battery="lithium_18650")
    session.begin()
    stop = time.monotonic() + 60
    while session.seen is None and time.monotonic() < stop:
        time.sleep(0.01)
    bare = session.kept.glow(plan_of(session.file()))
    count = 3 * session.seen.skin.stage.corner_count
    shown = np.frombuffer(session.seen.light, "<f4")[:count].reshape(-1, 3)
    wired, full = (
        skin.glow_cd_m2(session.seen.skin, glow) for glow in (as_wired(bare, session.file()), bare)
    )
    assert np.allclose(shown, wired, rtol=1e-5)
    assert shown[:, 2].sum() < 0.97 * full[:, 2].sum()
