"""Where light would help, and boards put there: what the program tries for the hand."""

from __future__ import annotations

from typing import Any

import numpy as np

from glowsim.decisions.hints import Hints, hints_of
from glowsim.errors import SceneError
from glowsim.findings import looks_of
from glowsim.geometry.patterns import copies_of
from glowsim.live import edits
from glowsim.live.boards import room_for
from glowsim.live.clearance import free_place
from glowsim.live.edits import BoardAt, Prop
from glowsim.live.session import Session
from glowsim.transport.clear import refuse_guide
from glowsim.transport.plan import plan_of

MOST_TRIED = 40
"""Places of the cloud at which room for a board is looked for, best first."""


def hints(session: Session, body: int) -> Hints:
    """Return where light would help a body as it stands; raises SceneError if it has no light."""
    scene_file = session.file()
    plan = plan_of(scene_file)
    name = edits.told_as(session.now, body)
    glow = session.kept.glow(plan)
    look = next((k for k in looks_of(glow, scene_file.scene.room) if k.copies[0].of == name), None)
    if look is None or not look.luminance_cd_m2[look.glows].any():
        raise SceneError(f"'{name}' has no light yet: put a board into it first")
    problem = session.kept.problem(plan, body)
    refuse_guide(problem, "where light would help")
    flux = glow.flux_lm(look.copies[0]).sum(axis=0)
    return hints_of(session.kept.quick(problem), problem, look, session.figures.worst(name), flux)


def as_marks(found: Hints, prop: Prop, body: int, copy: int) -> dict[str, Any]:
    """Return a cloud as the page draws it: places in the prop, effects, and words."""
    transform = copies_of(prop.scene.bodies[body])[copy]
    points = found.points_mm @ transform[:3, :3].T + transform[:3, 3]
    return {
        "points": points.ravel().round(2).tolist(),
        "effect": found.effect.round(3).tolist(),
        "gain": found.gain_at(found.points_mm[0]),
        "words": found.words,
    }


def to_best_place(session: Session, at: BoardAt) -> None:
    """Put a board where its light helps most and it has room, as one step.

    The light of this board itself is part of the glow that is to be mended: what is foretold is
    of light added, so that the full answer has the last word.
    """
    if session.now.light(at).runs_along:
        raise SceneError("a strip along a path is slid along it: find places does that")
    found = hints(session, at.body)
    prop = session.now
    problem = session.problem(at.body)
    shape, around = room_for(prop, at, problem, session.catalogue())
    tries = list(found.points_mm[found.effect > 0][:MOST_TRIED])
    free = free_place(shape, around, tries)
    if free is None:
        raise SceneError("no place was found where this board would help and has room; it stays")
    session.do("put a board at the best place", lambda p: edits.moved(p, at, np.asarray(free)))
