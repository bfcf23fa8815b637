"""A body of the scene as geometry: its outer surface and its regions."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np

from glowsim.errors import GeometryError, SceneError
from glowsim.geometry.drawn import drawn_mesh
from glowsim.geometry.hollow import depth_mm, grown_mesh, hollow_mesh, nearest_on
from glowsim.geometry.inside import winding_number
from glowsim.geometry.joined import joined_to
from glowsim.geometry.kept import Kept
from glowsim.geometry.labels import named_as
from glowsim.geometry.mesh import (
    FloatArray,
    IntArray,
    Mesh,
    at_mm,
    from_manifold,
    to_manifold,
)
from glowsim.geometry.meshfile import is_file, missing_file, path_of, read_mesh, read_named
from glowsim.geometry.notes import Doubt
from glowsim.geometry.openings import Hollows, Opening, notes_on_openings, outside_of
from glowsim.geometry.patterns import placed
from glowsim.geometry.regions import Regions, cut_into_regions
from glowsim.geometry.repair import repaired
from glowsim.geometry.shapes import shape_mesh
from glowsim.geometry.simplify import simplified
from glowsim.geometry.skinned import open_skin, shell_of_skin
from glowsim.geometry.skins import weighted_median
from glowsim.geometry.tapered import tapered_hollow
from glowsim.scene.bodies import Body, Insert, MeshFile
from glowsim.scene.drawn import FromDrawing
from glowsim.scene.read import SceneFile
from glowsim.scene.shapes import Shape
from glowsim.tomlfile import KeyPath

_MADE_LAST: Kept[Any] = Kept(6)
"""Surfaces made from mesh files, as many as the bodies of a large prop take turns: reading and
mending a fine mesh takes seconds. Shared: callers must not change them."""
OUT_SHARE = 1e-4
"""Share of an inner surface's volume that may stick out of the outer one unsaid."""

OPEN_MM = 1e-3
"""Faces of a hollow this near the outside are an opening, not a wall."""


@dataclass(frozen=True)
class Solid:
    """The closed surfaces a body is made of, in its own frame.

    outer   : outer surface;  hollow : inner surface of a shell, or None
    inserts : one mesh per insert of the scene's body;  notes : repairs and assumptions
    wall_mm  : wall of a shell, the usual one where it varies, or None
    core     : surface of the infill of a print, or None
    openings : where a hollow is open to the room; `outer` has a lid there, a part by that name
    """

    outer: Mesh
    hollow: Mesh | None
    inserts: tuple[Mesh, ...]
    notes: tuple[str, ...]
    wall_mm: float | None = None
    core: Mesh | None = None
    openings: tuple[Opening, ...] = ()

    def regions(self, face_mm: float, what: str) -> Regions:
        """Cut the body: region 0 is its material, then the hollow or the infill (if any), then the
        inserts."""
        within = [mesh for mesh in (self.hollow, self.core) if mesh is not None]
        tools = within + list(self.inserts)
        return cut_into_regions(self.outer, tools, face_mm, what)

    @cached_property
    def _hollows(self) -> Hollows:
        return Hollows(self.outer)

    @cached_property
    def inside_wall(self) -> Mesh | None:
        """The faces of its inside wall, without openings; None for a solid."""
        whole = self.outer if self.hollow is None else self.hollow
        if self.hollow is None:
            inside = self._hollows.inner
        else:
            inside = nearest_on(self.outer, whole.centroids)[0] > OPEN_MM
        return Mesh.single_part(whole.vertices, whole.faces[inside]) if inside.any() else None

    def around(self, points: FloatArray, what: str) -> Solid:
        """Return the body as a shell that is open to the room if `points`, (n, 3) float [mm], lie
        outside its material but in a hollow of it; else the body itself.

        Raises GeometryError for an opening that no lid fits.
        """
        if self.hollow is not None or len(points) == 0:
            return self
        near = points[outside_of(self.outer, points)]
        shell = self._hollows.around(near, what) if len(near) else None
        if shell is None:
            return self
        said = notes_on_openings(self.outer, shell, what)
        return replace(
            self,
            outer=shell.outer,
            hollow=shell.hollow,
            wall_mm=shell.wall_mm,
            openings=shell.openings,
            notes=(*self.notes, *said),
        )


