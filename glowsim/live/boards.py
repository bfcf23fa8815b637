"""The boards of a prop as the page shows them: outlines, places in the body's own terms."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np

from glowsim.catalogue import Catalogue
from glowsim.errors import SceneError
from glowsim.findings import Findings
from glowsim.geometry.boards import BoardShape, board_shape
from glowsim.geometry.hollow import depth_mm, nearest_on
from glowsim.geometry.mesh import FloatArray
from glowsim.geometry.patterns import copies_of
from glowsim.geometry.strips import PathStrip
from glowsim.live import edits
from glowsim.live.clearance import Surroundings, free_place, has_room, kept_clear, surroundings
from glowsim.live.edits import BoardAt, Prop
from glowsim.live.strips import pieces_of, slid_by, slid_to, slid_toward
from glowsim.pictures import marks_of
from glowsim.pictures.marks import KIND_WORDS
from glowsim.scene import Light, SceneFile
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
    others = [
        shape_of(light, catalogue)
        for k, light in enumerate(lights)
        if k != at.light and not light.runs_along
    ]
    # Strips along paths stand as they did in the last full answer.
    others += [board.shape for board in problem.boards if board.shape.strip >= 0]
    place = np.asarray(lights[at.light].position_mm, dtype=float)
    return shape_of(lights[at.light], catalogue), surroundings(problem, place, others)


class Around(NamedTuple):
    """What a board is moved in.

    strip   : it as a strip along a path, None for a board that stands at a place of its own
    problem : its body, as of the last full answer
    """

    strip: PathStrip | None
    problem: BodyProblem
    catalogue: Catalogue


def toward(prop: Prop, at: BoardAt, place_mm: FloatArray, around: Around, piece: int = 0) -> Prop:
    """Return the prop with a board at the place nearest to the wanted one, (3,), that has room; a
    strip along a path slid so that one of its pieces is."""
    if around.strip is not None:
        return slid_toward(prop, at, around.strip, place_mm, piece)
    shape, there = room_for(prop, at, around.problem, around.catalogue)
    was = np.asarray(prop.light(at).position_mm, dtype=float)
    return edits.moved(prop, at, kept_clear(shape, np.asarray(place_mm, float), there, was))


def stepped(prop: Prop, at: BoardAt, step_mm: Sequence[float], around: Around) -> Prop:
    """Return the prop with a board moved by a step, (3,); a strip slid by what lies along it."""
    if around.strip is not None:
        return slid_by(prop, at, around.strip, step_mm)
    place = np.asarray(prop.light(at).position_mm, float) + np.asarray(step_mm, float)
    return toward(prop, at, place, around)


def typed(prop: Prop, at: BoardAt, hand: str, value_mm: float, around: Around) -> Prop:
    """Return the prop with a board where one typed number says, see HANDS; of a strip that is how
    far along its path it begins."""
    if around.strip is not None:
        return slid_to(prop, at, around.strip, value_mm)
    place = with_hand(prop.light(at).position_mm, around.problem, hand, value_mm)
    return toward(prop, at, place, around)


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


def outlines(prop: Prop, scene_file: SceneFile, catalogue: Catalogue) -> list[dict[str, Any]]:
    """Return every copy of every board, a strip along a path piece by piece, as the page draws it:
    plain data, frames in the prop.

    scene_file : the prop as a scene file, for paths along walls
    """
    found: list[dict[str, Any]] = []
    for number, body in enumerate(prop.scene.bodies):
        shapes = [
            (k, piece, shape_of(one, catalogue))
            for k in range(len(body.lights))
            for piece, one in enumerate(pieces_of(scene_file, BoardAt(number, k), catalogue))
        ]
        for copy, transform in enumerate(copies_of(body)):
            for k, piece, shape in shapes:
                found.append(
                    {
                        "body": number,
                        "light": k,
                        "piece": piece,
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
    new, light = edits.turned(prop, at, direction), prop.light(at)
    if light.runs_along:
        if light.wanted_facing == "direction":
            return new
        raise SceneError("this faces as its path has it (facing); change that in the file")
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
    if light.runs_along:
        raise SceneError("what lies along a path is not doubled; give a second one its own path")
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
