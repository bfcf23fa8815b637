"""LED strips LED by LED: a chain of flat pieces from cut mark to cut mark, one LED on each.

Along a path, or straight where each LED has a colour of its own.

A strip bends at its cut marks more easily than across its LEDs; each piece is the chord between
two marks, so the LED in its middle lies a little inside the bend, as on a real strip. Every piece
becomes a light of its own, a board that stops light like any other.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from glowsim.catalogue import Board, Catalogue
from glowsim.errors import GeometryError, SceneError
from glowsim.geometry.alongwall import away_from_wall, path_on_wall
from glowsim.geometry.boards import board_frame
from glowsim.geometry.body import unlit_solid_of
from glowsim.geometry.curves import (
    distinct,
    is_closed,
    lengths_along,
    points_along,
    smooth_through,
)
from glowsim.geometry.mesh import FloatArray, Mesh, at_mm
from glowsim.scene import Light, SceneFile, StripPiece

WITHIN = 1e-6
"""Share of its length by which a path may be too short for its LEDs."""
BY_WALL = {"from_wall": 1.0, "to_wall": -1.0}
"""Ways of facing that go by the inside wall, over the way from it."""
STEPS = 400
"""Places along a path whose middle is its middle."""
JOIN_MM = 1e-3
"""A path whose ends are nearer than this is closed."""


@dataclass(frozen=True)
class Track:
    """The line that a strip lies along.

    line : (n, 3) float [mm], chords;  closed : whether it ends where it begins, so that a strip
           runs on round it
    """

    line: FloatArray
    closed: bool

    @property
    def length_mm(self) -> float:
        """How long it is, once along."""
        return float(lengths_along(self.line)[-1])

    def at(self, ways_mm: FloatArray) -> FloatArray:
        """Return the points at some ways along it, (n,) float, round and round where it is closed
        and held at its ends where it is not, (n, 3) float [mm]."""
        length = self.length_mm
        ways = np.mod(ways_mm, length) if self.closed else np.clip(ways_mm, 0.0, length)
        return points_along(self.line, ways)

    def last_start_mm(self, strip_mm: float) -> float:
        """Return how far along it a strip so long may begin at the farthest; below 0 where there
        is no room for it."""
        room = self.length_mm - strip_mm
        return self.length_mm if self.closed and room >= 0 else room


@dataclass(frozen=True)
class PathStrip:
    """A strip along a path, wherever along it that begins.

    light : as the scene has it, its path as points;  number : its own in its body
    wall  : faces of the inside wall that its facing may go by
    """

    light: Light
    number: int
    board: Board
    wall: Mesh | None

    @property
    def name(self) -> str:
        """What it is called."""
        return self.light.name or f"light {self.number + 1}"

    @property
    def pitch_mm(self) -> float:
        """From LED to LED."""
        assert self.board.pitch_mm is not None, "only strips take led_count, and a path needs one"
        return float(self.board.pitch_mm)

    @property
    def track(self) -> Track:
        """The line it lies along."""
        return track_of(self.light)

    @property
    def last_start_mm(self) -> float:
        """How far along its path it may begin at the farthest."""
        return max(0.0, self.track.last_start_mm(self.pitch_mm * (self.light.led_count or 0)))

    def pieces(self, start_mm: float) -> list[Light]:
        """Return its pieces, one for each LED, where it begins so far along its path.

        Raises GeometryError where there it finds no room or cannot face as asked.
        """
        light = self.light.model_copy(update={"start_mm": start_mm})
        found = pieces_mm(light, self.pitch_mm, self.board.thickness_mm, self.wall)
        whole = light.model_dump(exclude=_TAKEN_APART)
        count = len(found[0])
        return [
            StripPiece.model_validate(
                whole
                | {
                    "name": f"{self.name}, LED {k + 1}"[-80:] if count > 1 else self.name,
                    "position_mm": _plain(middle),
                    "along": _plain(along),
                    "direction": _plain(facing),
                    "led_count": 1,
                    "drive": light.drive_of(k),
                    "strip": self.number,
                    "strip_name": self.name,
                    "length_mm": float(length),
                }
            )
            for k, (middle, along, facing, length) in enumerate(zip(*found, strict=True))
        ]


_TAKEN_APART = {"path_mm", "path_inside", "start_mm", "facing", "drives", "drive_to"}
"""Keys of a strip that its pieces have no more."""


def along_paths(scene_file: SceneFile, catalogue: Catalogue) -> SceneFile:
    """Return a scene with strips along paths, or coloured LED by LED, taken apart into pieces.

    Raises SceneError, with the key, for a path that is too short or bent too tightly.
    """
    scene = scene_file.scene
    if not any(_apart(light) for body in scene.bodies for light in body.lights):
        return scene_file
    bodies, written = [], dict(scene_file.written_light)
    for number, body in enumerate(scene.bodies):
        found = {s.number: s for s in _strips(scene_file, number, catalogue, _apart)}
        lights: list[Light] = []
        origin: list[int] = []
        for k, light in enumerate(body.lights):
            try:
                made = found[k].pieces(light.start_mm) if k in found else [light]
            except GeometryError as fault:
                raise _where(scene_file, number, k, fault) from None
            lights += made
            origin += [k] * len(made)
        if any(_apart(light) for light in body.lights):
            written[number] = tuple(origin)
            body = body.model_copy(update={"lights": tuple(lights)})
        bodies.append(body)
    changed = scene.model_copy(update={"bodies": tuple(bodies)})
    return replace(scene_file, scene=changed, written_light=written)


def path_strips(scene_file: SceneFile, number: int, catalogue: Catalogue) -> list[PathStrip]:
    """Return the strips along paths of body `number` of a scene as written.

    Raises as `along_paths` does.
    """
    return _strips(scene_file, number, catalogue, lambda light: light.runs_along)


def _strips(
    scene_file: SceneFile, number: int, catalogue: Catalogue, wanted: Callable[[Light], bool]
) -> list[PathStrip]:
    """Return the lights of a body that are wanted as strips along paths."""
    found = []
    wall: Mesh | None = None
    for k, light in enumerate(scene_file.scene.bodies[number].lights):
        if not wanted(light):
            continue
        try:
            if light.path_inside is not None or light.facing in BY_WALL:
                wall = wall or _wall(scene_file, number)
            board = catalogue.board(light.board)
            found.append(PathStrip(_with_points(light, board, wall), k, board, wall))
        except GeometryError as fault:
            raise _where(scene_file, number, k, fault) from None
    return found


def _where(scene_file: SceneFile, number: int, k: int, fault: GeometryError) -> SceneError:
    """Return a fault of a strip's path with the key that says where it runs."""
    light = scene_file.scene.bodies[number].lights[k]
    key = "path_mm" if light.path_mm else "path_inside" if light.path_inside else "along"
    return scene_file.fault(("bodies", number, "lights", k, key), str(fault))


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


