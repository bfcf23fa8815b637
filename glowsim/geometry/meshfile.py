"""Mesh files: read STL, OBJ, PLY, GLB and 3MF into mm. A file is read, never written."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import trimesh

from glowsim.errors import GeometryError, did_you_mean
from glowsim.geometry.mesh import FloatArray, IntArray
from glowsim.scene.bodies import MeshFile
from glowsim.units import MM_PER_UNIT, mm_per_unit

FORMATS = ("stl", "obj", "ply", "glb", "3mf")
PLAUSIBLE_MM = (3.0, 4000.0)
"""Largest extents a prop's body can sensibly have, least and greatest [mm]."""
POSSIBLE_MM = (0.2, 40_000.0)
"""Largest extents that are taken when the scene says the unit, least and greatest [mm]."""

# glTF 2.0, section 3.4 'Coordinate System and Units': 'The units for all linear distances are
# meters'. 3MF core specification, section 3.4 'Model': attribute unit, default millimeter.
_OWN_UNIT = {
    "meters": "m",
    "meter": "m",
    "millimeter": "mm",
    "millimeters": "mm",
    "centimeter": "cm",
    "centimeters": "cm",
    "inch": "in",
    "inches": "in",
    "foot": "ft",
    "feet": "ft",
    "micron": "um",
    "microns": "um",
}


def read_mesh(mesh_file: MeshFile, folder: Path) -> tuple[FloatArray, IntArray, list[str]]:
    """Read a mesh file.

    Returns vertices (n, 3) float [mm], faces (m, 3) int and notes on what was assumed.
    Raises GeometryError if the file is missing, of an unknown kind, broken or without faces,
    or if its size shows that the unit is wrong.
    """
    path = path_of(mesh_file, folder)
    kind = path.suffix.lower().lstrip(".")
    if not is_file(path):
        raise GeometryError(missing_file(path))
    if kind not in FORMATS:
        raise GeometryError(
            f"'{path.suffix}' is not a mesh format that can be read{did_you_mean(kind, FORMATS)}"
        )
    vertices, faces, own_unit = _load(path, kind)
    unit, notes = _unit(mesh_file.units, own_unit, kind, path.name)
    with np.errstate(over="ignore", invalid="ignore"):
        vertices = vertices * (mm_per_unit(unit) * mesh_file.scale)
        largest = float(np.ptp(vertices, axis=0).max())
    if not PLAUSIBLE_MM[0] <= largest <= PLAUSIBLE_MM[1]:
        notes.append(_implausible(path.name, largest, unit, mesh_file.units is not None))
    return vertices, faces, notes


def _load(path: Path, kind: str) -> tuple[FloatArray, IntArray, str | None]:
    try:
        loaded = trimesh.load_scene(path, file_type=kind, process=False)
        mesh = loaded.to_mesh()
        vertices, faces = np.asarray(mesh.vertices, float), np.asarray(mesh.faces, np.int64)
    except Exception as problem:
        # The readers of the various formats raise what they like on broken files.
        reason = " ".join(str(problem).split())[:120] or type(problem).__name__
        raise GeometryError(
            f"{path.name} cannot be read as {kind.upper()}: {reason}; export it again"
        ) from None
    if len(faces) == 0:
        raise GeometryError(f"{path.name} holds no triangles; export it again as a mesh")
    if faces.min() < 0 or faces.max() >= len(vertices):
        raise GeometryError(
            f"{path.name} has faces with corners that are not there; export it again"
        )
    if not np.isfinite(vertices).all():
        raise GeometryError(f"{path.name} holds coordinates that are not numbers; export it again")
    return vertices, faces, loaded.units


def _unit(given: str | None, own: str | None, kind: str, name: str) -> tuple[str, list[str]]:
    if given is not None:
        return given, []
    if own is not None and own in _OWN_UNIT:
        unit = _OWN_UNIT[own]
        return unit, [f"{name}: unit '{unit}' taken from the file, as {kind.upper()} defines it"]
    return "mm", [
        f'{name}: {kind.upper()} carries no unit; mm assumed (say units = "mm" to confirm)'
    ]


def _implausible(name: str, largest_mm: float, unit: str, given: bool) -> str:
    """Return a note on a strange size the user asked for; refuse a guessed or absurd one."""
    text = f"{name}: its largest size is {largest_mm:.4g} mm in unit '{unit}'"
    if given and not POSSIBLE_MM[0] <= largest_mm <= POSSIBLE_MM[1]:
        raise GeometryError(f"{text}; that is no part of a prop. Look at units and scale")
    if given:
        return f"{text}, which is unusual for a prop"
    raw = largest_mm / MM_PER_UNIT[unit]
    fits = [
        f'units = "{u}" ({raw * MM_PER_UNIT[u]:.4g} mm)'
        for u in ("um", "mm", "cm", "in", "m")
        if PLAUSIBLE_MM[0] <= raw * MM_PER_UNIT[u] <= PLAUSIBLE_MM[1]
    ]
    hint = " or ".join(fits) if fits else "units and scale"
    raise GeometryError(f"{text}: the unit must be wrong; set {hint}")


def path_of(mesh_file: MeshFile, folder: Path) -> Path:
    """Return where a mesh file is looked for; a relative path starts at `folder`."""
    path = Path(mesh_file.file)
    try:
        return folder / path.expanduser()
    except RuntimeError:  # a '~' that belongs to nobody
        return folder / path


def is_file(path: Path) -> bool:
    """Whether there is such a file; a name that no file can have is not one."""
    try:
        return path.is_file()
    except OSError:
        return False


def missing_file(path: Path) -> str:
    """Return what to tell about a mesh file that is not there."""
    try:
        others = [p.name for p in path.parent.iterdir() if p.suffix[1:].lower() in FORMATS]
    except (OSError, ValueError):
        return f"there is no mesh file {path}; its folder does not exist either"
    return f"there is no mesh file {path}{did_you_mean(path.name, others)}"
