"""What would take a body to an even glow: tried before it is said, put in by one press.

What changes least comes first: another number of boards, then a thicker wall, then other materials
that are made up in the same way. Guesses say what is worth a full answer, which decides; the prop
on the page stays as it is.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from glowsim.decisions.guesses import Guess, Guesses, clearer
from glowsim.decisions.worth import LEAST_GAIN
from glowsim.electrics.as_wired import as_tried
from glowsim.errors import GlowsimError, SceneError
from glowsim.live import edits, figures
from glowsim.live.edits import Prop
from glowsim.live.figures import Figures
from glowsim.live.lane import SupersededError
from glowsim.live.placing import made_alike
from glowsim.live.searching import CHANGED, Report, Search
from glowsim.live.sentence import boards_of, plain, power_of, reach
from glowsim.live.session import Session
from glowsim.scene import SceneFile
from glowsim.transport.plan import plan_of
from glowsim.transport.result import SurfaceGlow

COUNTS = (1, 2, 4, 6, 10)
THICKER = (1.5, 2.0)
"""Times the wall of a shell that are tried."""
MOST_MATERIALS = 3
MOST_CONFIRMED = 2
"""Guesses of each change that the full answer judges."""
STEP = "what makes it even"


@dataclass(frozen=True)
class Offer:
    """A prop that was tried in place of another.

    words : what is changed, what comes of it and what it costs, in one sentence
    """

    session: Session
    was: Prop
    prop: Prop
    words: str

    @property
    def holds(self) -> bool:
        """Whether the prop is still the one this was tried in place of."""
        return self.session.now == self.was

    def take(self) -> None:
        """Put it in, as one step; raises SceneError once the prop is another."""
        if not self.session.instead("", STEP, self.was, self.prop):
            raise SceneError(CHANGED)


def offered(session: Session, body: int, report: Report) -> tuple[Offer | None, str]:
    """Return what would take a body to an even glow, None for one that is even; and what there is
    to say where nothing does.

    Where nothing that was tried does, the nearest is offered if it is clearly more even.

    report : told what is being tried; what it raises gives the work up, and so does a hand that
             changes the prop
    Raises SceneError as `Search` does.
    """
    search = Search(session, body, STEP, report)
    if search.after is None or search.after.grade == "even":
        return None, ""
    found = _Tries(search).best()
    if found is None:
        return None, (
            f"{search.name}: leave it as it is: of other numbers of boards, walls and materials "
            "none was found that is clearly more even"
        )
    cool, factor = search.cooled(found)
    now, then = (_figures(search, prop, report) for prop in (search.started, cool))
    return Offer(session, search.started, cool, _words(search, cool, factor, now, then)), ""


class _Tries:
    """Changes of one body, tried one after the other until one makes it even."""

    def __init__(self, search: Search) -> None:
        self._search = search
        limits = search.started.scene.findings
        self._target = max(limits.even_from, limits.evenness_target)
        self._nearest: tuple[float, Prop] | None = None

    def best(self) -> Prop | None:
        """Return the first change that makes the body even, or else the most even if it is clearly
        more even; None for neither."""
        search = self._search
        left: list[tuple[Prop, Guess]] = []
        for words, prop in _changes(search):
            guesses = self._guesses(words, prop)
            for guess in [one for one in guesses if one.enough][:MOST_CONFIRMED]:
                new = self._put_in(prop, guess)
                if self._is_even(new):
                    return new
            left += [(prop, one) for one in guesses[:1] if not one.enough]
        if left:
            prop, guess = min(left, key=lambda one: one[1].expected.off_by)
            new = self._put_in(prop, guess)
            if self._is_even(new):
                return new
        assert search.after is not None, "it was judged"
        clear = (1 - LEAST_GAIN) * np.log(search.after.off_by)
        near = self._nearest
        return near[1] if near is not None and np.log(near[0]) <= clear else None

    def _guesses(self, words: str, prop: Prop) -> list[Guess]:
        """Return guesses for a changed prop; none where it cannot be made."""
        file = self._search.file(prop)
        try:
            guesses = Guesses(file, self._search.name, self._reporting(words), self._target)
            return guesses.evenest(counts=COUNTS)
        except GlowsimError:
            return []

    def _put_in(self, prop: Prop, guess: Guess) -> Prop:
        for number, lights in guess.lights.items():
            prop = edits.with_lights(prop, number, tuple(lights))
        return prop

    def _is_even(self, prop: Prop) -> bool:
        """Return whether the full answer calls a prop even; the most even is kept."""
        search = self._search
        try:
            found, _, _ = _judged(search, prop, self._reporting("the full answer"))
            even = found.evenness(edits.told_as(prop, search.number))
        except GlowsimError:
            return False
        if even is None:
            return False
        if self._nearest is None or even.off_by < self._nearest[0]:
            self._nearest = (even.off_by, prop)
        return even.grade == "even"

    def _reporting(self, words: str) -> Report:
        search = self._search

        def report(doing: str) -> None:
            if search.session.now != search.started:
                raise SupersededError
            search.report(f"{words}, {doing}")

        return report


def _changes(search: Search) -> Iterator[tuple[str, Prop]]:
    """Yield what may be changed of a body besides its boards, in words, and the prop with it."""
    now, own = search.started, search.body
    yield "other boards", now
    walls = () if own.wall_mm is None else (round(times * own.wall_mm, 1) for times in THICKER)
    for wall in walls:
        yield f"a wall of {wall:g} mm", search.made_of(now, own.material, wall)
    others = made_alike(search, clearer(search.file(), search.name), own.wall_mm is not None)
    if own.wall_mm:
        others.reverse()  # a hollow is lit the more evenly the less its wall lets through
    for material in others[:MOST_MATERIALS]:
        yield plain(material), search.made_of(now, material, own.wall_mm)


def _judged(search: Search, prop: Prop, report: Report) -> tuple[Figures, SurfaceGlow, SceneFile]:
    """Return the findings of the full answer to a prop, its glow as wired, and it as a file."""
    file = search.file(prop)
    glow = as_tried(search.session.kept.glow(plan_of(file), report=report), file)
    report("judging")
    return figures.judged(glow, file.scene), glow, file


def _figures(search: Search, prop: Prop, report: Report) -> Figures:
    """Return the figures of a prop as the page shows them."""
    found, glow, file = _judged(search, prop, report)
    return figures.with_heat(figures.with_power(found, file), glow, file, report)


def _words(search: Search, found: Prop, factor: float, now: Figures, then: Figures) -> str:
    """Return what is changed, what comes of it, and what it costs beside what there is now.

    factor : what heat has the boards turned down to
    """
    number = search.number
    was, new = (prop.scene.bodies[number] for prop in (search.started, found))
    even = then.evenness(edits.told_as(found, number))
    before = now.evenness(edits.told_as(search.started, number))
    assert even is not None, "it was judged"
    assert before is not None, "it was judged"
    said = boards_of(found, number, search.session.catalogue())
    if new.wall_mm != was.wall_mm:
        said += f" and a wall of {new.wall_mm:g} mm"
    said += f" in {plain(new.material)}"
    if factor < 1:
        said += f", turned down to {100 * factor:.0f} % by heat,"
    worst = then.worst(edits.told_as(found, number))
    does = f"would make {search.name} even"
    if even.grade != "even":
        does = f"would bring {search.name} nearer to even"
        if worst is not None:
            does += f", though a {worst.kind} {reach(worst)} stays"
    pairs = [
        (f"off by {even.off_by:.2f} times", f"{before.off_by:.2f}"),
        (f"mean {even.mean_cd_m2:.3g} cd/m²", f"{before.mean_cd_m2:.3g}"),
        (power_of(then), power_of(now)),
    ]
    if now.hours is not None and then.hours is not None:
        pairs.append((f"{then.hours} h on its battery", now.hours))
    if now.hottest_c is not None and then.hottest_c is not None:
        pairs.append((f"{then.hottest_c:.0f} °C", f"{now.hottest_c:.0f}"))
    effects = ", ".join(f"{after} ({earlier} now)" for after, earlier in pairs)
    return f"{said} {does}: {effects}. Tried; nothing is put in before you take it."
