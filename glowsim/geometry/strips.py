"""What lies along a path: LED strips LED by LED, and chains of boards with wire between.

A strip is a row of flat pieces from cut mark to cut mark, one LED on each; it is taken apart
straight too where each LED has a colour of its own. It bends at its cut marks more easily than
across its LEDs; each piece is the chord between two marks, so the LED in its middle lies a little
inside the bend, as on a real strip. A chain's boards lie on the path itself. Every piece becomes a
light of its own, a board that stops light like any other.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from glowsim.catalogue import Board, Catalogue
from glowsim.errors import GeometryError, SceneError
from glowsim.geometry.alongedge import path_along
from glowsim.geometry.alongwall import GLUE_MM, WIRES_MM, away_from_wall, path_on_wall
from glowsim.geometry.boards import board_frame
from glowsim.geometry.body import Solid, unlit_solid_of
from glowsim.geometry.curves import points_along, unit
from glowsim.geometry.mesh import FloatArray, Mesh, at_mm
from glowsim.geometry.track import Track, refuse_short, span_mm, spread, track_of
from glowsim.scene import Light, SceneFile, StripPiece
from glowsim.scene.lights import PATHS

BY_WALL = {"from_wall": 1.0, "to_wall": -1.0}
"""Ways of facing that go by the inside wall, over the way from it."""
STEPS = 400
"""Places along a path whose middle is its middle."""
TANGENT_MM = 0.5
"""Ahead of and behind a board of a chain: which way its path runs there."""
PARALLEL = 0.999
"""Cosine from which on a board faces the way its path runs."""


@dataclass(frozen=True)
class PathStrip:
    """A strip or chain along a path, wherever along it that begins.

    light : as the scene has it, its path as points, of a chain both its number and its pitch
    number : its own in its body
    wall  : faces of the wall that its facing may go by
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
        """From LED to LED of a strip, from board to board of a chain, along the path."""
        pitch = self.light.pitch_mm or self.board.pitch_mm
        assert pitch is not None, "only strips take led_count, and a path else needs a chain"
        return float(pitch)

    @property
    def to_first_mm(self) -> float:
        """From where it begins to the middle of its first piece, along the path."""
        return 0.0 if self.light.is_chain else self.pitch_mm / 2

    @property
    def track(self) -> Track:
        """The line it lies along."""
        return track_of(self.light)

    @property
    def last_start_mm(self) -> float:
        """How far along its path it may begin at the farthest."""
        track = self.track
        return max(0.0, track.last_start_mm(span_mm(self.light, track, self.pitch_mm)))

    def pieces(self, start_mm: float) -> list[Light]:
        """Return its pieces, one for each LED or board, where it begins so far along its path.

        Raises GeometryError where there it finds no room or cannot face as asked.
        """
        light = self.light.model_copy(update={"start_mm": start_mm})
        found = pieces_mm(light, self.pitch_mm, self.board.thickness_mm, self.wall)
        whole = light.model_dump(exclude=_TAKEN_APART)
        count, each = len(found[0]), "board" if light.is_chain else "LED"
        return [
            StripPiece.model_validate(
                whole
                | {
                    "name": f"{self.name}, {each} {k + 1}"[-80:] if count > 1 else self.name,
                    "position_mm": _plain(middle),
                    "along": _plain(along) if abs(along @ facing) < PARALLEL else None,
                    "direction": _plain(facing),
                    "led_count": None if light.is_chain else 1,
                    "drive": light.drive_of(k),
                    "strip": self.number,
                    "strip_name": self.name,
                    "chained": light.is_chain,
                    "runs": _runs(light),
                    "way_mm": start_mm + self.to_first_mm + k * self.pitch_mm,
                    "length_mm": float(length),
                }
            )
            for k, (middle, along, facing, length) in enumerate(zip(*found, strict=True))
        ]


def _runs(light: Light) -> str:
    """Return where a path runs, and from where, in words."""
    assert light.path_mm is not None, "it has points by now"
    said = []
    if light.path_inside is not None:
        said.append(f"on the inside wall at {light.path_inside.height_mm:g} mm")
    if (along := light.path_along) is not None:
        edge = {"rim": "rim", "border": "border", "sharp": "edge"}[along.edge]
        said.append(
            f"{along.inside_mm:g} mm in from the {edge}" if along.inside_mm else f"on the {edge}"
        )
        said += [f"{along.depth_mm:g} mm deep"] if along.depth_mm and edge != "rim" else []
    return ", ".join([*said, f"from {at_mm(np.asarray(light.path_mm[0]))}"])


_TAKEN_APART = {
    *(*PATHS, "start_mm", "facing", "drives", "drive_to"),
    *("board_count", "pitch_mm"),
}
"""Keys of a strip or chain that its pieces have no more."""


def along_paths(scene_file: SceneFile, catalogue: Catalogue) -> SceneFile:
    """Return a scene with strips and chains along paths, and strips coloured LED by LED, taken
    apart into pieces.

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
    """Return the strips and chains along paths of body `number` of a scene as written.

    Raises as `along_paths` does.
    """
    return _strips(scene_file, number, catalogue, lambda light: light.runs_along)


def _strips(
    scene_file: SceneFile, number: int, catalogue: Catalogue, wanted: Callable[[Light], bool]
) -> list[PathStrip]:
    """Return the lights of a body that are wanted as strips along paths."""
    found = []
    for k, light in enumerate(scene_file.scene.bodies[number].lights):
        if not wanted(light):
            continue
        try:
            board = catalogue.board(light.board)
            placed, wall = _with_points(light, board, scene_file, number)
            found.append(PathStrip(placed, k, board, wall))
        except GeometryError as fault:
            raise _where(scene_file, number, k, fault) from None
    return found


def _where(scene_file: SceneFile, number: int, k: int, fault: GeometryError) -> SceneError:
    """Return a fault of a strip's path with the key that says where it runs."""
    light = scene_file.scene.bodies[number].lights[k]
    key = light.path_key or "along"
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


