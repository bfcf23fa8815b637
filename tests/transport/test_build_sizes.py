"""How fine bodies are cut: enough for their detail, never beyond the budget."""

import numpy as np
import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from glowsim.geometry.regions import ROOM
from glowsim.geometry.shapes import shape_mesh
from glowsim.geometry.voxels import Grid, solid_filling
from glowsim.scene import Orb, parse_scene
from glowsim.transport.build import build_problem
from glowsim.transport.problem import Kind
from glowsim.transport.sizes import MOST_CELLS, MOST_FACES, SPOT_CELL, cell_size_mm
from tests.support.bodies import medium
from tests.support.faults import fault_of
from tests.support.scenes import shapes

LED = '[[bodies.lights]]\nboard = "rgb_5050_18ma"\nposition_mm = {at}\n'


def body_of(shape, at, material="upholstery_foam_white", extra=""):
    text = f'[[bodies]]\nname = "b"\nmaterial = "{material}"\nshape = {{ {shape} }}\n{extra}\n'
    (body,) = build_problem(parse_scene(text + LED.format(at=at))).bodies
    return body


def cells_of(body):
    solids = [
        solid
        for solid, medium in zip(body.solids, body.media, strict=True)
        if medium.kind == Kind.SCATTERS
    ]
    return sum(len(solid_filling(s, Grid.around(s.bounds, body.cell_mm)).cells) for s in solids)


EXTREMES = {
    "a bead": ('kind = "orb", diameter_mm = 5', [0, 0, 0], None),
    "a hollow bead": ('kind = "orb", diameter_mm = 5', [0, 0, 0], 0.5),
    "a globe": ('kind = "orb", diameter_mm = 1500', [0, 0, 0], None),
    "a thin globe": ('kind = "orb", diameter_mm = 1500', [0, 0, 0], 2),
    "a lamp shade": ('kind = "orb", diameter_mm = 150', [0, 0, 0], 1),
    "a staff": ('kind = "rod", length_mm = 1500, diameter_mm = 30', [0, 0, 9], None),
    "a pipe": ('kind = "rod", length_mm = 1500, diameter_mm = 30', [0, 0, 100], 1),
    "a disc": ('kind = "rod", length_mm = 6, diameter_mm = 600', [0, 0, 3], None),
    "a panel": (
        'kind = "slab", length_mm = 1500, width_mm = 600, thickness_mm = 60',
        [0, 0, 30],
        2,
    ),
    "a sheet": (
        'kind = "slab", length_mm = 600, width_mm = 600, thickness_mm = 2',
        [0, 0, 1],
        None,
    ),
    "a blade": (
        'kind = "blade", length_mm = 900, width_mm = 60, thickness_mm = 2',
        [0, 0, 100],
        None,
    ),
    "a long thorn": (
        'kind = "spike", length_mm = 1500, base_diameter_mm = 60',
        [0, 0, 12],
        None,
    ),
    "a hollow thorn": ('kind = "spike", length_mm = 120, base_diameter_mm = 40', [0, 0, 30], 1),
    "a hoop": ('kind = "ring", diameter_mm = 600, section_diameter_mm = 20', [300, 0, 0], 1),
    "a lid": ('kind = "dome", diameter_mm = 600, height_mm = 50', [0, 0, 10], 1),
    "an LED close to the surface": ('kind = "orb", diameter_mm = 300', [0, 0, 149.5], None),
}


QUICK = ("a hollow bead", "a staff", "a blade")
"""Those that are counted in a second or less."""


@pytest.mark.parametrize(
    ("shape", "at", "wall_mm"),
    [
        pytest.param(*values, id=name, marks=() if name in QUICK else pytest.mark.slow)
        for name, values in EXTREMES.items()
    ],
)
def test_budgets_hold_for_extreme_bodies(shape, at, wall_mm):
    extra = f"wall_mm = {wall_mm}" if wall_mm else ""
    body = body_of(shape, at, "pla_white" if wall_mm else "eva_foam_black", extra)
    assert (body.outside == ROOM).sum() <= 1.05 * MOST_FACES
    assert len(body.walls.faces) <= 2.1 * MOST_FACES
    assert cells_of(body) <= 1.1 * MOST_CELLS
    assert cells_of(body) > 10_000


def test_a_deep_led_asks_for_less_than_a_shallow_one():
    deep = body_of('kind = "orb", diameter_mm = 100', [0, 0, 0])
    shallow = body_of('kind = "orb", diameter_mm = 100', [0, 0, 45])
    assert len(shallow.walls.faces) > len(deep.walls.faces)
    assert shallow.cell_mm < deep.cell_mm


def test_two_cells_lie_across_a_wall_where_the_budget_allows():
    body = body_of('kind = "orb", diameter_mm = 60', [0, 0, 0], "pla_white", "wall_mm = 3")
    assert body.cell_mm <= 1.5


