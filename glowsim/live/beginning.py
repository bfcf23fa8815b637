"""A first scene from a few choices: a sketch shape or a mesh, what it is made of, one board."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np
import tomlkit

from glowsim.catalogue import Catalogue, load_catalogue
from glowsim.decisions.placed_scene import write_new
from glowsim.errors import GeometryError, SceneError
from glowsim.files import free_path, write_whole
from glowsim.geometry.boards import BoardShape
from glowsim.geometry.hollow import depth_mm
from glowsim.geometry.inside import inside_closed
from glowsim.geometry.mesh import FloatArray
from glowsim.geometry.meshfile import FORMATS, GUESSES, read_mesh
from glowsim.geometry.scaling import USUAL_MM
from glowsim.live.boards import shape_of, up_the_middle
from glowsim.live.clearance import free_place, surroundings
from glowsim.live.edits import tidy
from glowsim.scene import Light, SceneFile, parse_scene
from glowsim.scene.bodies import MeshFile
from glowsim.transport.plan import plan_of
from glowsim.transport.prepared import PreparedProp
from glowsim.transport.problem import BodyProblem

MOST_BYTES = 200 * 2**20
"""Of a mesh file that is dropped on the page."""
MOST_TRIED = 12
"""Places off the axis, the deepest, at which room for the first board is looked for."""
WARM = {"red": 0.25, "green": 0.1, "blue": 0.02}
"""The first light's colour: a warm glow that no board overheats at."""

SKETCHES: dict[str, dict[str, tuple[str, float]]] = {
    "spike": {"length_mm": ("high", 90.0), "base_diameter_mm": ("across its foot", 50.0)},
    "orb": {"diameter_mm": ("across", 90.0)},
    "crystal": {"length_mm": ("high", 100.0), "width_mm": ("across", 45.0)},
    "blade": {
        "length_mm": ("long", 250.0),
        "width_mm": ("wide", 50.0),
        "thickness_mm": ("thick", 16.0),
    },
    "rod": {"length_mm": ("long", 150.0), "diameter_mm": ("thick", 30.0)},
    "slab": {
        "length_mm": ("long", 120.0),
        "width_mm": ("wide", 80.0),
        "thickness_mm": ("thick", 25.0),
    },
    "dome": {"diameter_mm": ("across", 100.0), "height_mm": ("high", 50.0)},
    "ring": {"diameter_mm": ("across", 140.0), "section_diameter_mm": ("thick", 26.0)},
}
"""What each shape is asked: its measures, in a maker's words, and what they are at first."""


class NoRoomError(SceneError):
    """The board that was chosen has no room in the body.

    fits : a board that has, None where none was found
    """

    def __init__(self, words: str, fits: str | None) -> None:
        """words : what is wrong, and what to do"""
        super().__init__(words)
        self.fits = fits


@dataclass(frozen=True)
class Choice:
    """What a maker begins with.

    shape, sizes : a sketch of SKETCHES and its measures [mm]; not with `mesh`
    mesh, unit   : a mesh file, and what its numbers are in
    wall_mm      : wall of a hollow shell, None for a solid body
    """

    material: str
    board: str
    shape: str | None = None
    sizes: Mapping[str, float] = field(default_factory=dict)
    mesh: Path | None = None
    unit: str | None = None
    wall_mm: float | None = None

    @property
    def name(self) -> str:
        """What the body is called."""
        stem = self.mesh.stem if self.mesh else self.shape or ""
        return re.sub(r"[^\w -]+", "", stem).replace("_", " ").strip()[:40] or "body"


@dataclass(frozen=True)
class Measured:
    """How large a mesh file's body is in each unit its numbers may be in [mm], (3,) each."""

    name: str
    likely: str
    sizes_mm: dict[str, tuple[float, float, float]]

    def as_plain(self) -> dict[str, Any]:
        """Return what the page asks of it: 'right?'."""
        units = [
            {"unit": unit, "words": f"{z:.3g} mm high, {x:.3g} x {y:.3g} mm across"}
            for unit, (x, y, z) in self.sizes_mm.items()
        ]
        return {"name": self.name, "likely": self.likely, "units": units}


