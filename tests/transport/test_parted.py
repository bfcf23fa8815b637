"""Light boards cut out of a body that is ready: as if they had been cut out beforehand."""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
import trimesh
from numpy.testing import assert_allclose
from scipy import sparse

from glowsim.geometry.body import region_of
from glowsim.transport.problem import AIR, BodyProblem, OpaqueBoard
from glowsim.transport.quick import FULL, QuickBody
from glowsim.transport.quick.boardlines import BoardLines
from glowsim.transport.quick.multigrid import product, solve
from glowsim.transport.quick.parted import Parted
from glowsim.transport.quick.sides import clusters
from tests.support.bodies import body, emitters, medium, opaque
from tests.support.meshes import block, mesh_of
from tests.support.parted import Answer, Prepared, answer, disc, prepare
from tests.support.solvers import reference

FOAM = medium(0.0022, 0.4)
LIGHTS = emitters([[0, 0, 60]])


def spike(cell_mm: float, board: OpaqueBoard | None = None) -> BodyProblem:
    """Return a spike of foam, with a board cut out of it beforehand if there is one."""
    cone = mesh_of(trimesh.creation.cone(radius=20, height=120, sections=64))
    core = () if board is None else (board.shape.mesh(),)
    media = [FOAM] if board is None else [FOAM, opaque(float(board.front[1]))]
    return body(cone, media, LIGHTS, inserts=core, cell_mm=cell_mm, face_mm=3.0)


def rod(cell_mm: float = 1.3) -> BodyProblem:
    tube = mesh_of(trimesh.creation.cylinder(radius=8, height=40, sections=48))
    return body(tube, [medium(0.01, 1.0, n=1.4)], LIGHTS, cell_mm=cell_mm, face_mm=3.0)


def brick() -> BodyProblem:
    """Return a block of cloudy resin with a clearer insert and a pocket of air side by side."""
    media = [medium(0.005, 0.8, n=1.4), medium(0.02, 0.5, n=1.5), AIR]
    inserts = [mesh_of(block((8, 8, 8), (6, 0, 0))), mesh_of(block((6, 6, 6), (-6, 0, 0)))]
    whole = mesh_of(block((30, 24, 24)))
    lights = emitters([[0, 0, 8]])
    return body(whole, media, lights, inserts=inserts, cell_mm=1.9, face_mm=4.0)


@cache
def ready(name: str) -> Prepared:
    made = {
        "spike": lambda: spike(2.5),
        "spike 1.6": lambda: spike(1.6),
        "rod": rod,
        "brick": brick,
    }
    return prepare(made[name]())


def cloud(*at: float, size: float = 0.8) -> np.ndarray:
    """Return points on a small ball, where light starts."""
    ways = np.random.default_rng(1).normal(size=(300, 3))
    return np.array(at) + size * ways / np.linalg.norm(ways, axis=1, keepdims=True)


def leaving(problem: BodyProblem, out: np.ndarray, low: float, high: float) -> float:
    """Return what leaves by the skin between two heights."""
    z = problem.walls.centroids[problem.skin, 2]
    return float(out[problem.skin][(z >= low) & (z < high)].sum())


SETS: dict[str, tuple[str, list[OpaqueBoard], tuple[float, float, float]]] = {
    "disc": ("spike", [disc((0.3, 0, 14))], (0, 0, 24)),
    "paper thin": ("spike", [disc((0.3, 0, 14), thickness=0.02)], (0, 0, 24)),
    "tilted ring": ("spike", [disc((2, 1, 20), (0.5, 0.3, 1), bore=9)], (0, 0, 30)),
    "upright strip": ("spike", [disc((3, 0, 30), (1, 0, 0), size=(40, 5))], (9, 0, 30)),
    "sticks out": ("spike", [disc((15, 0, 14), (0.2, 0, 1))], (0, 0, 24)),
    "back to back": (
        "spike",
        [disc((0, 0, 14), thickness=0.5), disc((0, 0, 13.5), (0, 0, -1), thickness=0.5)],
        (0, 0, 22),
    ),
    "crossing": (
        "spike",
        [disc((0, 0, 30), (0, 0.1, 1), diameter=14), disc((2, 0, 30), (1, 0, 0), diameter=12)],
        (-4, 0, 35),
    ),
    "through regions": ("brick", [disc((0, 0, 1), (0.1, 0, 1), thickness=0.7)], (0, 0, 7)),
    "mirror": ("spike", [disc((0, 0, 14), front=1.0, back=1.0)], (0, 0, 24)),
    "black": ("spike", [disc((0, 0, 14), front=0.0, back=0.0)], (0, 0, 24)),
}


