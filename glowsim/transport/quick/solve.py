"""The quick solve of one body: prepare it once, then ask for the response to any lights."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import cached_property

import numpy as np

from glowsim.geometry.kept import Kept
from glowsim.geometry.mesh import FloatArray, Mesh
from glowsim.geometry.rays import Joined, RayTarget, Target
from glowsim.transport.boards import with_boards
from glowsim.transport.problem import BodyProblem, Emitters, OpaqueBoard
from glowsim.transport.quick.apart import key_of
from glowsim.transport.quick.arrangement import Arrangement, BodyResponse
from glowsim.transport.quick.cavity import cavity_with_boards
from glowsim.transport.quick.cloud import Cloud, PartedCloud, WholeCloud
from glowsim.transport.quick.lattice import Lattice, lattice_of
from glowsim.transport.quick.quality import FULL, Quality
from glowsim.transport.quick.shell import Shell, shell_of
from glowsim.transport.quick.surfaces import Surfaces, surfaces_of
from glowsim.transport.quick.trail import Trail
from glowsim.transport.quick.walls import walls_of
from glowsim.transport.result import skin_mesh

ARRANGEMENTS = 4
"""Arrangements of boards that are kept for the next question."""


class QuickBody:
    """A body ready for the quick solver, whatever boards stand in it.

    Nothing of it changes once it is made but the trail that answers which follow each other leave:
    any number of threads may ask at once.

    surfaces, lattice : what depends on walls and grid alone, see there
    bare    : the body without a board in it
    """

    def __init__(
        self,
        problem: BodyProblem,
        seed: int = 0,
        surfaces: Surfaces | None = None,
        lattice: Lattice | None = None,
    ) -> None:
        """Prepare `problem`. Everything that does not depend on lights and boards happens here.

        surfaces, lattice : those of a body with the same walls, and cells, if they are there
        """
        self.problem = replace(problem, boards=())
        self.surfaces = surfaces or surfaces_of(self.problem, seed)
        self.lattice = lattice or lattice_of(self.problem, self.surfaces.kind)
        self._seed = seed
        walls = walls_of(self.problem)
        self._cloud = None
        if self.lattice is not None:
            self._cloud = WholeCloud.of(self.lattice, problem.media, walls.field_b)
        self.bare = Arrangement(
            self.problem, self.problem, walls, self.surfaces.target, self.surfaces.cavity,
            self._cloud, self.surfaces.skin, seed,
        )  # fmt: skip
        self._arranged: Kept[Arrangement] = Kept(ARRANGEMENTS)
        self._trail = Trail()

    @property
    def cell_count(self) -> int:
        """Grid cells in use."""
        return 0 if self.lattice is None else len(self.lattice.ground.elements.cells)

    def respond(
        self, emitters: Emitters, boards: Sequence[OpaqueBoard] = (), quality: Quality = FULL
    ) -> BodyResponse:
        """Return the response to `emitters`, light by light, with boards in the light's way."""
        trail = self._trail if quality.follows else None
        return self.arranged(boards).respond(emitters, quality, trail)

    def arranged(self, boards: Sequence[OpaqueBoard]) -> Arrangement:
        """Return the body with boards standing in it; nothing of the body is done again."""
        if not boards:
            return self.bare
        return self._arranged.get(key_of(boards), lambda: self._with(tuple(boards)))

    def _with(self, boards: tuple[OpaqueBoard, ...]) -> Arrangement:
        body = replace(self.problem, boards=boards)
        problem, first = with_boards(body), len(self.problem.walls.faces)
        target: Target = Joined(
            self.surfaces.target, first, RayTarget(problem.walls.triangles[first:])
        )
        cloud: Cloud | None = self._cloud
        if self._cloud is not None:
            faces = len(problem.walls.faces)
            cloud = PartedCloud.of(self._cloud, boards, len(self.problem.media), faces) or (
                self._cloud.with_rows(faces)
            )
        return Arrangement(
            body, problem, walls_of(problem), target,
            cavity_with_boards(self.surfaces.cavity, problem, target, first, self._seed),
            cloud, self.surfaces.skin, self._seed,
        )  # fmt: skip

    def surface(self, problem: BodyProblem) -> Mesh:
        """Return the faces on the room of a body with these walls; its parts are its own."""
        mesh, part = self._skin_mesh, problem.part[problem.skin]
        if mesh.part_names == problem.part_names and np.array_equal(mesh.part, part):
            return mesh
        return replace(mesh, part=part, part_names=problem.part_names)

    @cached_property
    def _skin_mesh(self) -> Mesh:
        return skin_mesh(self.problem)

    @cached_property
    def shell(self) -> Shell | None:
        """The body as a shell lit from its hollow, for drafts; None where it is none."""
        return shell_of(self.problem, self.bare.walls, self.surfaces, self.surfaces.cavity)

    def same_bands(self) -> list[int]:
        """Return for each band the first band in which the body is the same to diffuse light."""
        walls, cloud = self.bare.walls, self._cloud
        tables = (walls.field_b, walls.cavity_b, walls.escape_fraction)

        def same(a: int, b: int) -> bool:
            if not all(np.array_equal(table[:, a], table[:, b]) for table in tables):
                return False
            if cloud is None:
                return True
            return np.array_equal(cloud.bands[a].matrix.data, cloud.bands[b].matrix.data)

        return [next(a for a in range(band + 1) if same(a, band)) for band in range(3)]

    def fluence_per_mm2(self, emitters: Emitters, points: FloatArray) -> FloatArray:
        """Return the fluence rate in the body without boards, see `Arrangement`."""
        return self.bare.fluence_per_mm2(emitters, points)


__all__ = ["BodyResponse", "QuickBody"]
