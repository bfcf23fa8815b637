"""The light that answers the hand: drafts while something moves, the full answer once it rests.

Figures come from full answers alone. The latest wish wins; what it overtakes is given up. One
thread works on drafts and one on full answers, so that a draft never waits for a full answer that
nobody wants any more.
"""

from __future__ import annotations

import logging
import threading
import time
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from glowsim.decisions.mending import Mended, mended
from glowsim.electrics.as_wired import as_tried
from glowsim.errors import GlowsimError
from glowsim.findings import Findings
from glowsim.geometry.mesh import FloatArray
from glowsim.live import figures, photos, sending, skin
from glowsim.live.edits import Prop
from glowsim.live.figures import Figures
from glowsim.live.lane import Check, Lane, SupersededError
from glowsim.pictures import Studio
from glowsim.scene import SceneFile
from glowsim.transport.plan import Plan, plan_of
from glowsim.transport.prepared import PreparedProp
from glowsim.transport.problem import BodyProblem
from glowsim.transport.quick.quality import FOLLOWING
from glowsim.transport.result import SurfaceGlow
from glowsim.transport.sizes import Sizes

_LOG = logging.getLogger(__name__)


@dataclass(frozen=True)
class Seen:
    """What is shown: an answer of some quality to a prop.

    number : grows with every answer;  full : whether figures may be read off it
    light  : bytes for the page (see `Skin.light_bytes`);  limb : see `limb_shape`
    around : the answer since which what is sent back, across the prop and of the room, is the same
    moved  : see `sending.moved_since`
    """

    number: int
    full: bool
    prop: Prop
    skin: skin.Skin
    light: bytes
    exposure_cd_m2: float
    scale: dict[str, Any]
    limb: tuple[float, ...]
    around: int
    moved: Mapping[int, sending.Corners] = field(default_factory=dict)

    @property
    def around_key(self) -> str:
        """Names the light that is sent back: a page that has it need not fetch it again."""
        return f"{self.skin.key}.{self.around}"

    def for_page(self, around_key: str, number: int) -> tuple[dict[str, Any], bytes]:
        """Return the light for a page that has the light of answer `number`, and what is sent back
        by its key: which corners it is of, and whether it is whole; then the bytes."""
        every = (0, sending.corners_of(self.light))
        whole = around_key != self.around_key
        row = every if whole else self.moved.get(number, every)
        values = self.light if whole else sending.part(self.light, row)
        return {"whole": whole, "first": row[0], "count": row[1] - row[0]}, values


