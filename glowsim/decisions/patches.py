"""A surface in a few hundred patches, and how to read its faces from the patches' means.

Light varies faster over thin tips and edges than over a broad side, so patches there are
smaller, in proportion to the thickness behind them. Within a patch the logarithm of the
luminance is taken as linear, with the slope its neighbours say, as finite-volume solvers do.
On a spike lit by three to six boards this brings the 5th percentile over mean from 10 to 30 %
too high (patch means alone) to within 2 % of the faces' own (measured).
"""

from __future__ import annotations

import numpy as np
from scipy import sparse
from scipy.spatial import cKDTree

from glowsim.geometry.mesh import FloatArray, IntArray, Mesh
from glowsim.geometry.rays import RayTarget

ROUNDS = 12
"""Rounds of moving patch middles until patches are even."""
NEAREST = 12
"""Middles that compete for a face."""
NEIGHBOURS = 6
"""Patches that tell the slope within one."""
SAMPLES = 4
"""Faces of each patch that stand for it where all faces would be too many."""
FINER = 0.3
"""Averages over less than this share of the samples' distance change nothing that samples tell."""
_THIN, _THICK = 0.2, 90.0
"""Percentiles of the thickness between which it counts."""
_TURNED = 0.3
"""Patches whose normals differ by more than this cosine are no neighbours."""
_STIFF = 0.01
"""Slopes across the surface, about which neighbours say nothing, are held at zero so firmly."""


def clusters(walls: Mesh, faces: IntArray, count: int) -> IntArray:
    """Gather faces into about `count` compact patches; return the patch of each, (n,) int.

    Middles start spread out evenly and are moved to the mean of their faces (Lloyd, IEEE Trans.
    Inf. Theory 28, 129 (1982)); faces that look another way count as far off.
    """
    count = min(count, len(faces))
    place, normal = walls.centroids[faces], walls.normals[faces]
    thickness = _thickness_mm(walls, faces)
    weight = walls.areas_mm2[faces] / thickness**2
    width = thickness * np.sqrt(weight.sum() / count)
    order = np.lexsort(np.floor(place / (4 * float(np.median(width)))).T)
    mark = (np.arange(count) + 0.5) / count * weight.sum()
    row = np.minimum(np.searchsorted(np.cumsum(weight[order]), mark), len(order) - 1)
    start = np.unique(order[row])
    middle, way, reach = place[start], normal[start], width[start]
    label = np.zeros(len(faces), dtype=np.int64)
    for _ in range(ROUNDS):
        apart, near = cKDTree(middle).query(place, k=min(NEAREST, len(middle)))
        apart, near = apart.reshape(len(faces), -1), near.reshape(len(faces), -1)
        turned = ((normal[:, None] - way[near]) ** 2).sum(axis=2) / 2
        best = ((apart / reach[near]) ** 2 + turned).argmin(axis=1)
        _, label = np.unique(near[np.arange(len(faces)), best], return_inverse=True)
        middle, way = _means(label, weight, place), _means(label, weight, normal)
        reach = _means(label, weight, width[:, None])[:, 0]
    return np.asarray(label, dtype=np.int64)


