"""The boards of a prop as the page shows them: outlines, places in the body's own terms."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from glowsim.catalogue import Catalogue
from glowsim.errors import SceneError
from glowsim.findings import Findings
from glowsim.geometry.boards import BoardShape, board_shape
from glowsim.geometry.hollow import depth_mm, nearest_on
from glowsim.geometry.mesh import FloatArray
from glowsim.geometry.patterns import copies_of
from glowsim.live import edits
from glowsim.live.clearance import Surroundings, free_place, has_room, kept_clear, surroundings
from glowsim.live.edits import BoardAt, Prop
from glowsim.pictures import marks_of
from glowsim.pictures.marks import KIND_WORDS
from glowsim.scene import Light
from glowsim.transport.problem import BodyProblem

HANDS = ("height_mm", "from_axis_mm", "depth_mm")
"""What a maker measures of a board in a body: above its base, from its axis, below its surface."""


@dataclass(frozen=True)
class BoardPlace:
    """Where a board stands, in the terms a maker measures [mm]."""

    height_mm: float
    from_axis_mm: float
    depth_mm: float


def place_of(position_mm: Sequence[float], problem: BodyProblem) -> BoardPlace:
    """Return where a place in a body's frame lies."""
    point = np.asarray(position_mm, dtype=float)
    base = float(problem.outer.bounds[0, 2])
    depth = float(depth_mm(problem.outer, point[None])[0])
    return BoardPlace(float(point[2]) - base, float(np.hypot(point[0], point[1])), depth)


def with_hand(
    position_mm: Sequence[float], problem: BodyProblem, hand: str, value_mm: float
) -> FloatArray:
    """Return the place, (3,) float, that lies as one typed number says and else as near as can be.

    hand : one of HANDS
    """
    point = np.asarray(position_mm, dtype=float).copy()
    if hand == "height_mm":
        point[2] = value_mm + float(problem.outer.bounds[0, 2])
    elif hand == "from_axis_mm":
        away = float(np.hypot(point[0], point[1]))
        way = point[:2] / away if away > 1e-6 else np.array([1.0, 0.0])
        point[:2] = value_mm * way
    else:
        _, nearest, face = nearest_on(problem.outer, point[None])
        point = nearest[0] - value_mm * problem.outer.normals[face[0]]
    return point


def shape_of(light: Light, catalogue: Catalogue) -> BoardShape:
    """Return a light's board as it stands; raises SceneError where it has no frame."""
    shape = board_shape(light, catalogue.board(light.board))
    if shape is None:
        raise SceneError("a board cannot run the way it faces; turn it less")
    return shape


def room_for(
    prop: Prop, at: BoardAt, problem: BodyProblem, catalogue: Catalogue
) -> tuple[BoardShape, Surroundings]:
    """Return a board and what is around it."""
    lights = prop.scene.bodies[at.body].lights
    shapes = [shape_of(light, catalogue) for light in lights]
    others = [shape for k, shape in enumerate(shapes) if k != at.light]
    place = np.asarray(lights[at.light].position_mm, dtype=float)
    return shapes[at.light], surroundings(problem, place, others)


def cleared(
    prop: Prop, at: BoardAt, place_mm: FloatArray, problem: BodyProblem, catalogue: Catalogue
) -> FloatArray:
    """Return the place at which a board has room that is nearest to the wanted one, (3,) float."""
    shape, around = room_for(prop, at, problem, catalogue)
    was = np.asarray(prop.light(at).position_mm, dtype=float)
    return kept_clear(shape, np.asarray(place_mm, float), around, was)


def up_the_middle(problem: BodyProblem) -> list[FloatArray]:
    """Return places up a body's middle, (3,) float each, at which a board may find room."""
    low, high = problem.outer.bounds
    middle = (low + high) / 2
    heights = np.linspace(low[2], high[2], 15)[1:-1]
    return [np.array([middle[0], middle[1], z]) for z in heights]