@pytest.mark.parametrize("name", SETS)
def test_all_light_is_accounted_for(name):
    where, boards, at = SETS[name]
    found = answer(ready(where), boards, cloud(*at))
    assert found.out.sum() + found.boards.sum() + found.absorbed == pytest.approx(1, abs=1e-6)
    assert found.mean.min() > -1e-3 * found.mean.max()
    assert (found.boards > -1e-9).all()


@pytest.mark.parametrize("name", SETS)
def test_matrix_is_symmetric_and_positive(name):
    where, boards, _ = SETS[name]
    here = ready(where)
    parted = Parted.of(here.ground, boards)
    assert parted is not None
    matrix = parted.matrix(here.cloud.bands[0])
    change = matrix.change
    assert abs(change - change.T).max() <= 1e-9 * matrix.diagonal().max()
    assert matrix.diagonal().min() > 0
    fields = np.random.default_rng(2).normal(size=(parted.size, 3))
    assert (np.einsum("nk,nk->k", fields, matrix @ fields) > 0).all()


def test_thick_board_equals_one_cut_out_beforehand():
    board = disc((0.4, -0.3, 20), (0.1, 0.2, 1), diameter=15, thickness=4.5, front=0.4, back=0.4)
    points = cloud(0, 0, 30)
    found = answer(ready("spike 1.6"), [board], points).out
    problem = spike(1.6, board)
    flux = cut_before(problem, points)
    for low, high in ((1, 8), (8, 15), (20, 30), (30, 50), (50, 90)):
        wanted = leaving(problem, flux, low, high)
        assert leaving(ready("spike 1.6").problem, found, low, high) == pytest.approx(
            wanted, rel=0.005
        )
    whole = flux[problem.skin].sum()
    assert found.sum() == pytest.approx(whole, rel=0.001)


@pytest.mark.parametrize("facing", [(0, 0, 1), (0.2, -0.1, 1)])
@pytest.mark.parametrize("thickness", [0.05, 1.0, 3.0])
def test_board_across_a_rod_lets_nothing_by(facing, thickness):
    board = disc((0, 0, -3), facing, diameter=26, thickness=thickness)
    found = answer(ready("rod"), [board], cloud(0, 0, 6))
    # Through the coarse levels of the solve something leaks, as much as it leaves unsolved.
    assert abs(leaving(ready("rod").problem, found.out, -19, -8)) < 1e-11
    assert leaving(ready("rod").problem, found.out, 1, 19) > 0.1


def test_white_board_takes_nothing_black_one_the_most():
    taken = [
        answer(ready("spike"), [disc((0, 0, 14), front=r, back=r)], cloud(0, 0, 20)).boards[0]
        for r in (1.0, 0.9, 0.5, 0.0)
    ]
    assert abs(taken[0]) < 1e-6
    assert (np.diff(taken) > 0.02).all()


def test_front_and_back_have_their_own_reflectance():
    def parts(front: float, back: float) -> float:
        board = disc((0, 0, 20), front=front, back=back)
        return float(answer(ready("spike"), [board], cloud(0, 0, 26)).boards[0])

    assert parts(1.0, 0.1) < 0.3 * parts(0.1, 1.0)


@pytest.mark.parametrize("way", [(0, 0, 1), (1, 0, 0), (0.4, 0.2, 0.3)])
@pytest.mark.parametrize("thickness", [0.3, 1.6])
def test_light_varies_smoothly_as_a_board_slides_through_a_cell(way, thickness):
    steps = np.linspace(0, 2.5, 11)
    total = []
    for step in steps:
        place = np.array([0, 0, 16.0]) + step * np.array(way)
        board = disc(place, (0.05, 0, 1), diameter=18, thickness=thickness)
        total.append(answer(ready("spike"), [board], cloud(0, 0, 26)).out.sum())
    line = np.polyval(np.polyfit(steps, total, 2), steps)
    assert np.abs(np.array(total) / line - 1).max() < 0.01


def test_threads_get_the_same_answer_bit_for_bit():
    sets = [SETS[name] for name in ("disc", "tilted ring", "back to back", "upright strip")]

    def run(one: tuple[str, list[OpaqueBoard], tuple[float, float, float]]) -> Answer:
        return answer(ready("spike"), one[1], cloud(*one[2]))

    alone = [run(one) for one in sets]
    with ThreadPoolExecutor(4) as pool:
        together = list(pool.map(run, sets))
    for one, other in zip(alone, together, strict=True):
        assert np.array_equal(one.mean, other.mean)
        assert np.array_equal(one.boards, other.boards)


