"""How far heat lets lights be turned up, against the board's own power P = V (n I0 + n d I)."""

from __future__ import annotations

import numpy as np
import pytest

from glowsim.catalogue import load_catalogue
from glowsim.decisions.heat import heat_limit
from glowsim.transport.problem import LightSource

CATALOGUE = load_catalogue()


def light(board: str, *drive: float) -> LightSource:
    entry = CATALOGUE.board(board)
    return LightSource(
        f"{board} at {drive}",
        "all",
        board,
        np.ones(3),
        np.array(drive),
        np.ones((3, 3)),
        1.5,
        np.zeros(3),
        entry.power_w(drive),
        entry.power_w(1.0),
    )


@pytest.mark.parametrize("limit_w", [0.1, 0.4, 1.0])
def test_turned_to_the_limit_a_board_draws_the_limit(limit_w):
    drive = np.array([0.3, 0.1, 0.2])
    limit = heat_limit([light("round_7", *drive)], CATALOGUE, limit_w)
    at_limit = CATALOGUE.board("round_7").power_w(tuple(limit.heat_factor * drive))
    assert at_limit == pytest.approx(limit_w, rel=1e-9)
    assert limit.exceeded == (limit.heat_factor < 1)


def test_the_hottest_board_decides():
    weak, strong = light("round_7", 0.1, 0.1, 0.1), light("round_7", 0.2, 0.5, 0.1)
    both = heat_limit([weak, strong], CATALOGUE, 0.4)
    assert both == heat_limit([strong], CATALOGUE, 0.4)
    assert both.light == strong.name
    assert both.full_factor == pytest.approx(2.0)


def test_full_drive_can_come_before_the_heat():
    limit = heat_limit([light("rgb_5050_18ma", 0.5, 0.5, 0.5)], CATALOGUE, 10.0)
    assert not limit.binds
    assert limit.factor == pytest.approx(2.0)


def test_a_dark_board_above_the_limit_leaves_nothing():
    assert heat_limit([light("round_7", 1, 0, 0)], CATALOGUE, 1e-6).factor == 0


def test_lights_that_are_off_have_no_limit():
    assert heat_limit([light("round_7", 0, 0, 0)], CATALOGUE, 0.4) is None
