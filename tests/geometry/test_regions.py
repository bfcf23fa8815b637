"""A body cut into regions: nothing lost, nothing twice, the right neighbours."""

import numpy as np
import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from pydantic import TypeAdapter

from glowsim.errors import GeometryError
from glowsim.geometry.inside import winding_number
from glowsim.geometry.mesh import Mesh, to_manifold
from glowsim.geometry.patterns import placed
from glowsim.geometry.regions import ROOM, cut_into_regions
from glowsim.geometry.shapes import shape_mesh
from glowsim.scene import Shape
from tests.support.meshes import ball, block, mesh_of
from tests.support.scenes import shapes


def box(size, at):
    return mesh_of(block(size, at))


BODY = box((40, 40, 40), (0, 0, 20))  # stands on z = 0


def check_books(outer, inserts, face_mm=5.0, area_error=1e-4):
    """Cut, check what must hold for any cut, and return the regions."""
    cut = cut_into_regions(outer, inserts, face_mm, "body")
    assert len(cut.solids) == 1 + len(inserts)
    volumes = [0.0 if solid is None else solid.volume_mm3 for solid in cut.solids]
    # Booleans keep to double precision; coincident faces may leave a film of 1e-6 of it.
    assert_allclose(sum(volumes), outer.volume_mm3, rtol=1e-6)
    for region, solid in enumerate(cut.solids):
        mine = (cut.inside == region) | (cut.outside == region)
        surface = 0.0 if solid is None else solid.areas_mm2.sum()
        assert_allclose(cut.walls.areas_mm2[mine].sum(), surface, rtol=area_error, atol=1e-2)
    assert (cut.inside != ROOM).all()
    assert (cut.outside != cut.inside).all()
    assert ((cut.outside == ROOM) | (cut.outside > cut.inside)).all()  # each wall once
    room = cut.outside == ROOM
    assert_allclose(cut.walls.areas_mm2[room].sum(), outer.areas_mm2.sum(), rtol=area_error)
    assert labels_that_hold(cut) > 1 - 10 * area_error
    return cut


def labels_that_hold(cut):
    """Probe both sides of large faces; return the share whose regions are where they should."""
    large = np.nonzero(cut.walls.areas_mm2 > 0.2 * np.median(cut.walls.areas_mm2))[0]
    centre, normal = cut.walls.centroids[large], cut.walls.normals[large]
    right = np.ones(len(large), dtype=bool)
    for side, label in ((-1, cut.inside[large]), (1, cut.outside[large])):
        found = np.full(len(large), ROOM)
        for region, solid in enumerate(cut.solids):
            if solid is not None:
                probe = centre + side * 3e-3 * normal
                found[winding_number(solid.vertices, solid.faces, probe) > 0.5] = region
        right &= found == label
    return right.mean()


def volume(cut, region):
    solid = cut.solids[region]
    return 0.0 if solid is None else solid.volume_mm3


def area_between(cut, region, other):
    return cut.walls.areas_mm2[(cut.inside == region) & (cut.outside == other)].sum()


def test_a_body_alone():
    cut = check_books(BODY, [])
    assert_allclose(area_between(cut, 0, ROOM), 6 * 1600, rtol=1e-9)


def test_no_edge_is_longer_than_asked():
    cut = check_books(BODY, [box((10, 10, 10), (0, 0, 20))], face_mm=3.0)
    edges = np.linalg.norm(cut.walls.triangles - np.roll(cut.walls.triangles, 1, axis=1), axis=2)
    # The sides of a face are divided so; an edge across it may come out longer, never twice.
    assert np.median(edges) < 3.0
    assert edges.max() < 6.0


def test_a_pocket_within():
    cut = check_books(BODY, [box((10, 10, 10), (0, 0, 20))])
    assert_allclose(volume(cut, 0), 64000 - 1000, rtol=1e-9)
    assert_allclose(area_between(cut, 0, 1), 600, rtol=1e-9)
    assert area_between(cut, 1, ROOM) == 0


def test_a_pocket_flush_with_the_base_is_open_there():
    cut = check_books(BODY, [box((10, 10, 15), (0, 0, 7.5))])
    assert_allclose(area_between(cut, 1, ROOM), 100, rtol=1e-6)
    assert_allclose(area_between(cut, 0, 1), 4 * 150 + 100, rtol=1e-6)


def test_a_pocket_through_the_surface_is_a_hole():
    cut = check_books(BODY, [box((10, 10, 100), (0, 0, 20))])
    assert_allclose(area_between(cut, 1, ROOM), 200, rtol=1e-6)
    assert_allclose(volume(cut, 1), 4000, rtol=1e-9)


