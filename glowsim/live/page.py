"""The page of one session, in every browser that opens it."""

from __future__ import annotations

import gc
from pathlib import Path

from nicegui import Client, core, ui

from glowsim.live.begin_view import Beginning
from glowsim.live.frame import Frame
from glowsim.live.photo_points import PhotoPoints
from glowsim.live.points_view import PointsView
from glowsim.live.pulsing import Pulsing
from glowsim.live.session import Session
from glowsim.live.view import View
from glowsim.live.works import Works
from glowsim.transport.prepared import PreparedProp

LOOK_AT_FILE_S = 1.0
END_S = 0.5
"""How long work is waited for when the program ends: what is kept was written as it was done."""


class Page:
    """Builds the page for each browser that opens it, and keeps all of them up to date."""

    def __init__(
        self,
        session: Session | None,
        beginning: Beginning | None = None,
        points: PhotoPoints | None = None,
    ) -> None:
        """Show one session, or the photos of a readings file, or else the first page; a second
        page follows the first."""
        self.session: Session | None = None
        self.points = points
        self.works = Works(self._changed)
        self.beginning = beginning
        self._views: list[Frame] = []
        self._due = self._at_readings = self._settled = False
        if session is not None:
            self._show(session)
        if points is not None:
            points.changed = self._changed

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

    def opened(self, scene: Path, kept: PreparedProp) -> None:
        """Show a scene that was just made, in every browser; raises as `Session` does."""
        self._show(Session(scene, kept=kept))
        assert core.loop is not None
        core.loop.call_soon_threadsafe(_load_again)

    def show_readings(self, path: Path) -> None:
        """Show the photos of a readings file in place of the prop; raises as `PhotoPoints` does."""
        if self.points is None or self.points.path != path:
            self.points = PhotoPoints(path, self._changed)
        self._at_readings = True
        _load_again()

    def show_prop(self) -> None:
        """Show the prop again, of what was learnt meanwhile."""
        self._at_readings = False
        if self.session is not None and not self.session.unsaved:
            self.session.reload()
        _load_again()

    def build(self) -> None:
        """Build the page in the browser that asks for it."""
        view: Frame
        if self.session is not None and not self._at_readings:
            view = View(self.session, self.works, self.show_readings)
            look = self.session.look_at_file
        elif self.points is not None:
            back = self.show_prop if self.session is not None else None
            view, look = PointsView(self.points, self.works, back), self.points.look_at_file
        else:
            assert self.beginning is not None
            self.beginning.build()
            return
        self._views.append(view)
        ui.context.client.on_delete(lambda: self._views.remove(view))
        ui.timer(LOOK_AT_FILE_S, look)

    def close(self) -> bool:
        """End all work; return whether it came to its end in time."""
        ended = self.works.close(END_S)
        if self.session is not None:
            ended &= self.session.close(END_S)
        if self.beginning is not None:
            self.beginning.close()
        return ended

    def _changed(self) -> None:
        """Something new is there; called from any thread."""
        loop = core.loop
        if loop is not None and not self._due and not loop.is_closed():
            self._due = True
            loop.call_soon_threadsafe(self._refresh)

    def _refresh(self) -> None:
        self._due = False
        if not self._settled and self.session is not None and self.session.rests:
            self._settled = True
            # What the program is made of, 200 000 objects, is left out of looking for garbage
            # from here on: that held a move up by 0.1 s now and then.
            gc.collect()
            gc.freeze()
        for view in self._views:
            view.refresh()


def _load_again() -> None:
    for client in list(Client.instances.values()):
        client.run_javascript("location.reload()")
