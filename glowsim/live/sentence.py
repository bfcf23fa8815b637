"""The one sentence that tells what is seen; its numbers and nouns are the handles of the page."""

from __future__ import annotations

from dataclasses import dataclass

from glowsim.catalogue import Catalogue
from glowsim.findings import Finding
from glowsim.live.edits import BoardAt, Prop, told_as
from glowsim.live.figures import Figures
from glowsim.scene import Light

_COUNTS = ("No", "One", "Two", "Three", "Four", "Five", "Six", "Seven", "Eight", "Nine", "Ten")
COLOURS = ("red", "green", "blue")
WAITING = "…"


@dataclass(frozen=True)
class Piece:
    """A part of the sentence: plain words, or a handle if it has a name."""

    text: str
    handle: str = ""


def lit_body(prop: Prop, chosen: BoardAt | None) -> int:
    """Return the body the sentence is about: that of the chosen board, or the first with lights."""
    if chosen is not None:
        return chosen.body
    return next((n for n, body in enumerate(prop.scene.bodies) if body.lights), 0)


def sentence(
    prop: Prop, body: int, catalogue: Catalogue, figures: Figures, fresh: bool
) -> list[Piece]:
    """Return the sentence about one body of a prop.

    fresh : whether the figures are those of the prop as it is; until then they stand as dots
    """
    own, room = prop.scene.bodies[body], prop.scene.room
    count = len(own.lights)
    pieces = [
        Piece(boards_of(prop, body, catalogue), "boards"),
        Piece(" at "),
        Piece(_level(prop, body, catalogue), "drive"),
        Piece(" light " if count != 1 else " lights "),
        Piece(f"the {own.name}", "body"),
        Piece(" of "),
        Piece(plain(own.material), "material"),
        Piece(". In "),
        Piece(f"{room.illuminance_lx:g} lx", "room"),
        Piece(" from "),
        Piece(f"{room.viewing_distance_mm / 1000:g} m", "distance"),
        Piece(" it "),
    ]
    return [*pieces, *_told(told_as(prop, body), figures, fresh)]


def plain(name: str) -> str:
    """Return a name of the catalogue as words."""
    return name.replace("_", " ")


def reach(finding: Finding) -> str:
    """Return how high up a finding reaches, in words."""
    low, high = f"{finding.from_mm:.0f}", f"{finding.to_mm:.0f}"
    if finding.from_mm < 0:  # of a body that stands around its origin, such as an orb
        return f"at z = {low} mm" if low == high else f"from z = {low} to {high} mm"
    return f"at {low} mm up" if low == high else f"from {low} to {high} mm up"


def spoken(pieces: list[Piece]) -> str:
    """Return the whole sentence as text, for those who hear it."""
    return "".join(piece.text for piece in pieces)


def boards_of(prop: Prop, body: int, catalogue: Catalogue) -> str:
    """Return the boards of a body in words: 'Two 12-LED rings'."""
    lights = prop.scene.bodies[body].lights
    count = _COUNTS[len(lights)] if len(lights) < len(_COUNTS) else str(len(lights))
    kinds = {light.board for light in lights}
    kind = "light board"
    if len(kinds) == 1:
        kind = catalogue.board(kinds.pop()).label.partition(",")[0]
    off = sum(at.body == body for at in prop.kept)
    head, on, rest = kind.partition(" on ")
    words = f"{count} {head}{'' if len(lights) == 1 else 's'}{on}{rest}"
    return f"{words} ({off} off)" if off else words


def channels_of(light: Light, catalogue: Catalogue) -> tuple[str, ...]:
    """Return the channels of a light's board, as its drive calls them."""
    return ("white",) if catalogue.board(light.board).drive == "white" else COLOURS


def _level(prop: Prop, body: int, catalogue: Catalogue) -> str:
    levels = []
    for k, light in enumerate(prop.scene.bodies[body].lights):
        drive = prop.kept.get(BoardAt(body, k), light.drive)
        levels.append(max(getattr(drive, c) for c in channels_of(light, catalogue)))
    if not levels:
        return "no level"
    low, high = min(levels), max(levels)
    return f"{100 * high:.0f} %" if low == high else f"{100 * low:.0f} to {100 * high:.0f} %"


def _told(name: str, figures: Figures, fresh: bool) -> list[Piece]:
    """Return what the figures say of a body."""
    lit, even, worst = figures.lit(name), figures.evenness(name), figures.worst(name)
    if not fresh and figures.findings is None:
        return [Piece(f"{WAITING} the light is being worked out.")]
    if lit is None or even is None:
        return [Piece("has no light of its own.")]
    grade = lit.grade if lit.grade.startswith(("looks", "glows")) else f"is {lit.grade}"
    even_words = f"{even.grade or 'lit'}: {100 * even.within_share:.0f} % of it is even"
    pieces = [
        Piece(grade, "lit"),
        Piece(", "),
        Piece(even_words, "even"),
    ]
    if worst is not None:
        pieces += [Piece(", with "), Piece(f"a {worst.kind} {reach(worst)}", "worst")]
    pieces.append(Piece("; "))
    pieces.append(Piece(power_of(figures), "power"))
    if figures.hours is not None:
        pieces += [Piece(", "), Piece(f"{figures.hours} h on its battery", "battery")]
    warm = figures.hottest_c
    waits = "warmth unknown" if figures.heat_unknown else f"{WAITING} °C"
    pieces += [
        Piece(", "),
        Piece(f"{warm:.0f} °C" if warm is not None else waits, "heat"),
    ]
    pieces.append(Piece("."))
    if figures.cautions:
        topics = dict.fromkeys(words.partition(":")[0].lower() for words in figures.cautions)
        pieces += [Piece(" "), Piece(f"Caution: {' and '.join(topics)}.", "caution")]
    if even.grade != "even":
        words = "Make it even?" if even.grade == "patchy" else "Make it more even?"
        pieces += [Piece(" "), Piece(words, "evener")]
    return pieces


def power_of(figures: Figures) -> str:
    """Return what the boards draw, in words."""
    if figures.watts is not None:
        return f"{figures.watts:.2g} W"
    if figures.heat_unknown and figures.power:
        return f"{figures.power.total.drawn_ma:.0f} mA"
    return f"{WAITING} W"
