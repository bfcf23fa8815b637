"""What an earlier comparison of quick with the reference says of a body like the one compared."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from glowsim.findings.agreement import OFF, Agreement
from glowsim.geometry.mesh import at_mm
from glowsim.transport.likeness import ALIKE, Likeness
from glowsim.transport.result import BodyGlow


@dataclass(frozen=True)
class Comparison:
    """How far quick was off on one body, when it was last held beside the reference.

    usual, worst_off : root mean square and largest sure difference, as shares
    usual_below      : whether the former is only known to be less
    worst, noise     : quick over reference at its worst place, and its error; None for nowhere
    place_mm         : that place, in the body's own frame
    """

    title: str
    body: str
    likeness: Likeness
    usual: float
    usual_below: bool
    worst_off: float
    worst: float | None
    noise: float | None
    place_mm: tuple[float, ...] | None

    @property
    def rough(self) -> bool:
        """Whether quick was off by more than what counts as a rough guide."""
        return self.worst_off > OFF

    def __str__(self) -> str:
        words = f"{'less than ' * self.usual_below}{_percent(self.usual)} off as a rule"
        if self.worst is not None and self.noise is not None and self.place_mm:
            way = "bright" if self.worst > 1 else "dark"
            words += (
                f", at worst {_percent(abs(self.worst - 1))} too {way} (± "
                f"{_percent(self.noise)}) at {at_mm(np.array(self.place_mm))}"
            )
        return (
            f"{words}, when last compared with the reference (on '{self.body}' of {self.title}; "
            f"same materials, thickness, depth and absorption within a factor of {ALIKE:g})"
        )


def comparisons_of(agreement: Agreement) -> dict[str, Any]:
    """Return what `comparisons_from` reads, as plain data."""
    return {
        "title": agreement.title,
        "compared": [
            {
                "body": body.name,
                "likeness": body.likeness.as_json(),
                "usual": round(body.usual, 5),
                "usual_below": body.usual_below,
                "worst_off": round(body.worst_off, 5),
                "worst": round(body.worst.ratio.value, 5) if body.worst else None,
                "noise": round(body.worst.ratio.noise, 5) if body.worst else None,
                "place_mm": list(body.worst.body_place_mm) if body.worst else None,
            }
            for body in agreement.bodies
            if body.likeness
        ],
    }


def comparisons_from(data: Any) -> tuple[Comparison, ...]:
    """Return the comparisons in plain data; none from data of another kind."""
    try:
        return tuple(
            Comparison(
                str(data["title"]),
                str(item["body"]),
                Likeness.from_json(item["likeness"]),
                float(item["usual"]),
                bool(item["usual_below"]),
                float(item["worst_off"]),
                None if item["worst"] is None else float(item["worst"]),
                None if item["noise"] is None else float(item["noise"]),
                tuple(map(float, item["place_mm"])) if item["place_mm"] else None,
            )
            for item in data["compared"]
        )
    except (KeyError, TypeError, ValueError):
        return ()


def compared_with(
    bodies: Iterable[BodyGlow], comparisons: Sequence[Comparison]
) -> dict[str, Comparison]:
    """Return for each lit body that quick solved, by name, the first comparison of one like it."""
    found = {}
    for body in bodies:
        if body.light_count and body.likeness and not body.by_reference:
            like = [c for c in comparisons if c.likeness.similar(body.likeness)]
            if like:
                found[body.name] = like[0]
    return found


def _percent(share: float) -> str:
    return f"{100 * share:.0f} %" if share >= 0.0095 else f"{100 * share:.1g} %"
