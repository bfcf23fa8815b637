"""Boards placed while the page goes on: so many of them, or as many as make the body even.

Guesses answer within seconds, with what the full answer makes of them; the long search is that of
`glowsim place`, and its places take over where the full answer finds them evener.
"""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from glowsim.buildsheet.making import making_of
from glowsim.decisions.effort import BRIEF
from glowsim.decisions.guesses import Guess, Guesses, clearer
from glowsim.decisions.placing import place
from glowsim.decisions.relit import Relit
from glowsim.decisions.sliding import slide, slides
from glowsim.findings.unevenness import off_of_ripple
from glowsim.live import edits
from glowsim.live.edits import Prop
from glowsim.live.lane import SupersededError
from glowsim.live.searching import Found, Report, Search, quiet
from glowsim.live.sentence import plain
from glowsim.live.session import Session
from glowsim.scene import parse_scene

MOST_CONFIRMED = 3
"""Guesses that are put in and judged by the full answer, the most promising first."""
MOST_MATERIALS = 5
NEAR = 1.3
"""The long search is worth it where a body is off by no more than this power of what is enough."""


def find_places(
    session: Session, body: int, count: int, report: Report, found: Report = quiet
) -> str:
    """Put so many boards at the best places that are found, or slide strips along their paths;
    return what came of it.

    What a search foretells is a guess: the full answer decides. Where it comes out no better, what
    was there stays. Giving up the long search leaves what the short one found.

    report : told what is being worked on; what it raises gives the work up
    found  : told how good the best is, once there is one
    """
    search = Search(session, body, f"find places for {count} boards", report, found)
    try:
        search.try_places(briefly(search, count))
        turned_down = try_thoroughly(search, count)
    except SupersededError:
        if search.back_to_best():
            raise
        return _told(search, " (the long search was ended)", search.cool())
    return _told(search, end=turned_down or search.cool())


def briefly(search: Search, count: int) -> Found:
    """Return where a short search puts so many boards, or the strips along their paths."""

    def report(words: str) -> None:
        search.report(f"a short search, {words}")

    file = search.file()
    if not slides(search.body):
        return Guesses(file, search.name, report).of(count).lights
    slid = slide(file, search.name, effort=BRIEF, report=report)
    new = parse_scene(slid.text_of_scene, file.toml.name, file.folder).scene.bodies
    return {  # how far they are turned down for heat, the long search says
        number: [
            light.model_copy(update={"start_mm": other.start_mm})
            for light, other in zip(
                file.scene.bodies[number].lights, new[number].lights, strict=True
            )
        ]
        for number in slid.numbers
    }


def try_thoroughly(search: Search, count: int) -> str:
    """Try what `glowsim place` finds; return what heat makes of it in words, '' for nothing.

    It is given up once the hand changes the prop.
    """
    best, file = search.best, search.file()

    def report(words: str) -> None:
        if search.session.now != best:
            raise SupersededError
        search.report(f"the long search, {words}")

    answer: Relit
    if slides(file.scene.bodies[search.number]):
        answer = slide(file, search.name, report=report)
    else:
        answer = place(file, search.name, count, report=report)
    bodies = parse_scene(answer.text_of_scene, file.toml.name, file.folder).scene.bodies
    new = best
    for number in answer.numbers:
        new = edits.with_lights(new, number, bodies[number].lights)
    search.try_prop(new)
    if search.best != new or answer.drive_factor >= 1.0:
        return ""
    return f"; turned down to {100 * answer.drive_factor:.0f} % by heat"