def _wall(solid: Solid, name: str) -> Mesh:
    if solid.inside_wall is None:
        raise GeometryError(f"'{name}' has no inside wall: it is no shell and has no open hollow")
    return solid.inside_wall


def _with_points(
    light: Light, board: Board, scene_file: SceneFile, number: int
) -> tuple[Light, Mesh | None]:
    """Return a strip or chain as one along points, which way it faces worked out, and the faces of
    the wall that may go by; raises GeometryError or SceneError."""
    wall: Mesh | None = None
    if light.runs_by_body or light.facing in BY_WALL:
        body = scene_file.scene.bodies[number]
        solid = unlit_solid_of(scene_file, number)
        usual_mm = board.thickness_mm + (WIRES_MM if light.is_chain else GLUE_MM)
        if light.path_along is not None:
            points, wall = path_along(solid, body, scene_file.folder, light.path_along, usual_mm)
        else:
            wall = _wall(solid, body.name)
            if light.path_inside is not None:
                points = path_on_wall(wall, light.path_inside, usual_mm)
        if light.runs_by_body:
            path = tuple(_plain(point) for point in points)
            light = light.model_copy(update={"path_mm": path, "facing": light.wanted_facing})
    if light.is_chain:
        light = spread(light)
    elif light.path_mm is None:
        light = _straight(light, float(board.pitch_mm or 0.0))
    return light, wall


def leds_in_words(strip: str, leds: Sequence[int], count: int, each: str = "LED") -> str:
    """Return some LEDs of a strip, counted from 0, as people say it; `count` is how many it has.

    'brow strip' for all of them, else 'brow strip, LED 3' or 'brow strip, LEDs 1, 4 to 9'.
    each : 'board' for those of a chain
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
    return f"{strip}, {each}{'s' if len(leds) > 1 else ''} {words}"


def pieces_mm(
    light: Light, pitch_mm: float, thickness_mm: float, wall: Mesh | None = None
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Return the middles of a strip's pieces or a chain's boards, where they run, where they face,
    each (n, 3), and their `length_mm` as a `StripPiece` has it, (n,) [mm].

    wall : faces of the inside wall that `facing` may go by

    Where a strip bends, pieces end short of the cut mark, so that their backs do not meet.
    Raises GeometryError for a path too short for what lies along it, too tight for a strip, or
    along which it cannot face as asked.
    """
    track = track_of(light)
    refuse_short(track, light, pitch_mm)
    if light.is_chain:
        ways: FloatArray = light.start_mm + pitch_mm * np.arange(float(light.board_count or 0))
        middles = track.at(ways)
        along = unit(track.at(ways + TANGENT_MM) - track.at(ways - TANGENT_MM))
        links = np.where(np.arange(len(ways)) > 0, pitch_mm, 0.0)
        return middles, along, _faces(light, track, middles, None, wall), links
    marks = track.at(light.start_mm + pitch_mm * np.arange((light.led_count or 0) + 1.0))
    middles = (marks[1:] + marks[:-1]) / 2
    along = unit(marks[1:] - marks[:-1])
    facing = _faces(light, track, middles, along, wall)
    cosine = np.einsum("nd,nd->n", along[1:], along[:-1])
    miss = thickness_mm * np.sqrt((1 - cosine).clip(0) / (1 + cosine).clip(1e-6))  # tan(angle/2)
    ends = np.maximum(np.append(miss, 0.0), np.append(0.0, miss))
    lengths = np.linalg.norm(marks[1:] - marks[:-1], axis=1) - 2 * ends
    return middles, along, facing, np.maximum(lengths, thickness_mm)


def _faces(
    light: Light, track: Track, middles: FloatArray, along: FloatArray | None, wall: Mesh | None
) -> FloatArray:
    """Return where pieces about some middles face, (n, 3) unit.

    along : where they run, which a strip faces across; None for boards that face as they like
    """
    wanted = np.broadcast_to(np.asarray(light.direction, dtype=float), middles.shape)
    if light.facing in BY_WALL:
        assert wall is not None, "looked up for such a facing"
        wanted = BY_WALL[light.facing] * away_from_wall(wall, middles)
    elif light.facing != "direction":
        even = points_along(track.line, np.linspace(0, track.length_mm, STEPS))
        away = middles - even.mean(axis=0)
        wanted = away if light.facing == "outward" else -away
    wanted = unit(wanted)
    if along is not None:
        wanted = wanted - np.einsum("nd,nd->n", wanted, along)[:, None] * along
    if (size := np.linalg.norm(wanted, axis=1)).min() < 1e-3:
        place = at_mm(middles[int(size.argmin())])
        why = "the strip runs the way it should face" if along is not None else "no way to face"
        raise GeometryError(f"{why} at {place}; give another direction")
    return unit(wanted)


def _plain(vector: FloatArray) -> tuple[float, float, float]:
    x, y, z = (round(float(v), 6) + 0.0 for v in vector)
    return x, y, z
