"""Drafts with light boards that stand apart: each cut out by itself, products row by row."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
import trimesh
from scipy import sparse

from glowsim.geometry.kept import Kept
from glowsim.transport.problem import OpaqueBoard
from glowsim.transport.quick.apart import Cuts, groups_of
from glowsim.transport.quick.cloud import SHORT
from glowsim.transport.quick.parted import Parted
from glowsim.transport.quick.rowwise import ALIKE, ALONG, LOOSE, RowwiseMatrix
from tests.support.bodies import body, emitters, medium
from tests.support.meshes import mesh_of
from tests.support.parted import Prepared, disc, prepare


@cache
def rod() -> Prepared:
    """Return a rod ready for boards; the board askew in it reaches through its side."""
    tube = mesh_of(trimesh.creation.cylinder(radius=12, height=80, sections=48))
    lights = emitters([[0, 0, 40]])
    return prepare(body(tube, [medium(0.01, 1.0, n=1.4)], lights, cell_mm=1.6, face_mm=4.0))


def boards(third_mm: float = 24.0) -> list[OpaqueBoard]:
    near = [disc((0, 0, z), (0, 0.2, 1), diameter=12.0, front=0.6) for z in (-20.0, -15.0)]
    return [near[0], disc((1, 0, third_mm), (0.3, 0, 1), diameter=25.0), near[1]]


def test_boards_apart_make_the_equations_of_all_together():
    ready, every = rod(), boards()
    ground, band = ready.ground, ready.cloud.bands[1]
    assert [group.tolist() for group in groups_of(every, ground.elements.grid)] == [[0, 2], [1]]
    apart, whole = Cuts.of(ground, every, Kept(4)), Parted.of(ground, every)
    assert apart is not None
    assert whole is not None
    own = ground.elements.node_count
    places = sorted(zip(apart.origin, apart.copy, range(len(apart.origin)), strict=True))
    known = zip(whole.origin, whole.parts.copy[own:], strict=True)
    assert [place[:2] for place in places] == list(known)
    order = np.concatenate([np.arange(own), own + np.array([k for *_, k in places])])

    def same(one: sparse.csr_matrix, other: sparse.csr_matrix) -> None:
        assert abs(one - other).max() < 1e-12 * abs(other).max() > 0

    change = apart.matrix(band).change
    same(change[order][:, order], whole.matrix(band).change)
    same(apart.face_mean_change[:, order], whole.face_mean_change)
    same(apart.into_boards(band.optics)[:, order], whole.into_boards(band.optics))
    points = np.random.default_rng(0).uniform((-5, -5, -25), (5, 5, 30), (400, 3))
    same(apart.sampler(points)[:, order], whole.sampler(points))
    for r, volume in whole.volumes_change.items():
        np.testing.assert_allclose(apart.volumes_change[r][order], volume, atol=1e-12)


def test_a_board_that_stands_still_is_not_cut_out_again():
    ready, known = rod(), Kept(4)
    first = Cuts.of(ready.ground, boards(), known)
    after = Cuts.of(ready.ground, boards(third_mm=25.0), known)
    assert first is not None
    assert after is not None
    assert after.cuts[0] is first.cuts[0]
    assert after.cuts[1] is not first.cuts[1]


def test_products_row_by_row_are_those_of_the_matrix():
    pytest.importorskip("numba")
    ready = rod()
    matrix = ready.cloud.matrix(1, SHORT)
    parted = Parted.of(ready.ground, boards())
    assert parted is not None
    change = parted.matrix(ready.cloud.bands[1]).change.astype(SHORT)
    rows = RowwiseMatrix.of(matrix)
    assert set(np.unique(rows.kind)) == {LOOSE, ALONG, ALIKE}
    field = np.random.default_rng(0).normal(size=(change.shape[0], 2)).astype(SHORT)
    right = change.astype(float) @ field
    right[: matrix.shape[0]] += matrix.astype(float) @ field[: matrix.shape[0]]
    changed = np.nonzero(np.diff(change.indptr))[0]
    found = rows.plus(change, changed, field)
    assert np.abs(found - right).max() < 2e-6 * np.abs(right).max()