def beside(shape: BoardShape) -> list[FloatArray]:
    """Return places around a board, (3,) float each, at which another may find room."""
    place, step = shape.frame[:3, 3], shape.frame[:3, 2]
    ways = (step, -step, *(s * shape.frame[:3, k] for k in (0, 1) for s in (1, -1)))
    return [place + far * way for far in (10.0, 20.0, 40.0, 4.0) for way in ways]


def outlines(prop: Prop, catalogue: Catalogue) -> list[dict[str, Any]]:
    """Return every copy of every board as the page draws it: plain data, frames in the prop."""
    found: list[dict[str, Any]] = []
    for number, body in enumerate(prop.scene.bodies):
        for copy, transform in enumerate(copies_of(body)):
            for k, light in enumerate(body.lights):
                shape = shape_of(light, catalogue)
                found.append(
                    {
                        "body": number,
                        "light": k,
                        "copy": copy,
                        "frame": (transform @ shape.frame).ravel().round(5).tolist(),
                        "length": shape.size_mm[0],
                        "width": shape.size_mm[1],
                        "round": shape.is_round,
                        "bore": shape.bore_mm,
                        "thick": shape.thickness_mm,
                        "on": BoardAt(number, k) not in prop.kept,
                        "axes": transform[:3, :3].T.round(6).tolist(),
                        "name": board_name(prop, BoardAt(number, k)),
                    }
                )
    return found


def board_name(prop: Prop, at: BoardAt) -> str:
    """Return what a board is called, as the tables call it."""
    body = prop.scene.bodies[at.body]
    return f"{body.name}: {prop.light(at).name or f'light {at.light + 1}'}"


def in_body(prop: Prop, at: BoardAt, copy: int, point: Sequence[float]) -> FloatArray:
    """Return a point of the prop in the frame of one copy of a body, (3,) float [mm]."""
    transform = copies_of(prop.scene.bodies[at.body])[copy]
    return np.asarray((np.asarray(point, float) - transform[:3, 3]) @ transform[:3, :3])


def turned_clear(
    prop: Prop, at: BoardAt, direction: Sequence[float], problem: BodyProblem, catalogue: Catalogue
) -> Prop:
    """Return the prop with a board facing another way, pushed clear if it has to be.

    Raises SceneError if it has no room that way near where it stands.
    """
    new = edits.turned(prop, at, direction)
    place = np.asarray(prop.light(at).position_mm, float)
    shape, around = room_for(new, at, problem, catalogue)
    free = place if has_room(shape, around) else free_place(shape, around, [place])
    if free is None:
        raise SceneError("the board has no room to face that way here")
    return edits.moved(new, at, free)


def added_clear(
    prop: Prop,
    body: int,
    light: Light,
    tries: Sequence[FloatArray],
    problem: BodyProblem,
    catalogue: Catalogue,
) -> Prop:
    """Return the prop with one more board in a body, at the first place tried that has room.

    Raises SceneError if none has.
    """
    new = edits.added(prop, body, light)
    at = BoardAt(body, len(new.scene.bodies[body].lights) - 1)
    for place in tries:
        here = edits.moved(new, at, place)
        shape, around = room_for(here, at, problem, catalogue)
        if (free := free_place(shape, around, [place])) is not None:
            return edits.moved(here, at, free)
    raise SceneError(f"'{prop.scene.bodies[body].name}' has no room for another such board")


def as_marks(findings: Findings | None) -> list[dict[str, Any]]:
    """Return the numbered marks of findings as the page draws them: those of the pictures."""
    return [
        {
            "number": mark.number,
            "kind": mark.kind,
            "label": f"{KIND_WORDS[mark.kind]}, {mark.label}",
            "places": np.vstack([mark.point_mm, mark.elsewhere_mm]).round(2).tolist(),
        }
        for mark in marks_of(findings.found if findings else ())
    ]
