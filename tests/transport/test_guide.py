"""Clear bodies are followed by the reference without being asked, and their rough faces glow."""

from __future__ import annotations

import numpy as np
import pytest

from glowsim.decisions.response import Responses
from glowsim.errors import SceneError, SolveError
from glowsim.findings import findings_of
from glowsim.scene import parse_scene
from glowsim.transport import guide
from glowsim.transport.build import build_problem
from glowsim.transport.plan import plan_of
from glowsim.transport.reference import Goal
from glowsim.transport.solve import solve
from glowsim.transport.solvers import BOTH
from tests.support.scenes import THICK

ROD = """
[[bodies]]
name = "rod"
shape = { kind = "rod", length_mm = 80, diameter_mm = 16 }
material = "acrylic_clear"
detail_mm = 6
  [[bodies.inserts]]
  kind = "pocket"
  shape = { kind = "rod", length_mm = 6, diameter_mm = 12 }
  position_mm = [0, 0, -1]
  [[bodies.masks]]
  coat = "frosted_face"
  where = { part = "top" }
  [[bodies.lights]]
  board = "rgb_5050_18ma"
  position_mm = [0, 0, 2]
"""
GROOVE = (
    ROD
    + """
  [[bodies.masks]]
  coat = "engraved"
  where = { line_mm = [[8, 0, 30], [8, 0, 60]], line_width_mm = 1.5 }
"""
)


@pytest.fixture(scope="module")
def few(tmp_path_factory, small_batches):
    """A glow of a guide and of foam with few photons, and the file it was saved to."""
    saved = tmp_path_factory.mktemp("guide") / "glow.npz"
    scene = parse_scene(THICK + ROD)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(guide, "FULL_GOAL", Goal(noise=None, photons=1))
        return scene, solve(scene, saved=saved), saved


def test_the_reference_takes_the_guide_alone(few):
    scene, glow, _ = few
    assert [body.by_reference for body in glow.bodies] == [False, True]
    assert glow.solver == BOTH
    noted = " ".join(findings_of(glow, scene.scene).notes)
    assert "no job for quick" in noted
    assert "of the light that comes out leaves by the faces meant to glow" in noted


def test_a_saved_guide_is_not_followed_again(few, monkeypatch):
    scene, glow, saved = few
    monkeypatch.setattr(guide, "solve_body", None)
    again = solve(scene, saved=saved)
    np.testing.assert_array_equal(again.bodies[1].diffuse, glow.bodies[1].diffuse)


def test_only_the_frosted_end_is_meant_to_glow(few):
    body = few[1].bodies[1]
    assert (body.surface.centroids[body.glows, 2] > 79.9).all()
    # What enters by the polished end cannot leave by the side, only what the frost throws back.
    out = (body.diffuse + body.direct).sum(axis=(0, 1)) * body.surface.areas_mm2
    side = (body.surface.centroids[:, 2] > 6) & ~body.glows
    assert out[side].sum() < 0.5 * out[body.glows].sum()


def test_a_groove_is_cut_out_of_the_faces_it_crosses():
    (body,) = build_problem(parse_scene(GROOVE)).bodies
    (plain,) = build_problem(parse_scene(ROD)).bodies
    number = [layer.name for layer in body.layers].index("engraved")
    area = body.walls.areas_mm2
    # 30 mm and half a width at either end, 1.5 mm wide; the side of the rod is drawn with chords.
    assert area[body.coat == number].sum() == pytest.approx(31.5 * 1.5, rel=0.05)
    assert area.sum() == pytest.approx(plain.walls.areas_mm2.sum(), rel=1e-3)
    edges = np.sort(
        np.concatenate([body.walls.faces[:, [k, (k + 1) % 3]] for k in range(3)]), axis=1
    )
    _, shared = np.unique(edges, axis=0, return_counts=True)
    assert (shared >= 2).mean() > 0.999
    assert body.glows[body.coat == number].all()


def test_a_line_off_the_surface_is_told_where_it_should_be():
    off = GROOVE.replace("[[8, 0, 30], [8, 0, 60]]", "[[8, 0, 30], [14, 0, 60]]")
    build_problem(parse_scene(off))
    with pytest.raises(SceneError, match=r"point \(14, 0, 60\) lies 6 mm off the surface"):
        build_problem(parse_scene(off.replace("[8, 0, 30]", "[13, 0, 30]")))


def test_what_goes_by_quick_is_refused_in_one_sentence():
    plan = plan_of(parse_scene(ROD))
    with pytest.raises(SolveError, match="'rod' is a clear body that carries light along inside"):
        Responses(plan, 0)