def test_points_take_the_nodes_of_their_own_side():
    here = ready("spike")
    parted = Parted.of(here.ground, [disc((0, 0, 14), thickness=0.4)])
    assert parted is not None
    spots = np.random.default_rng(3).uniform(-4, 4, (200, 2))
    ahead, behind = (np.column_stack([spots, np.full(200, z)]) for z in (14.01, 13.59))
    nodes = [set(parted.locate(points)[0].ravel().tolist()) for points in (ahead, behind)]
    assert not nodes[0] & nodes[1]
    far = np.column_stack([spots, np.full(200, 40.0)])
    old, new = here.ground.elements.locate(far), parted.locate(far)
    assert np.array_equal(old[0], new[0])
    assert np.array_equal(old[1], new[1])
    field = np.random.default_rng(4).normal(size=parted.size)
    node, local = parted.locate(ahead)
    value = np.array(
        [np.prod(np.where(c, t, 1 - t)) for t in local[:1] for c in np.ndindex(2, 2, 2)]
    )
    assert (parted.sampler(ahead) @ field)[0] == pytest.approx(field[node[0]] @ value)


def test_boards_that_touch_no_material_change_nothing():
    here = ready("brick")
    assert Parted.of(here.ground, []) is None
    assert Parted.of(here.ground, [disc((0, 0, 40))]) is None
    assert Parted.of(here.ground, [disc((-6, 0, 0), diameter=3, thickness=0.5)]) is None


@pytest.mark.parametrize("name", ["disc", "paper thin", "tilted ring", "back to back"])
def test_old_coarse_levels_still_serve(name):
    here = ready("spike")
    parted = Parted.of(here.ground, SETS[name][1])
    assert parted is not None
    matrix = parted.matrix(here.cloud.bands[1])
    nodes, _ = parted.locate(cloud(*SETS[name][2]))
    load = np.bincount(nodes.ravel(), minlength=parted.size)[:, None] / nodes.size
    base, multigrid = here.cloud.bands[1].matrix, here.cloud.multigrids[1]
    steps = []
    for apply, cycle, source in (
        (base.__matmul__, multigrid.cycle, load[: base.shape[0]]),
        (matrix.__matmul__, matrix.preconditioner(multigrid, parted.origin).cycle, load),
    ):
        calls: list[int] = []

        def counted(field: np.ndarray, apply=apply, calls=calls) -> np.ndarray:
            calls.append(1)
            return np.asarray(apply(field))

        solve(counted, cycle, source, tolerance=1e-6)
        steps.append(len(calls))
    assert steps[1] <= steps[0] + 4


def test_clusters_of_parts():
    digits = np.array([[1, 0], [-1, 0], [0, 0], [1, -1], [-1, -1]])

    def of(member: Sequence[int], own: int) -> list[int]:
        return clusters(np.array([member], dtype=bool), np.array([own]), digits)[0].tolist()

    # Ahead and behind: two clusters, unless a part that is not cut joins them.
    assert of([1, 1, 0, 0, 0], 0) == [0, 1, -1, -1, -1]
    assert of([1, 1, 0, 0, 0], 1) == [1, 0, -1, -1, -1]
    assert of([1, 1, 1, 0, 0], 0) == [0, 0, 0, -1, -1]
    # A second board that only the part behind it knows of does not keep it from its own side.
    assert of([1, 0, 0, 1, 1], 0) == [0, -1, -1, 0, 1]
    # Nothing left on the node's own side: the first cluster takes the old node.
    assert of([0, 1, 0, 0, 0], 0) == [-1, 0, -1, -1, -1]


def scattered_first(height: float) -> tuple[np.ndarray, float]:
    """Return where light of a matt lamp that faces up scatters first, and what share does."""
    draw = np.random.default_rng(6).random((3, 20_000))
    sine, turn = np.sqrt(draw[0]), 2 * np.pi * draw[1]
    ways = np.stack([sine * np.cos(turn), sine * np.sin(turn), np.sqrt(1 - draw[0])], axis=1)
    mu_a, mu_s = float(FOAM.mu_a_per_mm[1]), float(FOAM.mu_s_reduced_per_mm[1])
    points = np.array([0, 0, height]) - ways * np.log(draw[2])[:, None] / (mu_a + mu_s)
    inside = np.linalg.norm(points[:, :2], axis=1) < 20 * (1 - points[:, 2] / 120) - 0.01
    return points[inside], float(inside.mean()) * mu_s / (mu_a + mu_s)


def through_side(problem: BodyProblem, low: float, high: float) -> np.ndarray:
    """Return which faces of the skin lie on the side of the spike, between two heights."""
    z = problem.walls.centroids[problem.skin, 2]
    side = np.abs(problem.walls.normals[problem.skin, 2]) < 0.9
    return np.asarray(side & (z >= low) & (z < high))


