"""Light boards as opaque solids: against the same solids cut into the body, and radiosity."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from glowsim.geometry.patterns import placed
from glowsim.geometry.shapes import shape_mesh
from glowsim.scene import Orb, Rod, Slab
from glowsim.transport.boards import folded, region_names, with_boards
from glowsim.transport.problem import AIR, Layer
from glowsim.transport.reference import Goal, solve_body
from tests.support.boards import FOAM, RESIN, ahead_of, board, disc, radiosity
from tests.support.bodies import body, emitters, opaque
from tests.support.monte_carlo import follow, leaving


def slices(problem, count=5):
    """Which slice along z each face on the room lies in."""
    height = problem.walls.centroids[problem.skin, 2]
    return np.digitize(height, np.linspace(height.min(), height.max(), count + 1)[1:-1])


def same_light(one, other, photons):
    """Two problems let out the same, all in all and slice by slice."""
    mine, theirs = (follow(p, photons, seed=k, jumps=True) for k, p in ((1, one), (2, other)))
    assert leaving(mine).agrees(leaving(theirs))
    cut, other_cut = slices(one), slices(other)
    off = []
    for k in range(cut.max() + 1):
        for band in range(3):
            here, there = (
                leaving(tallies, which == k, band=band)
                for tallies, which in ((mine, cut), (theirs, other_cut))
            )
            off.append(here.off(there))
    # Fifteen comparisons: one in twenty-five runs has one beyond 3 standard errors by chance; the
    # seeds are fixed.
    assert max(off) <= 3.0, off
    return mine


@pytest.mark.parametrize(
    "material",
    [pytest.param(FOAM, id="foam", marks=pytest.mark.slow), pytest.param(RESIN, id="resin")],
)
def test_board_is_the_core_cut_of_it(material):
    block = shape_mesh(Slab(kind="slab", length_mm=30, width_mm=26, thickness_mm=40))
    shape = disc((2, 1, 15), (20, 10, 0))
    lights = ahead_of(shape)
    sizes = {"cell_mm": 2.0, "face_mm": 8.0}
    bare = body(block, [material], lights, **sizes)
    one = replace(bare, boards=(board(shape),))
    other = body(block, [material, opaque(0.7)], lights, inserts=[shape.mesh()], **sizes)
    dark = same_light(one, other, 30_000)
    assert abs(dark.balance()).max() < 1e-9
    clear = follow(bare, 20_000, jumps=True)
    assert leaving(dark).mean < 0.9 * leaving(clear).mean


@pytest.mark.parametrize("bore", [0.0, 8.0])
def test_board_half_in_a_pocket(bore):
    """It straddles air and material of another index: light keeps to the region it is in."""
    block = shape_mesh(Slab(kind="slab", length_mm=30, width_mm=26, thickness_mm=30))
    pocket = shape_mesh(Rod(kind="rod", length_mm=10, diameter_mm=20)).moved(
        placed((6, 0, 8), (0, 0, 0))
    )
    shape = disc((0, 0, 13), across=18.0, bore=bore)
    lights = emitters([[7.0, 0.5, 13.05]], region=1)
    sizes = {"cell_mm": 2.0, "face_mm": 8.0}
    one = replace(
        body(block, [RESIN, AIR], lights, inserts=[pocket], **sizes), boards=(board(shape, 0.5),)
    )
    other = body(block, [RESIN, AIR, opaque(0.5)], lights, inserts=[pocket, shape.mesh()], **sizes)
    mine = same_light(one, other, 20_000)
    assert mine.lost.max() == 0.0


def test_front_and_back_have_reflectances_of_their_own():
    """A disc as wide as its hollow parts it: lit from ahead, only the front counts."""
    rod = shape_mesh(Rod(kind="rod", length_mm=30, diameter_mm=20))
    sheet = Layer("sheet", np.full(3, 0.6), np.full(3, 0.3))
    shape = disc((0, 0, 15), across=20.5)
    lights = emitters([[1.0, 2.0, 22.0]])
    bare = body(rod, [AIR], lights, cell_mm=1.0, face_mm=8.0, layers=[sheet])
    runs = [
        follow(replace(bare, boards=(board(shape, *both),)), 20_000, seed=k)
        for k, both in enumerate([(0.8, 0.1), (0.8, 0.9), (0.1, 0.8)])
    ]
    ahead = bare.walls.centroids[bare.skin, 2] > 15
    assert leaving(runs[0], ahead).agrees(leaving(runs[1], ahead))
    assert leaving(runs[0], ~ahead).mean == 0.0
    assert leaving(runs[2], ahead).off(leaving(runs[0], ahead)) > 10


@pytest.mark.parametrize(
    ("front", "back"), [(0.7, 0.7), pytest.param(0.9, 0.1, marks=pytest.mark.slow)]
)
def test_disc_in_a_diffuse_ball(front, back):
    """Integrating cavity with an obstacle: radiosity, derived above."""
    ball = shape_mesh(Orb(kind="orb", diameter_mm=40))
    sheet = Layer("sheet", np.full(3, 0.85), np.full(3, 0.1))
    shape = disc((0, 0, 0), across=24.0, thick=0.05)
    problem = replace(
        body(ball, [AIR], ahead_of(shape), cell_mm=1.0, face_mm=6.0, layers=[sheet]),
        boards=(board(shape, front, back),),
    )
    tallies = follow(problem, 80_000)
    exact = radiosity(20.0, 12.0, 0.85, 0.1, front, back)
    assert leaving(tallies).agrees(exact)
    without = radiosity(20.0, 1e-3, 0.85, 0.1, front, back)
    assert leaving(tallies).off(without) > 20
    assert abs(tallies.balance()).max() < 1e-9


def test_account_names_each_kind_of_board_once():
    block = shape_mesh(Slab(kind="slab", length_mm=40, width_mm=20, thickness_mm=20))
    shapes = [disc((x, 0, 8), across=8.0) for x in (-10, 0, 10)]
    boards = [board(shape, 0.5) for shape in shapes]
    boards[2] = replace(boards[2], name="other")
    bare = body(block, [FOAM], ahead_of(shapes[0]), cell_mm=2.0, face_mm=8.0)
    problem = replace(bare, boards=tuple(boards))
    assert region_names(problem) == ("test", "board disc", "board other")
    table = np.arange(7.0)
    assert len(with_boards(problem).media) == 7
    np.testing.assert_array_equal(folded(problem, table), [0, 1 + 2 + 3 + 4, 5 + 6])
    glow, tallies = solve_body(problem, goal=Goal(noise=None, photons=2_000))
    account = glow.account
    assert account.regions == region_names(problem)
    assert account.absorbed[0, 1, 1] > account.absorbed[0, 1, 2] > 0
    assert np.abs(account.error - tallies.roulette / tallies.photons[:, None]).max() < 1e-9
