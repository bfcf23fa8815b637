"""A search that goes on while the page does: what it finds is put in, and the full answer decides.

All that is tried is one step of the history: of what came out no better nothing is left.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress

import numpy as np

from glowsim.decisions.alike import bodies_alike
from glowsim.decisions.heat import heat_limit, limit_at_place
from glowsim.decisions.lights import turned
from glowsim.errors import SceneError
from glowsim.findings import Evenness
from glowsim.live import edits, keeping
from glowsim.live.edits import Prop
from glowsim.live.lane import SupersededError
from glowsim.live.session import Session
from glowsim.scene import Body, Light, SceneFile
from glowsim.transport.plan import plan_of

Report = Callable[[str], None]
Found = Mapping[int, Sequence[Light]]
WAIT_S = 0.1
CHANGED = "the prop was changed while places were looked for; look again"


def quiet(words: str) -> None:
    """Say nothing."""


class Search:
    """What was found for a body, and how even the full answer has it.

    started, best : the prop it began with, and with the best that was found
    before, after : how even the body is with these
    """

    def __init__(
        self, session: Session, body: int, words: str, report: Report, found: Report = quiet
    ) -> None:
        """Begin with the prop as it is, once the full answer to it is there.

        words  : what the step is called;  report : told what is being worked on
        found  : told how good the best is, once one is there that is better than the first
        Raises SceneError for a body without lights, or if the prop is changed meanwhile.
        """
        self.session, self.number, self.report = session, body, report
        self.started = self.best = self._shown = session.now
        self._words, self._found = words, found
        if not self.body.lights:
            raise SceneError("put one board in first: it says what kind is placed")
        if not self.judged(self.started):
            raise SceneError(CHANGED)
        self.before = self.after = self._evenness(self.started)

    @property
    def body(self) -> Body:
        """The body with the best that was found."""
        return self.best.scene.bodies[self.number]

    @property
    def name(self) -> str:
        """What it is called."""
        return self.body.name

    @property
    def enough(self) -> bool:
        """Whether the best that was found is even enough."""
        return self.after is not None and self.after.enough

    def made_of(self, prop: Prop, material: str, wall_mm: float | None) -> Prop:
        """Return a prop with the body, and those like it, of another material or wall, solid for
        None."""
        for number in bodies_alike(plan_of(self.file(prop)), self.name):
            prop = edits.of_material(prop, number, material=material, wall_mm=wall_mm)
        return prop

    def file(self, prop: Prop | None = None) -> SceneFile:
        """Return a prop as a scene file whose text says the same: the best that was found."""
        scene = (prop or self.best).scene
        return keeping.text_of(self.session.origin, scene)[1]

    def try_places(self, found: Found) -> None:
        """Put boards into the prop as it was in place of its own, see `try_prop`."""
        new = self.started
        for number, lights in found.items():
            new = edits.with_lights(new, number, tuple(lights))
        self.try_prop(new)

    def try_prop(self, new: Prop) -> None:
        """Show a prop in place of what was found before; leave it where it is evener.

        Raises SceneError if the prop was changed meanwhile.
        """
        if new == self.best:
            return
        self.file(new)
        self.report("putting them there")
        self._show(new)
        if not self.judged(new):
            raise SceneError(CHANGED)
        after = self._evenness(new)
        if after is not None and (self.after is None or after.off_by < self.after.off_by):
            self.best, self.after = new, after
            was = "" if self.before is None else f", {self.before.off_by:.2f} before"
            self._found(f"off by {after.off_by:.2f} times{was}")
        else:
            self._show(self.best)

    def cool(self) -> str:
        """Turn the lights of what was found down to what heat allows at their places; return that
        in words, '' where nothing has to be."""
        if self.best == self.started or self.session.now != self._shown:
            return ""
        self.best, factor = self.cooled(self.best)
        if factor == 1.0:
            return ""
        self._show(self.best)
        return f"; turned down to {100 * factor:.0f} % by heat"

    def cooled(self, prop: Prop) -> tuple[Prop, float]:
        """Return a prop with the lights of this body, and of those like it, turned down to what
        heat allows at their places, and by how much. That is done too for what is given up."""

        def report(words: str) -> None:
            with suppress(SupersededError):
                self.report(words)

        file, name = self.file(prop), self.body.name
        plan = plan_of(file)
        glow = self.session.kept.glow(plan)
        lights = [glow.lights[k] for copy in glow.copies if copy.of == name for k in copy.lights]
        rule = heat_limit(lights, plan.catalogue, file.scene.findings.buried_power_w)
        limit = limit_at_place(file, plan.catalogue, name, rule, report)
        if limit is None or not 0 < limit.heat_factor < 1:
            return prop, 1.0
        factor = float(np.floor(limit.heat_factor * 1e4) / 1e4)
        for number in bodies_alike(plan, name):
            own = prop.scene.bodies[number].lights
            cooler = tuple(turned(one, factor, plan.catalogue.board(one.board)) for one in own)
            prop = edits.with_lights(prop, number, cooler)
        return prop, factor

    def back_to_best(self) -> bool:
        """Put back the best there was where something untried stands; return whether that is what
        the search began with."""
        if self.session.now == self._shown:
            self._show(self.best)
        return self.best == self.started

    def judged(self, prop: Prop) -> bool:
        """Wait until a prop is judged by its full answer; return whether it still is what is."""
        session = self.session
        while session.now == prop:
            if session.error:
                raise SceneError(session.error)
            if session.judged == prop:
                return True
            self.report(f"confirming by the full answer: {session.doing or 'waiting'}")
            time.sleep(WAIT_S)
        return False

    def _show(self, prop: Prop) -> None:
        """Make a prop what there is, in place of what was shown last."""
        if self._shown == prop:
            return
        step = "" if self._shown == self.started else self._words
        if not self.session.instead(step, self._words, self._shown, prop):
            raise SceneError(CHANGED)
        self._shown = prop

    def _evenness(self, prop: Prop) -> Evenness | None:
        return self.session.figures.evenness(edits.told_as(prop, self.number))
