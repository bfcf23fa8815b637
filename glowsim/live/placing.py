"""Places for boards, found while the page goes on: a short search first, then the long one.

The short search answers within seconds, with what the full answer makes of it; the long one is that
of `glowsim place`, and its places take over where the full answer finds them evener.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping, Sequence

from glowsim.decisions.placing import guessed, place
from glowsim.errors import SceneError
from glowsim.findings import Evenness
from glowsim.live import edits, keeping
from glowsim.live.edits import Prop
from glowsim.live.lane import SupersededError
from glowsim.live.session import Session
from glowsim.scene import Light, SceneFile, parse_scene

Report = Callable[[str], None]
Found = Mapping[int, Sequence[Light]]
WAIT_S = 0.1
CHANGED = "the prop was changed while places were looked for; look again"


def find_places(session: Session, body: int, count: int, report: Report) -> str:
    """Put so many boards at the best places that are found; return what came of it.

    What a search foretells is a guess: the full answer decides. Where it comes out no better, what
    was there stays. Giving up the long search leaves what the short one found.

    report : told what is being worked on; what it raises gives the work up
    """
    started = session.now
    if not started.scene.bodies[body].lights:
        raise SceneError("put one board in first: it says what kind is placed")
    search = _Search(session, body, count, report)
    if not search.judged(started):
        raise SceneError(CHANGED)
    search.start()
    try:
        search.try_places(search.briefly())
        if session.now != search.best:
            raise SceneError(CHANGED)
        search.try_places(search.thoroughly())
    except SupersededError:
        if search.back_to_best():
            raise
        return search.told("the long search was given up")
    return search.told()


class _Search:
    """What was found for a body, and how even the full answer has it."""

    def __init__(self, session: Session, body: int, count: int, report: Report) -> None:
        self._session, self._count, self._report = session, count, report
        self._body, self._started = body, session.now
        self._file = _as_file(session, self._started)
        self.best = self._shown = self._started
        self.before: Evenness | None = None
        self.after: Evenness | None = None
        self._turned_down = ""

    @property
    def name(self) -> str:
        return self._started.scene.bodies[self._body].name

    def start(self) -> None:
        """Take down how even the prop is as it is; it is judged."""
        self.before = self.after = self._evenness(self._started)

    def briefly(self) -> Found:
        def report(words: str) -> None:
            self._report(f"a short search, {words}")

        return guessed(self._file, self.name, self._count, report)

    def thoroughly(self) -> Found:
        """Return what `glowsim place` finds; given up once the hand changes the prop."""

        def report(words: str) -> None:
            if self._session.now != self.best:
                raise SupersededError
            self._report(f"the long search, {words}")

        answer = place(self._file, self.name, self._count, report=report)
        if answer.drive_factor < 1.0:
            self._turned_down = f"; turned down to {100 * answer.drive_factor:.0f} % by heat"
        bodies = parse_scene(answer.text_of_scene, self._file.toml.name, self._file.folder).scene
        return {number: bodies.bodies[number].lights for number in answer.numbers}

    def try_places(self, found: Found) -> None:
        """Put boards there, in place of what was found before; leave them where they are better."""
        new = self._started
        for number, lights in found.items():
            new = edits.with_lights(new, number, tuple(lights))
        if new == self.best:
            return
        keeping.text_of(self._session.origin, new.scene)
        self._report("putting them there")
        self._show(new)
        if not self.judged(new):
            return
        after = self._evenness(new)
        if after is not None and (self.after is None or after.off_by < self.after.off_by):
            self.best, self.after = new, after
        else:
            self._show(self.best)

    def back_to_best(self) -> bool:
        """Put back the best there was where something untried stands; return whether that is what
        the search began with."""
        if self._session.now == self._shown:
            self._show(self.best)
        return self.best == self._started

    def _show(self, prop: Prop) -> None:
        """Make a prop what there is, as the one step of all that is tried."""
        session = self._session
        self._shown = prop
        words = f"find places for {self._count} boards"
        if session.now != self._started and session.undo_words == words:
            session.undo()

        def put(now: Prop) -> Prop:
            if now != self._started:
                raise SceneError(CHANGED)
            return prop

        session.do(words, put)

    def judged(self, prop: Prop) -> bool:
        """Wait until a prop is judged by its full answer; return whether it still is what is."""
        session = self._session
        while session.now == prop:
            if session.error:
                raise SceneError(session.error)
            if session.judged == prop:
                return True
            self._report(f"confirming by the full answer: {session.doing or 'waiting'}")
            time.sleep(WAIT_S)
        return False

    def _evenness(self, prop: Prop) -> Evenness | None:
        return self._session.figures.evenness(edits.told_as(prop, self._body))

    def told(self, why: str = "") -> str:
        """Return what came of it in words.

        why : the search was cut short
        """
        end = f" ({why})" if why else ""
        if self.best == self._started:
            now = "" if self.after is None else f" than {self.after.off_by:.2f} times off"
            return (
                f"{self.name}: leave the boards where they are: nothing evener{now} was found{end}"
            )
        assert self.after is not None
        now = f"a typical place is off by {self.after.off_by:.2f} times"
        before = "" if self.before is None else f", {self.before.off_by:.2f} before"
        return f"{self.name}: {now}{before}{self._turned_down}; undo takes it back{end}"


def _as_file(session: Session, prop: Prop) -> SceneFile:
    """Return a prop as a scene file whose text says the same."""
    return keeping.text_of(session.origin, prop.scene)[1]
