"""The heat of one body against closed forms."""

from dataclasses import replace

import numpy as np
import pytest
import trimesh
from numpy.testing import assert_allclose

from glowsim.electrics.heat import _of_the_body
from glowsim.electrics.heat_body import AIR, BOARD, Lead, Substance, _touch, laid_out
from glowsim.electrics.heat_field import BOARD_W_M2K, HOLLOW_W_M2K, HeatField
from glowsim.electrics.heat_forms import COPPER_W_MK
from glowsim.electrics.heat_warmup import warm_up
from glowsim.errors import SolveError
from glowsim.geometry.mesh import Mesh
from glowsim.geometry.patterns import placed
from glowsim.geometry.regions import ROOM
from glowsim.geometry.shapes import shape_mesh
from glowsim.scene import Orb, Rod, Slab
from glowsim.scene.heat import Heat
from tests.support.heat_forms import cylinder_k_w, slab_k_w, sphere_k_w

FOAM = Substance("foam", 0.03, 30 * 1400.0)
PLASTIC = Substance("plastic", 0.13, 1240 * 1800.0)


def orb(diameter_mm, at=(0, 0, 0)):
    return shape_mesh(Orb(kind="orb", diameter_mm=diameter_mm)).moved(placed(at, (0, 0, 0)))


def buried(cell_mm, substance=FOAM):
    """A core of 7.3 mm radius in a ball of 40 mm."""
    return laid_out(
        "ball", orb(80), [], [orb(14.6)], substance=substance, cell_mm=cell_mm, skin_w_m2k=8
    )


def only_film_on(body, faces):
    """Close all of a body's skin but some wall faces, (m,) bool."""
    return replace(body, skin_w_m2k=np.where(faces, body.skin_w_m2k, 0.0))


@pytest.fixture(scope="module")
def ball():
    return HeatField(buried(2.5))


def test_ball_against_the_closed_form(ball):
    exact = sphere_k_w(core_radius_mm=7.3, skin_radius_mm=40, conductivity_w_mk=0.03, skin_w_m2k=8)
    # 1 %: three cells per core radius; 0.05 % at 1.8 mm.
    assert ball.board_k(ball.rise_k_w)[0, 0] == pytest.approx(exact, rel=0.01)
    skin = 1 / (4 * np.pi * 8 * 0.04**2)
    assert ball.skin_k(ball.rise_k_w)[0] == pytest.approx(skin, rel=0.04)  # the warmest face


def test_finer_cells_come_nearer():
    exact = sphere_k_w(core_radius_mm=7.3, skin_radius_mm=40, conductivity_w_mk=0.03, skin_w_m2k=8)
    coarse, fine = (
        abs(field.board_k(field.rise_k_w)[0, 0] - exact)
        for field in (HeatField(buried(4.0)), HeatField(buried(2.0)))
    )
    assert fine < coarse / 4


def test_heat_in_is_heat_out(ball):
    assert ball.shed_w(ball.rise_k_w) == pytest.approx(1.0, abs=1e-6)


def test_hollow_shell_against_the_closed_form():
    """Board to air, air to wall, through the wall, wall to room: four resistances in a row."""
    body = laid_out(
        "lantern",
        orb(120),
        [(orb(110), AIR)],
        [orb(20)],
        substance=PLASTIC,
        cell_mm=2.5,
        skin_w_m2k=8,
    )
    field = HeatField(body)

    def film(h, radius_m):
        return 1 / (h * 4 * np.pi * radius_m**2)

    wall = (1 / 0.055 - 1 / 0.060) / (4 * np.pi * 0.13)
    air = film(HOLLOW_W_M2K, 0.055) + wall + film(8, 0.060)
    exact = film(BOARD_W_M2K, 0.010) + air
    assert field.rise_k_w[-1, 0] == pytest.approx(air, rel=2e-3)  # flat faces of the balls
    assert field.board_k(field.rise_k_w)[0, 0] == pytest.approx(exact, rel=2e-3)
    assert field.shed_w(field.rise_k_w) == pytest.approx(1.0, abs=1e-6)


