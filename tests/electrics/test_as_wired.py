"""A glow as wired: tables, maps, photos and decisions tell of one and the same light."""

from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose
from PIL import ImageChops

from glowsim.decisions.step import judged
from glowsim.electrics.as_wired import (
    as_tried,
    as_wired,
    evened,
    headline,
    kept_by,
    light_share,
    supply_words,
)
from glowsim.electrics.pack import run_time
from glowsim.electrics.power import Electrics
from glowsim.errors import SceneError
from glowsim.findings import findings_of, looks_of
from glowsim.pictures import Studio
from glowsim.scene import parse_scene
from glowsim.transport.plan import plan_of
from glowsim.transport.solve import solve
from tests.electrics.props import row
from tests.electrics.test_backwards import CELLS, THIN

ORANGE = "drive = { red = 0.4, green = 0.1, blue = 0.0 }"
DARK = "[room]\nilluminance_lx = 0\n"


def orange(more=CELLS + THIN):
    """Return two small orange spikes on a pack that sags."""
    text = row(2, DARK + more, board="round_7").replace(
        'zone = "spikes"', 'zone = "spikes"\n  separate_leds = false'
    )
    start = text.index("drive = ")
    text = text[:start] + ORANGE + text[text.index("}", start) + 1 :]
    return parse_scene(text.replace("[[bodies]]", "[[bodies]]\ndetail_mm = 8\ncell_mm = 4", 1))


@pytest.fixture(scope="module")
def scene():
    return orange()


@pytest.fixture(scope="module")
def bare(scene):
    return solve(scene)


def test_a_state_that_the_battery_never_comes_to_is_said():
    # Three small cells and two bright boards: they end long before half of the charge is used.
    scene = orange()
    first = headline(Electrics(scene))[0]
    assert "half used, no longer runs this prop: it ends after" in first
    run = run_time(Electrics(scene).own_pack, Electrics(scene).circuit, Electrics(scene).boards,
                   Electrics(scene).average_levels())  # fmt: skip
    assert f"after {run.hours:.1f} h with {100 * run.used:.0f} % of its charge used" in first
    assert run.used < 0.5
    assert not any("no longer" in words for words in headline(Electrics(scene.on_battery("fresh"))))
    large = orange('[power]\nbattery = "power_bank_10000"\n' + THIN)
    assert headline(Electrics(large)) == ()


def test_each_channel_keeps_what_the_volts_at_its_board_leave(scene, bare):
    # By hand: the pack's rest voltage less inner resistance and wire times the current, and the
    # current follows the channels: iterated here, solved as a network there.
    electrics = Electrics(scene)
    board = electrics.boards[0].board
    feed = electrics.supply.feed(0.5)
    first, second = (run.loop_ohm for run in electrics.harness.runs)
    volts = np.array([4.0, 4.0])
    for _ in range(300):
        amps = np.array(
            [
                b.current_ma(b.drive, float(v)) / 1000
                for b, v in zip(electrics.boards, volts, strict=True)
            ]
        )
        near = feed.rest_v - (feed.ohm + first) * amps.sum()
        volts = 0.8 * volts + 0.2 * np.array([near, near - second * amps[1]])
    lights = as_wired(bare, scene).lights
    for light, before, v in zip(lights, bare.lights, volts, strict=True):
        assert_allclose(light.drive, before.drive * board.channel_share(v), rtol=1e-3)
    kept = lights[1].drive[:2] / bare.lights[1].drive[:2]
    assert kept[1] < 0.8 * kept[0], "green goes before red"
    assert_allclose(
        kept_by(scene, "spike"), np.mean([board.channel_share(v) for v in volts], axis=0), rtol=1e-3
    )


def test_tables_are_the_sum_of_what_each_colour_keeps(scene, bare):
    glow = as_wired(bare, scene)
    share = light_share(Electrics(scene))
    (look,) = looks_of(glow, scene.scene.room, False)
    by_band = []
    for band in range(3):
        only = replace(
            bare, lights=tuple(replace(s, drive=s.drive * np.eye(3)[band]) for s in bare.lights)
        )
        by_band.append(looks_of(only, scene.scene.room, False)[0].luminance_cd_m2)
    by_hand = share.mean(axis=0) @ np.array(by_band)
    assert_allclose(look.luminance_cd_m2, by_hand, rtol=1e-6)
    findings = findings_of(glow, scene.scene)
    assert findings.supply == findings.as_json()["supply"] == "as wired, battery half used"
    assert "as wired, battery half used" in str(findings)


