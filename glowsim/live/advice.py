"""What stands out on a body, what would mend it, and the way to have it: in a handle's menu."""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import partial
from typing import TYPE_CHECKING

from nicegui import ui

from glowsim.findings import Finding
from glowsim.live import edits
from glowsim.live.edits import Prop
from glowsim.live.sentence import reach

if TYPE_CHECKING:
    from glowsim.live.view import View

MOST_TOLD = 4
FOLLOW_S = 0.5
SAME = "the same mends this"


class Advice:
    """The findings of one body, of the prop as it is when the menu opens."""

    def __init__(self, view: View, menu: ui.menu, body: str) -> None:
        """body : the name by which findings tell of it"""
        self._view, self._session, self._menu = view, view.session, menu
        self._prop, self._body, self._number = view.session.now, body, view.body
        findings = view.session.figures.findings
        every = findings.found if findings else ()
        self._found = [f for f in every if f.body.partition(" (x")[0] == body][:MOST_TOLD]

    def fill(self) -> None:
        """Add a line for each finding, what to do about it once that was tried, and to do it."""
        for finding in self._found:
            x, y, _ = finding.body_place_mm
            side = math.degrees(math.atan2(x, -y))
            self._view.handles.line(
                self._menu,
                f"{finding.number}. {finding.kind} {reach(finding)}: look at it",
                partial(self._view.stage.look, side, 10.0),
            )
            label = ui.label("").classes("said")
            put_in = self._view.handles.line(
                self._menu, "put it in", partial(self._put_in, finding)
            ).classes("offered")
            self._follows(label, partial(self._words, finding), put_in, finding)
        self._follows(ui.label("").classes("said"), self._also)

    def _follows(
        self,
        label: ui.label,
        words: Callable[[], str],
        put_in: ui.element | None = None,
        finding: Finding | None = None,
    ) -> None:
        """Say what may still change while the menu is read."""

        def follow() -> None:
            now = words()
            if now == label.text and put_in is None:
                return
            offered = finding is not None and now != SAME and self._mended(finding) is not None
            if put_in is not None:
                put_in.set_visibility(offered)
            if now != label.text:
                label.set_text(now)
                self._menu.run_method("updatePosition")  # it has grown: all of it stays in sight

        follow()
        ui.timer(FOLLOW_S, lambda: follow() if self._menu.value else None)

    def _also(self) -> str:
        """Return what helps the body besides, and what was tried in vain."""
        told = self._session.mended.also if self._session.mended else ()
        return " ".join(words for words in told if words.startswith(f"{self._body}: "))

    def _words(self, finding: Finding) -> str:
        """Return what to do about a finding, said once where it mends several."""
        said = self._advised(finding)
        before = self._found[: self._found.index(finding)]
        if self._session.mended and said in [self._advised(one) for one in before]:
            return SAME
        return said.replace(": off by", "\noff by", 1)

    def _advised(self, finding: Finding) -> str:
        """Return what to do about a finding: what was tried, nothing before that."""
        session = self._session
        if session.now != self._prop:
            return "the prop was changed; open this again"
        if session.mended:
            return session.mended.put_into_one(finding).suggestion
        if not session.rests:
            return f"first the full answer: {session.doing or 'waiting'} …"
        session.ask_mended()
        return "trying what would mend it …"

    def _mended(self, finding: Finding) -> Prop | None:
        """Return the prop with what mends a finding; None for nothing that can be put in here."""
        mended = self._session.mended
        if self._session.now != self._prop or not mended or finding.number not in mended.bodies:
            return None
        return edits.remedied(self._prop, self._number, mended.bodies[finding.number])

    def _put_in(self, finding: Finding) -> None:
        new = self._mended(finding)
        if new is not None:
            self._session.do("put in what mends it", lambda prop: new)
