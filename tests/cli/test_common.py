"""What the tables of all commands share."""

from __future__ import annotations

import time

import pytest

from glowsim.cli import common, main
from glowsim.cli.common import short, short_share
from glowsim.scene import parse_scene


@pytest.mark.parametrize(
    ("value", "text"),
    [
        *((0.0, "0"), (3e-7, "<0.001"), (0.00099, "<0.001"), (0.00123, "0.00123")),
        *(
            (0.4567, "0.457"),
            (34.56, "34.6"),
            (999.4, "999"),
            (999.7, "1000"),
            (123456.0, "123456"),
        ),
    ],
)
def test_a_figure_has_three_digits_no_dust_and_no_exponent(value, text):
    assert short(value) == text


@pytest.mark.parametrize(
    ("value", "text"), [(0.0, "<0.01"), (0.0049, "<0.01"), (0.0051, "0.01"), (0.437, "0.44")]
)
def test_a_share_has_two_digits(value, text):
    assert short_share(value) == text


def test_where_there_is_no_terminal_progress_is_lines(monkeypatch, capsys):
    monkeypatch.setattr(common, "EVERY_S", 0.02)
    with common.progress_line() as report:
        report("lighting [bud]")
        time.sleep(0.1)
    first = capsys.readouterr().err.splitlines()[0]
    assert first == "lighting [bud] (0 s)"
    time.sleep(0.05)
    assert capsys.readouterr().err == "", "nothing more once it is done"


@pytest.mark.parametrize(
    ("own", "threads"),
    [({}, "1"), ({"OPENBLAS_NUM_THREADS": "3"}, "3"), ({"OMP_NUM_THREADS": "2"}, None)],
)
def test_small_systems_get_one_thread_unless_the_user_says_otherwise(monkeypatch, own, threads):
    monkeypatch.setattr(main.os, "environ", dict(own))
    main._one_thread_for_small_systems()
    assert main.os.environ.get("OPENBLAS_NUM_THREADS") == threads


STAFF = """
[power]
battery = "lithium_18650"
[wiring]
kind = "chain"
gauge = 30
feed_mm = 500
spacing_mm = 500
[[bodies]]
name = "bud"
shape = { kind = "orb", diameter_mm = 60 }
material = "upholstery_foam_white"
"""
BOARD = """
  [[bodies.lights]]
  board = "round_7"
  position_mm = [0, 0, 0]
"""
DIM = BOARD + "  drive = { red = 0.1, green = 0.1, blue = 0.1 }\n"


def test_what_more_boards_do_to_the_colours_is_said_and_nothing_twice(capsys):
    few, many = (common.Wires(parse_scene(STAFF + count * BOARD)) for count in (1, 4))
    few.print_change(common.console(), few)
    assert capsys.readouterr().out == ""
    few.print_change(common.console(), many)
    said = " ".join(capsys.readouterr().out.split())
    assert "With the new boards: On 18650" in said
    assert "of its light at bud: light 4" in said
    many.print_change(common.console(), common.Wires(parse_scene(STAFF + DIM)))
    assert capsys.readouterr().out == "With the new boards: this no longer holds.\n"