def test_what_the_scene_asks_for_is_done():
    body = body_of(
        'kind = "slab", length_mm = 40, width_mm = 40, thickness_mm = 40',
        [0, 0, 20],
        extra="detail_mm = 4\ncell_mm = 2.5",
    )
    assert body.cell_mm == 2.5
    edges = np.linalg.norm(body.walls.triangles - np.roll(body.walls.triangles, 1, axis=1), axis=2)
    assert np.median(edges) <= 4
    # Ten by ten squares of two faces on each side, and up to half as many more: diagonals count.
    assert 1200 <= len(body.walls.faces) <= 1800


def test_dark_material_gets_finer_cells():
    white = body_of('kind = "orb", diameter_mm = 60', [0, 0, 0], "eva_foam_white")
    black = body_of('kind = "orb", diameter_mm = 60', [0, 0, 0], "eva_foam_black")
    assert black.cell_mm < white.cell_mm


MATERIALS = ["upholstery_foam_white", "pla_white", "epoxy_clear", "copy_paper"]


@st.composite
def _scenes(draw):
    """Draw a body with inserts, masks and lights anywhere; most of it need not fit."""

    def toml(table):
        parts = (f'{k} = "{v}"' if isinstance(v, str) else f"{k} = {v}" for k, v in table.items())
        return "{ " + ", ".join(parts) + " }"

    def point(reach):
        return [round(draw(st.floats(-reach, reach)), 2) for _ in range(3)]

    material = draw(st.sampled_from(MATERIALS))
    text = f'[[bodies]]\nname = "b"\nmaterial = "{material}"\nshape = {toml(draw(shapes()))}\n'
    if material != "copy_paper" and draw(st.booleans()):
        text += f"wall_mm = {draw(st.floats(0.3, 8)):.2f}\n"
    for _ in range(draw(st.integers(0, 2))):
        kind = draw(st.sampled_from(["pocket", "core", "sleeve"]))
        name = {"pocket": "", "core": 'coat = "wood_dowel"', "sleeve": 'material = "hot_glue"'}
        text += (
            f'[[bodies.inserts]]\nkind = "{kind}"\n{name[kind]}\nshape = {toml(draw(shapes()))}\n'
            f"position_mm = {point(10)}\nrotation_deg = {point(180)}\n"
        )
    if draw(st.booleans()):
        text += '[[bodies.masks]]\ncoat = "black_paint"\nwhere = { facing = [0, 0, -1] }\n'
    if draw(st.booleans()):
        text += LED.format(at=[0, 0, round(draw(st.floats(0.3, 20)), 2)])
    return text


def check_whole(text):
    """Build, and check what must hold for any body."""
    body = build_problem(parse_scene(text)).bodies[0]
    volume = sum(solid.volume_mm3 for solid in body.solids if solid is not None)
    assert_allclose(volume, body.outer.volume_mm3, rtol=1e-5)
    assert (body.outside == ROOM).sum() <= 2.5 * MOST_FACES  # inserts cut faces into slivers
    assert np.isfinite(body.walls.vertices).all()
    assert ((body.whiteness >= 0) & (body.whiteness <= 1)).all()
    assert not body.glows[body.outside != ROOM].any()
    assert_allclose(
        np.bincount(body.emitters.light, body.emitters.share, body.emitters.light_count), 1
    )
    for region, solid in enumerate(body.solids):
        if solid is None or body.media[region].kind == Kind.AIR:
            continue
        mine = (body.inside == region) | (body.outside == region)
        # Surfaces that meet at very small angles are labelled to a hundredth only.
        assert_allclose(body.walls.areas_mm2[mine].sum(), solid.areas_mm2.sum(), rtol=0.02)


FUZZ = {
    "deadline": None,
    "suppress_health_check": list(HealthCheck),
    "phases": [Phase.explicit, Phase.generate],  # simplifying a failure would take minutes
}


@given(_scenes())
@settings(max_examples=5, **FUZZ)
def test_any_scene_is_built_or_refused(text):
    fault_of(check_whole, text)  # anything but an error of the project's own fails


@pytest.mark.slow
@given(_scenes())
@settings(max_examples=200, **FUZZ)
def test_many_scenes_are_built_or_refused(text):
    fault_of(check_whole, text)


def test_cells_of_a_shell_are_fine_enough_for_the_spot_of_a_light_close_behind_its_wall():
    ball, resin = shape_mesh(Orb(kind="orb", diameter_mm=50)), medium(0.005, 1.1)
    far, near, nearer = (
        cell_size_mm([ball], [resin], 3.0, np.array([3.0 + gap])) for gap in (12.0, 2.0, 0.5)
    )
    assert near == pytest.approx(1.0)
    assert nearer == pytest.approx(SPOT_CELL / resin.mu_t_reduced_per_mm.max())
    assert far > near > nearer
