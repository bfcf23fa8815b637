"""The objects, groups and materials of a mesh file, by name."""

from __future__ import annotations

import io
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import trimesh
from numpy.typing import NDArray

from glowsim.errors import GeometryError, did_you_mean
from glowsim.geometry import labels
from glowsim.geometry.labels import colours_of, corner_colours
from glowsim.geometry.mesh import FloatArray, Mesh

_OBJ_NAMES = {"o": "object", "g": "group", "usemtl": "material"}
"""Statements of an OBJ file that name the faces after them."""
_UNNAMED = {"world", "default", "off", ""}
"""Names that programs give where the maker gave none."""
SHOWN = 12


def load_parts(path: Path, kind: str, part: str | None) -> tuple[Mesh, str | None, list[str]]:
    """Read a mesh file, or only what bears the name `part` in it.

    Returns its mesh with what the file calls its faces as parts, in the file's own unit; the unit
    that it says; and the names of its objects.
    A group's name chooses all within it. Raises GeometryError where nothing bears the name, and
    whatever the readers raise on a broken file.
    """
    if kind == "obj":
        text = path.read_text(encoding="utf-8", errors="replace")
        lines = _obj_lines(text)
        names = _names_of_obj(lines)
        _require(part, names, path.name)
        # The file's materials are not looked up: what they look like is of no account here.
        source: Any = io.StringIO(_only_of_obj(lines, part))
        loaded = trimesh.load_scene(source, file_type="obj", process=False, skip_materials=True)
        named = {node: list[str]() for node in loaded.graph.nodes_geometry}
        nodes = list(named)
    else:
        loaded = trimesh.load_scene(path, file_type=kind, process=False)
        named = {node: _names_of_node(loaded, node) for node in loaded.graph.nodes_geometry}
        names = list(dict.fromkeys(name for own in named.values() for name in own))
        _require(part, names, path.name)
        nodes = [node for node, own in named.items() if part is None or part in own]
    mesh = _joined(loaded, nodes, named)
    if kind == "obj" and len(names) > 1:
        mesh = _with_obj_names(mesh, lines)
    return mesh, loaded.units, names if len(loaded.geometry) > 1 or part else []


def _require(part: str | None, names: list[str], file: str) -> None:
    if part is not None and part not in names:
        there = ", ".join(names[:SHOWN]) + (", ..." if len(names) > SHOWN else "")
        raise GeometryError(
            f"{file} has no part '{part}'{did_you_mean(part, names)} "
            f"(there: {there or 'none has a name'})"
        )


def _joined(loaded: Any, nodes: list[Any], named: dict[Any, list[str]]) -> Mesh:
    """Return the meshes of some nodes, each where the file places it, as one."""
    vertices, faces, first = [np.zeros((0, 3))], [np.zeros((0, 3), np.int64)], 0
    words: list[list[str]] = []
    textures: list[FloatArray | None] = []
    paints: list[NDArray[np.uint8] | None] = []
    for node in nodes:
        transform, name = loaded.graph[node]
        mesh = loaded.geometry[name]
        if not hasattr(mesh, "faces"):
            continue  # points or lines
        points = np.asarray(mesh.vertices, dtype=float)
        turned = np.asarray(mesh.faces, np.int64)
        painted = colours_of(mesh.visual, turned)
        own = named[node]
        words += [[*own, paint] for paint in painted] if painted else [own] * len(turned)
        if np.linalg.det(transform[:3, :3]) < 0:
            turned = turned[:, ::-1]  # a mirrored copy
        vertices.append(points @ transform[:3, :3].T + transform[:3, 3])
        faces.append(turned + first)
        first += len(points)
        texture = getattr(mesh.visual, "uv", None)
        textures.append(None if texture is None else np.asarray(texture, dtype=float)[:, :2])
        paints.append(corner_colours(mesh.visual))
    joined = labels.named(np.vstack(vertices), np.vstack(faces), words)
    return replace(joined, uv=_all_or_none(textures), colours=_all_or_none(paints))


