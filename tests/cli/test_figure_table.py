"""Tables on narrow screens: no name or figure broken, no line too long, nothing left out."""

from __future__ import annotations

import io

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rich.console import Console

from glowsim.cli.common import PIPE_WIDTH, console, table_of


def printed(table, width):
    screen = Console(file=io.StringIO(), width=width, highlight=False)
    screen.print(table)
    return [line.rstrip() for line in screen.file.getvalue().splitlines()]


def findings_table():
    table = table_of(
        "Findings", ("no", "kind", "why"), ("place mm", "below surface mm", "nearest light")
    )
    why = "a board close behind the wall, which is thin there"
    table.add_row("1", "dark gap", why, "12, -18, 190", "74.5", "spike 12: light 10, 74 mm")
    table.add_row("2", "hot spot", "", "6, 2, 86", "3")
    table.caption = "place: in the body's own frame"
    return table


@pytest.mark.parametrize("width", [60, 80, 118, 200])
def test_names_and_figures_stay_whole(width):
    lines = printed(findings_table(), width)
    assert max(map(len, lines)) <= width
    for whole in ("12, -18, 190", "spike 12: light 10, 74 mm", "dark gap", "74.5"):
        assert any(whole in line for line in lines)
    words = " ".join(" ".join(lines).split())
    assert all(word in words for word in ("behind", "nearest", "surface"))


def test_what_does_not_fit_stands_below_under_the_same_names():
    lines = printed(findings_table(), 60)
    assert sum(line.startswith("  1 ") for line in lines) >= 2
    assert sum("Findings" in line for line in lines) == 1
    wide = printed(findings_table(), 200)
    assert sum(line.startswith("  1 ") for line in wide) == 1
    assert wide[-1] == "place: in the body's own frame"


NAME = st.text("abc de", min_size=1, max_size=20).filter(lambda text: text.strip() == text)


@given(
    st.lists(NAME, min_size=1, max_size=9),
    st.lists(st.floats(0, 1e6), min_size=1, max_size=4),
    st.integers(60, 130),
)
def test_any_table_fits_and_keeps_its_figures(headings, figures, width):
    table = table_of("", headings[:1], headings[1:])
    for figure in figures:
        table.add_row("board 12", *(f"{figure:.1f}" for _ in headings[1:]))
    lines = printed(table, width)
    assert max(map(len, lines), default=0) <= width
    for figure in figures:
        assert " ".join(lines).split().count(f"{figure:.1f}") >= len(headings) - 1


def test_a_pipe_is_as_wide_as_columns_says(monkeypatch):
    monkeypatch.setenv("COLUMNS", "72")
    assert console().width == 72
    for nonsense in ("", "wide"):
        monkeypatch.setenv("COLUMNS", nonsense)
        assert console().width == PIPE_WIDTH
