"""Sketch shapes: closed, outward, of the right size and volume."""

import numpy as np
import pytest
from hypothesis import HealthCheck, example, given, settings
from numpy.testing import assert_allclose
from pydantic import TypeAdapter

from glowsim.geometry.mesh import at_mm, to_manifold
from glowsim.geometry.shapes import LEAST_SHOULDER, shape_mesh
from glowsim.scene import Shape
from tests.support.closed_forms import volume_mm3
from tests.support.scenes import shapes

MANY = settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])

EXTREMES = {
    "a sheet of a blade": {"kind": "blade", "length_mm": 900, "width_mm": 60, "thickness_mm": 0.3},
    "a blade that is all point": {
        "kind": "blade",
        "length_mm": 300,
        "width_mm": 60,
        "thickness_mm": 8,
        "shoulder": 0,
    },
    "a blade without a point": {
        "kind": "blade",
        "length_mm": 300,
        "width_mm": 60,
        "thickness_mm": 60,
        "shoulder": 0.98,
    },
    "a tip nearly half the base": {
        "kind": "spike",
        "length_mm": 100,
        "base_diameter_mm": 40,
        "tip_radius_mm": 19.99,
    },
    "a flat spike": {
        "kind": "spike",
        "length_mm": 20,
        "base_diameter_mm": 100,
        "tip_radius_mm": 9.99,
    },
    "a needle, bent": {
        "kind": "spike",
        "length_mm": 300,
        "base_diameter_mm": 6,
        "tip_radius_mm": 0.05,
        "bend_mm": -200,
    },
    "three sides and two points": {
        "kind": "crystal",
        "length_mm": 100,
        "width_mm": 30,
        "sides": 3,
        "point_mm": 20,
        "base_point_mm": 10,
    },
    "a coin with two points": {
        "kind": "crystal",
        "length_mm": 3,
        "width_mm": 200,
        "sides": 24,
        "point_mm": 1.4,
        "base_point_mm": 1.5,
    },
    "a flat dome": {"kind": "dome", "diameter_mm": 300, "height_mm": 1},
    "a tall dome": {"kind": "dome", "diameter_mm": 10, "height_mm": 300},
    "a fat ring": {"kind": "ring", "diameter_mm": 100, "section_diameter_mm": 95},
    "a hoop": {"kind": "ring", "diameter_mm": 1500, "section_diameter_mm": 2},
    "a disc": {"kind": "rod", "length_mm": 0.5, "diameter_mm": 300},
    "a funnel": {"kind": "rod", "length_mm": 100, "diameter_mm": 300, "top_diameter_mm": 0.01},
    "a lentil": {"kind": "orb", "diameter_mm": 300, "height_mm": 2},
    "a bead": {"kind": "orb", "diameter_mm": 0.01},
    "a globe": {"kind": "orb", "diameter_mm": 10000},
}


def shape_of(table):
    return TypeAdapter(Shape).validate_python(table)


def check(shape):
    mesh = shape_mesh(shape)
    solid = to_manifold(mesh, "shape")  # raises unless closed and consistently turned
    assert solid.num_tri() == len(mesh.faces)
    assert mesh.volume_mm3 > 0  # outward
    assert len(mesh.faces) <= 20_000
    assert len(mesh.part) == len(mesh.faces)
    all_point = getattr(shape, "shoulder", 1) < LEAST_SHOULDER
    bare = {"side"} if all_point else set()
    assert {mesh.part_names[k] for k in np.unique(mesh.part)} == set(mesh.part_names) - bare
    # The rounding of tips and the arcs of blades are drawn with chords: at most 1 %.
    assert_allclose(mesh.volume_mm3, volume_mm3(shape), rtol=0.01)


@pytest.mark.parametrize("table", EXTREMES.values(), ids=EXTREMES)
def test_extremes(table):
    check(shape_of(table))


@given(shapes())
@example({"kind": "slab", "length_mm": 0.01, "width_mm": 10000, "thickness_mm": 0.01})
@example(
    {"kind": "blade", "length_mm": 1.0, "width_mm": 1.0, "thickness_mm": 0.5, "shoulder": 2e-271}
)
@MANY
def test_any_shape_is_closed_and_holds_its_volume(table):
    check(shape_of(table))


