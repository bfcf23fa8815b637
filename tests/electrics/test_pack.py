"""Battery packs: sag, run-time, verdicts."""

import numpy as np
import pytest
from numpy.testing import assert_allclose

from glowsim.catalogue import load_catalogue
from glowsim.electrics.pack import Pack, judged, run_time, usual_packs
from glowsim.errors import SceneError
from glowsim.scene import Converter
from tests.electrics.props import electrics, row

CATALOGUE = load_catalogue()


def pack(key, series=1, parallel=1, converter=None):
    return Pack(key, CATALOGUE.battery(key), series, parallel, converter)


def lasting(prop, chosen, level=1.0):
    levels = np.full((len(prop.boards), 3), level)
    return run_time(chosen, prop.circuit, prop.boards, levels)


def judge(prop, chosen, level=1.0, wanted=None):
    levels = np.full((len(prop.boards), 3), level)
    return judged(chosen, prop.circuit, prop.boards, levels, wanted)


def test_a_pack_is_called_by_its_cells():
    one = CATALOGUE.battery("nimh_aa").label
    assert pack("nimh_aa").label == one
    assert pack("nimh_aa", 3).label == f"3 x {one}"
    assert pack("nimh_aa", 2, 2).label == f"4 x {one}, 2 side by side"
    held = pack("nimh_aa", 1, 3, Converter(output_v=5.0)).label
    assert held == f"3 x {one}, 3 side by side, converter to 5 V"
    assert "converter" not in pack("power_bank_10000", converter=Converter(output_v=5.0)).label


def test_a_power_bank_gives_its_label_times_3_7_over_5():
    # 10 000 mAh at 3.7 V are 7 400 mAh at 5 V before losses, 6 290 mAh at 85 %. A board at full
    # white draws 252 mA.
    bank = CATALOGUE.battery("power_bank_10000")
    # At a load inside the capacity table and with no resistance worth mentioning.
    hours = lasting(
        electrics(row(3)), Pack("bank", bank, converter=Converter(output_v=5.0, efficiency=0.85))
    ).hours
    assert_allclose(hours, 6290 / 756, rtol=0.01)


def test_sag_is_current_times_resistance():
    prop = electrics(row(2))
    chosen = pack("nimh_aa", 4)
    state = prop.circuit.state(chosen.feed(0.5), np.ones((2, 3)))
    # 4 x 1.257 V and 4 x 75 mohm at half charge; 0.504 A.
    assert_allclose(state.supply_v, 4 * 1.257 - 0.504 * 4 * 0.075, rtol=1e-6)


def test_side_by_side_halves_the_sag_and_doubles_the_time():
    prop = electrics(row(2))
    one, two = pack("nimh_aa", 4), pack("nimh_aa", 4, 2)
    assert two.feed(0.5).ohm == one.feed(0.5).ohm / 2
    assert 2.0 < lasting(prop, two).hours / lasting(prop, one).hours < 2.4


def test_run_time_of_a_steady_current_by_hand():
    # Nothing fades on 4 x NiMH (4.9 V): 504 mA all the way down to 1.0 V a cell. Capacity there by
    # log-log interpolation between 380 mA (1900) and 950 mA (1850).
    prop = electrics(row(2))
    share = np.log(504 / 380) / np.log(950 / 380)
    by_hand = 1900 * (1850 / 1900) ** share / 504
    found = lasting(prop, pack("nimh_aa", 4))
    assert_allclose(found.hours, by_hand, rtol=0.03)
    assert_allclose((found.low_hours, found.high_hours), (0.7 * found.hours, 1.1 * found.hours))
    assert found.note == ""


def test_three_alkaline_cells_end_where_the_boards_do():
    # 3 x AA reaches 3.5 V at the boards while much of the charge is left; blue fades before.
    found = lasting(electrics(row(1)), pack("alkaline_aa", 3))
    assert "3.5 V" in found.ends_by
    assert 0.3 < found.used < 0.7
    strong = electrics(row(1, board="round_7"))
    found = lasting(strong, pack("alkaline_aa", 3), 0.5)
    assert found.fades == "green and blue"
    assert 0 < found.fades_hours < found.hours


def test_a_colour_that_is_not_used_does_not_fade():
    prop = electrics(row(1, board="round_7"))
    levels = np.array([[1.0, 0.0, 0.0]])
    assert run_time(pack("alkaline_aa", 3), prop.circuit, prop.boards, levels).fades == ""


def test_three_small_alkaline_cells_cannot_carry_the_load():
    choice = judge(electrics(row(2)), pack("alkaline_aaa", 3))
    assert choice.verdict == "no"
    assert choice.why == ("cannot carry the load: 504 mA on average, and its limit is 300 mA")


def test_four_alkaline_cells_are_too_much():
    choice = judge(electrics(row(1)), pack("alkaline_aa", 4))
    assert choice.verdict == "no"
    assert choice.why == "5.8 V is above the 5.3 V limit of the boards"


def test_four_nimh_cells_want_rest_after_charging():
    choice = judge(electrics(row(1)), pack("nimh_aa", 4))
    assert choice.verdict == "with care"
    assert "5.7 V just charged is above 5.3 V: let it rest first" in choice.why


def test_a_coin_cell_is_no_supply():
    # Even dark: 7 chips of 0.6 mA against the 3 mA it bears.
    prop = electrics(row(1, board="round_7", drive=0.0))
    choice = judge(prop, pack("coin_20mm"), 0.0)
    assert choice.verdict == "no"
    assert "cannot carry the load" in choice.why