def test_decisions_tell_what_the_tables_tell(scene, bare):
    catalogue = plan_of(scene).catalogue
    step = judged(bare, scene, 0, 0.0, "upholstery_foam_white", catalogue)
    table = findings_of(as_wired(bare, scene), scene.scene)
    # Light across the air included.
    assert_allclose(step.evenness.mean_cd_m2, table.bodies[0].mean_cd_m2)
    assert_allclose(step.even, table.bodies[0].p5_over_mean)
    assert step.findings.supply == step.as_json()["supply"] == table.supply
    for mine, theirs in zip(step.glow.lights, as_wired(bare, scene).lights, strict=True):
        assert_allclose(mine.drive, theirs.drive)
    full = judged(
        bare, scene.on_battery("full voltage"), 0, 0.0, "upholstery_foam_white", catalogue
    )
    assert full.evenness.mean_cd_m2 > 1.05 * step.evenness.mean_cd_m2


def test_a_photo_shows_the_colour_that_the_wires_leave(scene, bare):
    def seen(glow):
        studio = Studio(glow, scene.scene, "embree")
        return studio.luminance(studio.camera((60, 45)))

    def only(band):
        """Return one colour alone, as much of it as the wires leave."""
        share = light_share(Electrics(scene)) * np.eye(3)[band]
        return seen(bare.dimmed(share))

    wired = seen(as_wired(bare, scene))
    assert_allclose(wired, only(0) + only(1) + only(2), atol=1e-3 * wired.max())
    x, y = (float(wired[..., k].sum()) for k in (0, 1))
    before = seen(bare)
    assert x / y > 1.1 * float(before[..., 0].sum() / before[..., 1].sum()), "redder"


def test_the_foot_line_of_a_photo_says_it(scene, bare):
    glow = as_wired(bare, scene)
    said, silent = (
        Studio(shown, scene.scene, "embree").photo((480, 360), exposure_cd_m2=100.0)
        for shown in (glow, glow.alike(supply=""))
    )
    left, top, right, _ = ImageChops.difference(said, silent).getbbox()
    assert top > 360 - 360 / 24 - 1, "only the foot line differs"
    assert right - left > 60


def test_states_and_what_they_are_called(scene, bare):
    means = [
        float(np.mean([light.drive[1] for light in as_wired(bare, scene.on_battery(s)).lights]))
        for s in ("nearly empty", "half used", "fresh", "full voltage")
    ]
    assert means == sorted(means)
    assert_allclose(means[-1], 0.1)
    assert supply_words(scene.on_battery("fresh")) == "as wired, battery fresh"
    assert supply_words(orange(THIN)) == "as wired"
    plain = orange("")
    assert supply_words(plain) == ""
    assert as_wired(bare, plain) is bare
    assert headline(Electrics(scene.on_battery("nearly empty")))[-1].startswith(
        "On 3 x AAA alkaline cell, nearly empty, your orange turns red"
    )


def test_boards_that_the_wiring_does_not_know_yet_sit_at_the_battery(bare):
    tree = '[wiring]\nkind = "tree"\n[[wiring.segments]]\nend = "a"\n'
    tree += 'length_mm = 100\nboards = ["spike 1: board"]\n'
    scene = orange(CELLS + tree)
    with pytest.raises(SceneError):
        as_wired(bare, scene)
    tried = as_tried(bare, scene)
    assert tried.supply.endswith("boards not in [wiring] yet taken at the battery")
    assert tried.supply.startswith("as wired, battery half used")
    share = light_share(Electrics(orange(CELLS)))
    for light, before, own in zip(tried.lights, bare.lights, share, strict=True):
        assert_allclose(light.drive, before.drive * own)


def test_copies_are_told_of_together_where_they_differ_by_less_than_a_tenth(scene, bare):
    def named(second):
        share = np.ones((2, 3))
        share[1] = second
        glow = bare.dimmed(share)
        return glow, looks_of(glow, scene.scene.room, False)

    _, (near,) = named(0.92)
    assert near.name == "spike (x2)"
    (full,) = looks_of(bare, scene.scene.room, False)
    assert_allclose(near.luminance_cd_m2, 0.96 * full.luminance_cd_m2)
    glow, far = named(0.8)
    assert [look.name for look in far] == ["spike 1", "spike 2"]
    (one,) = looks_of(evened(glow, glow.copies), scene.scene.room, False)
    assert_allclose(one.luminance_cd_m2, 0.9 * full.luminance_cd_m2)