def measured(path: Path) -> Measured:
    """Look how large the body in a mesh file is; raises GeometryError if it cannot be read."""
    sizes: dict[str, FloatArray] = {}
    refused: GeometryError | None = None
    for unit in GUESSES:
        try:
            vertices, _, _ = read_mesh(MeshFile(file=path.name, units=unit), path.parent)
            sizes[unit] = np.ptp(vertices, axis=0)
        except GeometryError as problem:  # broken, or that is no part of a prop
            refused = problem
    if not sizes:
        raise refused or GeometryError(f"{path.name} cannot be read")
    try:
        vertices, _, _ = read_mesh(MeshFile(file=path.name), path.parent)
        own = float(np.ptp(vertices, axis=0).max())
    except GeometryError:
        own = float(np.sqrt(USUAL_MM[0] * USUAL_MM[1]))
    likely = min(sizes, key=lambda unit: abs(float(np.log(sizes[unit].max() / own))))
    plain = {unit: (float(s[0]), float(s[1]), float(s[2])) for unit, s in sizes.items()}
    return Measured(path.name, likely, plain)


def mesh_name(given: str) -> str:
    """Return a safe name for an uploaded mesh file; raises GeometryError for another kind."""
    name = re.sub(r"[^\w .()+-]+", "_", given.replace("\\", "/").rpartition("/")[2]).strip(" .")
    kind = name.rpartition(".")[2].lower()
    if kind not in FORMATS or "." not in name:
        raise GeometryError(f"'{name[:60]}' is no mesh: drop an STL, OBJ, PLY, GLB or 3MF file")
    return name[-100:]


def boards_to_choose(catalogue: Catalogue) -> dict[str, str]:
    """Return the boards that stand at one place, by name, in words; strips want a path."""
    return {
        name: f"{board.label.partition(',')[0]} ({name.replace('_', ' ')})"
        for name, board in catalogue.boards.items()
        if board.kind != "strip"
    }


def begun(choice: Choice, folder: Path, kept: PreparedProp | None = None) -> Path:
    """Write a first scene into a folder, whole or not at all; return its file.

    kept : what becomes known of the body is kept there
    A mesh from elsewhere is copied beside it. Raises SceneError, MaterialError or GeometryError,
    and then nothing has been written; NoRoomError for a board that has no room.
    """
    mesh = choice.mesh and choice.mesh.resolve()
    unlit = parse_scene(scene_text(choice, mesh, None), "the first scene", folder)
    place = _first_place(unlit, choice.board, kept or PreparedProp())
    source, target = mesh, mesh
    if source is not None and not _within(source, folder):
        target = free_path(folder / source.name)
    text = scene_text(choice, target and _from(target, folder), place)
    path = free_path(folder / f"{_slug(choice.name)}.toml")
    if source is not None and target is not None and target != source:
        try:
            write_whole(target, source.read_bytes())
        except OSError as problem:
            raise SceneError(
                f"{target}: cannot be written: {problem.strerror or problem}"
            ) from None
    write_new(path, text)
    return path