def slopes(walls: Mesh, faces: IntArray, patch: IntArray) -> sparse.csr_matrix:
    """Return the matrix from logarithms of patch means to those of faces, (faces, patches)."""
    place, area = walls.centroids[faces], walls.areas_mm2[faces]
    middle, way = _means(patch, area, place), _means(patch, area, walls.normals[faces])
    count = len(middle)
    some = min(NEIGHBOURS + 1, count)
    _, near = cKDTree(middle).query(middle, k=some)
    near = near.reshape(count, some)[:, 1:]
    gap = middle[near] - middle[:, None]
    weight = 1.0 / np.maximum((gap**2).sum(axis=2), 1e-12)
    weight *= np.einsum("pkd,pd->pk", way[near], way) > _TURNED
    normal = np.einsum("pki,pkj,pk->pij", gap, gap, weight)
    hold = _STIFF * np.trace(normal, axis1=1, axis2=2) / 3 + 1e-9
    slope = np.linalg.solve(
        normal + hold[:, None, None] * np.eye(3), np.swapaxes(gap * weight[:, :, None], 1, 2)
    )
    # Of each face: its patch's own value, and the neighbours' differences along the slope.
    step = np.einsum("fd,fdk->fk", place - middle[patch], slope[patch])
    rows = np.repeat(np.arange(len(faces)), near.shape[1] + 1)
    columns = np.column_stack([patch, near[patch]]).ravel()
    values = np.column_stack([1.0 - step.sum(axis=1), step]).ravel()
    return sparse.csr_matrix((values, (rows, columns)), shape=(len(faces), count))


def samples(walls: Mesh, faces: IntArray, patch: IntArray) -> tuple[IntArray, FloatArray]:
    """Return some of `faces` that stand for all, (s,) int rows, and the area each stands for."""
    place, area = walls.centroids[faces], walls.areas_mm2[faces]
    rows, stands = [], []
    for number in range(int(patch.max()) + 1):
        mine = np.nonzero(patch == number)[0]
        longest = int(np.ptp(place[mine], axis=0).argmax())
        mine = mine[np.argsort(place[mine, longest], kind="stable")]
        share = np.cumsum(area[mine]) / area[mine].sum()
        few = min(SAMPLES, len(mine))
        rows.append(mine[np.searchsorted(share, (np.arange(few) + 0.5) / few)])
        stands.append(np.full(few, area[mine].sum() / few))
    return np.concatenate(rows), np.concatenate(stands)


def eye_over(
    walls: Mesh, faces: IntArray, stands_mm2: FloatArray, radius_mm: float
) -> sparse.csr_matrix | None:
    """Return the matrix that averages values on faces over a radius around each, (n, n); None
    where hardly any face has another so near.

    stands_mm2 : (n,) float, the area each stands for
    """
    place, normal = walls.centroids[faces], walls.normals[faces]
    if radius_mm < FINER * float(np.sqrt(np.median(stands_mm2))):
        return None
    near = cKDTree(place)
    apart = near.sparse_distance_matrix(near, 3 * radius_mm, output_type="coo_matrix").tocoo()
    alike = np.einsum("nk,nk->n", normal[apart.row], normal[apart.col]) > _TURNED
    weight = np.exp(-0.5 * (apart.data / radius_mm) ** 2) * alike * stands_mm2[apart.col]
    size = (len(faces), len(faces))
    matrix = sparse.csr_matrix((weight, (apart.row, apart.col)), shape=size)
    matrix = matrix - sparse.diags(matrix.diagonal()) + sparse.diags(stands_mm2)
    return sparse.csr_matrix(sparse.diags(1 / np.asarray(matrix.sum(axis=1)).ravel()) @ matrix)


def _means(label: IntArray, weight: FloatArray, values: FloatArray) -> FloatArray:
    """Return weighted means of (n, k) values over each label, (labels, k)."""
    total = np.stack([np.bincount(label, weight * column) for column in values.T], axis=1)
    return total / np.bincount(label, weight)[:, None]


def _thickness_mm(walls: Mesh, faces: IntArray) -> FloatArray:
    """Return how far it is from each face straight through to the other side, (n,) [mm]."""
    inward = -walls.normals[faces]
    hits = RayTarget.of(walls).first_hits(walls.centroids[faces] + 1e-2 * inward, inward)
    met = hits.face >= 0
    if not met.any():
        return np.ones(len(faces))
    thickness = np.where(met, hits.distance_mm, np.median(hits.distance_mm[met]))
    low, high = np.percentile(thickness, [_THIN, _THICK])
    return np.clip(thickness, max(low, 0.02 * high), max(high, 1e-3))
