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
    body = re.search(rf"uint8_t {name}\[.*?=\s*\{{(.*?)\n\}};", text, re.DOTALL)[1]
    return [int(number) for number in re.findall(r"\d+", body)]


def test_csv_reads_back(report):
    rows = list(csv.reader(io.StringIO(keyframes_csv(report.course, report.time_s, report.levels))))
    assert rows[0] == ["time_s", "spikes 1", "spikes 2", "spikes 3"]
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


@pytest.mark.skipif(shutil.which("gcc") is None, reason="no C compiler here")
def test_c_table_compiles_without_a_warning(report, tmp_path):
    (tmp_path / "pulse.h").write_text(header(report, title='Odd */ "title"\\'))
    (tmp_path / "use.c").write_text(
        '#include "pulse.h"\n#include "pulse.h"\n#include <stdio.h>\nint main(void) {\n'
        "  for (int f = 0; f < GLOW_FRAMES; f++)\n    for (int m = 0; m < GLOW_MEMBERS; m++)\n"
        '      printf("%d\\n", glow_colours[m][0] * glow_duty[glow_levels[f][m]] / 255);\n'
        "  return GLOW_FRAME_MS != 40;\n}\n"
    )
    strict = ["-std=c99", "-Wall", "-Wextra", "-Werror", "-pedantic"]
    subprocess.run(["gcc", *strict, "use.c", "-o", "use"], cwd=tmp_path, check=True)
    shown = subprocess.run(["./use"], cwd=tmp_path, check=True, capture_output=True, text=True)
    red = np.array(shown.stdout.split(), int).reshape(100, 3)
    # What the controller sends is drive times level: 0.4 x 255 x level, cut to whole numbers.
    assert_allclose(red, 102 * report.levels, atol=2)


def test_names_cannot_end_the_comment():
    prop = electrics(
        row(1, '[[pulses]]\nzone = "a */ b"\npattern = "swell"\n').replace('"spikes"', '"a */ b"')
    )
    report = pulse_report(prop, seconds=1, frames_per_second=5)
    text = header(report)
    assert text.count("*/") == text.count("/*") == 2
