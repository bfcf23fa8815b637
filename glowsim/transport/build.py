"""From a scene to a problem: look up materials, cut bodies, place emitters, choose sizes."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from glowsim.catalogue import Catalogue
from glowsim.errors import GeometryError
from glowsim.geometry.body import (
    Solid,
    around_lights,
    parts_of,
    unlit_solid_of,
)
from glowsim.geometry.cuts import Surface
from glowsim.geometry.kept import Kept
from glowsim.geometry.mesh import FloatArray, IntArray, Mesh
from glowsim.geometry.regions import ROOM, Regions
from glowsim.geometry.where import Region, cut_for, faces_where, nothing_there, region_on
from glowsim.scene import Body, SceneFile, Where
from glowsim.tomlfile import KeyPath
from glowsim.transport.appearance import whiteness
from glowsim.transport.boards import boards_of
from glowsim.transport.clear import is_clear
from glowsim.transport.coats import layer_number
from glowsim.transport.fit import Misfit, misfits, notes_on_fit
from glowsim.transport.leds import BodyLeds
from glowsim.transport.likeness import CLOSED
from glowsim.transport.media import core_of, infill_notes, infill_of, medium_of
from glowsim.transport.names import digest, geometry_key, unlit_key
from glowsim.transport.plan import Plan, plan_of
from glowsim.transport.problem import (
    AIR,
    BARE,
    NO_EMITTERS,
    BodyProblem,
    BoolArray,
    Kind,
    Layer,
    Medium,
    Named,
    Problem,
    centres_mm,
    notes_of,
)
from glowsim.transport.sizes import (
    cell_size_mm,
    face_size_mm,
    least_cell_mm,
    least_face_mm,
    stepped_mm,
)

Report = Callable[[str], None]
"""Told what is being worked on, for a progress line."""


def build_problem(scene_file: SceneFile, report: Report = lambda text: None) -> Problem:
    """Return the problem a scene describes.

    Raises SceneError, MaterialError or GeometryError naming file, line and key of what is wrong.
    """
    plan = plan_of(scene_file)
    bodies = []
    for number in plan.distinct.values():
        report(f"shaping {scene_file.scene.bodies[number].name}")
        bodies.append(body_problem(plan, number))
    copies, lights = plan.copies([centres_mm(body.emitters) for body in bodies])
    return Problem(plan.title, tuple(bodies), copies, lights, notes_of(bodies))


class Shapes:
    """Bodies shaped before, kept by what they were shaped from.

    What depends on what: the surfaces on shape and inserts; the walls on these and the edge of
    their faces; the body on these, its materials, coats and cells. Lights depend on all of it,
    and nothing on them but how fine faces and cells must be.
    """

    def __init__(self, most: int = 8) -> None:
        """Keep `most` of each."""
        self.solids: Kept[Solid] = Kept(most)
        self.face_mm: Kept[float] = Kept(8 * most)
        self.regions: Kept[Regions] = Kept(most)
        self.bodies: Kept[BodyProblem] = Kept(most)
        self.misfits: Kept[tuple[Misfit, ...]] = Kept(8 * most)


def body_problem(
    plan: Plan, number: int, shapes: Shapes | None = None, fitted: bool = True
) -> BodyProblem:
    """Return the problem of body `number` of a scene; raises as `build_problem` does.

    shapes : what has been shaped before, and is used where it is still right
    fitted : look whether its boards have room; without, no note says so
    """
    return _Builder(plan, number, shapes or Shapes()).build(fitted)


@dataclass(frozen=True)
class _Faces:
    """The wall faces of a body while its surface is worked out."""

    walls: Mesh
    inside: IntArray
    outside: IntArray
    part: IntArray
    part_names: tuple[str, ...]

    def cut_for(self, regions: Sequence[Region]) -> _Faces:
        """Return the faces with those cut where regions of the surface end."""
        surface = Surface.of(self.walls.vertices, self.walls.faces)
        for region in regions:
            surface = cut_for(surface, region, self.on_room, self.walls.normals)
        was = surface.was
        return _Faces(
            Mesh.single_part(surface.vertices, surface.faces),
            self.inside[was],
            self.outside[was],
            self.part[was],
            self.part_names,
        )

    @property
    def on_room(self) -> BoolArray:
        return self.outside == ROOM


def _faces(regions: Regions, media: Sequence[Medium], outer: Mesh) -> _Faces:
    """Return the walls of a body without those between air and air, and their parts."""
    kinds = np.array([m.kind for m in media] + [Kind.AIR])
    transparent = (kinds[regions.inside] == Kind.AIR) & (kinds[regions.outside] == Kind.AIR)
    keep = ~transparent | (regions.outside == ROOM)
    walls = Mesh.single_part(regions.walls.vertices, regions.walls.faces[keep])
    part = parts_of(walls, outer)
    return _Faces(walls, regions.inside[keep], regions.outside[keep], part, outer.part_names)


@dataclass
class _Builder:
    """Builds one body's problem."""

    plan: Plan
    number: int
    shapes: Shapes

    @property
    def scene_file(self) -> SceneFile:
        return self.plan.scene_file

    @property
    def catalogue(self) -> Catalogue:
        return self.plan.catalogue

    @property
    def _body(self) -> Body:
        return self.scene_file.scene.bodies[self.number]

    def _path(self, *keys: str | int) -> KeyPath:
        return ("bodies", self.number, *keys)

    def build(self, fitted: bool) -> BodyProblem:
        """Return the body's problem."""
        shape_key = geometry_key(self.scene_file, self.number)
        unlit = self.shapes.solids.get(
            shape_key, lambda: unlit_solid_of(self.scene_file, self.number)
        )
        solid = around_lights(unlit, self.scene_file, self.number)
        # The lights decide which of its hollows count.
        open_at = [opening.place_mm.tolist() for opening in solid.openings]
        shape_key = digest(shape_key, open_at)
        media = self._media(solid)
        leds = BodyLeds(self.scene_file, self.number, self.catalogue)
        depth = leds.depths_mm(solid)
        face_mm = self._face_mm(shape_key, solid, depth)
        regions = self.shapes.regions.get(
            digest(shape_key, face_mm), lambda: self._regions(solid, face_mm)
        )
        cell_mm = self._cell_mm(regions.solids, media, solid.wall_mm, depth)
        key = unlit_key(self.scene_file, self.number, self.catalogue)
        body = self.shapes.bodies.get(
            digest(key, open_at, face_mm, cell_mm),
            lambda: self._unlit(solid, regions, media, cell_mm),
        )
        problem = replace(
            body,
            name=self._body.name,
            emitters=leds.emitters(regions.solids, media),
            boards=boards_of(self._body, self.catalogue),
            key=self.plan.keys[self.number],
        )
        notes: tuple[str, ...] = ()
        if fitted:
            found = self.shapes.misfits.get(problem.key, lambda: misfits(problem))
            notes = notes_on_fit(self._body.name, found)
        return replace(problem, notes=(*body.notes, *notes))

    def _regions(self, solid: Solid, face_mm: float) -> Regions:
        try:
            return solid.regions(face_mm, self._body.name)
        except GeometryError as fault:
            raise self.scene_file.fault(self._path("inserts"), str(fault)) from None

    def _unlit(
        self, solid: Solid, cut: Regions, media: list[Medium], cell_mm: float
    ) -> BodyProblem:
        """Return the body without its lights."""
        faces, solids = _faces(cut, media, solid.outer), cut.solids
        regions = [self._region(where, solid.outer, *keys) for keys, where in self._body.regions]
        faces = faces.cut_for(regions)
        named = self._named(faces, regions)
        layers: list[Layer] = []
        coat = self._coats(faces, named, layers, media)
        return BodyProblem(
            name=self._body.name,
            media=tuple(media),
            solids=solids,
            walls=faces.walls,
            inside=faces.inside,
            outside=faces.outside,
            coat=coat,
            layers=tuple(layers),
            glows=self._glows(faces, named, coat, layers, media, is_clear(media[0], solids[0])),
            part=faces.part,
            part_names=faces.part_names,
            whiteness=whiteness(
                media,
                layers,
                faces.inside,
                coat,
                faces.on_room,
                solid.outer,
                solid.wall_mm,
            ),
            outer=solid.outer,
            wall_mm=solid.wall_mm,
            emitters=NO_EMITTERS,
            cell_mm=cell_mm,
            named=named,
            notes=(*solid.notes, *infill_notes(self._body, media)),
        )

    @property
    def _sizes(self) -> tuple[float | None, float | None]:
        """What the scene asks for, or else the plan."""
        body, given = self._body, self.plan.sizes.get(self.number)
        if given is None:
            return body.detail_mm, body.cell_mm
        return body.detail_mm or given.face_mm, body.cell_mm or given.cell_mm

    def _face_mm(self, shape_key: str, solid: Solid, led_depth_mm: FloatArray) -> float:
        """Return the edge of result faces; raise SceneError if the scene asks for too fine."""
        asked = self._sizes[0]
        if asked is not None:
            return self._not_below("detail_mm", asked, least_face_mm(solid.outer))
        step = stepped_mm(led_depth_mm) if len(led_depth_mm) else None
        return self.shapes.face_mm.get(
            digest(shape_key, step),
            lambda: face_size_mm(solid.outer, solid.wall_mm, led_depth_mm),
        )

    def _cell_mm(
        self,
        solids: Sequence[Mesh | None],
        media: list[Medium],
        wall_mm: float | None,
        led_depth_mm: FloatArray,
    ) -> float:
        """Return the edge of grid cells; raise SceneError if the scene asks for too fine."""
        clouds = [
            (solid, medium)
            for solid, medium in zip(solids, media, strict=True)
            if medium.kind == Kind.SCATTERS and solid is not None
        ]
        meshes = [solid for solid, _ in clouds]
        asked = self._sizes[1]
        if asked is None:
            return cell_size_mm(meshes, [m for _, m in clouds], wall_mm, led_depth_mm)
        return self._not_below("cell_mm", asked, least_cell_mm(meshes))

    def _not_below(self, key: str, asked_mm: float, least_mm: float) -> float:
        if asked_mm < least_mm:
            raise self.scene_file.fault(
                self._path(key),
                f"{asked_mm:g} mm is too fine for a body of this size; give at least "
                f"{math.ceil(100 * least_mm) / 100:g} mm, or leave it out",
            )
        return asked_mm

    @property
    def _is_sheet(self) -> bool:
        """Whether the body is a hollow lantern of thin sheet around its lights."""
        return self._body.material in self.catalogue.coats and bool(self._body.lights)

    def _media(self, solid: Solid) -> list[Medium]:
        """Return the medium of each region: the body's own, its hollow, its inserts."""
        body = self._body
        materials, coats = self.catalogue.materials, self.catalogue.coats
        if body.material in materials:
            media = [medium_of(body.material, materials[body.material])]
        else:
            media = [AIR if self._is_sheet else core_of(body.material, coats[body.material])]
        if solid.hollow is not None:
            media.append(AIR)
        if solid.core is not None and body.infill is not None:
            media.append(infill_of(body.material, materials[body.material], body.infill))
        for insert in body.inserts:
            if insert.kind == "pocket":
                media.append(AIR)
            elif insert.kind == "core":
                media.append(core_of(str(insert.coat), coats[str(insert.coat)]))
            else:
                media.append(medium_of(str(insert.material), materials[str(insert.material)]))
        return media

    def _region(self, where: Where, outer: Mesh, *keys: str | int) -> Region:
        try:
            return region_on(outer, where, self.scene_file.folder, self._body.mesh)
        except GeometryError as fault:
            raise self.scene_file.fault(self._path(*keys, "picture", "file"), str(fault)) from None

    def _named(self, faces: _Faces, regions: Sequence[Region]) -> Named:
        """Return the faces that each region holds; raise SceneError for one that holds none."""
        found: dict[str | int, list[BoolArray]] = {}
        for (keys, where), region in zip(self._body.regions, regions, strict=True):
            try:
                held = faces_where(region, faces.walls, faces.part, faces.part_names)
            except GeometryError as fault:
                raise self.scene_file.fault(self._path(*keys), str(fault)) from None
            held &= faces.on_room
            if not held.any():
                raise self.scene_file.fault(self._path(*keys), nothing_there(where, faces.walls))
            found.setdefault(keys[0], []).append(held)
        glow, dark = (found.get(key, [None])[0] for key in ("glow_where", "dark_where"))
        return Named(tuple(found.get("masks", ())), glow, dark)

    def _coats(
        self, faces: _Faces, named: Named, layers: list[Layer], media: list[Medium]
    ) -> IntArray:
        """Return the coat of each face, filling `layers`."""
        body, entries = self._body, self.catalogue.coats
        index = np.array([medium.refractive_index for medium in media])
        coat = np.full(len(faces.inside), BARE)
        if self._is_sheet:
            coat[faces.on_room & (faces.inside == 0)] = layer_number(
                layers, body.material, entries[body.material], 1.0
            )
        behind = index[faces.inside]
        for mask, held in zip(body.masks, named.masks, strict=True):
            for n in np.unique(behind[held]):
                coat[held & (behind == n)] = layer_number(
                    layers, mask.coat, entries[mask.coat], float(n)
                )
        return coat

    def _glows(
        self,
        faces: _Faces,
        named: Named,
        coat: IntArray,
        layers: list[Layer],
        media: list[Medium],
        clear: bool,
    ) -> BoolArray:
        """Return which faces are meant to glow: lit material, not closed off by a coat; of a clear
        body with rough faces these alone, since its polished ones only mirror."""
        if not self._body.lights:
            return np.zeros(len(coat), dtype=bool)
        dark = np.zeros(len(coat), dtype=bool) if named.dark is None else named.dark
        if named.glow is not None:
            return named.glow & ~dark
        kinds = np.array([m.kind for m in media])[faces.inside]
        rough = np.array([layer.roughness > 0 for layer in layers] + [False])[coat]
        if clear and rough.any():
            return faces.on_room & rough & ~dark
        closed = np.array([layer.transmittance.max() < CLOSED for layer in layers] + [False])[coat]
        hole = (kinds == Kind.AIR) & (coat == BARE)
        return faces.on_room & (kinds != Kind.OPAQUE) & ~closed & ~hole & ~dark
