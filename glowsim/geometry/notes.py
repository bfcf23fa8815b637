"""What is said of a body besides its shape: plain notes, and doubts that only the maker settles."""

from __future__ import annotations


class Doubt(str):
    """A note that asks the maker something; `check` counts it among what to look at."""

    __slots__ = ()
