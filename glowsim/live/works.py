"""Long work in the background of the page: one at a time, with its progress, and what it made.

Every page of the session shows the same work; it goes on while boards are moved.
"""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable
from contextlib import suppress
from dataclasses import replace
from pathlib import Path
from typing import Protocol

from glowsim.electrics.as_wired import as_tried
from glowsim.errors import GlowsimError
from glowsim.findings import findings_of
from glowsim.live import placing
from glowsim.live.background import Command, FailedError, Made
from glowsim.live.lane import SupersededError
from glowsim.live.offering import Offer, offered
from glowsim.live.pulsing import Pulsing, pulsing_of
from glowsim.live.session import Session
from glowsim.scene import SceneFile, read_scene
from glowsim.transport.store import load_glow

_LOG = logging.getLogger(__name__)
MOST_KEPT = 12
SURE_S = 60
"""Seconds that the reference follows light for."""
Report = Callable[[str], None]


class Savable(Protocol):
    """A file under the hand."""

    path: Path

    @property
    def unsaved(self) -> bool:
        """Whether it holds something else than what there is."""
        ...

    def save(self) -> Path:
        """Write it; return it."""
        ...


class Works:
    """What is being worked on, and what has been made.

    found : how good the best is that a search has put in, '' before there is one
    offer : what would make a body even, tried and not yet put in
    """

    def __init__(self, changed: Callable[[], None]) -> None:
        """`changed` is called, from any thread, whenever there is something new."""
        self.words = self.doing = self.found = ""
        self.news: tuple[int, str] = (0, "")
        self.made: dict[int, Made] = {}
        self.pulsing: Pulsing | None = None
        self.offer: Offer | None = None
        self._changed = changed
        self._lock = threading.Lock()
        self._given_up = False
        self._command: Command | None = None
        self._thread: threading.Thread | None = None

    @property
    def busy(self) -> bool:
        """Whether something is being worked on."""
        return bool(self.words)

    def start(self, words: str, work: Callable[[Report], str]) -> None:
        """Do some work in the background; its answer is told. Raises GlowsimError while busy."""
        with self._lock:
            if self.busy:
                raise GlowsimError(f"one thing at a time: {self.words} is under way")
            self.words, self.doing, self.found, self._given_up = words, "", "", False
            self.offer = None
        self._thread = threading.Thread(target=self._run, args=(work,), name=words, daemon=True)
        self._thread.start()
        self._changed()

    def give_up(self) -> None:
        """Give up what is being worked on."""
        self._given_up = True
        if self._command is not None:
            self._command.give_up()
        if self.busy:
            self.doing = "giving up"
        self._changed()

    def wait(self, seconds: float = 60.0) -> bool:
        """Wait until nothing is worked on; return whether that came to pass."""
        if self._thread is not None:
            self._thread.join(seconds)
        return not self.busy

    def close(self, seconds: float) -> bool:
        """End the work; return whether it came to its end in time. A command that did not is
        ended: what it writes is there whole or not at all."""
        self.give_up()
        ended = self.wait(seconds)
        if not ended and self._command is not None:
            self._command.end()
        return ended

    def run(self, session: Savable, words: str, name: str, *options: str) -> None:
        """Run a command on the file as it stands, which is saved first if it has to be."""

        def work(report: Report) -> str:
            return self._commanded(session, report, words, name, *options).words + ": done"

        self.start(words, work)

    def make_sure(self, session: Session) -> None:
        """Have the reference solver follow the light of the scene as it stands."""

        def work(report: Report) -> str:
            path = _saved(session)
            options = ("--time", str(SURE_S))
            try:
                made = self._commanded(session, report, "the sure answer", "agreement", *options)
            except GlowsimError as problem:  # an earlier run was cut short: it goes on from there
                if "--resume" not in str(problem):
                    raise
                made = self._commanded(
                    session, report, "the sure answer", "agreement", *options, "--resume"
                )
            told = _what_changes(read_scene(path), made)
            self.made[max(self.made)] = replace(made, text=f"{told}\n\n{made.text}")
            return told

        self.start("being sure", work)

    def find_places(self, session: Session, body: int, count: int) -> None:
        """Place so many boards of a body anew."""

        def work(report: Report) -> str:
            return placing.find_places(session, body, count, report, self._best)

        self.start("looking for places", work)

    def make_even(self, session: Session, body: int, other_material: bool) -> None:
        """Make a body even, with as many boards as it takes, or of another material; where that
        leaves it less than even, try what would take it there."""

        def work(report: Report) -> str:
            told = placing.make_even(session, body, other_material, report, self._best)
            with suppress(SupersededError):
                told = "\n".join(filter(None, (told, self._offer(session, body, report))))
            return told

        self.start("making it even", work)

    def try_evener(self, session: Session, body: int) -> None:
        """Try what would take a body to an even glow; the prop stays as it is."""

        def work(report: Report) -> str:
            return self._offer(session, body, report)

        self.start("trying what would make it even", work)

    def _offer(self, session: Session, body: int, report: Report) -> str:
        """Try what would make a body even; return what there is to say where nothing does."""
        self.offer, told = offered(session, body, report)
        return told

    def take_offer(self) -> None:
        """Put in what is offered; raises SceneError once the prop is another."""
        offer, self.offer = self.offer, None
        if offer is not None:
            offer.take()
            self._tell("put in; undo takes it back")

    def leave_offer(self) -> None:
        """Leave what is offered."""
        self.offer = None
        self._changed()

    def _tell(self, words: str) -> None:
        self.news = (self.news[0] + 1, words)
        self._changed()

    def make_pulsing(self, session: Session) -> None:
        """Make the pulses ready to be played."""

        def work(report: Report) -> str:
            self.pulsing = pulsing_of(session, report)
            return ""

        self.start("making the pulses ready", work)

    def _commanded(
        self, session: Savable, report: Report, words: str, name: str, *options: str
    ) -> Made:
        path = _saved(session)
        self._command = Command(words, [name, str(path), *options])
        try:
            made = self._command.run(report)
        except FailedError as failed:
            if failed.made.files:
                self._keep(failed.made)
            raise
        finally:
            self._command = None
        self._keep(made)
        return made

    def _keep(self, made: Made) -> None:
        self.made[max(self.made, default=0) + 1] = made
        if len(self.made) > MOST_KEPT:
            del self.made[min(self.made)]

    def _report(self, words: str) -> None:
        if self._given_up:
            raise SupersededError
        self.doing = words
        self._changed()

    def _best(self, words: str) -> None:
        self.found = words
        self._changed()

    def _run(self, work: Callable[[Report], str]) -> None:
        try:
            told = work(self._report)
        except SupersededError:
            told = f"{self.words}: given up"
        except (GlowsimError, OSError) as problem:
            told = str(problem)
        except Exception as problem:  # a fault of the program: the page must outlive it
            _LOG.exception("no result")
            told = f"the program itself failed ({type(problem).__name__}: {problem}); nothing lost"
        self.words = self.doing = ""
        if told:
            self._tell(told)
        else:
            self._changed()


def _saved(session: Savable) -> Path:
    """Return the file that holds what there is; it is saved first if it has to be."""
    return session.save() if session.unsaved else session.path


def _what_changes(scene_file: SceneFile, made: Made) -> str:
    """Return what the reference's light changes of the verdicts, in words."""
    folder = next(file.parent for file in made.files)
    names = ("glow.npz", "reference.npz")
    quick, sure = (as_tried(load_glow(folder / name), scene_file) for name in names)
    rows = []
    pairs = zip(
        *(findings_of(glow, scene_file.scene).bodies for glow in (quick, sure)), strict=True
    )
    for one, other in pairs:
        now, then = (
            f"{100 * e.within_share:.0f} % even, off by {e.off_by:.2f} times" for e in (one, other)
        )
        same = "" if now != then else "; nothing changes"
        rows.append(f"{one.body}: {now} here, {then} by the reference{same}")
    return "\n".join(rows)
