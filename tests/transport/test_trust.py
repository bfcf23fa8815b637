"""Quick says where it is a rough guide: on every exact scene where it is off by more than 3 %."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from glowsim.geometry.shapes import shape_mesh
from glowsim.scene import Orb, Slab
from glowsim.transport.likeness import depth_of, thickness_of
from glowsim.transport.problem import BARE, BodyProblem, Layer
from glowsim.transport.quick.trust import trust_of
from tests.support.bodies import body, emitters, medium, shell
from tests.support.slabs import BEAM, SLABS, slab


def ball(mu_a: float, mu_s_reduced: float, depth_mm: float = 30.0) -> BodyProblem:
    outer = shape_mesh(Orb(kind="orb", diameter_mm=60))
    lights = emitters([[0.0, 0.0, 30.0 - depth_mm]])
    return body(outer, [medium(mu_a, mu_s_reduced)], lights, cell_mm=3, face_mm=10)


def test_a_thick_pale_body_is_trusted():
    assert trust_of(ball(0.01, 1.0), 0.0) == ()


@pytest.mark.parametrize(
    ("problem", "direct_share", "caution"),
    [
        (ball(0.001, 0.1), 0.0, "only 2 transport lengths thick (quick needs 3)"),
        (
            ball(0.12, 1.0),
            0.0,
            "absorbs 0.12 times what it scatters in red (quick needs below 0.1)",
        ),
        (ball(0.01, 1.0, 1.0), 0.0, "1.0 mm below the surface, 1 transport lengths (quick needs"),
        (ball(0.01, 1.0), 0.06, "6 % of the light leaves without scattering: the bare LEDs show"),
    ],
    ids=["thin", "dark", "near", "bare"],
)
def test_what_makes_it_a_rough_guide(problem, direct_share, caution):
    (found,) = trust_of(problem, direct_share)
    assert caution in found


@pytest.mark.parametrize("name", [name for name in SLABS if name != "S2"])
def test_slabs_that_quick_is_not_sure_of(name):
    """Those that tests/physics/test_slab holds to 3 % are trusted, the others are not; S5 and S7,
    just three transport lengths thick, lose a little of that at the edge of the plate."""
    mu_a, mu_s, g, _, thickness, *_ = SLABS[name]
    reduced = mu_s * (1 - g)
    trusted = reduced * thickness > 3.01 and mu_a <= 0.1 * reduced
    assert (trust_of(slab(name, BEAM), 0.0) == ()) == trusted


def test_faces_behind_a_light_do_not_make_it_shallow():
    near_foot = replace(ball(0.01, 1.0), emitters=emitters([[0.0, 0.0, -28.5]]))
    depth_mm, _ = depth_of(near_foot, 0)
    assert depth_mm > 7
    assert trust_of(near_foot, 0.0) == ()


@pytest.mark.parametrize(("through", "depth_mm"), [(0.0, 7.4), (0.3, 1.5)])
def test_faces_that_a_coat_closes_do_not_make_a_light_shallow(through, depth_mm):
    """A cap 20 mm wide over a light 1.5 mm below it: the open rim is some 7 mm off."""
    problem = ball(0.01, 1.0, 1.5)
    corners = problem.walls.triangles
    cap = np.linalg.norm(corners - [0, 0, 30], axis=2).min(axis=1) < 7
    coat = np.where(cap & (problem.outside < 0), 0, BARE)
    layer = Layer("paint", np.full(3, 0.5), np.full(3, through))
    painted = replace(
        problem,
        coat=coat,
        layers=(layer,),
        emitters=emitters([[0.0, 0.0, 28.5]], direction=(1.0, 0.0, 0.0)),
    )
    assert depth_of(painted, 0)[0] == pytest.approx(depth_mm, rel=0.3)


def test_a_plug_counts_together_with_what_it_sits_in():
    plug = shape_mesh(Orb(kind="orb", diameter_mm=8))
    outer = shape_mesh(Orb(kind="orb", diameter_mm=60))
    material = medium(0.01, 1.0)
    lights = emitters([[0.0, 0.0, 0.0]], region=1)
    both = body(outer, [material] * 2, lights, inserts=[plug], cell_mm=3, face_mm=10)
    for region in (0, 1):
        assert thickness_of(both, region) == pytest.approx(thickness_of(ball(0.01, 1.0), 0), 0.01)
    assert trust_of(both, 0.0) == ()


def sheet(direction: tuple[float, float, float], n: float = 1.49) -> BodyProblem:
    outer = shape_mesh(Slab(kind="slab", length_mm=120, width_mm=60, thickness_mm=3))
    lights = emitters([[-58.0, 0.0, 1.5]], direction=direction)
    return body(outer, [medium(0.0005, 0.02, 0.8, n)], lights, cell_mm=1.5, face_mm=20)


def test_a_sheet_lit_from_its_edge_is_called_that():
    (found,) = trust_of(sheet((1.0, 0.0, 0.0)), 0.0)
    assert "a clear sheet about 2.8 mm thick, lit along from its edge" in found
    assert "not the tool for edge-lit sheets" in found
    for other in (sheet((0.0, 0.0, 1.0)), sheet((1.0, 0.0, 0.0), n=1.0)):
        assert not any("sheet" in caution for caution in trust_of(other, 0.0))


@pytest.mark.parametrize(("cell_mm", "cautions"), [(0.73, 1), (0.44, 0)])
def test_coarse_cells_of_a_dense_dark_wall(cell_mm, cautions):
    problem = shell(
        shape_mesh(Slab(kind="slab", length_mm=36, width_mm=26, thickness_mm=18)),
        medium(0.0269, 2.374, 0.8, 1.0),
        2.3,
        emitters([[0.0, 0.0, 9.0]], region=1),
        cell_mm=cell_mm,
        face_mm=6.0,
    )
    found = trust_of(replace(problem, wall_mm=2.3), 0.0)
    assert len(found) == cautions
    assert all("cells of 0.73 mm" in one and "cell_mm = 0.44" in one for one in found)