def test_lantern_of_sheet_against_the_closed_form():
    """Two boards in one air: the film of each, then both films of the sheet, which shows what is
    lost over the outer one."""
    outer, boards = orb(120), [orb(20, (-20, 0, 0)), orb(16, (20, 0, 0))]
    body = laid_out(
        *("lantern", outer, [], boards),
        substance=AIR, cell_mm=4, skin_w_m2k=6, openings_w_m2k=6,
    )  # fmt: skip
    field = HeatField(body)

    def film(h, mesh):
        return 1e6 / (h * float(mesh.areas_mm2.sum()))

    sheet = film(6, outer)
    air = film(HOLLOW_W_M2K, outer) + sheet
    own = np.diag([film(BOARD_W_M2K, board) for board in boards])
    assert_allclose(field.rise_k_w[-1], air, rtol=1e-6)
    assert_allclose(field.board_k(field.rise_k_w), air + own, rtol=1e-6)
    assert_allclose(field.skin_k(field.rise_k_w), sheet, rtol=1e-6)


def test_slab_against_the_closed_form():
    block = Slab(kind="slab", length_mm=60, width_mm=40, thickness_mm=12)
    board = Slab(kind="slab", length_mm=60, width_mm=40, thickness_mm=2)
    body = laid_out(
        "slab",
        shape_mesh(block),
        [],
        [shape_mesh(board)],
        substance=PLASTIC,
        cell_mm=2.3,
        skin_w_m2k=8,
    )
    walls = body.regions.walls
    top = (body.regions.outside == ROOM) & (walls.normals[:, 2] > 0.9)
    field = HeatField(only_film_on(body, top))
    exact = slab_k_w(thickness_mm=10, area_mm2=2400, conductivity_w_mk=0.13, skin_w_m2k=8)
    # What the contact film adds: one fiftieth of a cell.
    exact += 2.3e-3 / 50 / 0.13 / 2400e-6
    # The sides are measured by four lines per cell; a linear field itself is held exactly.
    assert field.board_k(field.rise_k_w)[0, 0] == pytest.approx(exact, rel=2e-3)


def test_cylinder_against_the_closed_form():
    outer = shape_mesh(Rod(kind="rod", length_mm=60, diameter_mm=50))
    core = shape_mesh(Rod(kind="rod", length_mm=60, diameter_mm=20))
    body = laid_out("rod", outer, [], [core], substance=FOAM, cell_mm=2.5, skin_w_m2k=8)
    side = (body.regions.outside == ROOM) & (np.abs(body.regions.walls.normals[:, 2]) < 0.5)
    field = HeatField(only_film_on(body, side))
    exact = cylinder_k_w(
        core_radius_mm=10, skin_radius_mm=25, length_mm=60, conductivity_w_mk=0.03, skin_w_m2k=8
    )
    assert field.board_k(field.rise_k_w)[0, 0] == pytest.approx(exact, rel=0.01)


def test_two_boards_warm_each_other_alike():
    """Reciprocity: a watt here warms there as much as a watt there warms here. What they lie in is
    held to the warmer of them."""
    boards = [orb(12, (-12, 0, 0)), orb(18, (14, 5, 3))]
    substance = replace(PLASTIC, service_c=60.0)
    body = laid_out("ball", orb(80), [], boards, substance=substance, cell_mm=3, skin_w_m2k=8)
    field = HeatField(body)
    rise = field.board_k(field.rise_k_w)
    assert rise[0, 1] == pytest.approx(rise[1, 0], rel=1e-6)
    assert rise[0, 1] < min(rise[0, 0], rise[1, 1])
    heat = Heat(contact="none")
    (limit,) = _of_the_body(heat, body, field, field.rise_k_w @ [[1.0], [0.1]], 0.0)
    assert limit.found_c - heat.room_c == pytest.approx((rise @ [1.0, 0.1]).max())


def test_what_a_lead_carries_away():
    """With the skin closed all heat leaves along the wires, through their resistance L / k A and
    what their free ends give off; the foam beside them helps a little."""
    outer = shape_mesh(Rod(kind="rod", length_mm=60, diameter_mm=30))
    board = shape_mesh(Rod(kind="rod", length_mm=4, diameter_mm=20)).moved(
        placed((0, 0, 50), (0, 0, 0))
    )
    lead = Lead(np.array([0, 0, 49.98]), np.array([0, 0, 0.01]), 1.2, 0.02)
    body = laid_out(
        "rod", outer, [], [board], substance=FOAM, cell_mm=2, skin_w_m2k=8, leads=[lead]
    )
    shut = only_film_on(body, np.zeros(len(body.skin_w_m2k), dtype=bool))
    field = HeatField(shut)
    along = 0.050 / (COPPER_W_MK * 1.2e-6)
    rise = field.board_k(field.rise_k_w)[0, 0]
    assert along + 50 > rise > 0.97 * (along + 50)
    assert field.shed_w(field.rise_k_w) == pytest.approx(1.0, abs=1e-6)
    with pytest.raises(SolveError, match="no way out"):
        HeatField(replace(shut, leads=(None,)))


