"""Fewer faces for meshes that are finer than light can tell."""

from __future__ import annotations

from glowsim.geometry.mesh import Mesh, from_manifold, to_manifold

MOST_FACES = 20_000
"""Faces of a body's outer surface, about, at most."""
SHIFT_SHARE = 1e-3
"""How far the surface may shift, as a share of the body's size."""


def simplified(mesh: Mesh, what: str) -> tuple[Mesh, list[str]]:
    """Return a closed mesh of a single part with about `MOST_FACES` faces at most, and a note.

    Faces are merged while the surface shifts by no more than `SHIFT_SHARE` of the body's size;
    a surface that stays finer than that keeps more of them.
    """
    if len(mesh.faces) <= MOST_FACES:
        return mesh, []
    solid = to_manifold(mesh, what)
    least = SHIFT_SHARE * float(mesh.size_mm.max()) / 16
    for shift_mm in (least * 2**k for k in range(5)):
        fewer = solid.simplify(shift_mm)
        if fewer.num_tri() <= MOST_FACES:
            break
    note = (
        f"{what}: {len(mesh.faces)} faces simplified to {fewer.num_tri()}, within {shift_mm:.2g} mm"
    )
    return from_manifold(fewer), [note]
