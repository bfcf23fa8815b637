"""What could be changed about one body, to be tried: the ideas of its findings, and a few more.

Each is the body as it would then be written. Nothing here says that a change helps.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from glowsim.decisions.boards import BoardKind
from glowsim.decisions.rows import row_of
from glowsim.decisions.vary import Variation
from glowsim.errors import GlowsimError
from glowsim.findings import EnergyAccount, Finding
from glowsim.findings.suggest import Idea
from glowsim.geometry.hollow import depth_mm
from glowsim.geometry.mesh import FloatArray, at_mm
from glowsim.scene import Body, Light
from glowsim.scene.bodies import Mask
from glowsim.scene.lights import Drive
from glowsim.scene.where import Where
from glowsim.transport.guide import loss_of
from glowsim.transport.likeness import CLOSED
from glowsim.transport.plan import Plan
from glowsim.transport.problem import BodyProblem, Kind
from glowsim.transport.result import BodyGlow

SWALLOWS = 0.05
"""A coat or core that takes this share of the light is tried in foil."""
WHITE = 0.6
"""Coats that throw back less than this are dark."""
FOIL = "aluminium_foil_tape"
FROST = "frosted_face"
FEWEST = 3
"""Boards of a row."""
WALL_LENGTHS = 3.5
"""Transport lengths of a wall that is tried in place of a solid: thick enough to even out."""
THICKER = 1.5
"""Times its thickness, for the wall of a shell."""
LONG = 0.3
"""Dark gaps from this share of the body's length on ask for a row of boards."""
_WAYS = np.vstack([np.eye(3), -np.eye(3)])
FACES_WITHIN_DEG = 45.0
"""Of a side that is closed by foil: faces that look that way."""


@dataclass(frozen=True)
class Remedy:
    """One change of a body.

    words    : what to do;  body : the body then, sizes of faces and cells as before
    findings : numbers of those it is meant for;  place_mm : where it has a light, if it names one
    """

    words: str
    body: Body
    findings: tuple[int, ...] = ()
    place_mm: tuple[float, ...] | None = None


