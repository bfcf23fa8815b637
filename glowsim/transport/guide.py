"""Clear bodies that carry light along inside: no job for quick, so the reference follows them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from glowsim.geometry.mesh import FloatArray
from glowsim.transport.problem import BodyProblem
from glowsim.transport.quick.quality import Quality
from glowsim.transport.quick.trust import BARE, bare_words
from glowsim.transport.reference import Goal, Progress, solve_body
from glowsim.transport.result import BodyGlow

WORTH_SAYING = 0.02
"""A smaller share of the light that leaves elsewhere needs no mention."""
FULL_GOAL = Goal(noise=0.02, photons=400_000)
DRAFT_GOAL = Goal(noise=0.05, photons=20_000)
"""Photons of each light, not seconds: the same numbers on any machine."""


def followed(
    problem: BodyProblem, seed: int, quality: Quality, report: Callable[[str], None]
) -> BodyGlow:
    """Return the glow of a guide by the reference, with a note that says so; raises SolveError."""

    def tell(progress: Progress) -> None:
        report(f"following photons through {problem.name}: {100 * progress.share:.0f} %")

    goal = FULL_GOAL if quality.judged else DRAFT_GOAL
    body, tallies = solve_body(problem, seed=seed, goal=goal, report=tell)
    if tallies.stopped:
        raise KeyboardInterrupt
    note = (
        f"{problem.name}: light runs on inside this clear body, mirrored from face to face. "
        f"That is no job for quick: the reference followed {int(tallies.photons.min()):,} photons "
        f"of each light, for {tallies.seconds:.0f} s (--reference follows more)"
    )
    bare = float(((body.direct @ body.surface.areas_mm2).mean(axis=1)).max())
    trust = (*body.trust, bare_words(bare)) if bare > BARE else body.trust
    notes = (*body.notes, note, _where_it_leaves(problem.name, body))
    return replace(body, trust=trust, notes=notes)


@dataclass(frozen=True)
class Loss:
    """Where light that comes out of a guide leaves otherwise than meant.

    meant  : share of it that leaves by the faces meant to glow, all lights and colours alike
    share  : by the side that most of the rest leaves by;  way : (3,) float, where that side faces
    middle : (3,) float [mm], about where;  name : what that side is called
    """

    meant: float
    share: float
    way: FloatArray
    middle: FloatArray
    name: str


def loss_of(body: BodyGlow) -> Loss:
    """Return where the light that comes out of a guide leaves."""
    area = body.surface.areas_mm2
    out = (body.diffuse + body.direct).sum(axis=(0, 1)) * area
    share = np.where(body.hole, 0.0, out) / max(float(out[~body.hole].sum()), 1e-30)
    normals = body.surface.normals
    axis = abs(normals).argmax(axis=1)
    side = 2 * axis + (np.take_along_axis(normals, axis[:, None], axis=1)[:, 0] > 0)
    by_side = np.bincount(side[~body.glows], share[~body.glows], minlength=6)
    most = int(by_side.argmax())
    there = (side == most) & ~body.glows & (share > 0)
    middle = np.zeros(3)
    if there.any():
        middle = np.average(body.surface.centroids[there], axis=0, weights=share[there])
    way = np.eye(3)[most // 2] * (1 if most % 2 else -1)
    name = ["right", "left", "back", "front", "top", "bottom"][(1 - most % 2) + 2 * (most // 2)]
    return Loss(float(share[body.glows].sum()), float(by_side[most]), way, middle, name)


def _where_it_leaves(name: str, body: BodyGlow) -> str:
    """Say how much of the light that comes out leaves where it is meant to, and where most of the
    rest does."""
    loss = loss_of(body)
    said = f"{name}: {100 * loss.meant:.0f} % of the light that comes out leaves by "
    said += "the faces meant to glow"
    if loss.share < WORTH_SAYING:
        return said
    place = ", ".join(f"{c:z.0f}" for c in loss.middle)
    return (
        f"{said}; most of the rest, {100 * loss.share:.0f} %, leaves by the {loss.name}, about "
        f"({place}) mm"
    )
