"""The last few surfaces made from mesh files: reading and mending a fine mesh takes seconds."""

from __future__ import annotations

from collections.abc import Callable, Hashable
from threading import Lock
from typing import Any, TypeVar

MOST = 6
"""Things kept at a time: the bodies of a large prop take turns."""

Made = TypeVar("Made")
_kept: dict[Hashable, Any] = {}
_lock = Lock()


def kept(key: Hashable, make: Callable[[], Made]) -> Made:
    """Return what was made under a key, or make it; what `make` raises is raised, and not kept.

    What is returned is shared: callers must not change it.
    """
    with _lock:
        if key in _kept:
            _kept[key] = _kept.pop(key)  # asked for last, so it goes last
            return _kept[key]  # type: ignore[no-any-return]
    made = make()
    with _lock:
        _kept[key] = made
        while len(_kept) > MOST:
            _kept.pop(next(iter(_kept)))
    return made