def light_points(body: Body) -> FloatArray:
    """Return where the lights of a body stand, or the points their paths go by, (n, 3) [mm];
    those of a strip along a wall or an edge only once it is taken apart."""
    known = [light for light in body.lights if not light.runs_by_body]
    points = [p for light in known for p in (light.path_mm or [light.position_mm])]
    return np.array(points, dtype=float).reshape(-1, 3)


def solid_of(scene_file: SceneFile, number: int) -> Solid:
    """Return the surfaces of body `number` of a scene, a shell if its lights stand in a hollow.

    Raises SceneError, with the key in the scene file, where a mesh is missing or cannot be used.
    """
    return around_lights(unlit_solid_of(scene_file, number), scene_file, number)


def around_lights(solid: Solid, scene_file: SceneFile, number: int) -> Solid:
    """Return what `unlit_solid_of` gave as the lights of the body see it; raises SceneError."""
    body = scene_file.scene.bodies[number]
    try:
        return solid.around(light_points(body), body.name)
    except GeometryError as problem:
        key = "mesh" if body.mesh else "shape"
        raise scene_file.fault(("bodies", number, key), str(problem)) from None


def unlit_solid_of(scene_file: SceneFile, number: int) -> Solid:
    """Return the surfaces of body `number` of a scene, wherever its lights are.

    What was made last from mesh files is kept.

    Raises SceneError, with the key in the scene file, where a mesh is missing or cannot be used.
    """
    body = scene_file.scene.bodies[number]
    items: list[Body | Insert] = [body, *body.inserts]
    files = [mesh for mesh in (*(item.mesh for item in items), body.inner) if mesh is not None]
    if not files or any(isinstance(item.shape, FromDrawing) for item in items):
        return _made(scene_file, number)
    return _MADE_LAST.get(
        (
            *(_file_key(file, scene_file.folder) for file in files),
            body.model_dump_json(exclude={"lights"}),
        ),
        lambda: _made(scene_file, number),
    )


def _made(scene_file: SceneFile, number: int) -> Solid:
    body = scene_file.scene.bodies[number]
    at: KeyPath = ("bodies", number)
    hollow, core, wall_mm = None, None, body.wall_mm
    if body.infill is not None and body.infill.share == 0:
        wall_mm = body.infill.skin_mm
    try:
        grown = _grown_skin(body, scene_file.folder)
        outer, notes = grown or _surface(body, scene_file.folder, body.name)
    except (GeometryError, SceneError) as problem:
        raise scene_file.fault((*at, "mesh" if body.mesh else "shape"), str(problem)) from None
    if grown is not None:
        wall_mm = None  # it has its wall already
    elif wall_mm is not None:
        try:
            hollow, closed = hollow_mesh(outer, wall_mm, body.name)
        except GeometryError as problem:
            key = "wall_mm" if body.infill is None else "infill"
            raise scene_file.fault((*at, key), str(problem)) from None
        notes += closed
    elif body.infill is not None and body.infill.share < 1:
        try:
            core, closed = hollow_mesh(outer, body.infill.skin_mm, body.name)
        except GeometryError as problem:
            raise scene_file.fault((*at, "infill"), str(problem)) from None
        notes += closed
    elif body.wall_by_height_mm is not None:
        try:
            hollow = tapered_hollow(outer, body.wall_by_height_mm, body.name)
        except GeometryError as problem:
            raise scene_file.fault((*at, "wall_by_height_mm"), str(problem)) from None
        wall_mm = _usual_wall(outer, hollow)
    elif body.inner is not None:
        try:
            hollow, wall_mm, more = _own_hollow(body, outer, scene_file.folder)
        except (GeometryError, SceneError) as problem:
            raise scene_file.fault((*at, "inner"), str(problem)) from None
        notes += more
    made: list[tuple[Insert, Mesh]] = []
    for k, insert in enumerate(body.inserts):
        what = f"{body.name}, {insert.name or f'insert {k + 1}'}"
        try:
            mesh, more = _insert_mesh(insert, scene_file.folder, what)
            if (to_manifold(mesh, what) ^ to_manifold(outer, body.name)).is_empty():
                raise GeometryError(f"{what}: lies wholly outside the body")
        except (GeometryError, SceneError) as problem:
            raise scene_file.fault((*at, "inserts", k), str(problem)) from None
        before = [("the body", outer), ("the hollow", hollow), ("the infill", core)]
        before += [(other.name or f"insert {j + 1}", m) for j, (other, m) in enumerate(made)]
        mesh, one_wall = joined_to(mesh, before, what)
        made.append((insert, mesh))
        notes += more + one_wall
    inserts = [mesh for _, mesh in made]
    return Solid(outer, hollow, tuple(inserts), tuple(notes), wall_mm, core)


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
        file, notes = read_named(mesh_file, folder)
        mesh, repairs = repaired(file.vertices, file.faces, what, mesh_file.keep)
        return named_as(mesh, file), notes + repairs

    key = (_file_key(mesh_file, folder), mesh_file.model_dump_json(), what)
    return _MADE_LAST.get(key, made)


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
        full, notes = _repaired_file(item.mesh, folder, what)
        mesh, fewer = simplified(full, what)
        if item.mesh.grow_mm > 0:
            mesh = grown_mesh(mesh, item.mesh.grow_mm, what)
        return mesh if mesh is full else named_as(mesh, full), notes + fewer
    shape: Shape | None = item.shape
    assert shape is not None, "the scene makes sure of a shape or a mesh"
    if isinstance(shape, FromDrawing):
        return drawn_mesh(shape, folder, what)
    return shape_mesh(shape), []


