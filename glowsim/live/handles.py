"""What the handles of the sentence open: small, where they were pressed, gone by themselves."""

from __future__ import annotations

import base64
import math
from collections.abc import Callable
from functools import partial
from typing import TYPE_CHECKING, Any

from nicegui import ui

from glowsim.decisions.sliding import slides
from glowsim.electrics.power_words import battery_words
from glowsim.findings.unevenness import off_of_ripple
from glowsim.live import edits
from glowsim.live.advice import Advice
from glowsim.live.boards import board_name
from glowsim.live.edits import BoardAt, Prop
from glowsim.live.photo_points import readings_of
from glowsim.live.sentence import COLOURS, Piece, channels_of, plain
from glowsim.live.tries import Try
from glowsim.scene import Body
from glowsim.scene.lights import Drive

if TYPE_CHECKING:
    from glowsim.live.view import View

MOST_PLACED = 4
MOST_LX = 10_000.0


class Handles:
    """Makes the pieces of the sentence of one view, and what they open."""

    def __init__(self, view: View) -> None:
        """Serve a view."""
        self._view = view
        self._session = view.session

    def piece(self, piece: Piece) -> ui.label:
        """Return the label of a piece, a handle's inside its button."""
        if not piece.handle:
            return ui.label(piece.text).classes("words")
        with ui.element("button").classes("handle") as button:
            button.props(f"data-handle={piece.handle} aria-haspopup=true")
            label = ui.label(piece.text)
        self._opens(button, getattr(self, f"_{piece.handle}"))
        return label

    def opening(self, words: str, fill: Callable[[ui.menu], None]) -> None:
        """Add a quiet button that opens a menu."""
        with ui.element("button").classes("quiet").props("aria-haspopup=true") as button:
            ui.label(words)
        self._opens(button, fill)

    def _opens(self, button: ui.element, fill: Callable[[ui.menu], None]) -> None:
        with button:
            menu = ui.menu().props(
                'no-parent-event transition-duration=0 anchor="top middle" self="bottom middle"'
            )
            with menu, ui.element("div").classes("opened") as inside:
                pass

        def opened() -> None:
            inside.clear()
            with inside:
                fill(menu)
            menu.open()

        button.on("click", opened)

    def _told(self, act: Callable[[Any], Any]) -> Callable[[Any], None]:
        return lambda event: self._view.guarded(lambda _: act(event.value))(event)

    @property
    def _own(self) -> Body:
        """The body the sentence is about."""
        return self._session.now.scene.bodies[self._view.body]

    @property
    def _told_as(self) -> str:
        """The name by which findings tell of it."""
        return edits.told_as(self._session.now, self._view.body)

    def _boards(self, menu: ui.menu) -> None:
        prop, body, session = self._session.now, self._view.body, self._session
        ui.label("Take a board in hand").classes("head")
        for k in range(len(prop.scene.bodies[body].lights)):
            at = BoardAt(body, k)
            self.line(menu, board_name(prop, at), partial(self._view.choose, at))
        self._find_places(menu)
        ui.label("Put in another").classes("head")
        used = [light.board for light in prop.scene.bodies[body].lights]
        for name, board in sorted(
            session.catalogue().boards.items(), key=lambda item: item[0] not in used
        ):
            words = f"{board.label.partition(',')[0]} ({plain(name)})"
            self.line(menu, words, partial(self._put, name))

    def _find_places(self, menu: ui.menu) -> None:
        if slides(self._own):
            ui.label("Have them slid along their paths, as evenly as can be").classes("head")
            self.line(menu, "find the best start", partial(self._view.find_places, 1))
            return
        ui.label("Have all of them placed anew, as evenly as can be").classes("head")
        for count in range(1, MOST_PLACED + 1):
            words = f"find places for {count} board{'' if count == 1 else 's'}"
            self.line(menu, words, partial(self._view.find_places, count))

    def line(self, menu: ui.menu, words: str, act: Callable[[], Any]) -> ui.element:
        """Add a line to a menu; the menu goes away when it is pressed."""

        def pressed() -> Any:
            menu.close()
            return act()

        return self._view.button(words, pressed).classes("line")

    def _put(self, board: str) -> None:
        self._view.choose(self._session.add(self._view.body, board))

    def _drive(self, menu: ui.menu) -> None:
        prop, body, catalogue = self._session.now, self._view.body, self._session.catalogue()
        zones: dict[str, Drive] = {}
        channels: dict[str, tuple[str, ...]] = {}
        for k, light in enumerate(self._own.lights):
            zones.setdefault(light.zone, prop.kept.get(BoardAt(body, k), light.drive))
            channels.setdefault(light.zone, channels_of(light, catalogue))
        for zone, drive in zones.items():
            ui.label(f"Colour of zone {zone}, in % of full").classes("head")
            now = drive.model_dump()
            for channel in channels[zone]:
                change = self._driver(zone, channel, now)
                self._slider(channel, 100 * now[channel], 0, 100, 1, change)
            if channels[zone] == COLOURS:
                ui.label("Level of all three").classes("head")
                level = max(now[c] for c in COLOURS)
                self._slider("level", 100 * level, 0, 100, 1, self._leveller(zone, now))

    def _driver(
        self, zone: str, colour: str, now: dict[str, float]
    ) -> Callable[[float], Callable[[Prop], Prop]]:
        def of(value: float) -> Callable[[Prop], Prop]:
            now[colour] = round(value / 100, 2)
            return lambda prop: edits.driven(prop, zone, Drive(**now))

        return of

    def _leveller(
        self, zone: str, now: dict[str, float]
    ) -> Callable[[float], Callable[[Prop], Prop]]:
        first = dict(now)

        def of(value: float) -> Callable[[Prop], Prop]:
            most = max(first[c] for c in COLOURS)
            for c in COLOURS:
                share = first[c] / most if most > 0 else 1.0
                now[c] = round(share * value / 100, 3)
            return lambda prop: edits.driven(prop, zone, Drive(**now))

        return of

    def _slider(
        self,
        words: str,
        value: float,
        low: float,
        high: float,
        step: float,
        change: Callable[[float], Callable[[Prop], Prop]],
        shown: Callable[[float], str] = "{:.0f}".format,
    ) -> None:
        """Add a slider that shows drafts while it moves, and is one step when it is let go."""
        with ui.element("div").classes("slide"):
            ui.label(words)
            slider = ui.slider(min=low, max=high, step=step, value=value)
            slider.props(f'aria-label="{words}"')
            number = ui.label(shown(value)).classes("number")

        def moving(event: Any) -> None:
            number.set_text(shown(float(event.args)))
            self._session.hold(change(float(event.args)))

        guarded = self._view.guarded
        slider.on("update:model-value", moving, throttle=0.03)
        slider.on("change", guarded(lambda _: self._session.release(f"set {words}")))

    def _body(self, menu: ui.menu) -> None:
        ui.label("Speak of").classes("head")
        for number, body in enumerate(self._session.now.scene.bodies):
            if body.lights:
                self.line(menu, body.name, partial(self._view.choose, BoardAt(number, 0)))

    def _material(self, menu: ui.menu) -> None:
        body, own = self._view.body, self._own
        names = sorted(self._session.catalogue().materials)

        def change(key: str, value: Any) -> None:
            words = f"change the {key.partition('_')[0]}"
            self._session.do(words, lambda p: edits.of_material(p, body, **{key: value}))

        select = ui.select(
            {n: plain(n) for n in names},
            value=own.material if own.material in names else None,
            label="Material",
            on_change=self._told(partial(change, "material")),
        )
        select.classes("wide")
        readings = readings_of(self._session.origin, own.material)
        if readings is not None:
            words = f"the photos that {plain(own.material)} was learnt from"
            self.line(menu, words, partial(self._view.show_readings, readings))
        if own.wall_mm is not None:
            self._number("Wall in mm", own.wall_mm, partial(change, "wall_mm"))

    def _number(self, words: str, value: float, told: Callable[[float], Any]) -> None:
        field = ui.number(words, value=value).classes("wide")
        guarded = self._view.guarded
        field.on("change", guarded(lambda _: told(float(field.value or 0))))

    def _room(self, menu: ui.menu) -> None:
        ui.label("Light of the room, in lx: 0.3 moonlight, 20 street, 300 office").classes("head")
        now = self._session.now.scene.room.illuminance_lx
        top = math.log10(MOST_LX / 0.1)

        def lux(place: float) -> float:
            return float(f"{0.1 * 10**place:.2g}") if place > 0 else 0.0

        place = math.log10(max(now, 0.1) / 0.1)
        self._slider(
            "room light",
            place,
            0,
            top,
            0.02,
            lambda v: lambda p: edits.in_room(p, illuminance_lx=lux(v)),
            lambda v: f"{lux(v):g}",
        )

    def _distance(self, menu: ui.menu) -> None:
        room = self._session.now.scene.room

        def far(value: float) -> None:
            self._session.do(
                "step back or nearer", lambda p: edits.in_room(p, viewing_distance_mm=1000 * value)
            )
            self._view.stage.set_distance(1000 * value)

        self._number("Seen from, in m", room.viewing_distance_mm / 1000, far)
        ui.toggle(
            {"eye": "by an eye", "camera": "by a camera"},
            value=room.observer,
            on_change=self._told(
                lambda v: self._session.do("observer", lambda p: edits.in_room(p, observer=v))
            ),
        )

    def _lit(self, menu: ui.menu) -> None:
        lit = self._session.figures.lit(self._told_as)
        if lit:
            self._say(
                f"Its mean glow and the room's light on it come to {lit.ratio:.3g} times white "
                f"paper in this room ({lit.low:.2g} to {lit.high:.2g}). "
                f"{100 * lit.lit_share:.0f} % of it looks lit."
            )

    def _even(self, menu: ui.menu) -> None:
        even = self._session.figures.evenness(self._told_as)
        if even:
            self._say(
                f"Mean {even.mean_cd_m2:.3g} cd/m², least {even.least_cd_m2:.3g}, greatest "
                f"{even.greatest_cd_m2:.3g}. A typical place is off by {even.off_by:.2f} times; "
                f"{100 * even.too_dark_share:.0f} % of it is too dark, "
                f"{100 * even.too_bright_share:.0f} % too bright. 5%/mean is "
                f"{even.p5_over_mean:.2g}."
            )
            target = self._session.now.scene.findings.evenness_target
            enough = f"off by at most {off_of_ripple(target):.2f} times, 5%/mean {target:g}"
            self._say(f"Even enough is: {enough}.")
            if even.grade != "even":
                self._evener(menu)
            if not even.enough:
                ui.label("What stands in the way, and what would mend it").classes("head")
                self._worst(menu)
                if not slides(self._own):
                    self._find_places(menu)

    def _evener(self, menu: ui.menu) -> None:
        if slides(self._own):  # how many there are, and of what, is left as it lies
            self._find_places(menu)
            return
        even = self._session.figures.evenness(self._told_as)
        if even is None or not even.enough:
            ui.label("Have it made even, tried until it is; undo takes it back").classes("head")
            words = f"in {plain(self._own.material)}, with as many boards as it takes"
            self.line(menu, words, partial(self._view.make_even, False))
            words = "cast or carved solid of another material, with small boards"
            self.line(menu, words, partial(self._view.make_even, True))
        ui.label("What would make it quite even? Nothing changes before you take it").classes(
            "head"
        )
        walls = "" if self._own.wall_mm is None else "a thicker wall, "
        self.line(menu, f"try other boards, {walls}other materials", self._view.try_evener)

    def _worst(self, menu: ui.menu) -> None:
        Advice(self._view, menu, self._told_as).fill()

    def _power(self, menu: ui.menu) -> None:
        power = self._session.figures.power
        if power:
            total = power.total
            self._say(
                f"{total.average_ma:.0f} mA on average, {total.drawn_ma:.0f} mA at your settings, "
                f"{total.white_ma:.0f} mA at full white."
            )

    def _battery(self, menu: ui.menu) -> None:
        power = self._session.figures.power
        if power and power.choice:
            self._say(battery_words(power.choice))

    def _heat(self, menu: ui.menu) -> None:
        figures = self._session.figures
        heat = figures.heat
        if figures.heat_unknown:
            self._say(f"How warm it gets cannot be worked out: {figures.heat_unknown}")
        if heat:
            hottest = heat.hottest
            self._say(
                f"{hottest.name}: {hottest.verdict}. In a room of {heat.settings.room_c:g} °C "
                f"its board comes to {hottest.board_c:.0f} °C."
            )

    def _caution(self, menu: ui.menu) -> None:
        for words in self._session.figures.cautions:
            self._say(words)

    def _say(self, words: str) -> None:
        ui.label(words).classes("said")

    # Tries.

    def try_card(self, one: Try) -> None:
        """Add a small photograph of a try, and what can be done with it."""
        with ui.element("button").classes("try").props(f'aria-label="try {one.number}"'):
            ui.element("img").props(f'src="/live/try/{one.number}" alt="try {one.number}"')
            with ui.menu() as menu, ui.element("div").classes("opened"):
                self._say(one.words)
                self.line(menu, "go back to it", lambda: self._session.go_back(one))
                self.line(menu, "compare with now", lambda: self._view.compare(one.number))
                self.line(menu, "forget it", lambda: self._forget(one.number))

    def _forget(self, number: int) -> None:
        self._session.tries.drop(number)
        self._session.changed()

    def show_picture(self, picture: bytes, words: str) -> None:
        """Show a picture over the room until it is pressed away."""
        with self._view.root, ui.dialog(value=True) as dialog, ui.card().classes("picture"):
            data = base64.b64encode(picture).decode()
            ui.element("img").props(f'src="data:image/png;base64,{data}" alt="{words}"')
            self._view.button("close", dialog.close)
