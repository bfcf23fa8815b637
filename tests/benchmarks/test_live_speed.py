"""How soon a board that is dragged is answered, on the demo scenes, the page itself left out."""

from __future__ import annotations

import time
from pathlib import Path

import numpy as np
import pytest

from glowsim.geometry.patterns import copies_of
from glowsim.live.session import Session

SCENES = Path(__file__).parent.parent.parent / "scenes"
MOVES = 12


@pytest.mark.benchmark
@pytest.mark.parametrize("name", ["thistle_staff", "geode_shoulder", "reed_blade", "moon_orb"])
def test_drag(name):
    session = Session(SCENES / f"{name}.toml")
    try:
        started = time.perf_counter()
        while session.seen is None:
            time.sleep(0.01)
        first_s = time.perf_counter() - started
        assert session.wait(600)
        at = session.now.boards[0]
        place = np.array(session.now.light(at).position_mm)
        frame = copies_of(session.now.scene.bodies[at.body])[0]
        seconds, busy = [], []
        for k in range(MOVES):
            point = frame[:3, :3] @ (place + np.array([0, 0, 1.0 + 0.3 * (k + 1)])) + frame[:3, 3]
            before, started = session.seen.number, time.perf_counter()
            worked = time.process_time()
            session.drag(at, 0, point)
            session.wait()
            seconds.append(time.perf_counter() - started)
            busy.append(time.process_time() - worked)
            assert session.seen.number > before
        number, started = session.seen.number, time.perf_counter()
        session.release()
        while session.seen.number == number or not session.seen.full:
            time.sleep(0.005)
        full_s = time.perf_counter() - started
    finally:
        session.close()
    print(
        f"\n{name}: first light {first_s:.1f} s; draft median {1000 * np.median(seconds):.0f} ms, "
        f"95th percentile {1000 * np.percentile(seconds, 95):.0f} ms, processor time of a draft "
        f"{1000 * np.median(busy):.0f} ms; full after release {full_s:.2f} s"
    )