def test_peaks_and_light_loads_are_pointed_out():
    many = judge(electrics(row(12)), pack("power_bank_5000", converter=own_converter()), 0.2)
    assert "never full white: 3.0 A, its limit 2.1 A" in many.why
    few = judge(electrics(row(1)), pack("power_bank_5000", converter=own_converter()), 0.1)
    assert "may switch off" in few.why


def own_converter():
    return Converter(output_v=5.0, efficiency=0.85, max_current_ma=2100)


@pytest.mark.parametrize(
    ("wanted", "verdict", "words"),
    [
        (2, "with care", "let it rest"),
        (3.3, "with care", "may fall short"),
        (9, "too short", "falls short"),
    ],
)
def test_wanted_hours(wanted, verdict, words):
    choice = judge(electrics(row(2)), pack("nimh_aa", 4), wanted=wanted)
    assert choice.verdict == verdict
    assert words in choice.why


@pytest.mark.parametrize(("crossing", "steps"), [(0.49, 20), (0.505, 20), (0.515, 21)])
def test_a_step_of_the_charge_is_judged_in_its_middle(crossing, steps):
    # A cell that falls in a straight line from 1.5 V past its 1.0 V, at 2500 mAh whatever it gives.
    entry = CATALOGUE.battery("nimh_aa")
    cell = type(entry).model_validate(
        entry.model_dump(exclude_unset=True)
        | {
            "used_share": (0.0, 1.0),
            "cell_v": (1.5, 1.5 - 0.5 / crossing),
            "cell_v_drain_ma": 0.0,
            "resistance_ohm": (1e-9, 1e-9),
            "drain_ma": (1.0, 10_000.0),
            "capacity_mah": (2500.0, 2500.0),
            "cutoff_v": 1.0,
        }
    )
    run = lasting(electrics(row(1)), Pack("cell", cell, in_series=4))
    assert run.ends_by == "a cell falls below 1 V under load"
    assert_allclose(run.used, steps / 40)
    assert_allclose(run.hours, 2500 / 252 * steps / 40, rtol=1e-6)


def test_a_converter_carries_what_all_its_cells_give():
    # At 3.82 V half used; the converter's own limit is set out of the way.
    converter = Converter(output_v=5.0, efficiency=0.85, max_current_ma=100_000)
    for series, parallel in ((1, 1), (2, 1), (1, 2), (2, 3)):
        chosen = pack("lithium_18650", series, parallel, converter)
        cells_ma = series * parallel * chosen.battery.max_current_ma
        volts, _ = chosen.battery.rest_v_and_ohm(0.5)
        assert_allclose(chosen.max_current_ma, volts * cells_ma * 0.85 / 5.0)
    limited = pack("lithium_18650", 2, 3, own_converter())
    assert limited.max_current_ma == 2100


def test_a_converter_takes_power_from_its_cell():
    # 5 V x 0.5 A / 0.85 = 2.94 W from one cell of 3.82 V and 0.125 ohm:
    # I = (V - sqrt(V^2 - 4 R P))/2R.
    chosen = pack("lithium_18650", converter=own_converter())
    cell_v, drain = chosen.cell_at(0.5, 5.0, 500)
    watts = 5 * 0.5 / 0.85
    by_hand = (3.82 - np.sqrt(3.82**2 - 4 * 0.125 * watts)) / (2 * 0.125)
    assert_allclose(drain, 1000 * by_hand, rtol=1e-9)
    assert_allclose(cell_v * drain / 1000, watts, rtol=1e-9)
    assert chosen.cell_at(0.5, 5.0, 50_000)[0] == 0.0


def test_usual_packs_are_of_the_catalogue():
    labels = [p.label for p in usual_packs(CATALOGUE)]
    assert len(set(labels)) == len(labels)
    assert "3 x AAA alkaline cell" in labels
    assert "2 x 18650 lithium-ion cell, 2600 mAh, protected, converter to 5 V" in labels


FAULTS = {
    "a battery below the boards' minimum": (
        '[power]\nbattery = "alkaline_aa"\nin_series = 2\n',
        "power.battery: 2 x AA alkaline cell gives 3.10 V when full, below the 3.5 V that 'plain' "
        "needs at the least; put more cells in series or add a converter",
    ),
    "an unknown battery": (
        '[power]\nbattery = "nimh_a"\n',
        "power.battery: there is no battery 'nimh_a'; did you mean 'nimh_aa'?",
    ),
    "a power bank with a converter": (
        '[power]\nbattery = "power_bank_5000"\nconverter = { output_v = 5.0 }\n',
        "power.converter: a power bank has its converter inside; leave this out",
    ),
    "power banks in series": (
        '[power]\nbattery = "power_bank_5000"\nin_series = 2\n',
        "power.in_series: power banks cannot be put in series",
    ),
}


@pytest.mark.parametrize(("text", "message"), FAULTS.values(), ids=FAULTS)
def test_one_fault_one_message_with_its_line(text, message):
    with pytest.raises(SceneError, match=r"^prop\.toml, line \d+: ") as caught:
        electrics(row(1, text))
    assert str(caught.value).split(": ", 1)[1] == message


def test_half_used_a_pack_is_between_full_and_empty():
    choice = judge(electrics(row(1)), pack("nimh_aa", 4), level=0.1)
    full, half, empty = (choice.pack.feed(used).rest_v for used in (0.0, 0.5, 1.0))
    assert full > half > choice.half.supply_v > choice.white.supply_v > empty