class Answers:
    """Answers to a prop that changes."""

    def __init__(self, changed: Callable[[], None], kept: PreparedProp) -> None:
        """Answer with what has been kept ready; `changed` is called whenever there is more."""
        self.seen: Seen | None = None
        self.figures = Figures()
        self.judged: Prop | None = None
        self.mended: tuple[Findings, Mended] | None = None
        self.problems: dict[int, BodyProblem] = {}
        self.doing = self.error = ""
        self._changed = changed
        self._kept = kept
        self._lock = threading.Lock()
        self._wanted: Prop | None = None
        self._near: Plan | None = None
        self._follows = False
        self._sizes: dict[int, Sizes] = {}
        self._back: tuple[FloatArray, FloatArray] | None = None
        self._studio: Studio | None = None
        self._drafts, self._fulls = Lane("draft light"), Lane("full light")
        self._mends = Lane("what would mend it")

    def draft(self, scene_file: SceneFile, prop: Prop) -> None:
        """Ask for a draft alone, while something moves."""
        self._wanted = prop
        self._fulls.give_up()
        self._mends.give_up()
        self._drafts.want(lambda check: self._work(check, scene_file, prop, self._draft))

    def full(self, scene_file: SceneFile, prop: Prop) -> None:
        """Ask for the full answer and its figures; a draft of a new state comes first."""
        self._wanted = prop
        self._drafts.give_up()
        self._mends.give_up()
        if self.seen is not None and self.seen.prop != prop:
            self._drafts.want(lambda check: self._work(check, scene_file, prop, self._draft))
        self._fulls.want(lambda check: self._work(check, scene_file, prop, self._full))

    def mend(self, scene_file: SceneFile, prop: Prop) -> None:
        """Have what may mend the findings of a prop tried, where it was not: `mended`.

        What moves meanwhile ends it.
        """
        known = self.mended is not None and self.mended[0] is self.figures.findings
        if self.judged == prop and not (self.doing or known) and self._mends.wait(0):
            self._mends.want(lambda check: self._work(check, scene_file, prop, self._mend))

    def wait(self, seconds: float) -> bool:
        """Wait until everything asked for is answered; return whether it was in time."""
        return all(lane.wait(seconds) for lane in (self._drafts, self._fulls, self._mends))

    def close(self, seconds: float) -> bool:
        """End the work; return whether it came to its end in time."""
        stop = time.monotonic() + seconds
        lanes = (self._drafts, self._fulls, self._mends)
        for lane in lanes:
            lane.close()
        ended = [lane.ended(stop - time.monotonic()) for lane in lanes]
        return all(ended)

    def _work(
        self,
        check: Check,
        scene_file: SceneFile,
        prop: Prop,
        work: Callable[[Check, SceneFile, Prop], None],
    ) -> None:
        try:
            work(check, scene_file, prop)
            error = ""
        except GlowsimError as problem:
            error = str(problem)
        except OSError as problem:
            error = f"{problem.filename or 'a file'}: {problem.strerror or problem}"
        except SupersededError:
            raise
        except Exception as problem:  # a fault of the program: the page must outlive it
            _LOG.exception("no answer")
            error = f"the program itself failed ({type(problem).__name__}: {problem}); nothing lost"
        check()
        if error or work == self._full:
            self.doing = ""
        if work != self._mend:
            self.error = error
        self._changed()
        if work == self._full and not error and self._near is not None:
            with suppress(Exception):  # what is wrong is said once something moves
                self._kept.ready(self._near)
                if not self._follows:
                    # The first draft of a solid body takes a second of getting ready.
                    near = plan_of(scene_file, self._sizes)
                    self._kept.glow(near, quality=FOLLOWING, near=self._near)
                    self._follows = True

    def _reporting(self, check: Check) -> Callable[[str], None]:
        def report(text: str) -> None:
            check()
            self.doing = text
            self._changed()

        return report

    def _draft(self, check: Check, scene_file: SceneFile, prop: Prop) -> None:
        plan = plan_of(scene_file)
        if (
            self._near is not None and plan.keys == self._near.keys
        ):  # no body answers anew: colours, levels, the room
            glow = self._kept.glow(plan)
        else:
            # On the faces and cells there are: a board that comes near a wall asks for finer ones.
            near = self._near
            if near is not None and len(near.keys) != len(plan.keys):
                near = None  # a copy was split off, or is together with the others again
            plan = plan_of(scene_file, self._sizes if near else None)
            glow = self._kept.glow(plan, quality=FOLLOWING, near=near)
        check()
        self._show(as_tried(glow, scene_file), prop, full=False)

    def _full(self, check: Check, scene_file: SceneFile, prop: Prop) -> None:
        report = self._reporting(check)
        report("lighting")
        plan = plan_of(scene_file)
        glow = as_tried(self._kept.glow(plan, report=report), scene_file)
        check()
        self.problems = self._problems(plan)
        self._sizes = {n: photos.sizes_of(problem) for n, problem in self.problems.items()}
        self._near = plan
        self._show(glow, prop, full=True)
        report("judging")
        found = figures.judged(glow, scene_file.scene)
        check()
        self.figures, self.judged = found, prop
        report("working out battery and heat")
        self.figures = found = figures.with_power(found, scene_file)
        check()
        found = figures.with_heat(found, glow, scene_file, report)
        check()
        self.figures = found
        report("lighting the room")
        self._studio = photos.studio_after(self._studio, glow, prop.scene)
        back = photos.sent_back(self._studio)
        check()
        self._back = back
        self._show(glow, prop, full=True, calm=photos.calm_cd_m2(self._studio))

    def _mend(self, check: Check, scene_file: SceneFile, prop: Prop) -> None:
        glow = as_tried(self._kept.glow(plan_of(scene_file)), scene_file)
        findings = self.figures.findings
        assert findings is not None, "a prop that is judged has findings"
        try:
            found = mended(scene_file, glow, findings, report=lambda text: check())
        except GlowsimError as problem:
            said = (f"what would mend it cannot be tried: {problem}", None)
            found = Mended({one.number: said for one in findings.found}, (), "")
        check()
        self.mended = (findings, found)

    def _problems(self, plan: Plan) -> dict[int, BodyProblem]:
        numbers = range(len(plan.scene_file.scene.bodies))
        return {n: self._kept.problem(plan, n) for n in numbers}

    def _show(
        self, glow: SurfaceGlow, prop: Prop, full: bool, calm: FloatArray | None = None
    ) -> None:
        with self._lock:
            if prop != self._wanted:
                return
            last, room = self.seen, prop.scene.room
            if last and last.full and last.prop == prop and not full:
                return
            shape = last.skin if last and last.skin.key == skin.surface_key(glow) else None
            if shape is None:
                shape, self._back = skin.skin_of(glow), None
            across, back = self._back or (np.zeros_like(shape.whiteness), None)
            if back is None or (last and last.prop.scene.room != room and not full):
                back = skin.open_back_cd_m2(shape, room)
            if last is None or full:
                given = prop.scene.view.exposure_cd_m2
                exposure = skin.exposure_cd_m2(shape, glow, room, given)
                scale = skin.map_law(skin.scale_of_glow(shape, glow))
            else:  # while something moves, one exposure: brighter looks brighter
                exposure, scale = last.exposure_cd_m2, last.scale
            own = skin.glow_cd_m2(shape, glow)
            like = last is not None and last.skin is shape
            if calm is None and like and last is not None:
                calm = sending.calm_kept(last.light, own, (own + across)[:, 1])
            light = shape.light_bytes(own, across, back, calm)
            number = last.number + 1 if last else 1
            limb = tuple(skin.limb_shape(glow)) if last is None or full else last.limb
            around, moved = number, dict[int, sending.Corners]()
            if like and last is not None:
                now = sending.moved(light, last.light)
                moved = sending.moved_since(last.moved, last.number, now)
                if np.array_equal(sending.parts_of(light)[1], sending.parts_of(last.light)[1]):
                    around = last.around
            self.seen = Seen(number, full, prop, shape, light, exposure, scale, limb, around, moved)
        self._changed()
