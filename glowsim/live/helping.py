"""Where light would help, and boards put there: what the program tries for the hand."""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Any

import numpy as np

from glowsim.decisions.hints import Hints, hints_of
from glowsim.decisions.placing import guessed
from glowsim.errors import SceneError
from glowsim.findings import Evenness, looks_of
from glowsim.geometry.patterns import copies_of
from glowsim.live import edits, keeping
from glowsim.live.boards import room_for
from glowsim.live.clearance import free_place
from glowsim.live.edits import BoardAt, Prop
from glowsim.live.session import Session
from glowsim.transport.guide import refuse_guide
from glowsim.transport.plan import plan_of

Report = Callable[[str], None]
WAIT_S = 0.1
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
    found = hints(session, at.body)
    prop = session.now
    problem = session.problem(at.body)
    shape, around = room_for(prop, at, problem, session.catalogue())
    tries = list(found.points_mm[found.effect > 0][:MOST_TRIED])
    free = free_place(shape, around, tries)
    if free is None:
        raise SceneError("no place was found where this board would help and has room; it stays")
    session.do("put a board at the best place", lambda p: edits.moved(p, at, np.asarray(free)))


def find_places(session: Session, body: int, count: int, report: Report) -> str:
    """Put so many boards at the best places that a short search finds; return what came of it.

    What the search foretells is a guess: the full answer decides. Where it comes out no better,
    what was there is put back.

    report : told what is being worked on; what it raises gives the work up
    """
    started = session.now
    if not started.scene.bodies[body].lights:
        raise SceneError("put one board in first: it says what kind is placed")
    if not _judged(session, started, report):
        raise SceneError("the prop was changed while places were looked for; look again")
    before = session.figures.evenness(edits.told_as(started, body))
    name = started.scene.bodies[body].name
    found = guessed(session.file(started), name, count, report)
    report("putting them there")

    def placed(prop: Prop) -> Prop:
        if prop != started:
            raise SceneError("the prop was changed while places were looked for; look again")
        for number, lights in found.items():
            prop = edits.with_lights(prop, number, tuple(lights))
        keeping.text_of(session.origin, prop.scene)
        return prop

    session.do(f"find places for {count} boards", placed)
    new = session.now
    if new == started:
        return f"{name}: leave the boards where they are: a short search finds the same places"
    if not _judged(session, new, report):
        return f"{name}: changed before what was found had been judged"
    after = session.figures.evenness(edits.told_as(new, body))
    return _outcome(session, new, before, after)


def _judged(session: Session, prop: Prop, report: Report) -> bool:
    """Wait until a prop is judged by its full answer; return whether it still is what there is."""
    while session.now == prop:
        if session.error:
            raise SceneError(session.error)
        if session.judged == prop:
            return True
        report(f"confirming by the full answer: {session.doing or 'waiting'}")
        time.sleep(WAIT_S)
    return False


def _outcome(session: Session, new: Prop, before: Evenness | None, after: Evenness | None) -> str:
    """Return what came of new places in words; put the boards back where nothing did."""
    if after is None:
        return "the new places have no light that can be judged"
    now = f"a typical place is off by {after.off_by:.2f} times"
    if before is None:
        return f"{after.body}: {now}"
    if after.off_by >= before.off_by:
        if session.now == new:
            session.undo()
        return (
            f"{after.body}: leave the boards where they are: {before.off_by:.2f} times off there, "
            f"{after.off_by:.2f} at the places that a short search found (`glowsim place` looks "
            "longer)"
        )
    return f"{after.body}: {now}, {before.off_by:.2f} before; undo takes it back"
