"""Places boards of one kind in one body: candidates, bound, search, polish, prediction."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Literal

import numpy as np

from glowsim.decisions.allowed import Allowed, ways_of
from glowsim.decisions.boards import BoardKind
from glowsim.decisions.bound import Bound, Gap, Mixture, bound_of, mixed
from glowsim.decisions.objective import Aim, First, p5_over_mean
from glowsim.decisions.polish import Placement, Polish, site_luminance
from glowsim.decisions.response import SURE_RAYS, Responses
from glowsim.decisions.search import Search
from glowsim.decisions.sites import Sites, candidates
from glowsim.decisions.tidy import tidied
from glowsim.errors import SceneError, did_you_mean
from glowsim.geometry.mesh import FloatArray, IntArray
from glowsim.scene import Body, Light, Placing
from glowsim.transport.plan import Plan

CANDIDATES = 1000
"""Boards looked at, about."""
HOLLOW_CANDIDATES = 300
"""The same in a hollow, where light from one place differs less from that of the next, and costs
more rays."""
Report = Callable[[str], None]
_AXES = np.vstack([np.eye(3), -np.eye(3)])


@dataclass(frozen=True)
class Wish:
    """What is asked for.

    first       : what comes first
    directions  : keep, as the scene says; or any, along all axes and tilted from there
    free_levels : boards may be driven at different levels
    """

    first: First = "evenness"
    directions: Literal["keep", "any"] = "keep"
    free_levels: bool = False


class Placer:
    """One body, one kind of board."""

    def __init__(
        self,
        plan: Plan,
        number: int,
        responses: Responses,
        light: Light,
        placing: Placing,
        wish: Wish,
        seed: int = 0,
        report: Report = lambda text: None,
    ) -> None:
        """Find the candidates and their response. Raises SceneError if there is no room."""
        scene = plan.scene_file.scene
        body = scene.bodies[number]
        self.responses, self.wish = responses, wish
        self.kind = BoardKind(light, plan.catalogue, scene.findings.buried_power_w, body)
        if self.kind.heat is None:
            raise SceneError(f"{body.name}: all drive levels of its light are 0; turn it up first")
        if self.kind.heat.heat_factor <= 0:
            raise SceneError(
                f"{body.name}: the board '{light.board}' draws "
                f"{self.kind.power_w(0.0):.2g} W even while dark, above the "
                f"{self.kind.heat.limit_w:g} W that heat allows; take one with fewer LEDs"
            )
        self.allowed = Allowed(responses.problem, placing, self.kind)
        self.aim: Aim = responses.aim(wish.first, scene.findings)
        self._seed = seed
        report(f"{self.kind.name}: looking for room")
        most = min(CANDIDATES, HOLLOW_CANDIDATES) if self.allowed.in_air else CANDIDATES
        self.sites: Sites = candidates(self.allowed, self._ways(body, placing), most)
        report(f"{self.kind.name}: response of {len(self.sites.poses)} candidates")
        self.luminance: FloatArray = site_luminance(responses, self.kind, self.allowed, self.sites)
        self._found: dict[int, IntArray] = {}

    def _ways(self, body: Body, placing: Placing) -> FloatArray:
        wanted = placing.directions or tuple(light.direction for light in body.lights)
        listed = [list(way) for way in wanted]
        if self.wish.directions == "any":
            listed += _AXES.tolist()
        ways = ways_of(listed, self.kind)
        if len(ways) == 0:
            raise SceneError(
                f"{body.name}: '{self.kind.name}' cannot face any of the directions given: it runs "
                "that way itself; give other directions, or along"
            )
        return ways

    @cached_property
    def bound(self) -> Bound:
        """What no number of such boards can beat."""
        return bound_of(self.luminance, self.aim)

    def _mixture(self, chosen: IntArray) -> Mixture:
        """Return the best found of any number of boards, each at its own level: from the bound's,
        from the sites chosen, or from all alike."""
        starts = np.zeros((3, len(self.sites)))
        starts[0, self.bound.sites] = self.bound.level
        starts[1, chosen] = 1.0
        starts[2] = 1.0
        found = [mixed(self.luminance, self.aim, start) for start in starts]
        return max(found, key=lambda mixture: mixture.even)

    def gap(self, placement: Placement, even: float) -> Gap:
        """Return what lies between a placement, solved to 5 %/mean `even`, and the bound."""
        as_placed = mixed(placement.rows, self.aim, placement.level, rounds=0).even
        freed = mixed(placement.rows, self.aim, placement.level).even
        mixture = self._mixture(self._found[len(placement.poses)])
        gain = max(1.0, freed / max(as_placed, 1e-300))
        return Gap(even, even * gain, mixture, self.bound)

    @cached_property
    def _search(self) -> Search:
        return Search(self.sites, self.luminance, self.aim, self.allowed, self._seed)

    def place(self, count: int) -> tuple[Placement, float]:
        """Return the best placement of `count` boards found and its predicted 5 %/mean.

        Raises SceneError if so many do not fit.
        """
        hints = [self.bound.sites, *self._found.values()]
        chosen = self._search.best(count, hints)
        if chosen is None:
            raise SceneError(self._too_many(count))
        self._found[count] = chosen
        start = Placement(self.sites.at(chosen), np.ones(len(chosen)), self.luminance[chosen])
        placement = self._polish(self.aim).improved(start)
        correction, rows = self._correction(placement)
        aim = replace(self.aim, correction=correction[rows])
        placement = self._polish(aim).improved(placement)
        placement = self._tidied(placement, aim)
        face, area = self.responses.faces_cd_m2(placement.luminance)
        return placement, p5_over_mean(face * correction, area)

    def _polish(self, aim: Aim) -> Polish:
        return Polish(
            self.responses,
            self.kind,
            self.allowed,
            aim,
            free_levels=self.wish.free_levels,
            free_directions=self.wish.directions == "any",
        )

    def _correction(self, placement: Placement) -> tuple[FloatArray, IntArray]:
        """Return what patches miss of each glowing face's luminance, as a factor, and which
        faces stand for all: by one forward solve of the placement."""
        poses = placement.poses
        problem = self.responses.problem
        levels = placement.levels
        boards = self.kind.emitters(poses, self.allowed.regions_of(poses))
        # All boards shine as one light, each by its level: one solve does for all of them.
        shares = boards.share * levels[boards.light] / levels.sum()
        together = replace(boards, light=np.zeros_like(boards.light), share=shares)
        given = self.responses.prop.quick(self.responses.problem).respond(together)
        glows = problem.glows[problem.skin]
        leaving = (given.diffuse + given.direct)[:, :, glows]
        area = problem.walls.areas_mm2[problem.skin][glows]
        solved = levels.sum() * self.kind.luminance_cd_m2(leaving, area)[0]
        face, _ = self.responses.faces_cd_m2(placement.luminance)
        floor = 1e-9 * float(solved.max())
        return np.maximum(solved, floor) / np.maximum(face, floor), self.responses.sample_rows

    def _tidied(self, placement: Placement, aim: Aim) -> Placement:
        return tidied(
            placement,
            self.allowed,
            lambda sites: site_luminance(self.responses, self.kind, self.allowed, sites, SURE_RAYS),
            lambda luminance: float(aim.score(luminance[None])[0]),
        )

    def _too_many(self, count: int) -> str:
        symmetry = self.allowed.placing.symmetry
        possible = [k for k in range(1, count) if self._search.best(k) is not None]
        nearest = f"; {max(possible)} is the most that do" if possible else ""
        sets = f" in sets of {symmetry}" if symmetry > 1 else ""
        return (
            f"{self.responses.problem.name}: {count} boards '{self.kind.name}'{sets} do not find "
            f"room beside each other{nearest}. Give less clearance_mm or depth_mm, a smaller "
            "board, or other heights"
        )


def body_number(plan: Plan, name: str | None) -> int:
    """Return the number of the body to work on; raises SceneError if it cannot be told."""
    scene = plan.scene_file.scene
    lit = [k for k, body in enumerate(scene.bodies) if body.lights]
    names = [scene.bodies[k].name for k in lit]
    if name is None:
        if len(lit) == 1:
            return lit[0]
        said = ", ".join(f"'{n}'" for n in names)
        raise SceneError(
            f"{plan.scene_file.toml.name}: "
            + (f"several bodies have lights ({said}); say which with --body" if lit else _NO_LIGHT)
        )
    for number, body in enumerate(scene.bodies):
        if body.name == name:
            if not body.lights:
                raise plan.scene_file.fault(("bodies", number), _NO_LIGHT)
            return number
    every = [body.name for body in scene.bodies]
    raise SceneError(
        f"{plan.scene_file.toml.name}: there is no body '{name}'{did_you_mean(name, every)}"
    )


_NO_LIGHT = (
    "no body has a light to place; give it one, anywhere in it: its board, colour and direction "
    "are the pattern for what is placed"
)


def pattern_light(plan: Plan, number: int, board: str | None) -> Light:
    """Return the light that says what is placed: the body's first, with another board if given.

    Raises SceneError for a board that is not in the catalogue.
    """
    if number in plan.scene_file.written_light:
        raise plan.scene_file.fault(
            ("bodies", number, "lights", 0),
            "strips along a path cannot be placed anew; give position_mm in place of path_mm",
        )
    light = plan.scene_file.scene.bodies[number].lights[0]
    if board is None or board == light.board:
        return light
    fault = plan.catalogue.fault("board", board)
    if fault:
        raise SceneError(f"{plan.scene_file.toml.name}: {fault}")
    kept = light.led_count if plan.catalogue.board(board).kind == "strip" else None
    return light.model_copy(update={"board": board, "led_count": kept, "channel_current_ma": None})
