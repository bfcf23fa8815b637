"""A prop kept ready: asked again with one thing changed, it does again what hangs on that alone.

What hangs on what, from the bottom up: the surfaces of a body on its shape and inserts; its walls
on these and the size of faces; how walls see each other, and the grid, on these; matrices and
multigrid on the grid and the materials; the answer on these and the lights. Each is kept by a
digest of what it was made from, so that a scene may change in any way between two questions.
"""

from __future__ import annotations

import hashlib
import time
from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from glowsim.geometry.kept import Kept
from glowsim.geometry.mesh import FloatArray
from glowsim.transport.build import Report, Shapes, body_problem
from glowsim.transport.clear import carries_light
from glowsim.transport.exchange import with_hollows
from glowsim.transport.guide import followed
from glowsim.transport.hollows import Entering
from glowsim.transport.plan import Plan
from glowsim.transport.problem import BodyProblem, Kind, centres_mm
from glowsim.transport.quick import QuickBody, entering_of, solve_body
from glowsim.transport.quick.lattice import Lattice, lattice_of
from glowsim.transport.quick.quality import FULL, Quality
from glowsim.transport.quick.shell import Shell, corrected
from glowsim.transport.quick.surfaces import Surfaces, as_numbers, media_alike, surfaces_of
from glowsim.transport.result import BodyGlow, SurfaceGlow
from glowsim.transport.solvers import solver_of


