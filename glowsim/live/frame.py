"""What every page has: quiet buttons in words, faults shown beside the work, a word said."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any

from nicegui import ui
from nicegui.events import GenericEventArguments

from glowsim.errors import GlowsimError
from glowsim.live.history import History

STYLE = Path(__file__).with_name("style.css")


class Frame:
    """A page in one browser."""

    root: ui.element

    def __init__(self) -> None:
        """Build it inside the present client."""
        self._message = ""
        ui.add_css(STYLE.read_text(encoding="utf-8"))

    def refresh(self) -> None:
        """Bring everything up to date; nothing is sent that has not changed."""
        raise NotImplementedError

    def add_told(self) -> None:
        """Add the line that says what is wrong."""
        self._told = ui.label("").classes("told").props('role="alert"')

    def add_doubts(self) -> None:
        """Add the line that asks what was taken on a guess, one thing at a time."""
        self._settled: set[str] = set()
        with ui.element("div").classes("asked doubt").props('role="status"') as self._doubt:
            self._doubt_words = ui.label("")
            self.button("leave it so", self._settle)
        self._doubt.set_visibility(False)

    def show_doubts(self, asked: Iterable[str]) -> None:
        """Show the first thing that is asked and was not answered."""
        words = next((text for text in asked if text not in self._settled), "")
        self._doubt_words.set_text(words)
        self._doubt.set_visibility(bool(words))

    def _settle(self) -> None:
        self._settled.add(self._doubt_words.text)
        self._doubt.set_visibility(False)

    def add_steps(self, undo: Callable[[], Any], redo: Callable[[], Any]) -> None:
        """Add the buttons that take back the last step, and do it again."""
        self._undo, self._redo = self.button("undo", undo), self.button("redo", redo)

    def show_steps(self, history: History[Any]) -> None:
        """Say what they would do."""
        self.set_button(self._undo, "undo", history.undo_words)
        self.set_button(self._redo, "redo", history.redo_words)

    def button(self, words: str, act: Callable[[], Any]) -> ui.element:
        """Return a quiet button in words."""
        with ui.element("button").classes("quiet") as button:
            ui.label(words)
        button.on("click", self.guarded(lambda _: act()))
        return button

    def guarded(self, act: Callable[[Any], Any]) -> Callable[[GenericEventArguments], Any]:
        """Return a handler that shows what is wrong, and loses nothing by it."""

        async def handler(event: GenericEventArguments) -> None:
            try:
                result = act(event.args)
                if result is not None and hasattr(result, "__await__"):
                    await result
                else:
                    self.tell("")
            except GlowsimError as problem:
                self.tell(str(problem))
            except (IndexError, KeyError, TypeError, ValueError) as problem:
                self.tell(f"that cannot be done: {problem}")
            self.refresh()

        return handler

    def tell(self, words: str) -> None:
        """Show a message until the next thing is done."""
        self._message = words
        self._told.set_text(words)
        self._told.set_visibility(bool(words))

    def show_told(self, error: str) -> None:
        """Show what is wrong with what there is, or else with what was done last."""
        wrong = error or self._message
        self._told.set_text(wrong)
        self._told.set_visibility(bool(wrong))

    def say(self, words: str) -> None:
        """Say something that needs no answer."""
        with self.root:
            ui.notify(words, position="top", type=None, timeout=4000)

    def set_button(self, button: ui.element, word: str, what: str) -> None:
        """Say what a button would do; one that would do nothing is off."""
        button.props(f'title="{word}: {what or "nothing"}"')
        if what:
            button.props(remove="disabled")
        else:
            button.props("disabled")