def _all_or_none(tables: list[NDArray[Any] | None]) -> NDArray[Any] | None:
    known = [table for table in tables if table is not None]
    return np.vstack(known) if known and len(known) == len(tables) else None


def _names_of_node(loaded: Any, node: Any) -> list[str]:
    """Return the names of a node, of the groups it is in, of its mesh and material."""
    found = []
    parents = loaded.graph.transforms.parents
    at = node
    for _ in range(100):
        found.append(str(at))
        if at not in parents:
            break
        at = parents[at]
    name = loaded.graph[node][1]
    material = getattr(getattr(loaded.geometry[name], "visual", None), "material", None)
    found += [str(name), str(getattr(material, "name", None) or "")]
    return [name for name in dict.fromkeys(found) if name.lower() not in _UNNAMED]


def _obj_lines(text: str) -> list[tuple[str, frozenset[str]]]:
    """Return the lines of an OBJ file, each with the names that hold there.

    Corners counted backward from a face are given their numbers from the start of the file.
    """
    names: dict[str, frozenset[str]] = {}
    now: frozenset[str] = frozenset()
    seen = {"v": 0, "vt": 0, "vn": 0}
    lines = []
    for line in text.splitlines():
        word = line[:7].split(maxsplit=1)[:1]
        if not word:
            continue
        if word[0] in seen:
            seen[word[0]] += 1
        elif word[0] in _OBJ_NAMES:
            rest = line.split()[1:]
            names[word[0]] = frozenset(rest if word[0] == "g" else [" ".join(rest)])
            now = frozenset().union(*names.values())
        elif word[0] == "f" and "-" in line:
            counts = list(seen.values())
            line = " ".join(["f", *(_forward(corner, counts) for corner in line.split()[1:])])
        lines.append((line, now))
    return lines


def _forward(corner: str, counts: list[int]) -> str:
    """Return a face's corner, 'v/vt/vn', with its numbers counted from the start."""
    numbers = [
        str(count + 1 + int(number)) if number.startswith("-") else number
        for number, count in zip(corner.split("/"), counts, strict=False)
    ]
    return "/".join(numbers)


def _with_obj_names(mesh: Mesh, lines: list[tuple[str, frozenset[str]]]) -> Mesh:
    """Return a mesh read from an OBJ file with the names that its faces have there, besides their
    colours. Corners are looked up in the file's own text, for the reader sorts its faces anew."""
    corners = [line.split()[1:4] for line, _ in lines if line.startswith(("v ", "v\t"))]
    faces, words = [], []
    for line, names in lines:
        if _is_face(line):
            at = [int(corner.split("/")[0]) - 1 for corner in line.split()[1:]]
            faces += [(at[0], at[k], at[k + 1]) for k in range(1, len(at) - 1)]
            words += [sorted(name for name in names if name.lower() not in _UNNAMED)] * (
                len(at) - 2
            )
    read = labels.named(np.array(corners, dtype=float), np.array(faces), words)
    own = labels.named_as(mesh, read)
    both = [
        (own.part_names[a], mesh.part_names[b]) for a, b in zip(own.part, mesh.part, strict=True)
    ]
    named = labels.named(mesh.vertices, mesh.faces, [filter(None, pair) for pair in both])
    return replace(named, uv=mesh.uv, colours=mesh.colours)


def _is_face(line: str) -> bool:
    return line.split(maxsplit=1)[0] == "f"


def _names_of_obj(lines: list[tuple[str, frozenset[str]]]) -> list[str]:
    found: dict[str, None] = {}
    last: frozenset[str] = frozenset()
    for line, names in lines:
        if names is not last and _is_face(line):
            found |= dict.fromkeys(sorted(names))
            last = names
    return [name for name in found if name.lower() not in _UNNAMED]


def _only_of_obj(lines: list[tuple[str, frozenset[str]]], part: str | None) -> str:
    """Return an OBJ file without the faces that do not bear a name; corners keep their numbers."""
    return "\n".join(
        line for line, names in lines if part is None or part in names or not _is_face(line)
    )
