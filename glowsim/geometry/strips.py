"""LED strips LED by LED: a chain of flat pieces from cut mark to cut mark, one LED on each.

Along a path, or straight where each LED has a colour of its own.

A strip bends at its cut marks more easily than across its LEDs; each piece is the chord between
two marks, so the LED in its middle lies a little inside the bend, as on a real strip. Every piece
becomes a light of its own, a board that stops light like any other.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from glowsim.catalogue import Catalogue
from glowsim.errors import GeometryError
from glowsim.geometry.alongwall import away_from_wall, path_on_wall
from glowsim.geometry.boards import board_frame
from glowsim.geometry.body import unlit_solid_of
from glowsim.geometry.curves import distinct, lengths_along, points_along, smooth_through
from glowsim.geometry.mesh import FloatArray, Mesh, at_mm
from glowsim.scene import Light, SceneFile, StripPiece

WITHIN = 1e-6
"""Share of its length by which a path may be too short for its LEDs."""
BY_WALL = {"from_wall": 1.0, "to_wall": -1.0}
"""Ways of facing that go by the inside wall, over the way from it."""
STEPS = 400
"""Places along a path whose middle is its middle."""


def along_paths(scene_file: SceneFile, catalogue: Catalogue) -> SceneFile:
    """Return a scene with strips along paths, or coloured LED by LED, taken apart into pieces.

    Raises SceneError, with the key, for a path that is too short or bent too tightly.
    """
    scene = scene_file.scene
    if not any(_apart(light) for body in scene.bodies for light in body.lights):
        return scene_file
    bodies, written = [], dict(scene_file.written_light)
    for number, body in enumerate(scene.bodies):
        lights: list[Light] = []
        origin: list[int] = []
        wall: Mesh | None = None
        for k, light in enumerate(body.lights):
            try:
                if light.path_inside is not None or light.facing in BY_WALL:
                    wall = wall or _wall(scene_file, number)
                made = _pieces(light, k, catalogue, wall) if _apart(light) else [light]
            except GeometryError as fault:
                key = (
                    "path_mm" if light.path_mm else "path_inside" if light.path_inside else "along"
                )
                keys = ("bodies", number, "lights", k, key)
                raise scene_file.fault(keys, str(fault)) from None
            lights += made
            origin += [k] * len(made)
        if any(_apart(light) for light in body.lights):
            written[number] = tuple(origin)
            body = body.model_copy(update={"lights": tuple(lights)})
        bodies.append(body)
    changed = scene.model_copy(update={"bodies": tuple(bodies)})
    return replace(scene_file, scene=changed, written_light=written)


def _apart(light: Light) -> bool:
    """Whether a light of a scene is taken apart LED by LED."""
    return light.runs_along or (light.led_by_led and not isinstance(light, StripPiece))


def _straight(light: Light, pitch_mm: float) -> Light:
    """Return a straight strip as one along a path, which it goes along from its first LED on."""
    frame = board_frame(light)
    if frame is None:
        raise GeometryError("points the way the board faces; a board runs across that")
    half = frame[:3, 0] * pitch_mm * (light.led_count or 0) / 2
    middle = np.asarray(light.position_mm)
    path = (_plain(middle - half), _plain(middle + half))
    # The facing is worked out already: the frame's own.
    update = {"path_mm": path, "direction": _plain(frame[:3, 2]), "facing": "direction"}
    return light.model_copy(update=update)


def _wall(scene_file: SceneFile, number: int) -> Mesh:
    wall = unlit_solid_of(scene_file, number).inside_wall
    if wall is None:
        name = scene_file.scene.bodies[number].name
        raise GeometryError(f"'{name}' has no inside wall: it is no shell and has no open hollow")
    return wall


def _pieces(light: Light, number: int, catalogue: Catalogue, wall: Mesh | None) -> list[Light]:
    board = catalogue.board(light.board)
    assert board.pitch_mm is not None, "only strips take led_count, and a path needs one"
    if light.path_inside is not None:
        assert wall is not None, "looked up with the path"
        points = path_on_wall(wall, light.path_inside, board.thickness_mm)
        path = tuple(_plain(point) for point in points)
        light = light.model_copy(update={"path_mm": path, "facing": light.wanted_facing})
    elif light.path_mm is None:
        light = _straight(light, float(board.pitch_mm))
    middles, along, facing, lengths = pieces_mm(
        light, float(board.pitch_mm), board.thickness_mm, wall
    )
    name = light.name or f"light {number + 1}"
    whole = light.model_dump(exclude={"path_mm", "path_inside", "facing", "drives", "drive_to"})
    return [
        StripPiece.model_validate(
            whole
            | {
                "name": f"{name}, LED {k + 1}"[-80:] if len(middles) > 1 else name,
                "position_mm": _plain(middles[k]),
                "along": _plain(along[k]),
                "direction": _plain(facing[k]),
                "led_count": 1,
                "drive": light.drive_of(k),
                "strip": number,
                "strip_name": name,
                "length_mm": float(lengths[k]),
            }
        )
        for k in range(len(middles))
    ]


def leds_in_words(strip: str, leds: Sequence[int], count: int) -> str:
    """Return some LEDs of a strip, counted from 0, as people say it; `count` is how many it has.

    'brow strip' for all of them, else 'brow strip, LED 3' or 'brow strip, LEDs 1, 4 to 9'.
    """
    if len(leds) == count:
        return strip
    runs: list[list[int]] = []
    for led in sorted(leds):
        if runs and led == runs[-1][-1] + 1:
            runs[-1].append(led)
        else:
            runs.append([led])
    words = ", ".join(
        f"{run[0] + 1} to {run[-1] + 1}" if len(run) > 2 else ", ".join(str(k + 1) for k in run)
        for run in runs
    )
    return f"{strip}, LED{'s' if len(leds) > 1 else ''} {words}"


def pieces_mm(
    light: Light, pitch_mm: float, thickness_mm: float, wall: Mesh | None = None
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Return the middles of a strip's pieces, where they run, where they face, each (n, 3), and
    how long they are, (n,) [mm].

    wall : faces of the inside wall that `facing` may go by

    Where the strip bends, pieces end short of the cut mark, so that their backs do not meet.
    Raises GeometryError for a path too short for its LEDs, too tight for the strip, or along
    which it cannot face as asked.
    """
    points = distinct(np.asarray(light.path_mm, dtype=float))
    if len(points) < 2:
        raise GeometryError("the path has no length; it needs two points apart")
    path = smooth_through(points, closed=False) if light.path_smooth else points
    length, count = float(lengths_along(path)[-1]), int(light.led_count or 0)
    if count * pitch_mm > length * (1 + WITHIN):
        raise GeometryError(
            f"the path is {length:.1f} mm long, and {count} LEDs at {pitch_mm:g} mm need "
            f"{count * pitch_mm:.1f} mm; it has room for {int(length * (1 + WITHIN) / pitch_mm)}"
        )
    if light.path_smooth and len(path) > 2:
        _refuse_tight(path, light.least_bend_mm)
    marks = points_along(path, np.minimum(np.arange(count + 1) * pitch_mm, length))
    middles = (marks[1:] + marks[:-1]) / 2
    along = _unit(marks[1:] - marks[:-1])
    wanted = np.broadcast_to(np.asarray(light.direction, dtype=float), middles.shape)
    if light.facing in BY_WALL:
        assert wall is not None, "looked up for such a facing"
        wanted = BY_WALL[light.facing] * away_from_wall(wall, middles)
    elif light.facing != "direction":
        even = points_along(path, np.linspace(0, length, STEPS))
        away = middles - even.mean(axis=0)
        wanted = away if light.facing == "outward" else -away
    wanted = _unit(wanted)
    facing = wanted - np.einsum("nd,nd->n", wanted, along)[:, None] * along
    if (size := np.linalg.norm(facing, axis=1)).min() < 1e-3:
        place = middles[int(size.argmin())]
        raise GeometryError(
            f"the strip runs the way it should face at {at_mm(place)}; give another direction"
        )
    cosine = np.einsum("nd,nd->n", along[1:], along[:-1])
    miss = thickness_mm * np.sqrt((1 - cosine).clip(0) / (1 + cosine).clip(1e-6))  # tan(angle/2)
    ends = np.maximum(np.append(miss, 0.0), np.append(0.0, miss))
    lengths = np.linalg.norm(marks[1:] - marks[:-1], axis=1) - 2 * ends
    return middles, along, _unit(facing), np.maximum(lengths, thickness_mm)


