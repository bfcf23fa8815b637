"""Light boards in the quick solver: hollows see them, rays stop at them, nothing is laid anew."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from glowsim.geometry.patterns import placed
from glowsim.geometry.shapes import shape_mesh
from glowsim.scene import Orb, Rod, Slab
from glowsim.transport import quick as quick_room
from glowsim.transport.problem import AIR, Layer
from glowsim.transport.quick import DRAFT, FULL, QuickBody, solve_body
from glowsim.transport.quick.multigrid import Multigrid
from glowsim.transport.quick.quality import FOLLOWING
from tests.support.boards import FOAM, RESIN, ahead_of, board, disc, radiosity
from tests.support.bodies import body, emitters, opaque

SHEET = Layer("sheet", np.full(3, 0.85), np.full(3, 0.1))


def let_out(problem, unaccounted: float = 1e-3) -> float:
    response = QuickBody(problem).respond(problem.emitters, problem.boards)
    out = (response.diffuse + response.direct).sum(axis=2)
    ended = out + response.absorbed.sum(axis=2) + response.in_coats
    assert np.abs(ended - 1).max() < unaccounted
    return float(out[0, 1])


@pytest.mark.parametrize(
    ("front", "back"), [(0.7, 0.7), pytest.param(0.9, 0.1, marks=pytest.mark.slow)]
)
def test_disc_in_a_diffuse_ball(front, back):
    """Integrating cavity with an obstacle: radiosity, derived in tests/support/boards.py."""
    ball = shape_mesh(Orb(kind="orb", diameter_mm=40))
    shape = disc((0, 0, 0), across=24.0, thick=0.05)
    bare = body(ball, [AIR], ahead_of(shape), cell_mm=1.0, face_mm=4.0, layers=[SHEET])
    exact = radiosity(20.0, 12.0, 0.85, 0.1, front, back)
    dark = let_out(replace(bare, boards=(board(shape, front, back),)))
    assert dark == pytest.approx(exact, rel=0.015)
    clear = radiosity(20.0, 1e-3, 0.85, 0.1, front, back)
    assert let_out(bare) == pytest.approx(clear, rel=0.01)
    assert clear > 1.3 * exact


@pytest.mark.slow
@pytest.mark.parametrize("where", ["material", "pocket", "both"])
def test_board_is_the_core_cut_of_it(where):
    """The same solid cut into the body beforehand; a thick one, which parts the grid by itself."""
    block = shape_mesh(Slab(kind="slab", length_mm=30, width_mm=26, thickness_mm=40))
    pocket = shape_mesh(Rod(kind="rod", length_mm=18, diameter_mm=20)).moved(
        placed((3, 0, 8), (0, 0, 0))
    )
    place = {"material": (-6, 1, 33), "pocket": (3, 0, 14), "both": (-1, 0, 14)}[where]
    shape = disc(place, (10, 5, 0), across=12.0, thick=4.5)
    region = 0 if where == "material" else 1
    lights = emitters([shape.frame[:3, :3] @ [4, 0, 0.05] + shape.frame[:3, 3]], region=region)
    sizes = {"cell_mm": 1.3, "face_mm": 2.0}
    bare = body(block, [RESIN, AIR], lights, inserts=[pocket], **sizes)
    cut = body(block, [RESIN, AIR, opaque(0.5)], lights, inserts=[pocket, shape.mesh()], **sizes)
    # Where a board lies across the wall of a hollow, its faces belong to one side or the other
    # as a whole, and what they cover of that wall still takes light out of the hollow.
    found = let_out(replace(bare, boards=(board(shape, 0.5),)), 5e-3 if where == "both" else 1e-3)
    assert found == pytest.approx(let_out(cut), rel=0.015)
    assert found < 0.97 * let_out(bare)


def test_moved_board_lays_nothing_anew(monkeypatch):
    block = shape_mesh(Slab(kind="slab", length_mm=30, width_mm=26, thickness_mm=40))
    shapes = [disc((0, 0, z), (0, tilt, 0)) for z, tilt in ((10, 0), (18, 20), (25, -15))]
    bare = body(block, [FOAM], ahead_of(shapes[0]), cell_mm=2.5, face_mm=6.0)
    ready = QuickBody(bare)
    for name in ("surfaces_of", "lattice_of"):
        monkeypatch.setattr(quick_room.solve, name, None)
    for shape in shapes:
        moved = replace(bare, emitters=ahead_of(shape), boards=(board(shape, 0.7),))
        glow = solve_body(moved, ready=ready)
        assert np.abs(glow.account.error).max() < 1e-6
        draft = ready.respond(moved.emitters, moved.boards, DRAFT).diffuse.sum(axis=2)
        share = (glow.diffuse * glow.surface.areas_mm2).sum(axis=2)
        np.testing.assert_allclose(draft, share, rtol=0.01)
    assert glow.account.regions == ("test", "board disc")
    assert glow.account.absorbed[0, 1, 1] > 0.05


def test_what_follows_an_answer_starts_from_its_field(monkeypatch):
    """Beside a board that moves, the light of one that stands still takes next to no step."""
    block = shape_mesh(Slab(kind="slab", length_mm=30, width_mm=26, thickness_mm=40))
    still = disc((0, 0, 8), across=12.0)
    bare = body(block, [FOAM], ahead_of(still), cell_mm=2.5, face_mm=6.0)
    ready, cycles = QuickBody(bare), []
    cycle = Multigrid.cycle
    monkeypatch.setattr(Multigrid, "cycle", lambda *given: cycles.append(1) or cycle(*given))

    def answered(z: float, quality):
        moved = disc((0, 0, z), (0, 10, 0), across=12.0)
        both = [ahead_of(still), ahead_of(moved)]
        parts = {
            name: np.concatenate([getattr(one, name) for one in both])
            for name in both[0].__dataclass_fields__
        }
        lamps = replace(both[0], **parts | {"light": np.array([0, 1])})
        before = len(cycles)
        out = ready.respond(lamps, (board(still, 0.7), board(moved, 0.7)), quality).diffuse
        return out, len(cycles) - before

    _, first = answered(24.0, FOLLOWING)
    after, steps = answered(26.0, FOLLOWING)
    assert steps < 0.75 * first
    anew, _ = answered(26.0, FULL)
    light, right = after.sum(axis=0), anew.sum(axis=0)
    area = ready.surfaces.skin.area
    bright = right / area > 0.01 * (right.sum(axis=1) / area.sum())[:, None]
    off = light[bright] / right[bright] - 1
    assert np.sqrt((off**2).mean()) < 0.01
    assert np.abs(off).max() < 0.05