def scene_text(choice: Choice, mesh: Path | None, place: FloatArray | None) -> str:
    """Return the text of a first scene, its board at a place in the body, or without one."""
    document = tomlkit.document()
    document["title"] = choice.name.capitalize()
    room = tomlkit.table()
    room.add("illuminance_lx", 20)
    room["illuminance_lx"].comment("a street at night; 300 is an office")
    room.add("viewing_distance_mm", 2000)
    document["room"] = room
    body = tomlkit.table()
    body["name"] = choice.name
    source = tomlkit.inline_table()
    if mesh is not None:
        source.update({"file": mesh.as_posix(), **({"units": choice.unit} if choice.unit else {})})
        body["mesh"] = source
    else:
        source.update({"kind": choice.shape, **_with_derived(choice)})
        body["shape"] = source
    body["material"] = choice.material
    if choice.wall_mm is not None:
        body["wall_mm"] = _number(choice.wall_mm)
    if place is not None:
        light = tomlkit.table()
        light["board"] = choice.board
        light["position_mm"] = [_number(v) for v in tidy(place)]
        drive = tomlkit.inline_table()
        drive.update(_drive(choice.board))
        light["drive"] = drive
        lights = tomlkit.aot()
        lights.append(light)
        body["lights"] = lights
    bodies = tomlkit.aot()
    bodies.append(body)
    document["bodies"] = bodies
    return tomlkit.dumps(document)


def _with_derived(choice: Choice) -> dict[str, float | int]:
    sizes = {key: _number(value) for key, value in choice.sizes.items()}
    if choice.shape == "spike":
        foot, high = choice.sizes["base_diameter_mm"], choice.sizes["length_mm"]
        sizes["tip_radius_mm"] = _number(round(min(0.16 * foot, 0.2 * high), 1))
    return sizes


def _drive(board: str) -> dict[str, float]:
    known = load_catalogue().boards.get(board)
    return {"white": 0.3} if known is not None and known.drive == "white" else WARM


def _first_place(unlit: SceneFile, board: str, kept: PreparedProp) -> FloatArray:
    """Return where a board has room in the only body: low on its axis, or as deep as can be."""
    problem, catalogue = kept.problem(plan_of(unlit), 0), load_catalogue()
    catalogue.board(board)

    def shaped(name: str) -> BoardShape:
        return shape_of(Light(board=name, position_mm=(0.0, 0.0, 0.0)), catalogue)

    free = _free_place(problem, shaped(board))
    if free is not None:
        return free
    sizes = {name: max(shaped(name).size_mm) for name in boards_to_choose(catalogue)}
    kind = catalogue.board(board).drive  # one of the same colours first, and of those the largest
    smaller = [name for name in sizes if sizes[name] < sizes[board]]
    smaller.sort(key=lambda n: (catalogue.board(n).drive == kind, sizes[n]), reverse=True)
    fits = (name for name in smaller if _free_place(problem, shaped(name)) is not None)
    other = next(fits, None)
    advice = f"{boards_to_choose(catalogue)[other]} has" if other else "none of those here has"
    raise NoRoomError(
        f"this board is {sizes[board]:.0f} mm across and has no room in this body; {advice}, or "
        "make the body larger",
        other,
    )


def _free_place(problem: BodyProblem, shape: BoardShape) -> FloatArray | None:
    """Return a place for a board in a body, None where none was found."""
    low, high = problem.outer.bounds
    grid = np.stack(np.meshgrid(*np.linspace(low, high, 9)[1:-1].T, indexing="ij"), -1)
    deep = depth_mm(problem.outer, grid.reshape(-1, 3))
    deepest = grid.reshape(-1, 3)[np.argsort(-deep)[:MOST_TRIED]]
    points = np.vstack([up_the_middle(problem)[1:-1], deepest])
    for point in points[inside_closed(problem.outer, points)]:
        around = surroundings(problem, point, ())
        frame = shape.frame.copy()
        frame[:3, 3] = point
        free = free_place(replace(shape, frame=frame), around, [point])
        if free is not None:
            return free
    return None


def _number(value: float) -> float | int:
    return int(value) if float(value).is_integer() else round(float(value), 3)


def _slug(name: str) -> str:
    return re.sub(r"\W+", "_", name.lower()).strip("_") or "prop"


def _within(path: Path, folder: Path) -> bool:
    return path.resolve().is_relative_to(folder.resolve())


def _from(path: Path, folder: Path) -> Path:
    return path.resolve().relative_to(folder.resolve())
