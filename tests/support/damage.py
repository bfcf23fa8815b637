"""Damage that exports and scans do to a closed mesh of about 100 mm, at random.

None of it changes the body that is meant.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import trimesh

from tests.support.meshes import ball, joined, torn_apart, turned, without

SIZE_MM = 100.0
Damage = Callable[[trimesh.Trimesh, np.random.Generator], trimesh.Trimesh]


def _with(mesh: trimesh.Trimesh, corners: np.ndarray, faces: np.ndarray) -> trimesh.Trimesh:
    return trimesh.Trimesh(
        np.vstack([mesh.vertices, corners]), np.vstack([mesh.faces, faces]), process=False
    )


def _near(mesh: trimesh.Trimesh, rng: np.random.Generator, share: float) -> np.ndarray:
    """Return the faces within a share of the body's size of one of them."""
    middles = mesh.triangles_center
    away = np.linalg.norm(middles - middles[rng.integers(len(middles))], axis=1)
    return np.asarray(away < share * SIZE_MM)


def pinched(mesh: trimesh.Trimesh, rng: np.random.Generator) -> trimesh.Trimesh:
    """Join corners two apart, as careless simplifying does: edges of more than two faces."""
    faces = np.array(mesh.faces)
    for _ in range(4):
        one = int(faces[rng.integers(len(faces)), 0])
        beside = np.setdiff1d(faces[(faces == one).any(axis=1)], [one])
        next_but_one = np.setdiff1d(faces[np.isin(faces, beside).any(axis=1)], [one, *beside])
        if len(next_but_one):
            faces[faces == next_but_one[rng.integers(len(next_but_one))]] = one
    return trimesh.Trimesh(mesh.vertices, faces, process=False)


def finned(mesh: trimesh.Trimesh, rng: np.random.Generator) -> trimesh.Trimesh:
    """Stand seven loose triangles on edges of the surface."""
    chosen = mesh.faces[rng.choice(len(mesh.faces), 7, replace=False), :2]
    tips = mesh.vertices[chosen].mean(axis=1) + rng.normal(size=(7, 3)) * 0.02 * SIZE_MM
    numbers = len(mesh.vertices) + np.arange(7)
    return _with(mesh, tips, np.column_stack([chosen, numbers]))


def nowhere(mesh: trimesh.Trimesh, rng: np.random.Generator) -> trimesh.Trimesh:
    """Make one corner of the surface no number, and add corners that no face has."""
    spoilt = _with(mesh, np.array([[np.nan] * 3, [1e9, 0, 0]]), np.zeros((0, 3), np.int64))
    spoilt.vertices[mesh.faces[rng.integers(len(mesh.faces)), 0]] = np.nan
    return spoilt


def flung(mesh: trimesh.Trimesh, rng: np.random.Generator) -> trimesh.Trimesh:
    """Draw one corner of the surface out to a far place."""
    vertices = np.array(mesh.vertices)
    vertices[mesh.faces[rng.integers(len(mesh.faces)), 0]] += 300 * SIZE_MM
    return trimesh.Trimesh(vertices, mesh.faces, process=False)


def with_scraps(mesh: trimesh.Trimesh, rng: np.random.Generator) -> trimesh.Trimesh:
    """Strew torn scraps of surface about the body."""
    scraps = []
    for _ in range(3):
        scrap = ball(0.015 * SIZE_MM, 1, at=rng.normal(size=3) * SIZE_MM)
        scraps.append(without(scrap, rng.random(len(scrap.faces)) < 0.4))
    return joined(mesh, *scraps)


def partly_turned(mesh: trimesh.Trimesh, rng: np.random.Generator) -> trimesh.Trimesh:
    """Turn a patch of the surface inside out."""
    return turned(mesh, np.flatnonzero(_near(mesh, rng, 0.3)))


def repeated(mesh: trimesh.Trimesh, rng: np.random.Generator) -> trimesh.Trimesh:
    """Add faces that are there already, some of them turned."""
    more = mesh.faces[rng.choice(len(mesh.faces), 30, replace=False)]
    more[:10] = more[:10, ::-1]
    return _with(mesh, np.zeros((0, 3)), more)


def with_t_junctions(mesh: trimesh.Trimesh, rng: np.random.Generator) -> trimesh.Trimesh:
    """Cut faces in two at an edge whose other face is left whole."""
    chosen = rng.choice(len(mesh.faces), 12, replace=False)
    a, b, c = mesh.faces[chosen].T
    numbers = len(mesh.vertices) + np.arange(len(chosen))
    cut = _with(mesh, (mesh.vertices[a] + mesh.vertices[b]) / 2, np.column_stack([numbers, b, c]))
    cut.faces[chosen, 1] = numbers
    return cut


def with_holes(mesh: trimesh.Trimesh, rng: np.random.Generator) -> trimesh.Trimesh:
    """Take out patches of several sizes."""
    gone = np.any([_near(mesh, rng, share) for share in (0.02, 0.04, 0.1)], axis=0)
    return without(mesh, gone)


def unwelded(mesh: trimesh.Trimesh, rng: np.random.Generator) -> trimesh.Trimesh:
    """Part all faces, with the rounding of a coarse file."""
    return torn_apart(mesh, 1e-7 * SIZE_MM, int(rng.integers(1000)))


DAMAGES: tuple[Damage, ...] = (
    pinched,
    finned,
    nowhere,
    flung,
    with_scraps,
    partly_turned,
    repeated,
    with_t_junctions,
    with_holes,
    unwelded,
)
