"""The picture of a cut with its temperatures: the outline of the light board is seen on any."""

from __future__ import annotations

import numpy as np
import pytest

from glowsim.optics.srgb import contrast_ratio
from glowsim.pictures import heat_map
from glowsim.pictures.inks import INK, LINE_CONTRAST, PAPER


@pytest.mark.parametrize("hot", [False, True])
def test_the_board_has_a_black_outline_with_a_white_rim(hot):
    region = np.zeros((40, 40), dtype=int)
    boards = np.zeros((40, 40), dtype=bool)
    boards[18:23, 10:30] = True
    temperature = np.full((40, 40), 80.0 if hot else 25.0)
    temperature[0, 0] = 80.0
    picture = heat_map(
        temperature, region, boards, room_c=25.0, pixel_mm=1.0, title="cut", caption="room 25 °C"
    )
    page = np.asarray(picture)
    ink = (page == INK).all(axis=2)
    # Rows that are ink along the board's 20 cells of 20 px, and no farther: its two edges.
    along = ink.sum(axis=1)
    edges = np.nonzero((along > 350) & (along < 450))[0]
    assert edges[-1] - edges[0] == pytest.approx(5 * 20, abs=2)
    beyond = page[edges[0] - 2, np.nonzero(ink[edges[0]])[0]]
    assert (beyond == PAPER).all(axis=1).mean() > 0.9
    assert contrast_ratio(INK, PAPER) > LINE_CONTRAST
