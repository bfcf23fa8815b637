"""Two skins whose rim is missing: closed each by itself they would enclose a sealed hollow.

Where the hollow's skin and the one around it were closed at the same place, the faces between
their two edges are what is missing, and the hollow is open there.
"""

from __future__ import annotations

import manifold3d
import numpy as np

from glowsim.geometry.mesh import FloatArray, at_mm
from glowsim.geometry.notes import Closure, Doubt
from glowsim.geometry.pieces import Piece

RIM_SHARE = 0.2
"""Two closures nearer than this share of the wider one are the two edges of one missing rim."""
BEYOND = 1.5
"""How far a mouth is cut, in distances from the hollow's closure to the outer one."""


def opened_rims(
    hollow: Piece, around: list[Piece], what: str, notes: list[str]
) -> list[manifold3d.Manifold]:
    """Return what is to be cut out so that a hollow is open where its rim is missing.

    The questions about the two closures by themselves are taken back, and one about the rim is
    added to `notes`.
    """
    mouths = []
    for inner in [note for note in hollow.notes if isinstance(note, Closure)]:
        near = [
            (piece, note)
            for piece in around
            for note in piece.notes
            if isinstance(note, Closure)
            and np.linalg.norm(note.place_mm - inner.place_mm) <= RIM_SHARE * note.width_mm
            and note.width_mm > inner.width_mm
        ]
        if not near:
            continue
        piece, outer = near[0]
        piece.notes.remove(outer)
        hollow.notes.remove(inner)
        mouths.append(_mouth(inner, outer.place_mm - inner.place_mm))
        notes.append(
            Doubt(
                f"{what}: the rim between its outer and its inner skin was missing about "
                f"{at_mm(outer.place_mm)}; closed it from {inner.width_mm:.1f} to "
                f"{outer.width_mm:.1f} mm, so that its hollow is open there. Is it meant so?"
            )
        )
    return mouths


def _mouth(closure: Closure, out_mm: FloatArray) -> manifold3d.Manifold:
    """Return what stands on a flat closure, as far as the outer closure and beyond."""
    flat = closure.rim_mm - closure.place_mm
    axes = np.linalg.svd(flat, full_matrices=False)[2]
    reach = float(out_mm @ axes[2])
    if reach == 0:
        return manifold3d.Manifold()
    outline = manifold3d.CrossSection([flat @ axes[:2].T], manifold3d.FillRule.EvenOdd)
    turned = np.column_stack([axes[0], axes[1], np.sign(reach) * axes[2], closure.place_mm])
    return outline.extrude(BEYOND * abs(reach)).transform(turned)
