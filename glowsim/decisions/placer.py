"""Places boards of one kind in one body: candidates, bound, search, polish, prediction."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from glowsim.decisions.boards import Poses
from glowsim.decisions.bound import Bound, Gap, Mixture, best_mixture, bound_of
from glowsim.decisions.crowding import Crowding
from glowsim.decisions.objective import Aim, Wish, p5_over_mean
from glowsim.decisions.polish import Placement, Polish, site_luminance
from glowsim.decisions.response import FAST_RAYS, Responses
from glowsim.decisions.room import Room
from glowsim.decisions.search import Search
from glowsim.decisions.sites import Sites, sites_of
from glowsim.decisions.tidy import tidied
from glowsim.electrics.as_wired import kept_by
from glowsim.errors import SceneError
from glowsim.findings.unevenness import worse_end
from glowsim.geometry.mesh import FloatArray, IntArray
from glowsim.scene import Light, Placing, StripPiece
from glowsim.transport.boards import boards_of
from glowsim.transport.build import Report
from glowsim.transport.plan import Plan
from glowsim.transport.problem import OpaqueBoard

AS_GOOD = 0.9
"""Boards that stand in the scene are moved on too where they score this share of those found."""


@dataclass(frozen=True)
class Expected:
    """What a placement is foretold to come to, after its last move, its boards' shadows counted.

    even : 5 %/mean;  off_by : factor by which a typical place is off an even glow
    """

    even: float
    off_by: float

    @property
    def worse_end(self) -> float:
        """What the evenness target is held against."""
        return worse_end(self.even, self.off_by)


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
        self._body = body
        self._look_at = scene.room
        self._room = Room(plan, number, responses.problem, light, placing, wish)
        self.kind, self.allowed = self._room.kind, self._room.allowed
        self.kind.kept = kept_by(plan.scene_file, body.name)
        self.aim: Aim = responses.aim(wish.first, scene.findings, scene.room)
        self._seed, self._report = seed, report
        report(f"{self.kind.name}: looking for room")
        effort = responses.effort
        most = effort.candidates
        if self.allowed.in_air:
            most = min(most, effort.hollow_candidates)
        self.sites: Sites = self._room.sites(most)
        self.luminance: FloatArray = self._rows(self.sites)
        self._found: dict[int, IntArray] = {}
        self._forward: dict[tuple[bytes, ...], FloatArray] = {}

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
        found = [best_mixture(self.luminance, self.aim, start) for start in starts]
        return max(found, key=lambda mixture: mixture.even)

    def gap(self, placement: Placement, even: float) -> Gap:
        """Return what lies between a placement, solved to 5 %/mean `even`, and the bound."""
        as_placed = best_mixture(placement.rows, self.aim, placement.level, rounds=0).even
        freed = best_mixture(placement.rows, self.aim, placement.level).even
        mixture = self._mixture(self._found[len(placement.poses)])
        gain = max(1.0, freed / max(as_placed, 1e-300))
        return Gap(even, even * gain, mixture, self.bound)

    def _rows(self, sites: Sites, rays: int = FAST_RAYS) -> FloatArray:
        return site_luminance(self.responses, self.kind, self.allowed, sites, rays, self._report)

    @cached_property
    def _search(self) -> Search:
        crowding = Crowding(self.sites, self.allowed)
        return Search(crowding, self.luminance, self.aim, self._seed)

    def place(self, count: int) -> tuple[Placement, Expected]:
        """Return the best placement of `count` boards found, and what it is expected to come to.

        Raises SceneError if so many do not fit. Boards that stand are moved only for the better.
        """
        choices = self._chosen(count)
        starts = [self._on_sites(chosen) for chosen in choices]
        first = self._better([(one, self.corrected(one)) for one in starts])[0] if starts[1:] else 0
        self._found[count], start = choices[first], starts[first]
        found = [self._refined(start)]
        stands = self._as_it_stands(count)
        if stands is not None and self._score(stands) >= AS_GOOD * self._score(start):
            found += [(stands, self.corrected(stands)), self._refined(stands)]
        best, expected = self._better(found)
        return found[best][0], expected

    def at_sites(self, count: int) -> Placement:
        """Return the best choice of candidates alone, in whole tenths: a guess, not solved.

        Raises SceneError if so many do not fit.
        """
        return self._tidied(self._on_sites(self._chosen(count)[0]), self.aim)

    def expected(self, placement: Placement) -> Expected:
        """Return what a placement comes to by a forward solve, read from all faces."""
        face, area = self.responses.faces_cd_m2(placement.luminance)
        face = face * self._correction(placement)
        return Expected(p5_over_mean(face, area), self.responses.off_by(face, self._look_at))

    def _better(self, found: Sequence[tuple[Placement, Aim]]) -> tuple[int, Expected]:
        """Return which of some placements, each with the aim as it is true of it, is the best by a
        forward solve, and what it comes to."""
        expected = [self.expected(one) for one, _ in found]
        scores = [float(aim.score(one.luminance[None])[0]) for one, aim in found]
        if self.wish.first == "evenness" and self.aim.glow.all():
            scores = [-one.off_by for one in expected]  # of all faces, not of those looked at
        best = int(np.argmax(scores))
        return best, expected[best]

    def _on_sites(self, chosen: IntArray) -> Placement:
        return Placement(self.sites.at(chosen), np.ones(len(chosen)), self.luminance[chosen])

    def _chosen(self, count: int) -> list[IntArray]:
        """Return the sites of the best choices of candidates, the best first."""
        hints = [self.bound.sites, *self._found.values()]
        found = self._search.best(count, hints)
        if not found:
            # Candidates are too few to lie beside each other: take in places that do.
            packed = self._room.packed(count)
            chosen = len(self.sites) + np.arange(len(packed))
            self.sites = self.sites.with_more(packed)
            self.luminance = np.vstack([self.luminance, self._rows(packed)])
            for known in ("_search", "bound"):
                self.__dict__.pop(known, None)
            found = self._search.best(count, [chosen, self.bound.sites, *self._found.values()])
            assert found, "the packed places have room beside each other"
        return found

    def _as_it_stands(self, count: int) -> Placement | None:
        """Return the boards as the scene has them, where they are such boards at allowed places."""
        alike = {"name", "zone", "position_mm", "direction", "separate_leds"}
        pattern = self.kind.light.model_dump(exclude=alike)
        boards = [
            light for light in self._body.lights if light.model_dump(exclude=alike) == pattern
        ]
        if (
            len(boards) != count
            or len(self._body.lights) != count
            or self.allowed.placing.symmetry > 1
        ):
            return None
        ways = np.array([light.direction for light in boards], dtype=float)
        ways = ways / np.linalg.norm(ways, axis=1)[:, None]
        poses = Poses(np.array([light.position_mm for light in boards], dtype=float), ways)
        if not self.allowed.allows(poses).all() or any(
            self.allowed.clash(poses.at(slice(k, k + 1)), poses.at(slice(k + 1, None))).any()
            for k in range(count)
        ):
            return None
        sites = sites_of(poses, 1, self.sites.step_mm)
        return Placement(sites, np.ones(count), self._rows(sites, self.responses.effort.sure_rays))

    def _score(self, placement: Placement) -> float:
        return float(self.aim.score(placement.luminance[None])[0])

    def _refined(self, start: Placement) -> tuple[Placement, Aim]:
        """Return a placement moved on while it pays, and the aim as it is true of it."""
        placement = self._polish(self.aim).improved(start, self._report)
        aim = self.corrected(placement)
        placement = self._tidied(self._polish(aim).improved(placement, self._report), aim)
        return placement, self.corrected(placement)

    def corrected(self, placement: Placement) -> Aim:
        """Return the aim with what patches miss of the light where these boards stand."""
        correction = self._correction(placement)
        return replace(self.aim, correction=correction[self.responses.sample_rows])

    def _polish(self, aim: Aim) -> Polish:
        return Polish(
            self.responses,
            self.kind,
            self.allowed,
            aim,
            free_levels=self.wish.free_levels,
            free_directions=self.wish.directions == "any",
        )

    def _correction(self, placement: Placement) -> FloatArray:
        """Return what patches miss of each glowing face's luminance, as a factor: by one forward
        solve of the placement."""
        poses, levels = placement.poses, placement.levels
        known = (poses.position.tobytes(), poses.direction.tobytes(), levels.tobytes())
        if known not in self._forward:
            self._forward[known] = self._solved(placement)
        solved = self._forward[known]
        face, _ = self.responses.faces_cd_m2(placement.luminance)
        floor = 1e-9 * float(solved.max())
        return np.maximum(solved, floor) / np.maximum(face, floor)

    def _solved(self, placement: Placement) -> FloatArray:
        """Return the luminance of the glowing faces over what is wanted there, (n,) [cd/m2]."""
        self._report(f"{self.kind.name}: looking at the whole surface")
        poses, levels = placement.poses, placement.levels
        boards = self.kind.emitters(poses, self.allowed.regions_of(poses))
        # All boards shine as one light, each by its level: one solve does for all of them.
        shares = boards.share * levels[boards.light] / levels.sum()
        together = replace(boards, light=np.zeros_like(boards.light), share=shares)
        quick = self.responses.prop.quick(self.responses.problem)
        given = quick.respond(together, self._opaque(poses))
        level = float(levels.sum())
        return self.responses.shown_cd_m2(self.kind, level, given.diffuse[0], given.direct[0])

    def _opaque(self, poses: Poses) -> tuple[OpaqueBoard, ...]:
        """Return boards at some poses as solids in the light's way."""
        lights = [
            self.kind.light.model_copy(
                update={"position_mm": tuple(place.tolist()), "direction": tuple(way.tolist())}
            )
            for place, way in zip(poses.position, poses.direction, strict=True)
        ]
        body = self._body.model_copy(update={"lights": tuple(lights)})
        return boards_of(body, self.responses.plan.catalogue)

    def mean_cd_m2(self, placement: Placement) -> float:
        """Return the mean of the glowing faces, by one forward solve of the placement."""
        face, area = self.responses.faces_cd_m2(placement.luminance)
        return float((face * self._correction(placement)) @ area / area.sum())

    def _tidied(self, placement: Placement, aim: Aim) -> Placement:
        return tidied(
            placement,
            self.allowed,
            lambda sites: self._rows(sites, self.responses.effort.sure_rays),
            lambda luminance: float(aim.score(luminance[None])[0]),
        )


def pattern_light(plan: Plan, number: int, board: str | None) -> Light:
    """Return the light that says what is placed: the body's first, with another board if given.

    Raises SceneError for a board that is not in the catalogue.
    """
    lights = plan.scene_file.scene.bodies[number].lights
    for k, light in enumerate(lights):
        if isinstance(light, StripPiece):
            raise plan.scene_file.fault(
                ("bodies", number, "lights", k),
                "what runs along a path, or has colours LED by LED, cannot be placed anew or "
                "counted; 'glowsim place' without --count slides it along its path. Else give "
                "position_mm in place of the path, and one drive",
            )
    light = lights[0]
    if board is None or board == light.board:
        return light
    fault = plan.catalogue.fault("board", board)
    if fault:
        raise SceneError(f"{plan.scene_file.toml.name}: {fault}")
    kept = light.led_count if plan.catalogue.board(board).kind == "strip" else None
    return light.model_copy(update={"board": board, "led_count": kept, "channel_current_ma": None})
