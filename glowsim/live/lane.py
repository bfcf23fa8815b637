"""A thread that works on the newest wish alone: the latest wins, those in between are dropped."""

from __future__ import annotations

import threading
from collections.abc import Callable


class SupersededError(Exception):
    """Work was given up because something newer is wanted."""


Check = Callable[[], None]
"""Raises SupersededError if the work under way is not wanted any more."""
Work = Callable[[Check], None]


class Lane:
    """One worker thread."""

    def __init__(self, name: str) -> None:
        """Start the thread, which ends with the program."""
        self._ready = threading.Condition()
        self._wish: Work | None = None
        self._number = 0
        self._busy = self._closed = False
        self._thread = threading.Thread(target=self._run, name=name, daemon=True)
        self._thread.start()

    def want(self, work: Work) -> None:
        """Do `work` as soon as what is under way has ended or given up."""
        with self._ready:
            self._wish = work
            self._number += 1
            self._ready.notify_all()

    def give_up(self) -> None:
        """Want nothing any more: what is under way ends at its next check."""
        with self._ready:
            self._wish = None
            self._number += 1

    def wait(self, seconds: float = 60.0) -> bool:
        """Wait until nothing is wanted or under way; return whether that came to pass."""
        with self._ready:
            return self._ready.wait_for(lambda: self._wish is None and not self._busy, seconds)

    def close(self) -> None:
        """End the thread, once it gives up what it is doing; see `ended`."""
        with self._ready:
            self._closed, self._wish = True, None
            self._number += 1
            self._ready.notify_all()

    def ended(self, seconds: float) -> bool:
        """Wait until the thread has ended; return whether that came to pass."""
        self._thread.join(max(seconds, 0.0))
        return not self._thread.is_alive()

    def _run(self) -> None:
        while True:
            with self._ready:
                self._ready.wait_for(lambda: self._wish is not None or self._closed)
                if self._closed:
                    return
                work, number = self._wish, self._number
                self._wish, self._busy = None, True

            def check(mine: int = number) -> None:
                if mine != self._number:
                    raise SupersededError

            try:
                assert work is not None
                work(check)
            except SupersededError:
                pass
            finally:
                with self._ready:
                    self._busy = False
                    self._ready.notify_all()
