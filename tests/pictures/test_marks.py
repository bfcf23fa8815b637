"""From findings to marks on a map."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from glowsim.findings import findings_of
from glowsim.pictures import marks_of
from glowsim.scene import Room
from tests.findings.glows import lit
from tests.pictures.glows import scene_with


def test_a_mark_knows_the_same_place_on_every_copy() -> None:
    glow = lit(lambda x, z: np.where(np.hypot(x - 30, z - 60) < 12, 400.0, 100.0))
    beside = np.eye(4)
    beside[0, 3] = 500.0
    second = replace(glow.copies[0], name="plate 2", transform=beside)
    scene = scene_with(room=Room(illuminance_lx=5, viewing_distance_mm=1000))
    findings = findings_of(replace(glow, copies=(glow.copies[0], second)), scene)
    (mark,) = marks_of(findings.found)
    assert (mark.number, mark.kind) == (1, "hot")
    np.testing.assert_allclose(mark.elsewhere_mm, [mark.point_mm + np.array([500.0, 0.0, 0.0])])
    wide, rest = mark.label.split(" mm wide, ")
    # Faces are 2 mm wide: the edge lies on one or the next.
    assert abs(int(wide) - 24) <= 1
    assert rest.endswith("its surroundings")
    assert mark.label.endswith(" x its surroundings")
    # One that only noise may have made says so.
    doubtful = replace(findings.found[0], within_noise=True)
    assert marks_of([doubtful])[0].label == f"{mark.label}, within noise"
