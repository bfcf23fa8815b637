"""What the chosen board carries on the page: its own figures, and what can be done with it."""

from __future__ import annotations

from typing import Any

from glowsim.live.boards import HANDS, board_name, place_of
from glowsim.live.edits import BoardAt
from glowsim.live.session import Session
from glowsim.live.strips import HAND

WAYS = {
    "up": (0, 0, 1),
    "down": (0, 0, -1),
    "+x": (1, 0, 0),
    "-x": (-1, 0, 0),
    "+y": (0, 1, 0),
    "-y": (0, -1, 0),
}
ALONE = "move this copy alone"
OTHER_WAY = "as written"
WORDS = ("above its base", "from its axis", "below the surface")
"""What HANDS are called on the page."""


def carried(session: Session, chosen: tuple[BoardAt, int] | None) -> dict[str, Any] | None:
    """Return what a board, with the copy it was taken at, carries: plain data; None for none."""
    if chosen is None:
        return None
    (at, copy), prop = chosen, session.now
    light, problem = prop.light(at), session.problems.get(at.body)
    hands = []
    if light.runs_along:
        hands = [{"hand": HAND, "words": "along its path", "value": round(light.start_mm, 1)}]
    elif problem is not None:
        place = place_of(light.position_mm, problem)
        hands = [
            {"hand": hand, "words": words, "value": round(getattr(place, hand), 1)}
            for hand, words in zip(HANDS, WORDS, strict=True)
        ]
    faces = next((k for k, way in WAYS.items() if _points(light.direction, way)), OTHER_WAY)
    return {
        "body": at.body,
        "light": at.light,
        "copy": copy,
        "name": board_name(prop, at),
        "hands": hands,
        "faces": faces,
        "ways": [*WAYS, *([OTHER_WAY] if faces == OTHER_WAY else [])],
        "acts": [
            *(() if light.runs_along else ("double",)),
            *("on" if at in prop.kept else "off", "remove"),
            *(() if light.runs_along else ("best place",)),
            *([ALONE] if prop.scene.bodies[at.body].copy_count > 1 else []),
        ],
    }


def _points(direction: Any, way: tuple[int, int, int]) -> bool:
    size = sum(float(v) ** 2 for v in direction) ** 0.5
    return all(abs(float(v) / size - w) < 1e-3 for v, w in zip(direction, way, strict=True))