def _with_points(light: Light, board: Board, wall: Mesh | None) -> Light:
    """Return a strip as one along points, which way it faces worked out."""
    if light.path_inside is not None:
        assert wall is not None, "looked up with the path"
        points = path_on_wall(wall, light.path_inside, board.thickness_mm)
        path = tuple(_plain(point) for point in points)
        return light.model_copy(update={"path_mm": path, "facing": light.wanted_facing})
    return light if light.path_mm is not None else _straight(light, float(board.pitch_mm or 0.0))


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
    track = track_of(light)
    count = int(light.led_count or 0)
    _refuse_short(track, light, count * pitch_mm, pitch_mm)
    marks = track.at(light.start_mm + pitch_mm * np.arange(count + 1.0))
    middles = (marks[1:] + marks[:-1]) / 2
    along = _unit(marks[1:] - marks[:-1])
    wanted = np.broadcast_to(np.asarray(light.direction, dtype=float), middles.shape)
    if light.facing in BY_WALL:
        assert wall is not None, "looked up for such a facing"
        wanted = BY_WALL[light.facing] * away_from_wall(wall, middles)
    elif light.facing != "direction":
        even = points_along(track.line, np.linspace(0, track.length_mm, STEPS))
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


def track_of(light: Light) -> Track:
    """Return the line a strip lies along by its points.

    Raises GeometryError where it has no length or bends too tightly for the strip.
    """
    points = distinct(np.asarray(light.path_mm, dtype=float))
    if len(points) < 2:
        raise GeometryError("the path has no length; it needs two points apart")
    closed = is_closed(points, JOIN_MM)
    line = points
    if light.path_smooth:
        line = smooth_through(points[:-1] if closed else points, closed)
        if len(line) > 2:
            over = np.vstack([line, line[1:2]]) if closed else line
            _refuse_tight(over, light.least_bend_mm)
    return Track(line, closed)


def _refuse_short(track: Track, light: Light, strip_mm: float, pitch_mm: float) -> None:
    """Raise GeometryError where the strip runs past the end of its path."""
    length = track.length_mm
    last = track.last_start_mm(strip_mm)
    if last < -WITHIN * length:
        raise GeometryError(
            f"the path is {length:.1f} mm long, and {light.led_count} LEDs at {pitch_mm:g} mm need "
            f"{strip_mm:.1f} mm; it has room for {int(length * (1 + WITHIN) / pitch_mm)}"
        )
    if light.start_mm > last + WITHIN * length:
        raise GeometryError(
            f"the strip begins {light.start_mm:g} mm along its path (start_mm) and is "
            f"{strip_mm:.1f} mm long, but the path ends at {length:.1f} mm: begin at "
            f"{max(last, 0.0):.1f} mm at the latest"
        )


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
