"""The commands power and pulse as a user meets them."""

import csv
import json

import pytest
from click.testing import CliRunner
from PIL import Image

from glowsim.cli import check, glow, power, pulse, trace, turntable
from glowsim.errors import SceneError

LITTLE = """
title = "Little pair"
[room]
illuminance_lx = 10
[[bodies]]
name = "spike"
shape = { kind = "spike", length_mm = 60, base_diameter_mm = 30 }
material = "upholstery_foam_white"
detail_mm = 6
cell_mm = 3
  [[bodies.lights]]
  name = "board"
  board = "round_7"
  position_mm = [0, 0, 12]
  zone = "spikes"
  [[bodies.patterns]]
  kind = "along"
  count = 2
  step_mm = [50, 0, 0]
[power]
battery = "lithium_18650"
[wiring]
kind = "bus"
gauge = 30
feed_mm = 800
spacing_mm = 400
"""
SLOW = '[[pulses]]\nzone = "spikes"\npattern = "ember"\nperiod_s = 2\nstagger = 0.2\n'
FAST = '[[pulses]]\nzone = "spikes"\npattern = "blink"\nperiod_s = 0.2\nlow = 0.0\n'


def run(command, *arguments):
    return CliRunner(catch_exceptions=False).invoke(command, [str(a) for a in arguments])


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """A folder with scenes and one result that all commands share."""
    home = tmp_path_factory.mktemp("pulse")
    for name, more in (("slow", SLOW), ("fast", FAST), ("still", "")):
        (home / f"{name}.toml").write_text(LITTLE + more)
    return home


def test_power_says_all_a_maker_needs(folder):
    shown = run(power.command, folder / "slow.toml")
    assert shown.exit_code == 0
    for words in (
        "Current at full supply voltage",
        "first to lose light: green and blue below 3.8 V, then red below 2.6 V",
        "Its battery: 18650 lithium-ion cell",
        "3 x AAA alkaline cell",
        "cannot carry the load",
        "At the boards, battery half used (bus;",
        "Lost in the wires",
        "Wire to cut, ends included",
        "in all: of plus and of minus 1.3 m of 26 AWG, of data 1.3 m of 30 AWG",
        "Fuse: ",
        "one pin serves 656 LEDs",
        "caution: Fuse",
        "caution: Lithium cells",
    ):
        assert words in " ".join(shown.output.split()), words


def test_power_as_json(folder):
    data = json.loads(run(power.command, folder / "slow.toml", "--json").output)
    assert data["battery"]["key"] == "lithium_18650"
    assert data["wiring"]["drawn"]["board_v"][0] > data["wiring"]["drawn"]["board_v"][1]
    assert len(data["boards"]) == 2


def test_voltages_are_for_the_state_that_is_asked_for(folder):
    def volts(*more):
        data = json.loads(run(power.command, folder / "still.toml", "--json", *more).output)
        return data["wiring"]["drawn"]["board_v"][1], data["battery_is"]

    (fresh, _), (half, told), (low, named) = (
        volts("--battery", "fresh"), volts(), volts("--battery", "low"),
    )  # fmt: skip
    assert fresh > half > low
    assert (told, named) == ("half used", "nearly empty")
    shown = run(power.command, folder / "still.toml", "--battery", "low").output
    assert "At the boards, battery nearly empty (bus;" in " ".join(shown.split())


def test_without_a_battery_it_says_which_would_carry_the_scene(folder):
    bare = folder / "no_battery.toml"
    bare.write_text(LITTLE.replace('[power]\nbattery = "lithium_18650"\n', ""))
    shown = " ".join(run(power.command, bare, "--hours", 1).output.split())
    assert "The scene names no battery" in shown
    assert "These can run your settings for 1 h" in shown


def test_power_lists_every_run_when_asked(folder):
    shown = run(power.command, folder / "still.toml", "--verbose").output
    assert "Runs of wire" in shown


def test_pulse_writes_everything(folder):
    out = folder / "out"
    shown = run(
        pulse.command,
        folder / "slow.toml",
        "--out",
        out,
        "--seconds",
        1,
        "--fps",
        6,
        "--size",
        "80x60",
    )
    assert shown.exit_code == 0, shown.output
    names = {"glow.npz", "pulse.csv", "pulse.h", "pulse_chart.png", "pulse.webp"}
    assert {path.name for path in out.iterdir()} == names
    with Image.open(out / "pulse.webp") as picture:
        assert picture.size == (80, 60)
    assert len(list(csv.reader((out / "pulse.csv").read_text().splitlines()))) == 7
    flat = shown.output.replace("\n", " ")
    for words in (
        "spikes: spike 1",
        "Average current",
        "drawn as wired",
        "caution: Flashing",
        "jump",
    ):
        assert words in flat, words
    assert "WARNING" not in flat


