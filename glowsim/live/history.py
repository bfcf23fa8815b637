"""Undo and redo for everything that is done by hand."""

from __future__ import annotations

from typing import Generic, TypeVar

State = TypeVar("State")

MOST = 500
"""Steps that can be undone: a long day of moving boards."""


class History(Generic[State]):
    """The states from the first to the present one, and those that were undone."""

    def __init__(self, first: State) -> None:
        """Begin with a state."""
        self._done: list[tuple[str, State]] = [("", first)]
        self._undone: list[tuple[str, State]] = []

    @property
    def now(self) -> State:
        """The present state."""
        return self._done[-1][1]

    @property
    def undo_words(self) -> str:
        """What an undo would take back, '' for nothing."""
        return self._done[-1][0] if len(self._done) > 1 else ""

    @property
    def redo_words(self) -> str:
        """What a redo would do again, '' for nothing."""
        return self._undone[-1][0] if self._undone else ""

    def did(self, words: str, state: State) -> None:
        """Add a step; what had been undone is gone. A step that changes nothing is none."""
        if state == self.now:
            return
        self._done.append((words, state))
        del self._done[1 : len(self._done) - MOST]
        self._undone.clear()

    def drop(self) -> None:
        """Forget the last step, as if it had never been done."""
        if len(self._done) > 1:
            self._done.pop()
        self._undone.clear()

    def undo(self) -> bool:
        """Go back one step; return whether there was one."""
        if len(self._done) == 1:
            return False
        self._undone.append(self._done.pop())
        return True

    def redo(self) -> bool:
        """Do again what was undone last; return whether there was anything."""
        if not self._undone:
            return False
        self._done.append(self._undone.pop())
        return True