def _refuse_tight(path: FloatArray, least_mm: float) -> None:
    """Raise GeometryError at the tightest bend of a path if it is tighter than allowed."""
    a, b, c = path[:-2], path[1:-1], path[2:]
    # Radius of the circle through three points: product of the sides over four times the area.
    sides = [np.linalg.norm(p - q, axis=1) for p, q in ((a, b), (b, c), (c, a))]
    twice_area = np.linalg.norm(np.cross(b - a, c - a), axis=1)
    product = sides[0] * sides[1] * sides[2]
    radius = np.full(len(product), np.inf)
    np.divide(product, 2 * twice_area, out=radius, where=twice_area > 1e-9 * product)
    tightest = int(radius.argmin())
    if radius[tightest] < least_mm:
        raise GeometryError(
            f"the path bends to a radius of {radius[tightest]:.1f} mm about {at_mm(b[tightest])}; "
            f"the strip takes {least_mm:g} mm (least_bend_mm)"
        )


def _unit(vectors: FloatArray) -> FloatArray:
    return np.asarray(vectors / np.maximum(np.linalg.norm(vectors, axis=1, keepdims=True), 1e-12))


def _plain(vector: FloatArray) -> tuple[float, float, float]:
    x, y, z = (round(float(v), 6) + 0.0 for v in vector)
    return x, y, z
