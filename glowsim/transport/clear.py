"""Which bodies are clear and carry light along inside, mirrored from face to face: guides.

What follows them is `guide`; this room of `transport` is asked while a scene is built and checked.
"""

from __future__ import annotations

from glowsim.errors import SolveError
from glowsim.geometry.mesh import Mesh
from glowsim.transport.problem import BodyProblem, Kind, Medium

CLEAR = 0.1
"""Material that turns light round less often than this on its mean half chord is clear."""
MIRRORS = 1.2
"""From this refractive index on a polished face mirrors light at a slant back into the body."""


def is_clear(medium: Medium, solid: Mesh | None) -> bool:
    """Return whether light runs on in a solid piece of material, mirrored from face to face.

    Its mean half chord is 2 V / S (Cauchy).
    """
    if solid is None or medium.kind != Kind.SCATTERS or medium.refractive_index < MIRRORS:
        return False
    half_mm = 2 * solid.volume_mm3 / float(solid.areas_mm2.sum())
    return float(medium.mu_s_reduced_per_mm.max()) * half_mm < CLEAR


def carries_light(problem: BodyProblem) -> bool:
    """Return whether a body is a guide: solid, clear, and lit."""
    lit = problem.emitters.light_count > 0 and problem.wall_mm is None
    lit = lit and not any(medium.own_share for medium in problem.media)
    return lit and is_clear(problem.media[0], problem.solids[0])


def refuse_guide(problem: BodyProblem, what: str) -> None:
    """Raise SolveError where something that goes by the quick solver is asked of a guide."""
    if carries_light(problem):
        raise SolveError(
            f"'{problem.name}' is a clear body that carries light along inside: {what} is worked "
            "out by the quick solver, which does not follow that. Change lights, frosted or "
            "engraved faces by hand and see with `glow`"
        )