@pytest.mark.slow
@pytest.mark.parametrize("thickness", [0.3, 1.6])
@pytest.mark.parametrize(("height", "behind"), [(14.0, 1.12), (34.0, 1.6)])
def test_buried_board_agrees_with_the_reference(height, behind, thickness):
    """Through the 2.8 mm beside the upper disc, about one transport length, diffusion theory lets
    a third to a half too much by; a core thinner than a cell with nodes on both sides shared
    made it seven times as much.
    """
    board = disc((0, 0, height), thickness=thickness)
    problem = replace(spike(1.6, board), emitters=emitters([[0, 0, height + 0.05]]))
    true = reference(problem, 400_000, jumps=True)
    points, share = scattered_first(height + 0.05)
    here = ready("spike 1.6")
    found = share * answer(here, [board], points).out[here.problem.skin]
    for low, high in ((height + 4, height + 16), (height + 16, height + 36)):
        wanted = true.leaves(through_side(problem, low, high)).mean
        mine = found[through_side(here.problem, low, high)].sum()
        assert mine == pytest.approx(wanted, rel=0.05)
    wanted = true.leaves(through_side(problem, 1, height - 4)).mean
    assert 0.9 < found[through_side(here.problem, 1, height - 4)].sum() / wanted < behind


@pytest.mark.slow
@pytest.mark.parametrize(("cell_mm", "close"), [(1.0, 0.05), (1.6, 0.1), (2.5, 0.3)])
def test_buried_board_in_coarse_cells_agrees_with_one_cut_out_in_fine_cells(cell_mm, close):
    """The gap beside the disc is 2.8 mm: one cell of 2.5 mm is too coarse for it, though not for
    what lies ahead.
    """
    board, points = UPPER
    wanted, other = finest()
    here = prepare(spike(cell_mm))
    found = answer(here, [board], points).out[here.problem.skin]
    for low, high, near in ((1, 30, close), (38, 50, 0.05), (50, 70, 0.05)):
        true = wanted[through_side(other, low, high)].sum()
        assert found[through_side(here.problem, low, high)].sum() == pytest.approx(true, rel=near)


UPPER = (disc((0, 0, 34)), cloud(0, 0, 36.5))


@cache
def finest() -> tuple[np.ndarray, BodyProblem]:
    """Return what leaves a spike of fine cells with the upper board cut out beforehand."""
    board, points = UPPER
    problem = spike(0.75, board)
    return cut_before(problem, points)[problem.skin], problem


def cut_before(problem: BodyProblem, points: np.ndarray) -> np.ndarray:
    """Return the flux through the walls of a body, from light put in at points."""
    cut = QuickBody(problem)
    assert cut.lattice is not None
    load = cut.lattice.ground.elements.sampler(points).T @ np.full(
        (len(points), 1), 1 / len(points)
    )
    field = cut.bare.solved(np.asarray(load), 1, FULL)[:, 0]
    mean = cut.lattice.face_mean @ field
    return np.asarray(cut.bare.walls.field_b[:, 1] * mean * problem.walls.areas_mm2)


@pytest.mark.parametrize("seed", range(6))
def test_any_boards_keep_the_account(seed):
    draw = np.random.default_rng(seed)
    here = ready(("spike", "brick", "rod")[seed % 3])
    low, high = here.problem.walls.bounds
    boards = []
    for _ in range(4):
        size = (float(draw.uniform(1, 30)), float(draw.uniform(0.5, 12)))
        boards.append(
            disc(
                low + draw.random(3) * (high - low),
                draw.normal(size=3),
                diameter=size[0],
                bore=float(draw.choice([0, 0.6])) * size[0],
                size=size if draw.random() < 0.4 else None,
                thickness=float(draw.choice([0.02, 0.3, 1.6, 6.0])),
                front=float(draw.choice([0.0, 0.5, 1.0])),
                back=float(draw.choice([0.0, 0.9])),
            )
        )
    again = boards[0].shape
    way = again.frame[:3, 2]
    boards.append(disc(again.frame[:3, 3], -way, diameter=10, thickness=0.3))
    points = low + draw.random((400, 3)) * (high - low)
    points = points[np.isin(region_of(points, here.problem.solids), list(here.ground.solids))]
    for board in boards:
        points = points[~BoardLines(board.shape).holds(board.shape.local(points))]
    found = answer(here, boards, points)
    assert found.out.sum() + found.boards.sum() + found.absorbed == pytest.approx(1, abs=1e-6)
    assert found.mean.min() > -0.06 * found.mean.max()


@pytest.mark.parametrize("columns", [1, 2, 3, 4])
def test_products_do_not_hang_on_the_number_of_columns(columns):
    rng = np.random.default_rng(columns)
    matrix = sparse.random(50, 40, 0.2, format="csr", random_state=1)
    field = rng.random((40, columns))
    assert_allclose(product(matrix, field), matrix.toarray() @ field, rtol=1e-12)
