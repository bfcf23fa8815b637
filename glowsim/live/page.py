"""The page of one session, in every browser that opens it."""

from __future__ import annotations

from pathlib import Path

from nicegui import Client, core, ui

from glowsim.live.begin_view import Beginning
from glowsim.live.pulsing import Pulsing
from glowsim.live.session import Session
from glowsim.live.view import View
from glowsim.live.works import Works

LOOK_AT_FILE_S = 1.0


class Page:
    """Builds the page for each browser that opens it, and keeps all of them up to date."""

    def __init__(self, session: Session | None, beginning: Beginning | None = None) -> None:
        """Show one session, or without one the first page; a second page follows the first."""
        self.session: Session | None = None
        self.works = Works(self._changed)
        self.beginning = beginning
        self._views: list[View] = []
        self._due = False
        if session is not None:
            self._show(session)

    @property
    def pulsing(self) -> Pulsing | None:
        """The pulses that were made ready last."""
        return self.works.pulsing

    def begin(self) -> None:
        """Begin to light the scene, if there is one."""
        if self.session is not None:
            self.session.begin()

    def _show(self, session: Session) -> None:
        self.session = session
        session.changed = self._changed

    def opened(self, scene: Path) -> None:
        """Show a scene that was just made, in every browser; raises as `Session` does."""
        self._show(Session(scene))
        assert core.loop is not None
        core.loop.call_soon_threadsafe(_load_again)

    def build(self) -> None:
        """Build the page in the browser that asks for it."""
        if self.session is None:
            assert self.beginning is not None
            self.beginning.build()
            return
        view = View(self.session, self.works)
        self._views.append(view)
        ui.context.client.on_delete(lambda: self._views.remove(view))
        ui.timer(LOOK_AT_FILE_S, self.session.look_at_file)

    def close(self) -> None:
        """End all work."""
        self.works.close()
        if self.session is not None:
            self.session.close()
        if self.beginning is not None:
            self.beginning.close()

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


def _load_again() -> None:
    for client in list(Client.instances.values()):
        client.run_javascript("location.reload()")
