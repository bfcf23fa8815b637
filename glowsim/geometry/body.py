"""A body of the scene as geometry: its outer surface, its regions, and faces picked by place."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from glowsim.errors import GeometryError, SceneError
from glowsim.geometry.drawn import drawn_mesh
from glowsim.geometry.hollow import grown_mesh, hollow_mesh, nearest_on
from glowsim.geometry.inside import winding_number
from glowsim.geometry.joined import joined_to
from glowsim.geometry.kept import kept
from glowsim.geometry.mesh import FloatArray, IntArray, Mesh, to_manifold
from glowsim.geometry.meshfile import is_file, missing_file, path_of, read_mesh
from glowsim.geometry.patterns import placed
from glowsim.geometry.regions import Regions, cut_into_regions
from glowsim.geometry.repair import repaired
from glowsim.geometry.shapes import shape_mesh
from glowsim.geometry.simplify import simplified
from glowsim.scene.bodies import Body, Insert, MeshFile, Where
from glowsim.scene.drawn import FromDrawing
from glowsim.scene.read import SceneFile
from glowsim.scene.shapes import Shape
from glowsim.tomlfile import KeyPath


@dataclass(frozen=True)
class Solid:
    """The closed surfaces a body is made of, in its own frame.

    outer   : outer surface;  hollow : inner surface of a shell, or None
    inserts : one mesh per insert of the scene's body;  notes : repairs and assumptions
    """

    outer: Mesh
    hollow: Mesh | None
    inserts: tuple[Mesh, ...]
    notes: tuple[str, ...]

    def regions(self, face_mm: float, what: str) -> Regions:
        """Cut the body: region 0 is its material, then the hollow (if any), then the inserts."""
        tools = ([self.hollow] if self.hollow is not None else []) + list(self.inserts)
        return cut_into_regions(self.outer, tools, face_mm, what)


def solid_of(scene_file: SceneFile, number: int) -> Solid:
    """Return the surfaces of body `number` of a scene; what was made last is kept.

    Raises SceneError, with the key in the scene file, where a mesh is missing or cannot be used.
    """
    body = scene_file.scene.bodies[number]
    items: list[Body | Insert] = [body, *body.inserts]
    files = [item.mesh for item in items if item.mesh is not None]
    if not files or any(isinstance(item.shape, FromDrawing) for item in items):
        return _made(scene_file, number)
    return kept(
        (*(_file_key(file, scene_file.folder) for file in files), body.model_dump_json()),
        lambda: _made(scene_file, number),
    )


def _made(scene_file: SceneFile, number: int) -> Solid:
    body = scene_file.scene.bodies[number]
    at: KeyPath = ("bodies", number)
    try:
        outer, notes = _surface(body, scene_file.folder, body.name)
    except (GeometryError, SceneError) as problem:
        raise scene_file.fault((*at, "mesh" if body.mesh else "shape"), str(problem)) from None
    hollow = None
    if body.wall_mm is not None:
        try:
            hollow, closed = hollow_mesh(outer, body.wall_mm, body.name)
        except GeometryError as problem:
            raise scene_file.fault((*at, "wall_mm"), str(problem)) from None
        notes += closed
    made: list[tuple[Insert, Mesh]] = []
    for k, insert in enumerate(body.inserts):
        what = f"{body.name}, {insert.name or f'insert {k + 1}'}"
        try:
            mesh, more = _insert_mesh(insert, scene_file.folder, what)
            if (to_manifold(mesh, what) ^ to_manifold(outer, body.name)).is_empty():
                raise GeometryError(f"{what}: lies wholly outside the body")
        except (GeometryError, SceneError) as problem:
            raise scene_file.fault((*at, "inserts", k), str(problem)) from None
        before = [("the body", outer), ("the hollow", hollow)]
        before += [(other.name or f"insert {j + 1}", m) for j, (other, m) in enumerate(made)]
        mesh, one_wall = joined_to(mesh, before, what)
        made.append((insert, mesh))
        notes += more + one_wall
    inserts = [mesh for _, mesh in made]
    return Solid(outer, hollow, tuple(inserts), tuple(notes))


def full_detail(scene_file: SceneFile, number: int) -> Mesh | None:
    """Return the outer surface of body `number` from its mesh file, repaired and no more.

    None for a sketch shape, which has no more detail, and for a mesh with a layer grown on it,
    whose surface is computed anew. Raises GeometryError or SceneError as `solid_of` does.
    """
    body = scene_file.scene.bodies[number]
    if body.mesh is None or body.mesh.grow_mm > 0:
        return None
    return _repaired_file(body.mesh, scene_file.folder, body.name)[0]


def _repaired_file(mesh_file: MeshFile, folder: Path, what: str) -> tuple[Mesh, list[str]]:
    """Return a mesh file's surface with all its faces, repaired, and what was done to it."""

    def made() -> tuple[Mesh, list[str]]:
        vertices, faces, notes = read_mesh(mesh_file, folder)
        mesh, repairs = repaired(vertices, faces, what, mesh_file.keep)
        return mesh, notes + repairs

    return kept((_file_key(mesh_file, folder), mesh_file.model_dump_json(), what), made)