class Remedies:
    """The changes that are worth trying on one body."""

    def __init__(
        self, plan: Plan, number: int, problem: BodyProblem, found: Sequence[Finding]
    ) -> None:
        """found : what stands out on it, worst first."""
        self._plan, self._problem, self._found = plan, problem, found
        self._number = number
        self._body = plan.scene_file.scene.bodies[number]
        self._limit_w = plan.scene_file.scene.findings.buried_power_w

    def listed(self, account: EnergyAccount) -> list[Remedy]:
        """Return them, those that most often help first, each once.

        account : where the body's light goes
        """
        makers = [*self._of_ideas(), *self._coats(account), self._row, self._hollow]
        found: dict[str, Remedy] = {}
        for make in makers:
            try:
                remedy = make()
            except GlowsimError:  # it cannot be made
                continue
            if remedy is not None:
                found.setdefault(remedy.body.model_dump_json(), remedy)
        return list(found.values())

    def of_guide(self, body: BodyGlow) -> list[Remedy]:
        """Return those for a clear body that carries light along: foil over the side by which it is
        lost. Each has to be followed by the reference solver, so there are no others.

        body : its glow as drawn
        """
        loss = loss_of(body)
        if loss.share < SWALLOWS:
            return []
        facing = tuple(float(c) for c in loss.way)
        side = Where(facing=facing, facing_within_deg=FACES_WITHIN_DEG)
        # First, so that what is frosted or engraved there stays.
        masks = (Mask(coat=FOIL, where=side), *self._body.masks)
        words = (
            f"aluminium foil tape over the bare {loss.name}, about {at_mm(loss.middle)}, by which "
            f"{100 * loss.share:.0f} % of the light that comes out is lost"
        )
        return [Remedy(words, self._body.model_copy(update={"masks": masks}))]

    def _of_ideas(self) -> Iterator[Callable[[], Remedy | None]]:
        makers: dict[str, Callable[[Finding, Idea], Remedy | None]] = {
            "move": self._moved,
            "add": self._added,
            "around": self._thicker,
            "denser": self._denser,
            "diffuse": self._frosted,
            "face": self._facing,
        }
        # Lights that the scene writes as one, and that are many here, are left as they are.
        fixed = self._number in self._plan.scene_file.written_light
        fixed |= any(light.separate_leds for light in self._body.lights)
        done = set()
        for finding in self._found:
            for idea in finding.ideas:
                if idea.does in done or (fixed and idea.does not in ("around", "diffuse")):
                    continue
                done.add(idea.does)
                yield lambda finding=finding, idea=idea: makers[idea.does](finding, idea)  # type: ignore[misc]
        hot = next((f for f in self._found if f.kind == "hot spot"), None)
        if "around" not in done and hot is not None and self._body.wall_mm:
            yield lambda: self._thicker(hot, Idea("around", 0))

    def _moved(self, finding: Finding, idea: Idea) -> Remedy:
        step = np.array(idea.mm)
        light = self._body.lights[idea.light]
        place = _rounded(np.array(light.position_mm) + step)
        moved = light.model_copy(update={"position_mm": place})
        words = (
            f"move {self._called(idea.light)} {np.linalg.norm(step):.0f} mm {_way(step)}, to "
            f"{at_mm(np.array(place))}"
        )
        lights = (*self._body.lights[: idea.light], moved, *self._body.lights[idea.light + 1 :])
        return self._with(finding, words, place, lights=lights)

    def _added(self, finding: Finding, idea: Idea) -> Remedy:
        like = self._body.lights[idea.light]
        towards = np.array([*finding.body_place_mm[:2], (finding.from_mm + finding.to_mm) / 2])
        towards = (towards if not finding.ring else towards * [0, 0, 1]) - np.array(idea.mm)
        way = _WAYS[int((_WAYS @ towards).argmax())]
        one = self._small(like, idea.amount)
        light = self._at(one, np.array(idea.mm), way)
        bright = "as bright as" if idea.amount == 1 else f"{idea.amount:g} times as bright as"
        words = (
            f"add a light near {at_mm(np.array(idea.mm))}, {bright} {self._called(idea.light)} "
            f"(one {light.board} facing {_way(way)}, at {_drive_words(light.drive)})"
        )
        return self._with(finding, words, light.position_mm, lights=(*self._body.lights, light))

    def _facing(self, finding: Finding, idea: Idea) -> Remedy:
        light = self._body.lights[idea.light]
        way = np.array(idea.mm) - np.array(light.position_mm)
        way = way / np.linalg.norm(way)
        facing = tuple(round(float(c), 3) + 0.0 for c in way)
        turned = light.model_copy(update={"direction": facing, "along": None})
        words = f"turn {self._called(idea.light)} toward {at_mm(np.array(idea.mm))}"
        lights = (*self._body.lights[: idea.light], turned, *self._body.lights[idea.light + 1 :])
        return self._with(finding, words, light.position_mm, lights=lights)

    def _thicker(self, finding: Finding, idea: Idea) -> Remedy:
        if self._body.wall_mm:
            wall = round(THICKER * self._body.wall_mm, 2)
            return self._with(finding, f"a wall of {wall:g} mm", None, wall_mm=wall)
        varied = Variation(self._plan.scene_file, self._number, "around").at(idea.amount)
        words = f"{idea.amount:.0f} mm more {self._body.material} all round"
        return self._of(finding, words, varied.scene.bodies[self._number])

    def _denser(self, finding: Finding, idea: Idea) -> Remedy | None:
        """Return the strip with LEDs no farther apart than they are deep, or the densest there is,
        as much light in all."""
        catalogue, light = self._plan.catalogue, self._body.lights[idea.light]
        pitch = catalogue.board(light.board).pitch_mm
        denser = {
            board.pitch_mm: name
            for name, board in catalogue.boards.items()
            if board.kind == "strip" and board.pitch_mm and pitch and board.pitch_mm < 0.7 * pitch
        }
        if not denser or pitch is None:
            return None
        leds = self._problem.emitters.of(idea.light).position
        depth = float(np.median(depth_mm(self._problem.outer, leds)))
        fine = max((p for p in denser if p <= depth), default=min(denser))
        name = denser[fine]
        lights = []
        for each in self._body.lights:
            if each.board == light.board and each.led_count:
                count = round(each.led_count * pitch / fine)
                wanted = self._kind(each).source
                new = each.model_copy(update={"board": name, "led_count": count})
                each = self._as_bright(new, wanted.flux_lm * wanted.drive)
            lights.append(each)
        words = f"{name} in place of {light.board}, as long and as bright in all"
        return self._with(finding, words, None, lights=tuple(lights))

    def _frosted(self, finding: Finding, idea: Idea) -> Remedy:
        everywhere = Where(above_mm=float(self._problem.outer.bounds[0, 2]) - 1.0)
        masks = (Mask(coat=FROST, where=everywhere), *self._body.masks)
        return self._with(finding, "a frosted surface all over", None, masks=masks)

    def _coats(self, account: EnergyAccount) -> Iterator[Callable[[], Remedy | None]]:
        """Yield foil under each dark coat, and round each dark core, that takes much light."""
        emitted = max(float(account.emitted_lm.sum()), 1e-12)
        if float(account.in_coats_lm.sum()) > SWALLOWS * emitted:
            for k, mask in enumerate(self._body.masks):
                if self._dark(mask.coat, shut=True):
                    yield lambda k=k, mask=mask: self._foiled("masks", k, mask.coat)  # type: ignore[misc]
        for k, insert in enumerate(self._body.inserts):
            taken = account.absorbed_lm.get(insert.coat or "")
            if (
                insert.coat
                and taken is not None
                and float(taken.sum()) > SWALLOWS * emitted
                and self._dark(insert.coat)
            ):
                yield lambda k=k, coat=insert.coat: self._foiled("inserts", k, coat)  # type: ignore[misc]

    def _dark(self, name: str, shut: bool = False) -> bool:
        coat = self._plan.catalogue.coat(name)
        closed = max(coat.transmittance) < CLOSED
        return bool(np.mean(coat.reflectance) < WHITE) and (closed or not shut)

    def _foiled(self, key: str, k: int, coat: str) -> Remedy:
        parts = list(getattr(self._body, key))
        named = parts[k].name or coat
        parts[k] = parts[k].model_copy(update={"coat": FOIL})
        where = "under" if key == "masks" else "round"
        words = f"aluminium foil {where} '{named}', which absorbs much light"
        return Remedy(words, self._body.model_copy(update={key: tuple(parts)}))

    def _row(self) -> Remedy | None:
        """Return small boards in a row along the body or its core, in place of its lights, with as
        much light in all."""
        size = self._problem.outer.size_mm
        axis = int(size.argmax())
        long = [f for f in self._found if f.kind == "dark gap" and f.length_mm > LONG * size[axis]]
        kinds = self._problem.kind_of(self._problem.emitters.region)
        if not long or (kinds == Kind.AIR).any() or not self._body.lights:
            return None
        first = self._body.lights[0]
        middle = np.mean([light.position_mm for light in self._body.lights], axis=0)
        thick = self._kind(self._small(first, 1.0)).size_mm[2]
        places, ways, beside = row_of(self._problem, axis, middle, thick)
        if len(places) < FEWEST:
            return None
        total = sum((self._flux(light) for light in self._body.lights), np.zeros(3))
        one = self._as_bright(self._small(first, 1.0), total / len(places))
        lights = tuple(self._at(one, p, w) for p, w in zip(places, ways, strict=True))
        along = places[:, axis]
        name = "xyz"[axis]
        where = (
            "on both sides of its core" if beside else f"along its {name} axis, facing out in turn"
        )
        words = (
            f"{len(lights)} small boards {one.board} {where}, from {name} = "
            f"{along.min():.0f} to {along.max():.0f} mm, in place of the lights it has, "
            f"{'as much light in all' if self._enough(one, total / len(places)) else 'full on'}"
        )
        return self._with(long[0], words, None, lights=lights)

    def _hollow(self) -> Remedy | None:
        """Return the body hollowed out, its lights where they are."""
        own = self._problem.media[0]
        if self._problem.wall_mm or self._body.inserts or own.kind != Kind.SCATTERS:
            return None
        low, high = self._problem.outer.bounds
        line = low + (high - low) * np.linspace(0.0, 1.0, 41)[:, None]
        deepest = float(depth_mm(self._problem.outer, line).max())
        wall = round(max(WALL_LENGTHS / float(own.mu_t_reduced_per_mm.min()), 1.2), 1)
        if wall > 0.5 * deepest:
            return None
        words = f"hollow it out to a wall of {wall:g} mm, the lights in the air within"
        return Remedy(words, self._body.model_copy(update={"wall_mm": wall, "infill": None}))

    def _small(self, like: Light, amount: float) -> Light:
        """Return the smallest single board driven in the same way, so many times as bright as a
        light, or as bright as it can be."""
        kind = self._kind(like)
        singles = [k for k in (*kind.smaller(), kind) if k.board.kind == "single"] or [kind]
        small = min(singles, key=lambda k: max(k.size_mm))
        keep = {"board": small.name, "led_count": None, "channel_current_ma": None, "along": None}
        return self._as_bright(like.model_copy(update=keep), amount * self._flux(like))

    def _as_bright(self, light: Light, flux_lm: FloatArray) -> Light:
        """Return a light driven to give a flux per band, or in these colours all that it can."""
        kind = self._kind(light)
        full = kind.source.flux_lm
        if kind.board.drive == "white":
            level = min(1.0, float(flux_lm.sum() / full.sum()))
            return light.model_copy(update={"drive": Drive(white=level)})
        levels = flux_lm / full
        levels = np.floor(1e3 * levels / max(1.0, float(levels.max())) + 0.5) / 1e3
        red, green, blue = map(float, levels)
        return light.model_copy(update={"drive": Drive(red=red, green=green, blue=blue)})

    def _enough(self, light: Light, flux_lm: FloatArray) -> bool:
        return float(self._flux(light).sum()) > 0.95 * float(flux_lm.sum())

    def _flux(self, light: Light) -> FloatArray:
        source = self._kind(light).source
        return np.asarray(source.flux_lm * source.drive)

    def _kind(self, light: Light) -> BoardKind:
        return BoardKind(light, self._plan.catalogue, self._limit_w, self._body)

    def _at(self, light: Light, place: FloatArray, way: FloatArray) -> Light:
        direction = tuple(float(c) for c in way)
        new = {"name": None, "position_mm": _rounded(place), "direction": direction}
        return light.model_copy(update=new)

    def _called(self, light: int) -> str:
        name = self._body.lights[light].name or f"light {light + 1}"
        return name if len(self._body.lights) > 1 else "the light"

    def _with(
        self, finding: Finding, words: str, place: tuple[float, ...] | None, **changes: object
    ) -> Remedy:
        return self._of(finding, words, self._body.model_copy(update=changes), place)

    def _of(
        self, finding: Finding, words: str, body: Body, place: tuple[float, ...] | None = None
    ) -> Remedy:
        return replace(Remedy(words, body, (finding.number,)), place_mm=place)


def _rounded(place: FloatArray) -> tuple[float, ...]:
    return tuple(round(float(c), 1) + 0.0 for c in place)


def _drive_words(drive: Drive) -> str:
    """Return how far a light is turned up: 'red 0.3, green 0.12'."""
    levels = {name: level for name, level in drive if level > 0 and name != "white"}
    if drive.white < 1:
        levels = {"white": drive.white}
    return ", ".join(f"{name} {level:.2g}" for name, level in levels.items())


def _way(step: FloatArray) -> str:
    axis = int(np.abs(step).argmax())
    if axis == 2:
        return "up (+z)" if step[2] > 0 else "down (-z)"
    return f"sideways ({'+' if step[axis] > 0 else '-'}{'xyz'[axis]})"


def short(value: float) -> str:
    """Return a luminance in few digits."""
    return "< 0.01" if value < 0.01 else f"{value:.3g}" if value < 999.5 else f"{value:.0f}"
