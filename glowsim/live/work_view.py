"""What the page shows of work in the background: its progress, what it made, pulses to confirm."""

from __future__ import annotations

import html
import json
from functools import partial
from typing import TYPE_CHECKING
from urllib.parse import quote

from nicegui import ui

from glowsim.live import edits
from glowsim.live.background import Made
from glowsim.live.edits import Prop
from glowsim.live.offering import Offer
from glowsim.live.pulsing import Pulsing
from glowsim.live.works import SURE_S, Works

if TYPE_CHECKING:
    from glowsim.live.frame import Frame
    from glowsim.live.view import View

MOST_BOARDS = 4
THICKNESS_STEPS = 6


def _lines(news: str, offer: Offer | None) -> str:
    """Return what came of work, and what is offered, in lines."""
    return "\n".join(filter(None, (news, offer.words if offer else "")))


class WorkLine:
    """The line that tells what is being worked on, and what came of it until it is put away."""

    def __init__(self, frame: Frame, works: Works, pictured: bool = False) -> None:
        """Show it on a page.

        pictured : results are shown with their pictures
        """
        self._frame, self._works, self._pictured = frame, works, pictured
        self._told = works.news[0]
        self._seen = max(works.made, default=0)
        self._was_busy = False
        self._news = ""

    def build(self) -> None:
        """Add the line."""
        with ui.element("div").classes("asked work").props('role="status"') as self._row:
            self._words = ui.label("")
            self._give_up = self._frame.button("give up", self._works.give_up)
            self._take = self._frame.button("take the best so far", self._works.give_up)
            self._look = self._frame.button("look at it", self._look_at_it)
            self._take_it = self._frame.button("take it", self._works.take_offer)
            self._leave_it = self._frame.button("leave it", self._leave_offer)
            self._away = self._frame.button("put away", self._put_away)

    def refresh(self) -> None:
        """Bring it up to date."""
        works = self._works
        number, words = works.news
        if number != self._told:
            self._told, self._news = number, words
        if works.busy and not self._was_busy:
            self._news, self._seen = "", max(works.made, default=0)
        self._was_busy = works.busy
        offer = works.offer if works.offer and works.offer.holds else None
        self._words.set_text(self._doing() if works.busy else _lines(self._news, offer))
        self._row.set_visibility(works.busy or bool(self._words.text))
        self._give_up.set_visibility(works.busy and not works.found)
        self._take.set_visibility(works.busy and bool(works.found))
        self._take_it.set_visibility(not works.busy and offer is not None)
        self._leave_it.set_visibility(not works.busy and offer is not None)
        self._away.set_visibility(not works.busy and offer is None)
        self._look.set_visibility(max(works.made, default=0) > self._seen)

    def _look_at_it(self) -> None:
        number = max(self._works.made)
        self.show(number, self._works.made[number])

    def _doing(self) -> str:
        works = self._works
        best = f"\nThe best so far is {works.found}." if works.found else ""
        return f"{works.words}: {works.doing or 'beginning'} …{best}"

    def _put_away(self) -> None:
        self._news = ""

    def _leave_offer(self) -> None:
        self._works.leave_offer()
        self._put_away()

    def show(self, number: int, made: Made) -> None:
        """Show what a command said and made."""
        with self._frame.root, ui.dialog(value=True) as dialog, ui.card().classes("picture"):
            ui.label(made.words).classes("head")
            if made.text:
                ui.label(made.text).classes("printed")
            for k, file in enumerate(made.to_open):
                address = f"/live/made/{number}/{k}/{quote(file.name)}"
                if self._pictured and file.suffix.lower() == ".png":
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
        name = edits.told_as(session.now, view.body)
        for reason in session.figures.rough(name):
            ui.label(f"{name}: quick is a rough guide here: {reason}").classes("said")
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
