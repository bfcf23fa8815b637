"""What of a light goes over the wire: the corners that differ, nothing that the page has."""

from __future__ import annotations

import numpy as np
import pytest

from glowsim.live import sending

COUNT = 12


def light(**changed):
    """Return a light as bytes in which some corners differ, by name of the part."""
    rng = np.random.default_rng(4)
    own, around, calm = rng.random((COUNT, 3)), rng.random(6 * COUNT), rng.random(COUNT)
    for corner in changed.get("own", ()):
        own[corner, 1] += 1
    for corner in changed.get("calm", ()):
        calm[corner] += 1
    return b"".join(part.astype("<f4").tobytes() for part in (own, around, calm))


def test_only_the_corners_that_differ_are_sent():
    first, second = light(), light(own=(4, 7), calm=(5,))
    row = sending.moved(second, first)
    assert row == (4, 8)
    sent = np.frombuffer(sending.part(second, row), "<f4")
    own, _, calm = sending.parts_of(second)
    assert sent[:12].reshape(4, 3) == pytest.approx(own[4:8], abs=0)
    assert sent[12:] == pytest.approx(calm[4:8], abs=0)
    assert sending.moved(first, first) == (0, 0)
    assert sending.part(first, (0, 0)) == b""


def test_a_page_that_missed_an_answer_is_sent_what_both_changed():
    since = {}
    for number, row in ((1, (4, 8)), (2, (0, 0)), (3, (2, 5))):
        since = sending.moved_since(since, number, row)
    assert since == {1: (2, 8), 2: (2, 5), 3: (2, 5)}
    since = sending.moved_since(since, 3 + sending.MOST_LAG, (9, 10))
    assert 1 not in since  # too long ago: it is sent all of it


def test_contour_lines_of_what_did_not_move_stay_in_a_draft():
    own, _, calm = sending.parts_of(light(own=(4,)))
    kept = sending.calm_kept(light(calm=(3,)), own, calm + 9)
    before = sending.parts_of(light(calm=(3,)))[2]
    assert kept[4] == calm[4] + 9
    assert np.delete(kept, 4) == pytest.approx(np.delete(before, 4), abs=0)