def make_even(
    session: Session, body: int, other_material: bool, report: Report, found: Report = quiet
) -> str:
    """Make a body even enough, or as even as was found; return what came of it.

    Its own board and the smallest are tried, each in as many places as it takes; the full answer
    decides. Giving up leaves the best there was.

    other_material : a solid of another material may take its place
    report, found : as for `find_places`
    """
    search = Search(session, body, "make it even", report, found)
    if search.enough:
        return f"{search.name}: {_figures(search)}; that is even enough"
    try:
        if other_material:
            limit = _try_materials(search)
        else:
            limit = _try_guesses(search, Guesses(search.file(), search.name, report).evenest())
            if not search.enough and _near(search):
                try_thoroughly(search, len(search.body.lights))
    except SupersededError:
        if search.back_to_best():
            raise
        return _told(search, " (the rest was left out)", search.cool())
    turned_down = search.cool()
    if search.enough:
        return _told(search, end=turned_down)
    target = off_of_ripple(session.now.scene.findings.evenness_target)
    said = f"{turned_down}; even enough is {target:.2f}, and no number of boards was found that is"
    if limit > target:
        said += f" (at any place they would be off by {limit:.2f} at least)"
    if not other_material:
        said += ". Have it tried in another material, where light reaches farther"
    return _told(search, end=said)


def _try_guesses(search: Search, guesses: list[Guess], to: Prop | None = None) -> float:
    """Try guesses until one is even enough; return what no number of boards gets below.

    to : the prop they are for, where that is another than the search began with
    """
    worth = [guess for guess in guesses if guess.enough][:MOST_CONFIRMED] or guesses[:1]
    for guess in worth:
        new = to or search.started
        for number, lights in guess.lights.items():
            new = edits.with_lights(new, number, tuple(lights))
        search.report(f"{guess.count} x {plain(guess.board)}")
        search.try_prop(new)
        if search.enough:
            break
    return min((guess.limit for guess in guesses), default=1.0)


def _try_materials(search: Search) -> float:
    """Try solids of clearer materials until one is even enough; return as `_try_guesses` does."""
    tried: list[tuple[Prop, list[Guess]]] = []
    for material in made_alike(search, clearer(search.file(), search.name))[:MOST_MATERIALS]:
        new = search.made_of(search.started, material, None)

        def report(words: str, material: str = material) -> None:
            search.report(f"{plain(material)}, {words}")

        guesses = Guesses(search.file(new), search.name, report).evenest(small=True)
        if guesses and guesses[0].enough:
            limit = _try_guesses(search, guesses, new)
            if search.enough:
                return limit
        elif guesses:
            tried.append((new, guesses[:1]))
    if not tried:
        return 1.0
    new, best = min(tried, key=lambda one: one[1][0].expected.off_by)
    return _try_guesses(search, best, new)


def made_alike(search: Search, materials: Iterable[str], hollow: bool = False) -> list[str]:
    """Return those of some materials that a body can be made of in the way that this one is.

    hollow : as the shell it is; else solid, cast or carved where the scene leaves that open
    """
    body, catalogue = search.body, search.session.catalogue()
    open_ways = (making_of(body, catalogue),) if hollow else ("carved", "cast")
    ways = (body.made,) if body.made else open_ways

    def way(material: str) -> str:
        return making_of(body.model_copy(update={"material": material, "made": None}), catalogue)

    return [name for name in materials if way(name) in ways]


def _near(search: Search) -> bool:
    target = off_of_ripple(search.started.scene.findings.evenness_target)
    after = search.after
    return after is not None and bool(np.log(after.off_by) <= NEAR * np.log(target))


def _figures(search: Search) -> str:
    assert search.after is not None
    return f"a typical place is off by {search.after.off_by:.2f} times"


def _told(search: Search, why: str = "", end: str = "") -> str:
    """Return what came of a search in words.

    why : it was cut short;  end : what there is to say of what was found
    """
    if search.best == search.started:
        now = "" if search.after is None else f" (now off by {search.after.off_by:.2f} times)"
        return (
            f"{search.name}: leave the boards where they are{now}: nothing more even was found"
            f"{end}{why}"
        )
    before = "" if search.before is None else f", {search.before.off_by:.2f} before"
    grade = f"{search.after.grade} now; " if search.after and search.enough else ""
    return f"{search.name}: {grade}{_figures(search)}{before}{end}; undo takes it back{why}"