class PreparedProp:
    """What the quick solver knows of a prop; any number of threads may ask at once.

    The answer is that of a fresh solve, to the last digit, whatever has been asked before.
    """

    def __init__(self, seed: int = 0, most: int = 8) -> None:
        """Keep what belongs to the last `most` bodies and materials."""
        self.seed = seed
        self._shapes = Shapes(most)
        self._surfaces: Kept[Surfaces] = Kept(most)
        self._lattices: Kept[Lattice | None] = Kept(most)
        self._bodies: Kept[QuickBody] = Kept(most)
        self._glows: Kept[BodyGlow] = Kept(4 * most)
        self._drafts: Kept[FloatArray] = Kept(most)
        self._entered: Kept[Entering] = Kept(4 * most)
        self._last: SurfaceGlow | None = None
        self._befores: Kept[BodyProblem] = Kept(most)

    def glow(
        self,
        plan: Plan,
        *,
        quality: Quality = FULL,
        near: Plan | None = None,
        known: Mapping[str, BodyGlow] | None = None,
        like: SurfaceGlow | None = None,
        report: Report = lambda text: None,
    ) -> SurfaceGlow:
        """Return the glow of a plan's scene.

        quality : a draft is to be looked at; nothing is judged or kept in a file by one
        near    : a plan with the same lights at places near by. A draft of a shell is then the
                  full answer to that one, changed by as much as a coarser model says: much sooner
        known   : glows of bodies by their key, from elsewhere
        like    : a glow from elsewhere: what was worked out of its faces holds where they are alike
        Raises SceneError, MaterialError, GeometryError or SolveError for what cannot be solved.
        """
        started = time.perf_counter()
        known = known or {}
        bodies = []
        for key, number in plan.distinct.items():
            name = plan.scene_file.scene.bodies[number].name
            body = known.get(key)
            if body is None and not quality.judged and near is not None:
                body = self._moved(plan, near, number)
            body = body or self.body_glow(plan, number, quality, report)
            bodies.append(replace(body, name=name))
        copies, lights = plan.copies([body.light_mm for body in bodies])
        solver = solver_of(bodies)
        glow = SurfaceGlow(plan.title, tuple(bodies), copies, lights, solver, self.seed, 0.0)
        last = like or self._last
        if last is not None and last.same_faces(glow):
            glow = last.relit(glow)
        if quality.judged:
            glow = with_hollows(glow, lambda key: self._entering(plan, key))
            self._last = glow
        return glow.alike(seconds=time.perf_counter() - started)

    def body_glow(
        self,
        plan: Plan,
        number: int,
        quality: Quality = FULL,
        report: Report = lambda text: None,
    ) -> BodyGlow:
        """Return the glow of one body of a plan's scene; raises as `glow` does."""
        name = plan.scene_file.scene.bodies[number].name

        def solved() -> BodyGlow:
            report(f"shaping {name}")
            # Who looks at a draft sees where the boards stand.
            problem = body_problem(plan, number, self._shapes, fitted=quality == FULL)
            if carries_light(problem):
                return followed(problem, self.seed, quality, report)
            report(f"lighting {name}")
            return solve_body(problem, self.seed, self.quick(problem), quality)

        return self._glows.get(f"{plan.keys[number]} {quality.name}", solved)

    def _entering(self, plan: Plan, key: str) -> Entering:
        def solved() -> Entering:
            problem = self.problem(plan, plan.distinct[key])
            return entering_of(problem, self.seed, self.quick(problem))

        return self._entered.get(key, solved)

    def ready(self, plan: Plan) -> None:
        """Work out beforehand what drafts near the full answer to a plan start from."""
        for number in plan.distinct.values():
            self._shell_draft(plan, number)

    def _shell_draft(self, plan: Plan, number: int) -> tuple[BodyProblem, Shell, FloatArray] | None:
        """Return a body as it stands in a plan, as a shell, and the draft of it, which is the same
        for every move until there is another full answer; None where it is no shell, or where not
        all of its lights shine in its hollow."""
        key = plan.keys[number]
        before = self._befores.get(
            key, lambda: body_problem(plan, number, self._shapes, fitted=False)
        )
        shell = None
        if before.wall_mm is not None and _all_in_air(before):
            shell = self.quick(before).shell
        if shell is None:
            return None
        draft = self._drafts.get(key, lambda: shell.let_out(before.emitters, before.boards))
        return before, shell, draft

    def _moved(self, plan: Plan, near: Plan, number: int) -> BodyGlow | None:
        """Return a draft of a shell lit from its hollow, from the full answer to lights near by;
        None where the body is another, or other lights shine in it."""
        known = self._shell_draft(near, number)
        if known is None:
            return None
        before, shell, was = known
        problem = body_problem(plan, number, self._shapes, fitted=False)
        alike = np.array_equal(problem.emitters.light, before.emitters.light)
        if not _all_in_air(problem) or not alike or self.quick(problem).shell is not shell:
            return None
        full = self.body_glow(near, number)
        area = full.surface.areas_mm2
        draft = corrected(shell.let_out(problem.emitters, problem.boards), was, full.diffuse * area)
        return replace(
            full,
            key=plan.keys[number],
            diffuse=np.divide(draft, area, dtype=np.float32),
            light_mm=centres_mm(problem.emitters),
            led_mm=problem.emitters.position,
        )

    def problem(self, plan: Plan, number: int) -> BodyProblem:
        """Return the problem of one body of a plan's scene."""
        return body_problem(plan, number, self._shapes)

    def quick(self, problem: BodyProblem, report: Report = lambda text: None) -> QuickBody:
        """Return a body ready for lights anywhere in it."""
        walls = _digest(
            *(problem.walls.vertices, problem.walls.faces),
            *(problem.inside, problem.outside, problem.coat),
            np.array([(m.kind, m.refractive_index, m.g) for m in problem.media]),
            np.array(media_alike(problem)),
        )
        grid = f"{walls} {problem.cell_mm!r}"
        optics = _digest(
            *(as_numbers(medium) for medium in problem.media),
            *(np.concatenate([c.reflectance, c.transmittance]) for c in problem.layers),
            np.array([c.open_fraction for c in problem.layers]),
        )

        def made() -> QuickBody:
            report(f"preparing the walls of {problem.name}")
            surfaces = self._surfaces.get(walls, lambda: surfaces_of(problem, self.seed))
            report(f"preparing the grid of {problem.name}")
            lattice = self._lattices.get(grid, lambda: lattice_of(problem, surfaces.kind))
            report(f"preparing the light in {problem.name}")
            return QuickBody(problem, self.seed, surfaces, lattice)

        return self._bodies.get(f"{grid} {optics}", made)


def _all_in_air(problem: BodyProblem) -> bool:
    return bool((problem.kind_of(problem.emitters.region) == Kind.AIR).all())


def _digest(*arrays: np.ndarray) -> str:
    """Return a digest of arrays."""
    found = hashlib.blake2b(digest_size=12)
    for array in arrays:
        found.update(str(array.shape).encode())
        found.update(np.ascontiguousarray(array).tobytes())
    return found.hexdigest()
