"""What would make a body even, guessed in little time: more boards, small ones, clearer material.

A guess is the best choice of a few candidates, solved once on coarse faces and cells. It says what
is worth a full answer, which then decides.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from glowsim.catalogue import Material
from glowsim.decisions.alike import bodies_alike
from glowsim.decisions.boards import BoardKind
from glowsim.decisions.effort import BRIEF
from glowsim.decisions.lights import lights_of
from glowsim.decisions.objective import Wish
from glowsim.decisions.placer import Expected, Placer, pattern_light
from glowsim.decisions.response import Responses
from glowsim.decisions.room import Room
from glowsim.errors import SceneError
from glowsim.geometry.hollow import depth_mm
from glowsim.optics.diffusion import effective_attenuation_per_mm
from glowsim.scene import Body, Light, Placing, SceneFile
from glowsim.transport.build import Report, body_problem
from glowsim.transport.plan import plan_of
from glowsim.transport.prepared import PreparedProp

COUNTS = (1, 2, 3, 4, 5, 6, 8, 10)
IN_AIR = 4
"""Most boards tried in a hollow: its walls are lit by each as a whole, and more bring little."""
WORSE = 3
"""After so many numbers in a row that are no evener than fewer boards, more are not tried."""
ENOUGH = 2
"""Numbers of a board that are tried from the first that is even enough on: it may not hold."""
LENGTHS = 2.0
"""Transport lengths that a body must be deep, for a material to hide what lies within it."""


@dataclass(frozen=True)
class Guess:
    """So many boards of a kind in a body and those like it.

    lights : by the body's number;  expected : what a coarse solve says
    enough : whether that is even enough;  limit : what no number of them gets below (off by)
    """

    board: str
    count: int
    lights: dict[int, list[Light]]
    expected: Expected
    enough: bool
    limit: float


class Guesses:
    """Guesses about one body as a scene has it."""

    def __init__(
        self,
        scene_file: SceneFile,
        body: str,
        report: Report = lambda text: None,
        target: float | None = None,
    ) -> None:
        """Raises SceneError for a body that is not there or has no light.

        target : 5 %/mean, or that of a ripple as uneven, from which on it is even enough; the
                 scene's evenness target if left out
        """
        self._file, self._report = scene_file, report
        self._target = target or scene_file.scene.findings.evenness_target
        self._plan = plan_of(scene_file)
        self._numbers = bodies_alike(self._plan, body)
        self._prop = PreparedProp()
        self._placers: dict[str, Placer] = {}

    def of(self, count: int, board: str | None = None) -> Guess:
        """Return a guess for so many boards, like the body's first if none is named.

        Raises SceneError where they find no room, and as `place` does.
        """
        placer = self._placer(board, count)
        self._report(f"choosing places for {count}")
        found = placer.at_sites(count)
        expected = placer.expected(found)
        bodies = self._file.scene.bodies
        lights = {k: lights_of(placer, found, bodies[k], 1.0) for k in self._numbers}
        enough = expected.worse_end >= self._target
        return Guess(placer.kind.name, count, lights, expected, enough, placer.bound.off_by)

    def evenest(self, small: bool = False, counts: Sequence[int] = COUNTS) -> list[Guess]:
        """Return guesses for its own board, and for the smallest where that cannot be even enough:
        the fewest boards that are enough first, else the evenest. None where none finds room.

        small  : for the smallest board alone
        counts : how many of them are tried
        """
        own, smallest = self._kinds()
        kinds = [smallest] if small or not self._can(own) else [own]
        found = self._counted(kinds[0], counts)
        if kinds != [smallest] and not any(one.enough for one in found):
            found += self._counted(smallest, counts)
        return sorted(
            found,
            key=lambda one: (not one.enough, one.count if one.enough else one.expected.off_by),
        )

    def _can(self, board: str) -> bool:
        """Return whether any number of a board may be even enough."""
        try:
            return self._placer(board, 1).bound.worse_end >= self._target
        except SceneError:  # not even one finds room
            return False

    def _counted(self, board: str, counts: Sequence[int]) -> list[Guess]:
        found: list[Guess] = []
        worse = 0
        for count in counts:
            if count > IN_AIR and self._placers[board].allowed.in_air:
                break
            try:
                one = self.of(count, board)
            except SceneError:  # so many find no room
                break
            best = min((other.expected.off_by for other in found), default=np.inf)
            worse = worse + 1 if one.expected.off_by >= best else 0
            found.append(one)
            if worse == WORSE or sum(other.enough for other in found) == ENOUGH:
                break
        return found

    def _kinds(self) -> tuple[str, str]:
        """Return the board there is, and the smallest single one of its kind of light."""
        light = pattern_light(self._plan, self._numbers[0], None)
        limit_w = self._file.scene.findings.buried_power_w
        kind = BoardKind(light, self._plan.catalogue, limit_w, self._body)
        singles = [k for k in kind.smaller() if k.board.kind == "single"]
        return kind.name, min(singles, key=lambda k: max(k.size_mm)).name if singles else kind.name

    @property
    def _body(self) -> Body:
        return self._file.scene.bodies[self._numbers[0]]

    def _placer(self, board: str | None, count: int) -> Placer:
        """Return what places a board; room for so many is looked for before anything is solved."""
        light = pattern_light(self._plan, self._numbers[0], board)
        if light.board not in self._placers:
            number, wish = self._numbers[0], Wish()
            rules = self._body.placing or Placing()
            self._report("looking for room")
            Room(
                self._plan, number, self._prop.problem(self._plan, number), light, rules, wish
            ).check(count)
            self._placers[light.board] = Placer(
                self._plan, number, self._responses, light, rules, wish, report=self._report
            )
        return self._placers[light.board]

    @cached_property
    def _responses(self) -> Responses:
        return Responses(self._plan, self._numbers[0], BRIEF, self._report, self._prop)


def clearer(scene_file: SceneFile, body: str) -> list[str]:
    """Return materials of the catalogue that a solid of a body's shape may be made of: cloudy
    enough to hide what lies in it, and of those in which light reaches farther than in its own,
    if it is solid already; the clearest first.

    Raises SceneError as `Guesses` does.
    """
    plan = plan_of(scene_file)
    number = bodies_alike(plan, body)[0]
    problem = body_problem(plan, number)
    low, high = problem.outer.bounds
    along = np.linspace(-0.5, 0.5, 41)[:, None, None] * np.diag(high - low)
    deepest = float(depth_mm(problem.outer, (low + high) / 2 + along.reshape(-1, 3)).max())
    own = scene_file.scene.bodies[number]
    entries = plan.catalogue.materials
    cloudy = {
        name: float(np.mean(entry.mu_s_reduced_per_mm) + np.mean(entry.mu_a_per_mm))
        for name, entry in entries.items()
        if name != own.material
    }
    enough = [name for name in cloudy if cloudy[name] * deepest >= LENGTHS]
    if own.wall_mm is None:
        fades = _fades_per_mm(plan.catalogue.material(own.material))
        enough = [name for name in enough if _fades_per_mm(entries[name]) < fades]
    return sorted(enough, key=lambda name: cloudy[name])


def _fades_per_mm(entry: Material) -> float:
    """Return how fast far light dies in a material, mean of the bands."""
    attenuation = effective_attenuation_per_mm(
        mu_a_per_mm=np.array(entry.mu_a_per_mm),
        mu_s_reduced_per_mm=np.array(entry.mu_s_reduced_per_mm),
    )
    return float(np.mean(attenuation))
