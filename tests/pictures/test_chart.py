"""Charts: lines land where their figures say, and nothing else is drawn."""

from __future__ import annotations

import numpy as np
import pytest

from glowsim.errors import PictureError
from glowsim.pictures import Line, Panel, chart


def pixels_like(picture, colour: str) -> np.ndarray:
    """Return how near each pixel is to a colour, (h, w) bool."""
    wanted = np.array([int(colour[k : k + 2], 16) for k in (1, 3, 5)])
    return np.abs(np.asarray(picture, dtype=int) - wanted).max(axis=2) < 40


def test_a_rising_line_rises():
    picture = chart([Panel("even", [Line([0, 1, 2], [0, 1, 2], "foam")])], "mm")
    rows, columns = np.nonzero(pixels_like(picture, "#0072b2"))
    assert np.corrcoef(rows, columns)[0, 1] < -0.99


def test_series_differ_in_colour_and_get_a_legend():
    one = [Line([0, 1], [0.2, 0.4], "foam", 0)]
    two = [*one, Line([0, 1], [0.5, 0.6], "resin", 1)]
    alone, both = chart([Panel("even", one)], "mm"), chart([Panel("even", two)], "mm")
    assert not pixels_like(alone, "#d55e00").any()
    assert pixels_like(both, "#d55e00").any()


def test_what_is_far_below_the_rest_does_not_stretch_a_log_panel():
    line = Line([0, 1, 2, 3], [1e-9, 1.0, 10.0, 100.0], "foam")
    without = Line([1, 2, 3], [1.0, 10.0, 100.0], "foam")
    one = chart([Panel("cd", [line], log=True)], "mm")
    assert one.tobytes() == chart([Panel("cd", [without], log=True)], "mm").tobytes()


def test_the_same_figures_give_the_same_picture():
    panels = [
        Panel("even", [Line([0, 1], [0.2, 0.6], "foam")], [(0.5, "enough")], [(1, 0.6)]),
        Panel("spots", [Line([0, 1], [3, 0], "foam")], whole=True),
    ]
    first, second = (chart(panels, "mm", title="a", note="b") for _ in range(2))
    assert first.size == second.size
    assert first.tobytes() == second.tobytes()


def test_nothing_to_draw_is_refused():
    with pytest.raises(PictureError, match="at least one line"):
        chart([Panel("even", [Line([], [], "foam")])], "mm")
