"""Strips for a round head: measured against where the copies stand."""

from pathlib import Path as File

import numpy as np
import pytest

from glowsim.buildsheet.drawing import Path, Round
from glowsim.buildsheet.head import TAB_MM, rows_of, strips
from glowsim.geometry.patterns import copies_of
from glowsim.scene import read_scene

THISTLE = read_scene(File(__file__).parents[2] / "scenes" / "thistle_staff.toml")


def test_rows_stand_where_the_copies_stand():
    spike = THISTLE.scene.bodies[0]
    rows = rows_of(THISTLE.scene)
    # One spike on the axis needs no strip; then a row of three and a row of five.
    assert [len(row.names) for row in rows] == [3, 5]
    assert rows[1].names[0] == "spike 5"
    outward = [place[:3, 2] for place in copies_of(spike)]
    for row, first in zip(rows, (1, 4), strict=True):
        on_head = 52.0 * np.array(
            outward[first : first + len(row.names)]
        )  # the orb is 104 mm across
        assert np.linalg.norm(on_head[:, :2], axis=1) == pytest.approx(row.ring_mm)
        assert 52.0 + on_head[:, 2] == pytest.approx(row.above_mm)
        turn = np.unwrap(np.arctan2(on_head[:, 1], on_head[:, 0]))
        assert np.diff(turn) * row.ring_mm == pytest.approx(np.diff(row.marks_mm))
        assert np.degrees(np.arccos(outward[first][2])) == pytest.approx(row.lean_deg)


def test_a_strip_closes_once_round():
    row = rows_of(THISTLE.scene)[1]
    parts = strips(row, 190.0)
    lengths, rings = [], []
    for part in parts:
        (box,) = [i for i in part.items if isinstance(i, Path) and i.closed]
        lengths.append(np.ptp(box.points[:, 0]))
        done = sum(lengths[:-1])
        rings += [done + i.centre[0] - 1 for i in part.items if isinstance(i, Round)]
        assert lengths[-1] + TAB_MM <= 190 - 1
        assert part.width_mm <= 190
    # 5 holes on a circle of 52 sin 95 deg: once round 325.5 mm, 65.1 mm from one to the next.
    assert sum(lengths) == pytest.approx(2 * np.pi * 52 * np.sin(np.radians(95)))
    # The seam lies half a gap before the first; the row starts at 36 deg, +x 36 deg before that.
    assert rings[0] == pytest.approx(32.55, abs=0.01)
    assert row.front_mm == pytest.approx(0.0, abs=1e-6)
    assert rows_of(THISTLE.scene)[0].front_mm == pytest.approx(250.29 / 6, abs=0.01)
    assert np.diff(rings) == pytest.approx([65.1] * 4, abs=0.01)


def test_ticks_stand_where_the_rim_of_a_foot_meets_the_strip():
    row = rows_of(THISTLE.scene)[0]
    # By vectors: the point of the row's circle that lies 20 mm off the axis of the piece.
    lean, at = np.radians(row.lean_deg), row.reach_mm(20.0) / row.ring_mm
    axis = np.array([np.sin(lean), 0.0, np.cos(lean)])
    point = 52.0 * np.array([np.sin(lean) * np.cos(at), np.sin(lean) * np.sin(at), np.cos(lean)])
    assert np.linalg.norm(point - (point @ axis) * axis) == pytest.approx(20.0)
    ticks = [
        i.points[0][0] for d in strips(row, 400.0, 20.0) for i in d.items
        if isinstance(i, Path) and len(i.points) == 2 and abs(np.ptp(i.points[:, 1]) - 4) < 1e-9
        and i.points[0][1] > 4
    ]  # fmt: skip
    middles = np.array(row.marks_mm) + 1
    assert sorted(ticks) == pytest.approx(sorted([*(middles - at * row.ring_mm),
                                                  *(middles + at * row.ring_mm)]))  # fmt: skip
