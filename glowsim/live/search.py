"""Long work in the background of the page: what it is doing, and a way to give it up."""

from __future__ import annotations

from nicegui import core, ui

from glowsim.live.lane import SupersededError


class Search:
    """One piece of long work, shown while it lasts."""

    def __init__(self, root: ui.element) -> None:
        """Show it on a page."""
        self._stopped = False
        with root, ui.element("div").classes("asked").props('role="status"') as self._box:
            self._words = ui.label("looking for places …")
            with ui.element("button").classes("quiet") as button:
                ui.label("give up")
            button.on("click", self._stop)

    def report(self, words: str) -> None:
        """Tell what is being worked on, from any thread; raises once it has been given up."""
        if self._stopped:
            raise SupersededError
        if core.loop is not None:
            core.loop.call_soon_threadsafe(self._words.set_text, words)

    def _stop(self) -> None:
        self._stopped = True
        self._words.set_text("giving up …")

    def end(self) -> None:
        """Take it off the page."""
        self._box.delete()
