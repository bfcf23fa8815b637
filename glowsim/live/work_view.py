"""What the page shows of work in the background: its progress, what it made, pulses to confirm."""

from __future__ import annotations

import html
import json
from functools import partial
from typing import TYPE_CHECKING
from urllib.parse import quote

from nicegui import ui

from glowsim.live.background import Made
from glowsim.live.edits import Prop
from glowsim.live.pulsing import Pulsing
from glowsim.live.works import SURE_S, Works

if TYPE_CHECKING:
    from glowsim.live.frame import Frame
    from glowsim.live.view import View

MOST_BOARDS = 4
THICKNESS_STEPS = 6


class WorkLine:
    """The line that tells what is being worked on, and what has been made."""

    def __init__(self, frame: Frame, works: Works) -> None:
        """Show it on a page."""
        self._frame, self._works = frame, works
        self._told = works.news[0]

    def build(self) -> None:
        """Add the line."""
        with ui.element("div").classes("asked work").props('role="status"') as self._row:
            self._words = ui.label("")
            self._frame.button("give up", self._works.give_up)

    def refresh(self) -> None:
        """Bring it up to date."""
        works = self._works
        self._row.set_visibility(works.busy)
        self._words.set_text(f"{works.words}: {works.doing or 'beginning'} …")
        number, words = works.news
        if number != self._told:
            self._told = number
            self._frame.say(words)

    def show(self, number: int, made: Made, pictured: bool = False) -> None:
        """Show what a command said and made, with or without its pictures themselves."""
        with self._frame.root, ui.dialog(value=True) as dialog, ui.card().classes("picture"):
            ui.label(made.words).classes("head")
            if made.text:
                ui.label(made.text).classes("printed")
            for k, file in enumerate(made.to_open):
                address = f"/live/made/{number}/{k}/{quote(file.name)}"
                if pictured and file.suffix.lower() == ".png":
                    ui.element("img").props(f'src="{address}" alt="{html.escape(file.name)}"')
                link = ui.link(file.name, address, True)
                link.props(f"title={json.dumps(str(file))}")
            if made.files:
                ui.label(f"in {made.files[0].parent}").classes("dim")
            self._frame.button("close", dialog.close)


class WorkView(WorkLine):
    """The work of all pages, as the view of a prop shows it: with pulses, and what can be made."""

    def __init__(self, view: View, works: Works) -> None:
        """Show it on a view."""
        super().__init__(view, works)
        self._view = view
        self._pulse_on = False
        self._asked: Prop | None = None
        self._played: Pulsing | None = None

    def build(self) -> None:
        """Add the line that tells what is being worked on, and the one that warns of flashes."""
        super().build()
        with ui.element("div").classes("asked").props('role="alertdialog"') as self._flashing:
            self._warning = ui.label("")
            self._view.button("play it all the same", lambda: self._play())
            self._view.button("leave it", lambda: self.set_pulse(False))
        self._flashing.set_visibility(False)

    def refresh(self) -> None:
        """Bring it up to date."""
        super().refresh()
        self._refresh_pulse()

    # Pulses.

    def set_pulse(self, on: bool) -> None:
        """Play the zones, or stop; what flashes too often is not played before it is confirmed."""
        self._pulse_on, self._played, self._asked = on, None, None
        if not on:
            self._flashing.set_visibility(False)
            self._view.stage.stop_pulse()
            self._view.press_pulse(False)
        self._refresh_pulse()

    def _refresh_pulse(self) -> None:
        works, prop = self._works, self._view.session.now
        if not self._pulse_on or works.busy:
            return
        ready = works.pulsing
        if ready is not None and ready.prop == prop:
            if self._played is None:
                self._played = ready
                self._warning.set_text(ready.warning)
                self._flashing.set_visibility(bool(ready.warning))
                if not ready.warning:
                    self._play()
        elif self._played is not None or self._asked == prop:
            # The prop was changed, and what is seen follows the hand; or there is nothing to play.
            self.set_pulse(False)
        else:
            self._asked = prop
            works.make_pulsing(self._view.session)

    def _play(self) -> None:
        self._flashing.set_visibility(False)
        self._view.stage.play_pulse()

    # What can be made.

    def opened(self, menu: ui.menu) -> None:
        """Fill the menu of what can be made of the scene as it stands, and what has been."""
        view, session, works = self._view, self._view.session, self._works
        body = session.now.scene.bodies[view.body]
        ui.label("Of the scene as it stands; what is not saved is saved first").classes("head")
        self._line(menu, "a build sheet", "sheet")
        self._line(menu, "a turntable", "turntable")
        options = ("--body", body.name, "--max", str(MOST_BOARDS))
        self._line(menu, f"how many boards the {body.name} needs", "modules", *options)
        wall = body.wall_mm
        low, high = (round(wall / 2, 2), round(2 * wall, 2)) if wall else (0.0, 12.0)
        what = (
            f"how thick the wall of the {body.name}"
            if wall
            else f"how thick a layer more around the {body.name}"
        )
        words = f"{what} should be, {low:g} to {high:g} mm"
        limits = ("--from", f"{low:g}", "--to", f"{high:g}", "--steps", str(THICKNESS_STEPS))
        self._line(menu, words, "thickness", "--body", body.name, *limits)
        self._line(menu, "what would mend it, each change tried", "glow")
        ui.label("Is it true?").classes("head")
        view.handles.line(
            menu,
            f"be sure: follow the light piece by piece, {SURE_S} s",
            lambda: works.make_sure(session),
        )
        if works.made:
            ui.label("Made").classes("head")
        for number, made in reversed(works.made.items()):
            view.handles.line(menu, made.words, partial(self.show, number, made))

    def _line(self, menu: ui.menu, words: str, name: str, *options: str) -> None:
        start = partial(self._works.run, self._view.session, words, name, *options)
        self._view.handles.line(menu, words, start)
