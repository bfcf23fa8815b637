"""The page in one browser: a dark room, the prop, one sentence. It holds no numbers of its own."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

from nicegui import background_tasks, run, ui

from glowsim.errors import GlowsimError
from glowsim.findings import Findings
from glowsim.live import edits, helping
from glowsim.live.boards import as_marks, outlines
from glowsim.live.carried import ALONE, WAYS, carried
from glowsim.live.edits import BoardAt, Prop
from glowsim.live.frame import Frame
from glowsim.live.handles import Handles
from glowsim.live.sentence import Piece, lit_body, sentence, spoken
from glowsim.live.session import Session
from glowsim.live.skin import tone_law
from glowsim.live.stage import Stage
from glowsim.live.work_view import WorkView
from glowsim.live.works import Works
from glowsim.pictures.text import number

PHOTO = (1280, 960)


class View(Frame):
    """The page in one browser."""

    def __init__(
        self, session: Session, works: Works, show_readings: Callable[[Path], None]
    ) -> None:
        """Build it inside the present client; show_readings : in place of the prop."""
        self.session, self.show_readings = session, show_readings
        self._works = works
        self.chosen: tuple[BoardAt, int] | None = None
        self._shown: Any = None
        self._boards: Any = None
        self._pieces: list[Piece] = []
        self._labels: list[ui.label] = []
        self._marked: Findings | None = None
        self._hinting = False
        self._hinted: tuple[Prop, int, int] | None = None
        self._tried: list[int] | None = None
        view = session.now.scene.view
        self._angles = (view.azimuth_deg, view.elevation_deg)
        super().__init__()
        self.handles = Handles(self)
        self._work = WorkView(self, works)
        with ui.element("main").classes("room") as self.root:
            self._build_stage()
            self._build_top()
            self._tries = ui.element("nav").classes("tries").props('aria-label="Tries"')
            with ui.element("footer").classes("foot"):
                self._mark = ui.label("").classes("mark")
                self._sentence = ui.element("p").classes("sentence")
            self._spoken = ui.label("").classes("unseen").props('role="status" aria-live="polite"')
        self.refresh()

    # Building.

    def _build_stage(self) -> None:
        scene = self.session.now.scene
        view = {
            "azimuth": self._angles[0],
            "elevation": self._angles[1],
            "distance": scene.room.viewing_distance_mm,
        }
        self.stage = Stage(tone_law(1.0), view)
        told: dict[str, Callable[[Any], None]] = {
            "ready": lambda _: self._ready(),
            "choose": self._choose,
            "drag": self._drag,
            "drop": lambda _: self.session.release(),
            "nudge": lambda a: self.session.nudge(BoardAt(a["body"], a["light"]), a["step"]),
            "type": lambda a: self.session.type_number(self.held, a["hand"], a["value"]),
            "face": lambda a: self.session.turn(self.held, WAYS[a]) if a in WAYS else None,
            "act": self._act,
            "view": self._viewed,
        }
        for name, handler in told.items():
            self.stage.on(name, self.guarded(handler))

    def _build_top(self) -> None:
        with ui.element("header").classes("top"):
            self._title = ui.label("").classes("title")
            self._switch("figures", "show the brightness map", self._set_figures)
            self._switch("bodies clear", "see through the bodies", self._set_clear)
            self._switch("cut open", "cut the near half away", self._set_cut)
            self._switch("where would light help", "show it inside the body", self._set_hints)
            self._pulse = self._switch("pulse", "let the zones move", self._work.set_pulse)
            ui.space()
            self.add_steps(self.session.undo, self.session.redo)
            self.button("keep this try", self.keep_try)
            self.button("photo", self.photo)
            self.handles.opening("make", self._work.opened)
            self._save = self.button("save", self.save)
        self.add_told()
        self.add_doubts()
        with ui.element("div").classes("asked") as self._asked:
            ui.label("The scene file was changed by another program.")
            self.button("read it again", lambda: self.session.reload())
            self.button("keep both", lambda: self.session.keep_both())
        with ui.element("div").classes("asked") as self._left:
            ui.label("Changes of last time were not saved.")
            self.button("take them back", lambda: self.session.take_left_over(True))
            self.button("forget them", lambda: self.session.take_left_over(False))
        self._asked.set_visibility(False)
        self._work.build()
        ui.keyboard(on_key=self._key, ignore=["input", "select", "textarea"])

    def _switch(self, words: str, title: str, told: Callable[[bool], Any]) -> ui.element:
        def turn() -> Any:
            on = button.props["aria-pressed"] != "true"
            _press(button, on)
            return told(on)

        button = self.button(words, turn)
        button.props(f'title="{title}"')
        _press(button, False)
        return button

    def press_pulse(self, on: bool) -> None:
        """Show whether the zones move."""
        _press(self._pulse, on)

    # What is told by the browser.

    @property
    def held(self) -> BoardAt:
        """The board that is chosen; raises GlowsimError for none."""
        if self.chosen is None:
            raise GlowsimError("no board is chosen")
        return self.chosen[0]

    def _ready(self) -> None:
        self._boards = self._shown = self._marked = None
        self.refresh()

    def choose(self, at: BoardAt | None, copy: int = 0) -> None:
        """Take a board, None for none."""
        self.chosen = None if at is None else (at, copy)
        self.refresh()

    def _choose(self, told: Any) -> None:
        if told is None:
            self.choose(None)
        else:
            self.choose(BoardAt(told["body"], told["light"]), told["copy"])

    def _drag(self, told: Any) -> None:
        try:
            at = BoardAt(told["body"], told["light"])
            self.session.drag(at, told["copy"], told["point"], told["piece"])
        finally:
            self.stage.took()

    def _viewed(self, told: Any) -> None:
        self._angles = (float(told["azimuth"]), float(told["elevation"]))

    def _act(self, what: Any) -> Any:
        at = self.held
        if what == "double":
            self.choose(self.session.double(at))
        elif what == "best place":
            return self.best_place()
        elif what == ALONE:
            self.choose(self.session.split_off(*self.chosen))  # type: ignore[misc]
        elif what == "remove":
            self.chosen = None
            self.session.do("remove a board", lambda prop: edits.removed(prop, at))
        elif what in ("off", "on"):
            self.session.do(f"switch a board {what}", lambda prop: edits.switched(prop, at))
        return None

    def _set_figures(self, on: bool) -> None:
        self.stage.set_figures(on)

    def _set_clear(self, on: bool) -> None:
        self.stage.set_clear(on)

    def _set_cut(self, on: bool) -> None:
        self.stage.set_cut(on)

    def _set_hints(self, on: bool) -> Any:
        self._hinting = on
        self._hinted = None
        if not on:
            self.stage.set_hints(None)
        return self._hint() if on else None

    async def _hint(self) -> None:
        """Show the cloud of the prop as it is, once for each full answer."""
        seen = self.session.seen
        copy = self.chosen[1] if self.chosen else 0
        wanted = (self.session.now, self.body, copy)
        if not self._hinting or not self.session.rests or seen is None or wanted == self._hinted:
            return
        self._hinted = wanted
        try:
            found = await run.io_bound(helping.hints, self.session, self.body)
        except GlowsimError as problem:
            self.tell(str(problem))
            return
        if self._hinting and found is not None and self._hinted == wanted:
            self.stage.set_hints(helping.as_marks(found, *wanted))

    async def best_place(self) -> None:
        """Put the chosen board where it helps most."""
        self.say("looking for the best place …")
        await run.io_bound(helping.to_best_place, self.session, self.held)

    def find_places(self, count: int) -> None:
        """Place so many boards anew, in the background."""
        self._works.find_places(self.session, self.body, count)

    def make_even(self, other_material: bool) -> None:
        """Make the body even, in the background."""
        self._works.make_even(self.session, self.body, other_material)

    def try_evener(self) -> None:
        """Try what would make the body even, in the background."""
        self._works.try_evener(self.session, self.body)

    def _key(self, event: Any) -> None:
        if not event.action.keydown or not (event.modifiers.ctrl or event.modifiers.meta):
            return
        if event.key.name.lower() == "z":
            (self.session.redo if event.modifiers.shift else self.session.undo)()
        elif event.key.name.lower() == "y":
            self.session.redo()

    def save(self) -> None:
        """Save, and say where."""
        path = self.session.save()
        self.say(f"saved as {path.name}")

    async def keep_try(self) -> None:
        """Keep a try with the sentence as its words."""
        words = spoken(self._pieces)
        self.say("keeping this try …")
        await run.io_bound(self.session.keep_try, words, *self._angles)

    async def photo(self) -> None:
        """Take a photo from where the prop is seen."""
        self.say("taking a photo …")
        picture = await run.io_bound(self.session.photo, PHOTO, *self._angles)
        with self.root:
            ui.download(picture or b"", f"{self.session.path.stem}-photo.png", "image/png")

    async def compare(self, number: int) -> None:
        """Show a try beside the prop as it is."""
        self.say("taking both photos …")
        one = next(one for one in self.session.tries.kept if one.number == number)
        picture = await run.io_bound(self.session.compared, one, *self._angles)
        self.handles.show_picture(picture or b"", f"try {number}, and now, at one exposure")

    # What is shown.

    def refresh(self) -> None:
        """Bring everything up to date; nothing is sent that has not changed."""
        session, prop = self.session, self.session.now
        with self.root:
            seen = session.seen
            if seen is not None and seen.number != self._shown:
                self._shown = seen.number
                self.stage.light()
            self._refresh_boards()
            self._refresh_marks()
            self._refresh_words()
            self._refresh_tries()
        self._title.set_text(prop.scene.title or session.path.stem)
        self.show_steps(session.history)
        self.set_button(self._save, "save", "the scene" if session.unsaved else "")
        self._asked.set_visibility(session.file_changed)
        self._left.set_visibility(session.left_over is not None)
        self.show_doubts(session.figures.asked)
        self.show_told(session.error)
        self._mark.set_text(self._mark_words())
        self._work.refresh()
        if self._hinting:
            background_tasks.create(self._hint())

    def _mark_words(self) -> str:
        session = self.session
        if session.seen is None:
            return f"first light: {session.doing or 'reading'} …"
        if session.rests:
            rough = session.figures.rough(edits.told_as(session.now, self.body))
            guide = ", a rough guide here" if rough else ""
            return f"full answer{guide}; white is {number(session.seen.exposure_cd_m2)} cd/m²"
        shown = "full answer" if session.seen.full and session.seen.prop == session.now else "draft"
        return f"{shown}; {session.doing or 'waiting for your hand'} …"

    def _refresh_boards(self) -> None:
        prop = self.session.now
        if self.chosen is not None and self.chosen[0] not in prop.boards:
            self.chosen = None
        boards = outlines(prop, self.session.file(), self.session.catalogue())
        held = carried(self.session, self.chosen)
        if (boards, held) != self._boards:
            self._boards = (boards, held)
            self.stage.set_boards(boards)
            self.stage.set_held(held)

    def _refresh_marks(self) -> None:
        findings = self.session.figures.findings
        if findings is not self._marked:
            self._marked = findings
            self.stage.set_marks(as_marks(findings))

    @property
    def body(self) -> int:
        """The body the sentence is about."""
        return lit_body(self.session.now, self.chosen[0] if self.chosen else None)

    def _refresh_words(self) -> None:
        session = self.session
        fresh = session.rests
        pieces = sentence(session.now, self.body, session.catalogue(), session.figures, fresh)
        if [p.handle for p in pieces] != [p.handle for p in self._pieces]:
            self._sentence.clear()
            with self._sentence:
                self._labels = [self.handles.piece(piece) for piece in pieces]
        for label, piece in zip(self._labels, pieces, strict=True):
            label.set_text(piece.text)
        self._pieces = pieces
        if fresh:
            self._sentence.classes(remove="stale")
        else:
            self._sentence.classes("stale")
        if fresh:
            self._spoken.set_text(spoken(pieces))

    def _refresh_tries(self) -> None:
        kept = [one.number for one in self.session.tries.kept]
        if self._tried == kept:
            return
        self._tried = kept
        self._tries.clear()
        with self._tries:
            for one in self.session.tries.kept:
                self.handles.try_card(one)


def _press(button: ui.element, on: bool) -> None:
    button.props(f"aria-pressed={str(on).lower()}")
