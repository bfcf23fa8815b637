"""Keyframes and the table in C: read back, they are the course again."""

import csv
import io
import re
import shutil
import subprocess

import numpy as np
import pytest
from numpy.testing import assert_allclose

from glowsim.electrics.export import c_header, keyframes_csv
from glowsim.electrics.export_pins import pin_lines, pins_header
from glowsim.electrics.pulse import DUTY_OF_CODE, codes_of
from glowsim.electrics.pulse_report import pulse_report
from tests.electrics.props import electrics, row

PULSE = '[[pulses]]\nzone = "spikes"\npattern = "ember"\nstagger = 0.2\nperiod_s = 2\n'


@pytest.fixture(scope="module")
def report():
    return pulse_report(electrics(row(3, PULSE, drive=0.4)), seconds=4, frames_per_second=25)


def header(report, title="Row"):
    return c_header(report.course, report.levels, report.colours, title=title, frames_per_second=25)


def array_in(text, name):
    """Return the numbers of an array of a C header, by an own small parser."""
    body = re.search(rf"uint(?:8|16)_t {name}\[.*?=\s*\{{(.*?)\n\}};", text, re.DOTALL)[1]
    return [int(number) for number in re.findall(r"\d+", body)]


def test_csv_reads_back(report):
    rows = list(csv.reader(io.StringIO(keyframes_csv(report.course, report.time_s, report.levels))))
    assert rows[0] == ["time_s", "spikes: spike 1", "spikes: spike 2", "spikes: spike 3"]
    values = np.array(rows[1:], float)
    assert_allclose(values[:, 0], report.time_s, atol=1e-4)
    assert_allclose(values[:, 1:], report.levels, atol=1e-5)


def test_c_table_reads_back(report):
    text = header(report)
    levels = np.array(array_in(text, "glow_levels")).reshape(100, 3)
    assert np.array_equal(levels, codes_of(report.levels))
    assert array_in(text, "glow_duty") == DUTY_OF_CODE.tolist()
    assert array_in(text, "glow_colours") == [102] * 9  # 0.4 x 255
    light = np.array(array_in(text, "glow_duty"))[levels] / 255
    assert_allclose(light, report.levels, atol=0.009)


def printed_by_c(folder) -> str:
    """Compile use.c without a warning and return what it prints."""
    strict = ["-std=c99", "-Wall", "-Wextra", "-Werror", "-pedantic"]
    subprocess.run(["gcc", *strict, "use.c", "-o", "use"], cwd=folder, check=True)
    return subprocess.run(["./use"], cwd=folder, check=True, capture_output=True, text=True).stdout


@pytest.mark.skipif(shutil.which("gcc") is None, reason="no C compiler here")
def test_c_table_compiles_without_a_warning(report, tmp_path):
    (tmp_path / "pulse.h").write_text(header(report, title='Odd */ "title"\\'))
    (tmp_path / "use.c").write_text(
        '#include "pulse.h"\n#include "pulse.h"\n#include <stdio.h>\nint main(void) {\n'
        "  for (int f = 0; f < GLOW_FRAMES; f++)\n    for (int m = 0; m < GLOW_MEMBERS; m++)\n"
        '      printf("%d\\n", glow_colours[m][0] * glow_duty[glow_levels[f][m]] / 255);\n'
        "  return GLOW_FRAME_MS != 40;\n}\n"
    )
    red = np.array(printed_by_c(tmp_path).split(), int).reshape(100, 3)
    # What the controller sends is drive times level: 0.4 x 255 x level, cut to whole numbers.
    assert_allclose(red, 102 * report.levels, atol=2)


PINS = """[wiring]
kind = "star"
run_mm = 300
[[controller.pins]]
name = "D5"
branches = [["spike 1: board"], ["spike 1: back"]]
[[controller.pins]]
name = "GPIO 16"
boards = ["spike 3", "spike 2"]
"""
BACK = """  [[bodies.lights]]
  name = "back"
  board = "strip_60"
  led_count = 7
  position_mm = [0, 0, 30]
  along = [1, 0, 0]
  zone = "spikes"
  [[bodies.patterns]]
"""


def pins_prop():
    """Two spikes' boards in one row, a third spike with two rows of seven side by side."""
    rule = PULSE.replace('"spikes"', '"spike {copy}"')
    text = row(3, rule + PINS, board="strip_60").replace(
        "position_mm", "led_count = 7\n  along = [1, 0, 0]\n  position_mm"
    )
    text = text.replace("  [[bodies.patterns]]\n", BACK).replace('"spikes"', '"spike {copy}"')
    return electrics(text.replace("[0, 0, 30]", "[0, 0, 20]"))


def test_the_pin_plan_reads_back():
    prop = pins_prop()
    text = "\n".join(pin_lines(prop.data.outputs, prop.boards, prop.course))
    defined = dict(re.findall(r"#define (GLOW_\w+) (\S+)", text))
    assert defined["GLOW_OUTPUTS"] == "2"
    assert defined["GLOW_OUTPUT_1_PIN"] == "D5"
    assert "GLOW_OUTPUT_2_PIN" not in defined  # 'GPIO 16' is no word of C
    assert (defined["GLOW_OUTPUT_1_LEDS"], defined["GLOW_OUTPUT_2_LEDS"]) == ("7", "28")
    assert defined["GLOW_LEDS"] == "35"
    assert array_in(text, "glow_output_first") == [0, 7, 35]
    # Member 0 is the zone 'spike 1', and so on; the data pass spike 3 first.
    assert array_in(text, "glow_led_member") == [0] * 7 + [2] * 14 + [1] * 14
    assert "spike 3: board > spike 3: back > spike 2: board > spike 2: back" in text


@pytest.mark.skipif(shutil.which("gcc") is None, reason="no C compiler here")
def test_the_pin_plan_compiles_and_prints_itself(tmp_path):
    prop = pins_prop()
    report = pulse_report(prop, seconds=1, frames_per_second=25)
    lines = pin_lines(prop.data.outputs, prop.boards, prop.course)
    both = {
        "pulse.h": c_header(report.course, report.levels, report.colours, title="Odd */",
                            frames_per_second=25, pins=lines),
        "pins.h": pins_header(prop.data.outputs, prop.boards, prop.course, "Odd */"),
    }  # fmt: skip
    for name, text in both.items():
        (tmp_path / name).write_text(text)
    (tmp_path / "use.c").write_text(
        '#include "pins.h"\n#include "pulse.h"\n#include <stdio.h>\n#define D5 14\n'
        "int main(void) {\n"
        '  printf("%d %d\\n", GLOW_OUTPUT_1_PIN, GLOW_OUTPUT_2_LEDS);\n'
        "  for (int o = 0; o < GLOW_OUTPUTS; o++)\n"
        "    for (int n = glow_output_first[o]; n < glow_output_first[o + 1]; n++)\n"
        '      printf("%d %d\\n", o, glow_led_member[n]);\n'
        "  return glow_levels[0][0] + glow_duty[255] + glow_colours[0][0] == 0;\n}\n"
    )
    found = [tuple(map(int, line.split())) for line in printed_by_c(tmp_path).splitlines()]
    assert found[0] == (14, 28)
    assert found[1:] == [(0, 0)] * 7 + [(1, 2)] * 14 + [(1, 1)] * 14


def test_names_cannot_end_the_comment():
    prop = electrics(
        row(1, '[[pulses]]\nzone = "a */ b"\npattern = "swell"\n').replace('"spikes"', '"a */ b"')
    )
    report = pulse_report(prop, seconds=1, frames_per_second=5)
    text = header(report)
    assert text.count("*/") == text.count("/*") == 2