def _grown_skin(body: Body, folder: Path) -> tuple[Mesh, list[str]] | None:
    """Return the shell that a body's wall makes of a mesh file that is one open skin; None for any
    other body."""
    if body.mesh is None or body.wall_mm is None or body.mesh.grow_mm > 0:
        return None
    file, notes = read_named(body.mesh, folder)
    skin = open_skin(file.vertices, file.faces, body.name)
    if skin is None:
        return None
    mesh = shell_of_skin(skin, body.wall_mm, body.mesh.wall_grows, body.name)
    mesh, fewer = simplified(mesh, body.name)
    said = f"{body.name}: one skin, given a wall of {body.wall_mm:g} mm {body.mesh.wall_grows}"
    return named_as(mesh, file), [*notes, said, *fewer]


def _own_hollow(body: Body, outer: Mesh, folder: Path) -> tuple[Mesh, float, list[str]]:
    """Return the hollow that a body's own inner surface encloses, half of its wall's thickness
    being more than the returned [mm], and notes. Raises GeometryError if it lies outside."""
    assert body.inner is not None
    what = f"{body.name}, inner surface"
    vertices, faces, notes = read_mesh(body.inner, folder)
    mesh, repairs = repaired(vertices, faces, what, body.inner.keep)
    common = to_manifold(mesh, what) ^ to_manifold(outer, body.name)
    if common.is_empty() or mesh.volume_mm3 >= outer.volume_mm3:
        raise GeometryError(f"{what}: does not lie within the body; look at its units and place")
    rest = to_manifold(mesh, what) - to_manifold(outer, body.name)
    if rest.volume() > OUT_SHARE * mesh.volume_mm3:
        corners = from_manifold(rest).vertices
        worst = corners[int(depth_mm(outer, corners).argmin())]
        size = " x ".join(f"{s:.3g}" for s in np.ptp(corners, axis=0))
        notes.append(
            Doubt(
                f"the inner surface of '{body.name}' reaches through the outer one about "
                f"{at_mm(worst)}, {size} mm of it: its hollow is open to the room there. Is it "
                "meant to be?"
            )
        )
    hollow, fewer = simplified(from_manifold(common), what)
    return hollow, _usual_wall(outer, hollow), [*notes, *repairs, *fewer]


def _usual_wall(outer: Mesh, hollow: Mesh) -> float:
    """Return the wall that half of a hollow's surface has less of [mm]."""
    depth, _, _ = nearest_on(outer, hollow.centroids)
    return weighted_median(depth, hollow.areas_mm2)


def _insert_mesh(insert: Insert, folder: Path, what: str) -> tuple[Mesh, list[str]]:
    mesh, notes = _surface(insert, folder, what)
    return mesh.moved(placed(insert.position_mm, insert.rotation_deg)), notes