def test_a_pulse_stopped_while_it_draws_leaves_the_old_set(folder, monkeypatch):
    out = folder / "out"
    names = ("pulse.csv", "pulse.h", "pulse_chart.png")
    out.mkdir(exist_ok=True)
    for name in names:
        (out / name).write_bytes(b"old")
    told = []

    def stopped(frames, path, **more):
        told.append(more["kept_by"])
        frames.close()
        raise KeyboardInterrupt

    monkeypatch.setattr(pulse, "write_moving", stopped)
    short = ("--seconds", 1, "--fps", 6, "--size", "80x60")
    shown = run(pulse.command, folder / "slow.toml", "--out", out, *short)
    assert shown.exit_code != 0
    assert told == [out / "pulse.webp"]  # what is finished of it stays beside it
    assert {(out / name).read_bytes() for name in names} == {b"old"}
    assert not list(out.glob(".*"))


def test_pulse_figures_use_the_saved_glow_and_draw_nothing(folder):
    out = folder / "figures"
    for _ in range(2):
        short = ("--seconds", 2, "--fps", 12, "--no-pictures", "--json")
        shown = run(pulse.command, folder / "slow.toml", "--out", out, *short)
        data = json.loads(shown.output)
    assert {path.name for path in out.iterdir()} == {"glow.npz", "pulse.csv", "pulse.h"}
    assert not data["flashes"]["on a screen"]["too_many"]
    assert data["members"][0]["pattern"] == "ember"


def test_an_animation_that_flashes_is_held_back(folder):
    out = folder / "fast"
    common = (folder / "fast.toml", "--out", out, "--seconds", 1, "--size", "64x48", "--fps", 25)
    near = ("--nearest", 120)  # so small a prop flashes over 0.006 sr from close by only
    held = run(pulse.command, *common, *near)
    # From the first "on" at 0 s nine changes follow within the second.
    assert "WARNING: it flashes 4.5 times within a second" in held.output
    assert "--despite-flashes draws it" in held.output.replace("\n", " ")
    assert not (out / "pulse.webp").exists()
    assert (out / "pulse_chart.png").exists()
    drawn = run(pulse.command, *common, *near, "--despite-flashes")
    assert "WARNING" in drawn.output
    assert (out / "pulse.webp").exists()
    far = run(pulse.command, *common, "--nearest", 10_000, "--no-pictures")
    assert "WARNING" not in far.output
    assert "on a small area" in far.output.replace("\n", " ")


def test_without_pulses_it_says_how_to_add_one(folder):
    with pytest.raises(SceneError, match=r'add one, such as zone = "spikes"'):
        run(pulse.command, folder / "still.toml")


def glow_of(folder, *more):
    common = ("--out", folder / "out", "--no-pictures", "--no-suggest")
    return run(glow.command, folder / "still.toml", *common, *more)


def test_glow_says_that_it_is_as_wired(folder):
    flat = " ".join(glow_of(folder).output.split())
    # The first of all: thin wires leave the far board too little long before that state.
    assert flat.startswith("18650 lithium-ion cell, 2600 mAh, protected, half used, no longer runs")
    assert "On 18650 lithium-ion cell, 2600 mAh, protected, half used, your white" in flat
    assert "(quick solver), as wired, battery half used" in flat
    assert "Evenness (luminance in cd/m2; as wired, battery half used)" in flat
    assert "Does it look lit? (as wired, battery half used)" in flat
    assert "note: as wired, battery half used: 3." in flat


@pytest.mark.slow
def test_the_state_of_the_battery_is_an_option(folder):
    def told(*more):
        data = json.loads(glow_of(folder, "--json", *more).output)
        return data["supply"], data["whole"]["mean_cd_m2"], data["wiring"]["headline"]

    half, fresh, low, full = (
        told(*more)
        for more in ((), ("--battery", "fresh"), ("--battery", "low"), ("--full-voltage",))
    )
    assert half == told("--battery", "half")
    assert [row[0] for row in (fresh, low)] == [
        "as wired, battery fresh",
        "as wired, battery nearly empty",
    ]
    assert low[1] < half[1] < fresh[1] < full[1]
    assert full[0] == "at full voltage, without wiring losses"
    assert not full[2]
    flat = " ".join(glow_of(folder, "--full-voltage").output.split())
    assert "as wired" not in flat
    assert "at full voltage, without wiring losses" in flat
    both = CliRunner().invoke(
        glow.command, [str(folder / "still.toml"), "--full-voltage", "--battery", "low"]
    )
    assert both.exit_code == 2
    assert "not both" in both.output


