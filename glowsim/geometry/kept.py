"""The last few things made, each made once, whoever asks and from however many threads."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Hashable
from concurrent.futures import Future
from threading import Lock
from typing import Generic, TypeVar

Made = TypeVar("Made")


class Kept(Generic[Made]):
    """Things by what they were made from; the one not asked for longest goes first."""

    def __init__(self, most: int) -> None:
        """Keep `most` things at a time."""
        self._most = most
        self._made: OrderedDict[Hashable, Future[Made]] = OrderedDict()
        self._lock = Lock()

    def get(self, key: Hashable, make: Callable[[], Made]) -> Made:
        """Return what was made under `key`, or make it; others who ask meanwhile wait for it.

        What `make` raises is raised, and nothing is kept of it.
        """
        with self._lock:
            made = self._made.get(key)
            mine = made is None
            if made is None:
                made = self._made[key] = Future()
                if len(self._made) > self._most:
                    self._made.popitem(last=False)
            self._made.move_to_end(key)
        if not mine:
            return made.result()
        try:
            made.set_result(make())
        except BaseException as problem:
            made.set_exception(problem)
            with self._lock:
                if self._made.get(key) is made:
                    del self._made[key]
            raise
        return made.result()
