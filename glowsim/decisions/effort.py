"""How much is spent on a search: as much as an answer on paper is worth, or a moment's patience."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from glowsim.transport.problem import BodyProblem, Kind
from glowsim.transport.sizes import Sizes, cell_for_mm


@dataclass(frozen=True)
class Effort:
    """What a search for places spends.

    patches, candidates : of the surface, and boards looked at, about
    hollow_patches, hollow_candidates : the same where lights stand in a hollow, which lights its
              walls much more evenly, and where the light of each costs more rays. Half of either
              moves the evenness found for two boards by less than 0.5 % there, and that for one
              not at all (measured on a printed ball). Half the patches, solved anew: what one and
              two boards are off by moves by 0.1 % at most in a resin dome, by 0.6 % in a printed
              spike, whose 5 %/mean for one board falls by 5 %
    cells, hollow_cells : of the grid that is read backwards, at most; half of the latter moves
              what is found in the resin dome by 0.1 %
    aimed_rays : of a board in a hollow, about;  sure_rays : of one in material that was chosen
    faces     : of the body that placements are compared on, about, with `cells` for its grid;
                None for those that `glow` has
    """

    patches: int = 300
    candidates: int = 1000
    hollow_patches: int = 150
    hollow_candidates: int = 300
    cells: int = 32_000
    hollow_cells: int = 16_000
    aimed_rays: int = 12_000
    sure_rays: int = 16_384
    faces: int | None = None

    def sizes(self, problem: BodyProblem) -> Sizes | None:
        """Return faces and cells that placements are compared on; None for those of `glow`."""
        return None if self.faces is None else coarse_sizes(problem, self.faces, self.cells)


THOROUGH = Effort()
BRIEF = Effort(
    patches=80, candidates=200, hollow_patches=40, hollow_candidates=80, cells=8000,
    hollow_cells=6000, aimed_rays=1500, sure_rays=2048, faces=1500,
)  # fmt: skip
"""For who waits with a board in hand: a guess, to be solved."""


def coarse_sizes(problem: BodyProblem, faces: int, cells: int) -> Sizes:
    """Return sizes at which a body has about so many faces, and so many cells at most."""
    area = float(problem.walls.areas_mm2[problem.skin].sum())
    # An equilateral triangle of edge e has the area 0.433 e^2.
    face_mm = round(float(np.sqrt(area / (0.433 * faces))), 2)
    kinds = [medium.kind for medium in problem.media]
    clouds = [s for s, k in zip(problem.solids, kinds, strict=True) if s and k == Kind.SCATTERS]
    cell = max(problem.cell_mm, cell_for_mm(clouds, cells)) if clouds else problem.cell_mm
    return Sizes(face_mm, round(float(cell), 3))
