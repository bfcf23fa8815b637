"""The page of one session, in every browser that opens it."""

from __future__ import annotations

from nicegui import core, ui

from glowsim.live.session import Session
from glowsim.live.view import View

LOOK_AT_FILE_S = 1.0


class Page:
    """Builds the page for each browser that opens it, and keeps all of them up to date."""

    def __init__(self, session: Session) -> None:
        """Show one session; a second page follows what the first does."""
        self._session = session
        self._views: list[View] = []
        self._due = False
        session.changed = self._changed

    def build(self) -> None:
        """Build the page in the browser that asks for it."""
        view = View(self._session)
        self._views.append(view)
        ui.context.client.on_delete(lambda: self._views.remove(view))
        ui.timer(LOOK_AT_FILE_S, self._session.look_at_file)

    def _changed(self) -> None:
        """Something new is there; called from any thread."""
        loop = core.loop
        if loop is not None and not self._due and not loop.is_closed():
            self._due = True
            loop.call_soon_threadsafe(self._refresh)

    def _refresh(self) -> None:
        self._due = False
        for view in self._views:
            view.refresh()
