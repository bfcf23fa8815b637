"""Battery, wiring, controller and pulses in a scene: what a person reads who made a mistake."""

import pytest

from glowsim.errors import SceneError
from glowsim.scene import Bus, Chain, Star, Tree, parse_scene, read_scene, write_scene
from tests.support.scenes import SPIKE_WITH_LIGHT

SPIKE = SPIKE_WITH_LIGHT + '  zone = "spikes"\n'  # 8 lines
TREE = (
    '[wiring]\nkind = "tree"\n[[wiring.segments]]\nend = "a"\nlength_mm = 9\nboards = ["spike"]\n'
)


def faults_of(text):
    with pytest.raises(SceneError) as caught:
        parse_scene(SPIKE + text, "prop.toml")
    return str(caught.value).splitlines()


CASES = {
    "a bus of no length": (
        '[wiring]\nkind = "bus"\nfeed_mm = 0\nspacing_mm = 9\n',
        "line 11: wiring.feed_mm: 0 is out of range; it must be more than 0",
    ),
    "a negative length": (
        '[wiring]\nkind = "chain"\nfeed_mm = 5\nspacing_mm = -9\n',
        "line 12: wiring.spacing_mm: -9 is out of range; it must be more than 0",
    ),
    "an unknown layout": (
        '[wiring]\nkind = "daisy"\n',
        "line 10: wiring.kind: 'daisy' is not one of the choices; known: bus, chain, star, tree",
    ),
    "a key of another layout": (
        '[wiring]\nkind = "star"\nrun_mm = 9\nspacing_mm = 9\n',
        "line 12: wiring.spacing_mm: unknown key; known: boards, drop_limit_v, feed_gauge, "
        "feed_mm, gauge, kind, run_mm",
    ),
    "a loop in a tree": (
        TREE + '[[wiring.segments]]\nstart = "a"\nend = "a"\nlength_mm = 9\n',
        "line 17: wiring.segments[1].end: this segment closes a loop: 'a' is reached another way "
        "already; in a tree there is one way to each point",
    ),
    "a way back to the supply": (
        TREE + '[[wiring.segments]]\nstart = "a"\nend = "supply"\nlength_mm = 9\n',
        "line 17: wiring.segments[1].end: this segment closes a loop: 'supply' is reached another "
        "way already; in a tree there is one way to each point",
    ),
    "a loop apart from the supply": (
        TREE
        + '[[wiring.segments]]\nstart = "b"\nend = "c"\nlength_mm = 9\n'
        + '[[wiring.segments]]\nstart = "c"\nend = "b"\nlength_mm = 9\n',
        "line 16: wiring.segments[1].start: 'b' and 'c' lie on a loop that no wire from the supply "
        "leads to; start one of its segments at 'supply'",
    ),
    "a start that is nowhere": (
        TREE.replace('end = "a"', 'end = "handle"')
        + '[[wiring.segments]]\nstart = "hanlde"\nend = "b"\nlength_mm = 9\n',
        "line 16: wiring.segments[1].start: no segment ends at 'hanlde'; did you mean 'handle'?",
    ),
    "true for a gauge": (
        '[wiring]\nkind = "star"\nrun_mm = 9\ngauge = true\n',
        "line 12: wiring.gauge: True is not a gauge; write 24 for 24 AWG, or a text like '0.5 mm2'",
    ),
    "a pulse of a zone without boards": (
        '[[pulses]]\nzone = "spike"\npattern = "swell"\n',
        "line 10: pulses[0].zone: no light is in the zone 'spike'; did you mean 'spikes'?",
    ),
    "two pulses of one zone": (
        2 * '[[pulses]]\nzone = "spikes"\npattern = "swell"\n',
        "line 13: pulses[1].zone: the zone 'spikes' has a pulse already; a zone has one",
    ),
    "an unknown pattern": (
        '[[pulses]]\nzone = "spikes"\npattern = "swel"\n',
        "line 11: pulses[0].pattern: 'swel' is not one of the choices; did you mean 'swell'?",
    ),
    "low above high": (
        '[[pulses]]\nzone = "spikes"\npattern = "swell"\nlow = 0.8\nhigh = 0.3\n',
        "line 12: pulses[0].low: low 0.8 is above high 0.3; low is the darker of the two",
    ),
    "no time at all": (
        '[[pulses]]\nzone = "spikes"\npattern = "swell"\nperiod_s = 0\n',
        "line 12: pulses[0].period_s: 0 is out of range; it must be at least 0.02",
    ),
    "no cells": (
        '[power]\nbattery = "nimh_aa"\nin_series = 0\n',
        "line 11: power.in_series: 0 is out of range; it must be at least 1",
    ),
    "a converter that makes power": (
        '[power]\nbattery = "nimh_aa"\nconverter = { efficiency = 1.2 }\n',
        "line 11: power.converter.efficiency: 1.2 is out of range; it must be at most 1",
    ),
}


@pytest.mark.parametrize(("text", "message"), CASES.values(), ids=CASES)
def test_one_mistake_one_message(text, message):
    assert faults_of(text) == ["prop.toml, " + message]


@pytest.mark.parametrize(
    ("written", "name"),
    [
        ("24", "24 AWG"),
        ('"24 AWG"', "24 AWG"),
        ('"AWG24"', "24 AWG"),
        ('"0.5 mm2"', "0.5 mm2"),
        ('"0.5mm²"', "0.5 mm2"),
    ],
)
def test_gauges_may_be_written_in_several_ways(written, name):
    text = f'[wiring]\nkind = "star"\nrun_mm = 9\ngauge = {written}\n'
    assert parse_scene(SPIKE + text).scene.wiring.gauge == name


WIRINGS = {
    Bus: 'kind = "bus"\nfeed_mm = 300\nspacing_mm = "4 in"\ngauge = "0.25 mm2"\n',
    Chain: 'kind = "chain"\nfeed_mm = 300\nspacing_mm = 40\njoint_mohm = 35\n',
    Star: 'kind = "star"\nfeed_mm = 300\nfeed_gauge = 20\nrun_mm = 90\nboards = ["spike"]\n',
    Tree: TREE.removeprefix("[wiring]\n"),
}


@pytest.mark.parametrize(("kind", "text"), WIRINGS.items())
def test_round_trip(kind, text, tmp_path):
    scene = parse_scene(
        SPIKE
        + '[power]\nbattery = "nimh_aa"\nin_series = 4\nwanted_hours = 3\n'
        + "converter = { output_v = 5.0, efficiency = 0.9 }\n"
        + "[controller]\nlogic_v = 5\nframes_per_second = 60\noutputs = 4\n"
        + '[[pulses]]\nzone = "spikes"\npattern = "ember"\nstagger = 0.1\nseed = 4\n'
        + "[wiring]\n"
        + text
    ).scene
    assert isinstance(scene.wiring, kind)
    write_scene(scene, tmp_path / "again.toml")
    assert read_scene(tmp_path / "again.toml").scene == scene