def test_leads_cool_a_buried_board():
    lead = Lead(np.array([0, 0, -7.4]), np.array([0, 0, -39.99]), 1.2, 0.02)
    cooled = HeatField(replace(buried(4.0), leads=(lead,)))
    plain = HeatField(buried(4.0))
    assert cooled.board_k(cooled.rise_k_w)[0, 0] < 0.6 * plain.board_k(plain.rise_k_w)[0, 0]


def test_warming_up_as_one_lump():
    """A body that conducts well follows 1 - exp(-t h A / C)."""
    metal = Substance("metal", 200.0, 2.4e6)
    field = HeatField(buried(4.0, metal))
    capacity = 2.4e6 * 4 / 3 * np.pi * (0.040**3 - 0.0073**3)
    capacity += BOARD.capacity_j_m3k * 4 / 3 * np.pi * 0.0073**3
    tau = capacity / (8 * 4 * np.pi * 0.04**2)
    warm = warm_up(field, np.ones(1))
    assert warm.seconds_to(0.9, 0) == pytest.approx(np.log(10) * tau, rel=0.01)
    assert warm.rise_k(1e9) == pytest.approx(field.board_k(field.rise_k_w)[0], rel=1e-6)


def test_warming_up_of_a_ball_of_foam(ball):
    """Against a ball cut into 200 thin shells, solved mode by mode."""
    edge = np.linspace(0.0073, 0.040, 201)
    middle, volume = (edge[1:] + edge[:-1]) / 2, 4 / 3 * np.pi * np.diff(edge**3)

    def passes(inner, outer):
        return 4 * np.pi * 0.03 / (1 / inner - 1 / outer)

    links = [passes(edge[0], middle[0]), *passes(middle[:-1], middle[1:])]
    last = 1 / (1 / passes(middle[-1], edge[-1]) + 1 / (8 * 4 * np.pi * 0.04**2))
    diagonal = np.array([0.0, *links]) + np.array([*links, last])
    matrix = np.diag(diagonal) - np.diag(links, 1) - np.diag(links, -1)
    core = BOARD.capacity_j_m3k * 4 / 3 * np.pi * 0.0073**3
    root = np.sqrt(np.array([core, *(30 * 1400.0 * volume)]))
    rate, mode = np.linalg.eigh(matrix / root / root[:, None])
    share = mode[0] ** 2 / core / rate
    warm = warm_up(ball, np.ones(1))
    final = warm.share_k[0].sum()
    for seconds in (60.0, 300.0, 900.0, 3600.0):
        exact = (share * -np.expm1(-rate * seconds)).sum() / share.sum()
        assert warm.rise_k(seconds)[0] / final == pytest.approx(exact, rel=0.01)


def test_hollows_that_touch_are_one():
    boards = [orb(6, (0, 0, 0))]
    apart = [(orb(20, (0, 0, 12)), AIR), (orb(16, (0, 0, -14)), AIR)]
    body = laid_out("ball", orb(80), apart, boards, substance=FOAM, cell_mm=3, skin_w_m2k=8)
    assert_allclose(body.lump, [-1, 1, 2, 0])
    joined = [(orb(20, (0, 0, 8)), AIR), (orb(16, (0, 0, -6)), AIR)]
    body = laid_out("ball", orb(80), joined, boards, substance=FOAM, cell_mm=3, skin_w_m2k=8)
    assert_allclose(body.lump, [-1, 1, 1, 0])


@pytest.mark.parametrize(("gap_mm", "touch"), [(0.0, True), (0.0005, True), (0.01, False)])
def test_hollows_a_hair_apart_are_one(gap_mm, touch):
    box = trimesh.creation.box((10, 10, 10))
    one, other = (
        Mesh.single_part(box.vertices + np.array([x, 0, 0]), box.faces)
        for x in (0.0, 10.0 + gap_mm)
    )
    assert _touch(one, other) is _touch(other, one) is touch