@pytest.mark.parametrize(
    ("table", "low", "high"),
    [
        ({"kind": "orb", "diameter_mm": 80, "height_mm": 50}, (-40, -40, -25), (40, 40, 25)),
        ({"kind": "rod", "length_mm": 90, "diameter_mm": 40}, (-20, -20, 0), (20, 20, 90)),
        (
            {"kind": "slab", "length_mm": 90, "width_mm": 40, "thickness_mm": 7},
            (-45, -20, 0),
            (45, 20, 7),
        ),
        (
            {"kind": "blade", "length_mm": 300, "width_mm": 40, "thickness_mm": 6},
            (-20, -3, 0),
            (20, 3, 300),
        ),
        (
            {"kind": "spike", "length_mm": 120, "base_diameter_mm": 40, "tip_radius_mm": 2},
            (-20, -20, 0),
            (20, 20, 120),
        ),
        (
            {"kind": "crystal", "length_mm": 60, "width_mm": 20, "sides": 4},
            (-10, -10, 0),
            (10, 10, 60),
        ),
        (
            {"kind": "ring", "diameter_mm": 100, "section_diameter_mm": 10},
            (-55, -55, -5),
            (55, 55, 5),
        ),
        ({"kind": "dome", "diameter_mm": 100, "height_mm": 30}, (-50, -50, 0), (50, 50, 30)),
    ],
    ids=lambda value: value["kind"] if isinstance(value, dict) else "",
)
def test_shapes_stand_where_they_should(table, low, high):
    mesh = shape_mesh(shape_of(table))
    # Polygons are swollen by up to 0.6 % of the size to hold the round body's volume.
    slack = 0.006 * max(high)
    assert_allclose(mesh.bounds, [low, high], rtol=0, atol=slack)


def test_a_bend_carries_the_tip():
    mesh = shape_mesh(
        shape_of(
            {
                "kind": "spike",
                "length_mm": 100,
                "base_diameter_mm": 30,
                "tip_radius_mm": 1,
                "bend_mm": 40,
            }
        )
    )
    top = mesh.vertices[mesh.vertices[:, 2].argmax()]
    assert_allclose(top, [40, 0, 100], atol=1e-9)  # a corner of the mesh stands there exactly


def part_heights(table):
    mesh = shape_mesh(shape_of(table))
    return {
        name: (
            mesh.triangles[mesh.part == k][:, :, 2].min(),
            mesh.triangles[mesh.part == k][:, :, 2].max(),
        )
        for k, name in enumerate(mesh.part_names)
    }


@pytest.mark.parametrize(
    ("table", "expected"),
    [
        (
            {"kind": "rod", "length_mm": 50, "diameter_mm": 9},
            {"base": (0, 0), "side": (0, 50), "top": (50, 50)},
        ),
        ({"kind": "dome", "diameter_mm": 50, "height_mm": 9}, {"base": (0, 0), "side": (0, 9)}),
        (
            {"kind": "crystal", "length_mm": 60, "width_mm": 20, "point_mm": 25},
            {"base": (0, 0), "side": (0, 35), "tip": (35, 60)},
        ),
        (
            {"kind": "crystal", "length_mm": 60, "width_mm": 20, "base_point_mm": 10},
            {"base": (0, 10), "side": (10, 40), "tip": (40, 60)},
        ),
        (
            {
                "kind": "blade",
                "length_mm": 100,
                "width_mm": 20,
                "thickness_mm": 3,
                "shoulder": 0.4,
            },
            {"base": (0, 0), "side": (0, 40), "tip": (40, 100)},
        ),
        (
            # The side touches the tip's ball at 50 + 2 sin(arccos(2/51.4) - atan(50/12)): derived.
            {"kind": "spike", "length_mm": 52, "base_diameter_mm": 24, "tip_radius_mm": 2},
            {"base": (0, 0), "side": (0, 50.4), "tip": (50.4, 52)},
        ),
        ({"kind": "orb", "diameter_mm": 10}, {"surface": (-5, 5)}),
    ],
    ids=lambda value: value.get("kind", "") if isinstance(value, dict) else "",
)
def test_parts_have_names_and_places(table, expected):
    found = part_heights(table)
    assert list(found) == list(expected)
    for name, heights in expected.items():
        assert_allclose(found[name], heights, atol=0.05)


def test_the_parts_of_a_rod_have_their_areas():
    mesh = shape_mesh(shape_of({"kind": "rod", "length_mm": 50, "diameter_mm": 20}))
    areas = [mesh.areas_mm2[mesh.part == k].sum() for k in range(3)]
    # Swollen polygons keep the discs' areas and make the side 0.6 % larger at most.
    assert_allclose(areas, np.pi * np.array([100, 1000, 100]), rtol=0.006)


def test_a_place_beside_nothing_has_no_minus():
    assert at_mm(np.array([-0.04, 0.0, -1.0])) == "(0.0, 0.0, -1.0) mm"
