"""Placements are tidied: tenths of a millimetre, the axis where it costs next to nothing."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from glowsim.decisions.boards import Poses
from glowsim.decisions.polish import Placement
from glowsim.decisions.sites import sites_of
from glowsim.decisions.tidy import tidied

PLACES = np.array([[2.04, -1.02, 20.0], [0.0, 1.5, 60.0], [9.0, 0.0, 40.0]])


def allowed(clash: bool = False, forbidden: bool = False, symmetry: int = 1, drill=None):
    """A body 50 mm wide that has room where it is told to."""

    def allows(poses):
        on_axis = np.linalg.norm(poses.position[:, :2], axis=1) < 1e-9
        return ~(on_axis & forbidden)

    return SimpleNamespace(
        allows=allows,
        clash=lambda one, others: np.full(len(others), clash),
        placing=SimpleNamespace(symmetry=symmetry, drill=drill),
        problem=SimpleNamespace(
            walls=SimpleNamespace(bounds=np.array([[-25.0, -25, 0], [25, 25, 90]]))
        ),
    )


def rows_of(sites):
    """One patch that sees how far off the axis each board stands."""
    return 100.0 + np.linalg.norm(sites.poses.position[:, :2], axis=1)[:, None]


def placed(where, score):
    up = np.tile([0.0, 0, 1], (3, 1))
    sites = sites_of(Poses(PLACES, up), 1, 4.0)
    start = Placement(sites, np.ones(3), rows_of(sites))
    after = tidied(start, where, rows_of, score)
    np.testing.assert_allclose(after.rows, rows_of(after.sites))
    return after.poses.position


def alike(luminance):
    return 1.0


def test_boards_near_the_axis_stand_on_it_where_it_costs_nothing():
    place = placed(allowed(), alike)
    np.testing.assert_allclose(place, [[0, 0, 20], [0, 0, 60], [9, 0, 40]])


def test_a_board_that_does_better_beside_the_axis_stays():
    place = placed(allowed(), lambda luminance: float(luminance.sum() - 300.0))
    np.testing.assert_allclose(place, np.round(PLACES, 1))


def test_the_first_percent_is_given():
    def dearer_by(share):
        first = 312.8
        return lambda luminance: 1.0 - share * (luminance.sum() < first - 2.0)

    assert placed(allowed(), dearer_by(0.005))[0, 0] == 0.0
    assert placed(allowed(), dearer_by(0.05))[0, 0] == 2.0


@pytest.mark.parametrize(
    "where", [allowed(clash=True), allowed(forbidden=True), allowed(symmetry=3), allowed(drill=1)]
)
def test_no_room_on_the_axis_or_no_leave_to_go_there(where):
    np.testing.assert_allclose(placed(where, alike), np.round(PLACES, 1))