def test_a_core_that_ends_on_the_floor_of_a_pocket():
    pocket, core = box((10, 10, 20), (0, 0, 10)), box((6, 6, 10), (0, 0, 25))
    cut = check_books(BODY, [pocket, core])
    assert_allclose(area_between(cut, 1, 2), 36, rtol=1e-6)
    assert_allclose(area_between(cut, 0, 1), 4 * 200 + 100 - 36, rtol=1e-6)
    assert_allclose(area_between(cut, 0, 2), 4 * 60 + 36, rtol=1e-6)


def test_the_later_insert_wins():
    one, two = box((20, 20, 20), (0, 0, 20)), box((20, 20, 20), (10, 0, 20))
    first = check_books(BODY, [one, two])
    assert_allclose([volume(first, k) for k in (1, 2)], [4000, 8000], rtol=1e-9)
    second = check_books(BODY, [two, one])
    assert_allclose([volume(second, k) for k in (1, 2)], [4000, 8000], rtol=1e-9)


def test_an_insert_wholly_within_a_later_one_is_gone():
    cut = check_books(BODY, [box((5, 5, 5), (0, 0, 20)), box((20, 20, 20), (0, 0, 20))])
    assert cut.solids[1] is None
    assert_allclose(volume(cut, 2), 8000, rtol=1e-9)


def test_the_same_insert_twice():
    insert = box((20, 20, 20), (0, 0, 20))
    cut = check_books(BODY, [insert, insert])
    assert volume(cut, 1) < 1e-6
    assert_allclose(volume(cut, 2), 8000, rtol=1e-9)


def test_what_sticks_out_is_cut_off():
    cut = check_books(BODY, [box((10, 10, 40), (0, 0, 40))])
    assert_allclose(volume(cut, 1), 2000, rtol=1e-9)


def test_round_inserts():
    outer, inner = mesh_of(ball(30, 4)), mesh_of(ball(20, 4))
    cut = check_books(outer, [inner, mesh_of(ball(10, 3, at=(0, 0, 20)))])
    assert_allclose(volume(cut, 0) + volume(cut, 1) + volume(cut, 2), outer.volume_mm3, rtol=1e-9)


def test_an_insert_outside_is_refused():
    with pytest.raises(GeometryError, match="body: insert 2 lies wholly outside the body"):
        cut_into_regions(
            BODY, [box((5, 5, 5), (0, 0, 20)), box((5, 5, 5), (50, 0, 20))], 5.0, "body"
        )


def test_an_insert_that_swallows_the_body_is_refused():
    with pytest.raises(
        GeometryError, match="body: the inserts leave nothing of the body's own material"
    ):
        cut_into_regions(BODY, [box((50, 50, 50), (0, 0, 20))], 5.0, "body")


def test_an_insert_as_large_as_the_body_is_refused():
    with pytest.raises(GeometryError, match="leave nothing"):
        cut_into_regions(BODY, [BODY], 5.0, "body")


def test_an_open_insert_is_refused():
    open_box = Mesh.single_part(BODY.vertices, BODY.faces[1:])
    with pytest.raises(GeometryError, match="body: insert 1: its surface is not closed"):
        cut_into_regions(BODY, [open_box], 5.0, "body")


@given(
    st.lists(
        st.tuples(
            shapes(), st.tuples(*[st.floats(-15, 15)] * 3), st.tuples(*[st.floats(-180, 180)] * 3)
        ),
        min_size=1,
        max_size=3,
    )
)
@settings(
    max_examples=4,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow],
    phases=[Phase.explicit, Phase.generate],  # simplifying a failure would take minutes
)
def test_any_inserts_anywhere(drawn):
    inserts = []
    for table, place, turn in drawn:
        mesh = shape_mesh(TypeAdapter(Shape).validate_python(table))
        scale = np.diag([*np.repeat(25 / mesh.size_mm.max(), 3), 1.0])
        inserts.append(
            mesh.moved(scale).moved(placed((0, 0, 20), turn)).moved(placed(place, (0, 0, 0)))
        )
    left = to_manifold(BODY, "body")
    for insert in inserts:
        left -= to_manifold(insert, "insert")
    if left.is_empty() or any(
        (to_manifold(insert, "insert") ^ to_manifold(BODY, "body")).is_empty() for insert in inserts
    ):
        return
    # Where two surfaces meet at a very small angle, the wedge between them is passed over.
    check_books(BODY, inserts, area_error=1e-2)
