"""Mesh files: read STL, OBJ, PLY, GLB and 3MF into mm. A file is read, never written."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np

from glowsim.errors import GeometryError, did_you_mean
from glowsim.geometry.mesh import FloatArray, IntArray, Mesh
from glowsim.geometry.meshparts import SHOWN, load_parts
from glowsim.geometry.scaling import PLAUSIBLE_MM, POSSIBLE_MM, USUAL_MM, unit_by_size
from glowsim.geometry.strays import without_strays
from glowsim.scene.bodies import MeshFile
from glowsim.units import MM_PER_UNIT, mm_per_unit

FORMATS = ("stl", "obj", "ply", "glb", "3mf")
GUESSES = {"mm": 1.0, "cm": 10.0, "in": 25.4, "m": 1000.0}
"""What the numbers of a file without a unit may mean [mm], the likeliest first."""

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
    """Return vertices (n, 3) float [mm], faces (m, 3) int and notes, as `read_named` does."""
    mesh, notes = read_named(mesh_file, folder)
    return mesh.vertices, mesh.faces, notes


def read_named(mesh_file: MeshFile, folder: Path) -> tuple[Mesh, list[str]]:
    """Read a mesh file.

    Returns its mesh [mm], z up, what the file calls its faces as parts, and notes on what was
    assumed. Raises GeometryError if the file is missing, of an unknown kind, broken or without
    faces, or if its size shows that the unit is wrong.
    """
    path = path_of(mesh_file, folder)
    kind = path.suffix.lower().lstrip(".")
    if not is_file(path):
        raise GeometryError(missing_file(path))
    if kind not in FORMATS:
        raise GeometryError(
            f"'{path.suffix}' is not a mesh format that can be read{did_you_mean(kind, FORMATS)}"
        )
    mesh, own_unit, names = _load(path, kind, mesh_file.part)
    mesh, notes = without_strays(mesh, path.name)
    if mesh_file.part is None and len(names) > 1:
        notes.append(
            f"{path.name}: holds {', '.join(names[:SHOWN])}; all are taken together (mesh.part "
            "takes one)"
        )
    vertices = mesh.vertices
    with np.errstate(over="ignore", invalid="ignore"):
        largest = float(np.ptp(vertices, axis=0).max()) * mesh_file.scale
        unit, more = _unit(mesh_file.units, own_unit, kind, path.name, largest)
        notes += more
        vertices = vertices * (mm_per_unit(unit) * mesh_file.scale)
        largest = float(np.ptp(vertices, axis=0).max())
    if not PLAUSIBLE_MM[0] <= largest <= PLAUSIBLE_MM[1]:
        notes.append(_implausible(path.name, largest, unit, mesh_file.units is not None))
    if mesh_file.up == "y" or (mesh_file.up is None and kind == "glb"):
        vertices = np.column_stack([vertices[:, 0], -vertices[:, 2], vertices[:, 1]])
        if mesh_file.up is None:
            notes.append(
                f"{path.name}: has y up, as GLB defines it, and is turned so that z is up "
                '(mesh.up = "z" takes it as it lies)'
            )
    return replace(mesh, vertices=vertices), notes


def _load(path: Path, kind: str, part: str | None) -> tuple[Mesh, str | None, list[str]]:
    """Return what `load_parts` does; raise GeometryError where that is no mesh."""
    try:
        mesh, unit, names = load_parts(path, kind, part)
    except GeometryError:
        raise
    except Exception as problem:
        # The readers of the various formats raise what they like on broken files.
        reason = " ".join(str(problem).split())[:120] or type(problem).__name__
        raise GeometryError(
            f"{path.name} cannot be read as {kind.upper()}: {reason}; export it again"
        ) from None
    if len(mesh.faces) == 0:
        raise GeometryError(f"{path.name} holds no triangles; export it again as a mesh")
    if mesh.faces.min() < 0 or mesh.faces.max() >= len(mesh.vertices):
        raise GeometryError(
            f"{path.name} has faces with corners that are not there; export it again"
        )
    return mesh, unit, names


def _unit(
    given: str | None, own: str | None, kind: str, name: str, largest: float
) -> tuple[str, list[str]]:
    """Return the unit of a file's numbers, and notes; `largest` is their extent, scale included."""
    if given is not None:
        return given, []
    if own is not None and own in _OWN_UNIT:
        unit = _OWN_UNIT[own]
        return unit, [f"{name}: unit '{unit}' taken from the file, as {kind.upper()} defines it"]
    usual = [u for u, mm in GUESSES.items() if USUAL_MM[0] <= largest * mm <= USUAL_MM[1]]
    if PLAUSIBLE_MM[0] <= largest <= PLAUSIBLE_MM[1] or len(usual) == 1:
        unit, doubt = unit_by_size(largest, GUESSES, name, "mesh.units", usual_is_sure=True)
        if doubt is not None:
            return unit, [doubt]
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
