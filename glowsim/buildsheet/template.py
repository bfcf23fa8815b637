"""Full-size views of a body with its lights: from above, on the base, from the front and side."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from textwrap import wrap

import numpy as np

from glowsim.buildsheet.drawing import GREY, LIGHT, Drawing, Path, Round, moved
from glowsim.buildsheet.paper import sheets_of
from glowsim.buildsheet.places import CHANNEL_MM, BodyPlaces, LightPlace
from glowsim.geometry.mesh import FloatArray, from_manifold, to_manifold
from glowsim.geometry.outlines import View, area_mm2, on_paper, silhouette_mm

SMALL_MM = 2.6
LINE_GAP_MM = 4.2
"""Least distance of two lines of text."""
LETTER = 0.6
"""Width of a letter as a share of its height, on the wide side."""
MARGIN_MM = 9.5
"""Room around a view for its sizes: what stands there needs no more."""
EDGE_MM = 0.6
"""Room around a view that has its sizes inside: for the line alone."""
WORDS_WIDE = 34
"""Letters in a line below a view."""
SAME_AREA = 0.02
LABELS_MM = 42.0
"""Room for heights to the right of a side view."""
ALIKE_MM = 0.2
"""Two side views that differ by less than this are drawn once."""
TITLES: dict[View, str] = {
    "top": "from above",
    "below": "for the base, seen from below",
    "front": "from the front",
    "side": "from the side, y to the right",
}
DASHED, DOTTED = (2.0, 1.2), (0.4, 1.0)
AXIS = (5.0, 1.2, 0.8, 1.2)


@dataclass(frozen=True)
class Figure:
    """A view at full size."""

    title: str
    drawing: Drawing


def figures_of(places: BodyPlaces, area_mm: tuple[float, float]) -> list[Figure]:
    """Return the views of a body that a maker needs; `area_mm` is what a page offers.

    A view that would take more sheets with its sizes around it has them inside. From above is left
    out where it takes several sheets and shows no more than the base does.
    """
    views: list[View] = ["top"]
    if places.base:
        views.append("below")
    views.append("front")
    if not _alike(places):
        views.append("side")
    figures = {view: _figure(places, view, area_mm) for view in views}
    if sheets_of(figures["top"].drawing, *area_mm) > 1 and _base_shows_all(places):
        del figures["top"]
    return list(figures.values())


def _base_shows_all(places: BodyPlaces) -> bool:
    return abs(area_mm2(places.base) / max(area_mm2(places.seen), 1e-9) - 1) < SAME_AREA


def _alike(places: BodyPlaces) -> bool:
    """Whether the side view would show nothing the front view does not."""
    if any(abs(light.centre_mm[1] - places.axis_mm[1]) > ALIKE_MM for light in places.lights):
        return False
    outlines = [silhouette_mm(places.solid.outer, view, places.name) for view in ("front", "side")]
    boards = [
        np.concatenate([on_paper(light.board_mesh.vertices, view) for light in places.lights])
        if places.lights
        else np.zeros((1, 2))
        for view in ("front", "side")
    ]
    ends = [
        [np.ptp(np.concatenate(lines), axis=0), np.ptp(b, axis=0)]
        for lines, b in zip(outlines, boards, strict=True)
    ]
    return bool(np.abs(np.array(ends[0]) - ends[1]).max() < ALIKE_MM)


def _figure(places: BodyPlaces, view: View, area_mm: tuple[float, float]) -> Figure:
    loose = _around(places, view, area_mm)
    if sheets_of(loose.drawing, *area_mm) == 1:
        return loose
    tight = _within(places, view)
    fewer = sheets_of(tight.drawing, *area_mm) < sheets_of(loose.drawing, *area_mm)
    return tight if fewer else loose


def _around(places: BodyPlaces, view: View, area_mm: tuple[float, float]) -> Figure:
    """Return a view with its sizes and words around it."""
    plan = _Plan(places, view)
    low, high = plan.low, plan.high
    bare = float(high[0] - low[0]) + 2 * MARGIN_MM
    labelled = bare - MARGIN_MM + LABELS_MM
    # Heights stand beside the view, or below it where only they would not fit the page.
    limit = area_mm[0] if bare <= area_mm[0] else area_mm[1]
    beside = plan.upright and bool(places.lights) and not bare <= limit < labelled
    below = _below(places, view, beside)
    said = max(map(len, [TITLES[view], *below])) * LETTER * 3.2
    foot = MARGIN_MM + LINE_GAP_MM * len(below)
    height = float(high[1] - low[1]) + foot + MARGIN_MM + 6
    drawing = Drawing(max(labelled if beside else bare, min(said, area_mm[0])), height)
    plan.draw()
    if beside:
        plan.heights()
    plan.sizes(float(low[1]) - 5.5, float(low[0]) - 5.5)
    drawing.add(*moved(plan.drawing.items, MARGIN_MM - float(low[0]), foot - float(low[1])))
    drawing.words(0, height - 3.5, TITLES[view], size_mm=3.2)
    for row, text in enumerate(reversed(below)):
        drawing.words(0, 0.8 + row * LINE_GAP_MM, text, size_mm=SMALL_MM)
    return Figure(f"{places.name}: {TITLES[view]}", drawing)


def _within(places: BodyPlaces, view: View) -> Figure:
    """Return a view as large as its outline, its sizes and words inside that."""
    plan = _Plan(places, view, tight=True)
    low, high = plan.low, plan.high
    wide, tall = (float(v) for v in high - low)
    drawing = Drawing(wide + 2 * EDGE_MM, tall + 2 * EDGE_MM)
    plan.draw()
    plan.sizes(float(low[1]) + 0.32 * tall, float(low[0]) + 0.78 * wide)
    drawing.add(*moved(plan.drawing.items, EDGE_MM - float(low[0]), EDGE_MM - float(low[1])))
    drawing.words(EDGE_MM + 2, drawing.height_mm - EDGE_MM - 5, TITLES[view], size_mm=3.2)
    for row, text in enumerate(reversed(_below(places, view, False))):
        drawing.words(EDGE_MM + 2, EDGE_MM + 2 + row * LINE_GAP_MM, text, size_mm=SMALL_MM)
    return Figure(f"{places.name}: {TITLES[view]}", drawing)


def _below(places: BodyPlaces, view: View, beside: bool) -> list[str]:
    """Return the lines of words that go with a view."""
    if view == "below":
        feet = [line for foot in places.feet for line in wrap(foot.words, WORDS_WIDE)]
        return [*_bores(places), *feet]
    upright = view in ("front", "side")
    return [_height_words(light) for light in places.lights] if upright and not beside else []


def _height_words(light: LightPlace) -> str:
    return f"{light.number}: {light.height_mm:.1f} up, {light.from_axis_mm:.1f} out"


def _bores(places: BodyPlaces) -> list[str]:
    """Return what to bore from the base, a line for each light reached from there."""
    found = [f"{light.number}: {light.make}" for light in places.lights if light.from_base]
    if any(light.channel is not None for light in places.lights):
        found.append(f"bore for wires: Ø {CHANNEL_MM:.0f} mm")
    return found


class _Plan:
    """Draws one view, in that view's own coordinates."""

    def __init__(self, places: BodyPlaces, view: View, tight: bool = False) -> None:
        self.places, self.view, self.tight = places, view, tight
        self.outline = silhouette_mm(places.solid.outer, view, places.name)
        points = np.concatenate(self.outline)
        self.low, self.high = points.min(axis=0), points.max(axis=0)
        self.drawing = Drawing(0, 0)
        self.upright = view in ("front", "side")
        axis = np.array([*places.axis_mm, 0.0])
        self.axis = on_paper(axis[None], view)[0]

    def draw(self) -> None:
        """Draw the body with its lights."""
        self.body(self.outline)
        self.lights()

    def body(self, outline: list[FloatArray]) -> None:
        """Draw what is seen of the body, its base, what is set into it, and its axis."""
        add, places = self.drawing.add, self.places
        on_base = self.view == "below"
        for points in outline:
            dash = DASHED if on_base else ()
            add(Path(points, True, 0.2 if on_base else 0.35, GREY if on_base else (0, 0, 0), dash))
        if not self.upright:
            flip = np.array([1.0, -1.0 if on_base else 1.0])
            for points in places.base:
                add(Path(points * flip, True, 0.45))
        inner = list(places.solid.inserts)
        if places.solid.hollow is not None:
            inner.insert(0, places.solid.hollow)
        body = to_manifold(places.solid.outer, places.name)
        for mesh in inner:
            within = from_manifold(to_manifold(mesh, places.name) ^ body)
            for points in silhouette_mm(within, self.view, places.name):
                add(Path(points, True, 0.18, GREY, DASHED))
        x, y = self.axis
        if self.upright:
            for foot in places.feet:
                for points in silhouette_mm(foot.mesh, self.view, places.name):
                    add(Path(points, True, 0.25, (0, 0, 0), DOTTED))
            past = 0.0 if self.tight else 4.0
            ends = (float(self.low[1]) - past, float(self.high[1]) + past)
            self.drawing.line((x, ends[0]), (x, ends[1]), width_mm=0.15, dash_mm=AXIS, colour=GREY)
        else:
            reach = 4.0
            self.drawing.line((x - reach, y), (x + reach, y), width_mm=0.2)
            self.drawing.line((x, y - reach), (x, y + reach), width_mm=0.2)
            self._compass()

    def _compass(self) -> None:
        """Draw where +x and +y point, so that the paper is laid on the right way round."""
        up = -1 if self.view == "below" else 1
        beside = -10.0 if self.tight else 1.5
        x, y = float(self.high[0]) + beside, float(self.low[1]) + (6.0 if up < 0 else 0.5)
        line, words = self.drawing.line, self.drawing.words
        line((x, y), (x + 5, y), (x + 3.8, y + 0.7), width_mm=0.2)
        line((x, y), (x, y + 5 * up), (x - 0.7, y + 3.8 * up), width_mm=0.2)
        words(x + 5.6, y - 0.8, "x", size_mm=SMALL_MM)
        words(x - 2.6, y + 3.6 * up - (0.9 if up > 0 else 0.2), "y", size_mm=SMALL_MM)

    def lights(self) -> None:
        """Draw boards, pockets, LEDs, the bore for the wires, and each light's number."""
        add = self.drawing.add
        on_base = self.view == "below"
        numbered: list[FloatArray] = []
        for light in self.places.lights:
            made = light.channel is not None
            if made:
                for points in silhouette_mm(light.pocket, self.view, light.name):
                    add(
                        Path(
                            points, True, 0.3 if on_base else 0.2, dash_mm=() if on_base else DASHED
                        )
                    )
            for points in silhouette_mm(light.board_mesh, self.view, light.name):
                thin = DOTTED if on_base else ()
                add(Path(points, True, 0.3, LIGHT, thin))
            leds = on_paper(light.led_mm, self.view)
            for x, y in leds:
                radius = 0.6 if self.upright else light.board.led_window_mm / 2
                add(Round((float(x), float(y)), radius, 0.2, LIGHT))
            self._channel(light)
            numbered.append(self._number(light, numbered))

    def _number(self, light: LightPlace, before: list[FloatArray]) -> FloatArray:
        """Write a light's number beside it, clear of the numbers before."""
        board = on_paper(light.board_mesh.vertices, self.view)
        at = np.array([board[:, 0].min() - 2.6, board[:, 1].max() + 2.6])
        while any(np.linalg.norm(at - other) < 5 for other in before):
            at = at + np.array([0.0, 5.2])
        x, y = float(at[0]), float(at[1])
        self.drawing.add(Round((x, y), 2.1, 0.25, fill=(1, 1, 1)))
        self.drawing.words(x, y - 1.0, str(light.number), size_mm=SMALL_MM, anchor="middle")
        return at

    def _channel(self, light: LightPlace) -> None:
        if light.channel is None:
            return
        ends = on_paper(np.array(light.channel), self.view)
        half = CHANNEL_MM / 2
        if self.upright:
            for side in (-half, half):
                points = ends + np.array([side, 0.0])
                self.drawing.add(Path(points, False, 0.2, GREY, DASHED))
        else:
            centre = (float(ends[1, 0]), float(ends[1, 1]))
            self.drawing.add(
                Round(centre, half, 0.25, dash_mm=() if self.view == "below" else DASHED)
            )
            reach = half + 1.5
            x, y = centre
            self.drawing.line((x - reach, y), (x + reach, y), width_mm=0.15)
            self.drawing.line((x, y - reach), (x, y + reach), width_mm=0.15)

    def heights(self) -> None:
        """Write to the right of the view how far up and how far out from the axis each light is."""
        foot = float(self.low[1])
        marks = sorted((light.height_mm, light.number, light) for light in self.places.lights)
        edge = float(self.high[0]) + 3
        rows = spread([height + foot for height, _, _ in marks], LINE_GAP_MM)
        self.drawing.line((self.low[0] - 2, foot), (edge + 4, foot), width_mm=0.15, colour=GREY)
        for (height, _, light), row in zip(marks, rows, strict=True):
            start = float(on_paper(light.centre_mm[None], self.view)[0, 0])
            level = height + foot
            self.drawing.line(
                (start, level), (edge, level), (edge + 4, row), width_mm=0.15, colour=GREY
            )
            self.drawing.words(edge + 4.6, row - 0.9, _height_words(light), size_mm=SMALL_MM)

    def sizes(self, y: float, x: float) -> None:
        """Write the overall width at a height y, and the overall height at a place x."""
        wide, tall = self.high - self.low
        words, line = self.drawing.words, self.drawing.line
        line((self.low[0], y), (self.high[0], y), width_mm=0.15)
        for end in (self.low[0], self.high[0]):
            line((end, y - 1), (end, y + 1), width_mm=0.15)
        middle = float(self.low[0] + self.high[0]) / 2
        words(middle, y - 3.2, f"{wide:.1f}", size_mm=SMALL_MM, anchor="middle")
        line((x, self.low[1]), (x, self.high[1]), width_mm=0.15)
        for end in (self.low[1], self.high[1]):
            line((x - 1, end), (x + 1, end), width_mm=0.15)
        middle = float(self.low[1] + self.high[1]) / 2
        words(x - 1, middle, f"{tall:.1f}", size_mm=SMALL_MM, anchor="middle", turned_deg=90)


def spread(levels: Sequence[float], gap: float) -> list[float]:
    """Return ascending levels moved apart until neighbours are at least `gap` apart.

    They stay as near to where they were as can be: groups that would overlap are centred on
    their own mean.
    """
    groups: list[list[float]] = []
    for level in levels:
        groups.append([level])
        while len(groups) > 1 and _top(groups[-2], gap) + gap > _bottom(groups[-1], gap):
            last = groups.pop()
            groups[-1] += last
    return [_bottom(group, gap) + k * gap for group in groups for k in range(len(group))]


def _bottom(group: list[float], gap: float) -> float:
    return sum(group) / len(group) - gap * (len(group) - 1) / 2


def _top(group: list[float], gap: float) -> float:
    return sum(group) / len(group) + gap * (len(group) - 1) / 2