def test_at_full_voltage_all_is_as_without_battery_and_wires(folder):
    bare = folder / "bare.toml"
    bare.write_text(LITTLE[: LITTLE.index("[power]")])
    common = ("--out", folder / "out", "--no-pictures", "--no-suggest")
    data = run(glow.command, bare, *common, "--json").output
    without, full = (
        json.loads(text) for text in (data, glow_of(folder, "--full-voltage", "--json").output)
    )
    assert without["supply"] == ""
    assert without["evenness"] == full["evenness"]
    assert without["energy"] == full["energy"]


def test_a_pack_that_cannot_run_the_prop_is_the_first_thing_glow_says(folder):
    weak = folder / "weak.toml"
    weak.write_text(LITTLE.replace('"lithium_18650"', '"alkaline_aaa"\nin_series = 3'))
    common = ("--out", folder / "out", "--no-pictures", "--no-suggest")
    shown = run(glow.command, weak, *common).output
    assert shown.startswith("3 x AAA alkaline cell cannot run this prop: ")
    assert "its limit 300 mA" in shown.split("Little pair")[0]


def test_wrong_wires_are_told_before_the_work(folder):
    wrong = folder / "wrong.toml"
    wrong.write_text(LITTLE.replace("gauge = 30", "gauge = 31") + SLOW)
    for command in (check.command, glow.command, turntable.command, power.command, pulse.command):
        with pytest.raises(SceneError, match=r"line 24: wiring\.gauge: there is no wire '31 AWG'"):
            run(command, wrong)
    assert not (folder / "wrong-glow").exists()


def test_power_writes_the_pin_plan(folder):
    run(power.command, folder / "still.toml", "--header", folder / "pins.h")
    assert "#define GLOW_OUTPUT_1_LEDS 14" in (folder / "pins.h").read_text()


def test_trace_as_a_user_meets_it(folder):
    shown = run(trace.command, folder / "still.toml", "--dark", "spike 2: board")
    assert shown.exit_code == 0
    flat = " ".join(shown.output.split())
    for words in (
        "dark: spike 2: board",
        "First measure plus to minus on the pads of spike 2: board",
        "data from spike 1: board to spike 2: board",
        "plus and minus from spike 1: board to spike 2: board",
        "the first LED of spike 2: board",
        "caution: Switching on",
    ):
        assert words in flat, words
    two = run(trace.command, folder / "still.toml", "--dark", "spike 1", "--frozen", "spike 2")
    assert "No single fault explains" in two.output
    data = json.loads(
        run(trace.command, folder / "still.toml", "--flicker", "spikes", "--json").output
    )
    assert data["faults"] == 1
    half = run(
        trace.command, folder / "still.toml", "--half-dark", "spike 1=4", "--dark", "spike 2"
    )
    assert "1. (100 %) inside spike 1: board, from LED 4 to LED 5" in half.output
    pale = run(trace.command, folder / "still.toml", "--no-blue", "spike 2")
    assert "no blue: spike 2: board" in pale.output
    assert run(trace.command, folder / "still.toml").exit_code == 2
    with pytest.raises(SceneError, match="there is no board 'spike 3'; did you mean"):
        run(trace.command, folder / "still.toml", "--dark", "spike 3")


def test_power_turned_round(folder):
    out = folder / "levels"
    shown = run(power.command, folder / "still.toml", "--hours", 2, "--lit", 5, "--out", out)
    assert shown.exit_code == 0, shown.output
    flat = " ".join(shown.output.split())
    for words in ("For 2 h: everything at", "of your settings", "to the eye", "drive: red",
                  "how 'spike (x2)' looks: glows strongly (5 times white paper in this room)",
                  "These can run your settings for 2 h, the lightest first"):  # fmt: skip
        assert words in flat, words
    data = json.loads(
        run(power.command, folder / "still.toml", "--hours", 3, "--out", out, "--json").output
    )
    assert data["levels"][0]["hours"] >= 3
    assert data["levels"][0]["reads"][0]["grade"]
    packs = data["levels"][0]["carriers"]
    assert [pack["mass_g"] for pack in packs] == sorted(pack["mass_g"] for pack in packs)
    assert all(pack["hours"] >= 3 for pack in packs)
    assert run(power.command, folder / "still.toml", "--zone", "spikes").exit_code == 2
    with pytest.raises(SceneError, match="no level lasts 999 h"):
        run(power.command, folder / "still.toml", "--hours", 999)
