"""Cautions about current, cells and flashing light, in the project's own words."""

from __future__ import annotations

CAUTIONS = {
    "arithmetic": "This is arithmetic, not approval. Your local electrical, fire and workplace "
    "rules, the event's rules, the makers' instructions for your own parts and any licensed "
    "electrician outrank it. Low voltage only: nothing here is for mains.",
    "fuse": "Fuse: one, within a hand's width of the battery's plus. One that blows tells you "
    "something: find it before you fit another.",
    "lithium": "Lithium cells: protected ones, and a charger made for them. Never charge them "
    "inside the prop, unwatched or in the cold; never pierce, crush, short or solder to a cell. "
    "Swollen, dented or hot: stop, take it outside, and to a battery collection point.",
    "polarity": "Before you switch on: measure polarity and voltage at the last board. Join "
    "grounds before power, power before data.",
    "solder": "Soldering: the smoke of flux can start asthma that stays. Draw it away from your "
    "face, cover your eyes, wash your hands before food.",
    "flash": "Flashing light can bring on a seizure or make people ill. This counts the flashes of "
    "one view by a rule made for screens; it is no medical clearance. Give the handler a switch "
    "within reach, and put up a notice wherever light flashes.",
}


def power_cautions(kinds: set[str]) -> tuple[str, ...]:
    """Return the cautions for wiring up boards to batteries of some kinds ('lithium', ...)."""
    chosen = ["arithmetic", "fuse", *(["lithium"] if kinds & {"lithium", "bank"} else [])]
    return tuple(CAUTIONS[key] for key in (*chosen, "polarity", "solder"))
