"""Prints with a sparse core: its limits are the solid and the shell; beside real walls."""

from __future__ import annotations

import manifold3d
import numpy as np
import pytest

from glowsim.errors import SceneError
from glowsim.findings.inspection import inspect
from glowsim.geometry.mesh import from_manifold
from glowsim.optics.infill import infill_as_medium
from glowsim.scene import parse_scene
from glowsim.transport.build import build_problem
from glowsim.transport.plan import plan_of
from glowsim.transport.problem import AIR, BodyProblem, Kind
from tests.support.bodies import body, emitters, medium
from tests.support.solvers import reference

BUD = """
[[bodies]]
name = "bud"
shape = { kind = "orb", diameter_mm = 40 }
material = "pla_white"
detail_mm = 6
cell_mm = 4
%s
  [[bodies.lights]]
  board = "rgb_5050_18ma"
  position_mm = [0, 0, 0]
"""


def built(words: str) -> BodyProblem:
    (problem,) = build_problem(parse_scene(BUD % words)).bodies
    return problem


@pytest.mark.parametrize(("share", "same"), [(1, ""), (0, "wall_mm = 2")], ids=["solid", "hollow"])
def test_full_is_solid_and_none_is_hollow(share, same):
    filled, plain = built(f"infill = {{ share = {share}, skin_mm = 2 }}"), built(same)
    np.testing.assert_array_equal(filled.walls.triangles, plain.walls.triangles)
    assert [m.name for m in filled.media] == [m.name for m in plain.media]
    assert filled.wall_mm == plain.wall_mm
    assert filled.own_volume_mm3 == plain.own_volume_mm3


def test_a_sparse_core_is_a_cloud_of_its_own_and_weighs_its_share():
    scene = parse_scene(BUD % "infill = { share = 0.2, skin_mm = 2 }")
    (check,) = inspect(plan_of(scene))
    problem = built("infill = { share = 0.2, skin_mm = 2 }")
    skin, core = problem.media
    assert (core.kind, core.refractive_index) == (Kind.SCATTERS, 1.0)
    assert (core.mu_s_reduced_per_mm < skin.mu_s_reduced_per_mm / 10).all()
    # A ball of 40 mm with a skin of 2: (20^3 - 18^3 + 0.2 x 18^3) 4 pi / 3.
    exact = (20**3 - 0.8 * 18**3) * 4 * np.pi / 3 / 1000
    assert check.volume_cm3 == pytest.approx(exact, rel=0.01)
    assert check.kind == "skin 2 mm, infill 20 %"
    assert any("an estimate, x/÷ 2" in note for note in check.notes)


@pytest.mark.parametrize(
    "words", ["infill = { share = 0.8 }", "infill = { share = 0.2 }\nwall_mm = 2"]
)
def test_what_cannot_be_printed_so_is_refused(words):
    with pytest.raises(SceneError, match="infill"):
        parse_scene(BUD % words)


CELL, SHEET, CELLS = 9.0, 0.45, 5


def cubic_cells() -> tuple[manifold3d.Manifold, manifold3d.Manifold]:
    """Return a box, and the walls between its cells."""
    size = CELL * CELLS
    walls = []
    for axis in range(3):
        for k in range(1, CELLS):
            extent, corner = np.full(3, size + 2), np.full(3, -1.0)
            extent[axis], corner[axis] = SHEET, k * CELL - SHEET / 2
            walls.append(manifold3d.Manifold.cube(extent.tolist()).translate(corner.tolist()))
    whole = manifold3d.Manifold.batch_boolean(walls, manifold3d.OpType.Add)
    return manifold3d.Manifold.cube([size] * 3), whole


@pytest.mark.slow
@pytest.mark.parametrize(
    ("mu_a", "mu_s", "photons"),
    [(0.0063, 9.0, 8_000), (0.0032, 0.17, 16_000)],
    ids=["white", "natural"],
)
def test_the_cloud_beside_real_walls(mu_a, mu_s, photons):
    """Photons through cubic cells of white and of natural plastic, walls 0.45 mm and 9 mm apart."""
    box, walls = cubic_cells()
    share = (walls ^ box).volume() / box.volume()
    outer, middle = from_manifold(box), CELL * CELLS / 2
    lights = emitters([(middle + 0.7, middle - 1.1, middle + 0.4)], both_ways=True)
    plastic = medium(mu_a, mu_s, n=1.46)
    real = body(
        outer, [AIR, plastic], lights, inserts=[from_manifold(walls)], cell_mm=1.0, face_mm=9.0
    )
    cloud_a, cloud_s = infill_as_medium(
        share=share, sheet_mm=SHEET, mu_a_per_mm=mu_a, mu_s_reduced_per_mm=mu_s, n=1.46
    )
    cloud = body(outer, [medium(float(cloud_a), float(cloud_s))], lights, cell_mm=2.0, face_mm=9.0)
    taken = reference(real, photons).stays_in(1).mean
    assert reference(cloud, 30_000).stays_in(0).mean == pytest.approx(taken, rel=0.2)
