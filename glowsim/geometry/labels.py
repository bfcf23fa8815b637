"""What a mesh file calls its faces: objects, groups, materials and painted colours.

A face bears several names at once; together they are the name of its part of the surface.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from glowsim.geometry.hollow import nearest_on
from glowsim.geometry.mesh import FloatArray, IntArray, Mesh

BETWEEN = " / "
"""Between the names of a part."""
MOST_COLOURS = 64
"""A surface of more colours than this is a photo, not painted: its colours are no names."""


def bearing(name: str, part_names: tuple[str, ...]) -> list[int]:
    """Return the numbers of the parts that bear a name, be it one of several."""
    return [k for k, own in enumerate(part_names) if name in (own, *own.split(BETWEEN))]


def single_names(part_names: tuple[str, ...]) -> list[str]:
    """Return every name that the parts of a surface bear, each once."""
    return list(dict.fromkeys(name for own in part_names for name in own.split(BETWEEN) if name))


def named(vertices: FloatArray, faces: IntArray, names: Iterable[Iterable[str]]) -> Mesh:
    """Return a mesh whose parts are the sets of names of its faces."""
    # A fine mesh has hundreds of thousands of faces, and few sets of names.
    sets = [tuple(own) for own in names]
    words = {own: BETWEEN.join(dict.fromkeys(own)) for own in dict.fromkeys(sets)}
    numbers = {word: k for k, word in enumerate(dict.fromkeys(words.values()))}
    number = {own: numbers[word] for own, word in words.items()}
    part = np.array([number[own] for own in sets], dtype=np.int64)
    return replace(Mesh.single_part(vertices, faces), part=part, part_names=tuple(numbers))


def named_as(mesh: Mesh, source: Mesh) -> Mesh:
    """Return a mesh with the parts of the nearest places of another."""
    if len(source.part_names) == 1 or len(mesh.faces) == 0:
        return replace(mesh, part=np.zeros_like(mesh.part), part_names=source.part_names[:1])
    _, _, face = nearest_on(source, mesh.centroids)
    return replace(mesh, part=source.part[face], part_names=source.part_names)


def colours_of(visual: Any, faces: IntArray) -> list[str] | None:
    """Return the painted colour of each face as '#rrggbb', that of most of its corners; None for a
    mesh that is not painted."""
    kind = getattr(visual, "kind", None)
    if kind == "face":
        colours = np.asarray(visual.face_colors)[:, :3]
    elif kind == "vertex":
        corner = np.asarray(visual.vertex_colors)[:, :3][faces]
        alike = (corner[:, 1] == corner[:, 2]).all(axis=1)
        colours = np.where(alike[:, None], corner[:, 1], corner[:, 0])
    else:
        return None
    if len(np.unique(colours, axis=0)) > MOST_COLOURS:
        return None
    return ["#" + bytes(map(int, colour)).hex() for colour in colours]


def corner_colours(visual: Any) -> NDArray[np.uint8] | None:
    """Return the colour of each corner of a mesh that is painted there, (n, 3); None for another or
    for a photo."""
    if getattr(visual, "kind", None) != "vertex":
        return None
    colours = np.asarray(visual.vertex_colors, dtype=np.uint8)[:, :3]
    return colours if len(np.unique(colours, axis=0)) <= MOST_COLOURS else None