def _file_key(mesh_file: MeshFile, folder: Path) -> str:
    """Return what tells a mesh file from another and from its own earlier content."""
    try:
        return mesh_file_digest(mesh_file, folder)
    except (OSError, ValueError):  # reading it says what is wrong; that is never kept
        return ""


def mesh_path(scene_file: SceneFile, keys: KeyPath, mesh_file: MeshFile) -> Path:
    """Return the path of a mesh file; raises SceneError if there is none that can be read."""
    path = path_of(mesh_file, scene_file.folder)
    if not is_file(path):
        raise scene_file.fault((*keys, "file"), missing_file(path))
    try:
        path.open("rb").close()
    except OSError as problem:
        raise scene_file.fault((*keys, "file"), f"cannot be read: {problem.strerror}") from None
    return path


def mesh_file_digest(mesh_file: MeshFile, folder: Path) -> str:
    """Return a digest of a mesh file's content, so that a changed file is noticed."""
    return hashlib.sha256(path_of(mesh_file, folder).read_bytes()).hexdigest()


def faces_where(where: Where, walls: Mesh, parts: IntArray, names: tuple[str, ...]) -> np.ndarray:
    """Return which faces lie in a region of the surface, (m,) bool.

    parts : (m,) int, named part of each face. Raises GeometryError for a part that is not there.
    """
    chosen = np.ones(len(walls.faces), dtype=bool)
    centre = walls.centroids
    if where.part is not None:
        if where.part not in names:
            known = ", ".join(names) if len(names) > 1 else "none; use above_mm, facing or a ball"
            raise GeometryError(f"this body has no part '{where.part}' (parts: {known})")
        chosen &= parts == names.index(where.part)
    if where.above_mm is not None:
        chosen &= centre[:, 2] > where.above_mm
    if where.below_mm is not None:
        chosen &= centre[:, 2] < where.below_mm
    if where.centre_mm is not None and where.radius_mm is not None:
        chosen &= np.linalg.norm(centre - where.centre_mm, axis=1) < where.radius_mm
    if where.facing is not None:
        way = np.asarray(where.facing) / np.linalg.norm(where.facing)
        chosen &= walls.normals @ way > np.cos(np.radians(where.facing_within_deg))
    return chosen


def parts_of(walls: Mesh, outer: Mesh) -> IntArray:
    """Return the named part of each wall face, taken from the nearest face of `outer`."""
    if len(outer.part_names) == 1:
        return np.zeros(len(walls.faces), dtype=np.int64)
    _, _, face = nearest_on(outer, walls.centroids)
    return outer.part[face]


def region_of(points: FloatArray, solids: tuple[Mesh | None, ...]) -> IntArray:
    """Return the region each point lies in, (n,) int, -1 for outside all.

    A point on the wall between two regions belongs to one of them.
    """
    winding = np.zeros((len(solids) + 1, len(points)))
    winding[-1] = 0.4
    for number, solid in enumerate(solids):
        if solid is not None:
            winding[number] = winding_number(solid.vertices, solid.faces, points)
    region = winding.argmax(axis=0).astype(np.int64)
    return np.where(region == len(solids), -1, region)


def _surface(item: Body | Insert, folder: Path, what: str) -> tuple[Mesh, list[str]]:
    if item.mesh is not None:
        mesh, notes = _repaired_file(item.mesh, folder, what)
        mesh, fewer = simplified(mesh, what)
        if item.mesh.grow_mm > 0:
            mesh = grown_mesh(mesh, item.mesh.grow_mm, what)
        return mesh, notes + fewer
    shape: Shape | None = item.shape
    assert shape is not None, "the scene makes sure of a shape or a mesh"
    if isinstance(shape, FromDrawing):
        return drawn_mesh(shape, folder, what)
    return shape_mesh(shape), []


def _insert_mesh(insert: Insert, folder: Path, what: str) -> tuple[Mesh, list[str]]:
    mesh, notes = _surface(insert, folder, what)
    return mesh.moved(placed(insert.position_mm, insert.rotation_deg)), notes
