"""How warm each light board gets where it is buried, how soon, and what that is too much for."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

import numpy as np

from glowsim.catalogue.cautions import Topic, caution
from glowsim.electrics.heat_body import HeatBody
from glowsim.electrics.heat_field import HeatField
from glowsim.electrics.heat_holder import holder_of, in_air, said_of_holder
from glowsim.electrics.heat_setup import HeatPart, heat_part
from glowsim.electrics.heat_warmup import WarmUp, warm_up
from glowsim.electrics.loads import LitBoard
from glowsim.electrics.power import Electrics
from glowsim.errors import SceneError
from glowsim.geometry.body import solid_of
from glowsim.geometry.mesh import FloatArray
from glowsim.scene import SceneFile
from glowsim.scene.heat import Heat
from glowsim.transport.plan import Plan

TOUCH_C = {"touched": 60.0, "held": 48.0, "worn": 41.0}
"""Highest surface temperature, by how people meet it. ISO 13732-1 (from memory) gives as burn
thresholds of plastic and wood 60 C for a minute, and of any surface 48 C for ten minutes and 43 C
for eight hours; worn things keep 2 K below that (common practice, no source). The standard gives
thresholds, not limits."""
TOUCH_WORDS = {"touched": "touched for moments", "held": "held in the hand", "worn": "worn"}
NEAR_LIMIT = 1.3
"""Limits kept by less than this factor are not kept for sure: conductivities are good to that."""
SOON_S = 300.0
"""The bench test most people have patience for [s]."""


@dataclass(frozen=True)
class HeatLimit:
    """One limit and what was worked out for it.

    allowed_share : share of the power at which the limit is just reached
    """

    what: str
    limit_c: float
    found_c: float
    allowed_share: float


@dataclass(frozen=True, kw_only=True)
class BoardHeat:
    """One light board at the drive that is judged.

    power_w, full_power_w : judged, and at full white;  idle_w : with its LEDs dark
    board_c, full_board_c : steady
    chip_c                : the hottest chip of an LED, or None where its data sheet tells nothing
    in_air                : nothing but air touches it, so something unseen must hold it
    limits                : the tightest first
    minutes               : from switching on to 90 % of the rise;  soon_share : of the rise after
                            five minutes; None where how soon was not asked, or nothing is drawn
    """

    name: str
    copy: str
    body: str
    kind: str
    buried_in: str
    power_w: float
    full_power_w: float
    idle_w: float
    board_c: float
    full_board_c: float
    chip_c: float | None
    skin_c: float
    limits: tuple[HeatLimit, ...]
    minutes: float | None
    soon_share: float | None
    in_air: bool = False

    @property
    def allowed_share(self) -> float:
        """Share of the judged power at which the tightest limit is reached; inf without limits."""
        return min((limit.allowed_share for limit in self.limits), default=float("inf"))

    @property
    def bearable_w(self) -> float:
        """Average power this board may have, all others of its body turned down alike [W]."""
        return self.allowed_share * self.power_w

    @property
    def allowed_level(self) -> float:
        """Share of its settings at which the tightest limit is reached, all others of its body
        turned down alike; what its chips draw while dark stays. 0 where that alone is too much."""
        lit_w = self.power_w - self.idle_w
        if lit_w <= 0:
            return 0.0 if self.allowed_share < 1 else float("inf")
        return max(0.0, (self.bearable_w - self.idle_w) / lit_w)

    @property
    def verdict(self) -> str:
        """What to do, in a few words."""
        if self.allowed_share >= NEAR_LIMIT:
            return "below its limits by this estimate"
        if self.allowed_share >= 1:
            return "near its limit: measure, and leave a margin"
        level = 100 * self.allowed_level
        if level <= 0:
            return "too warm even with its LEDs dark: add a path for the heat"
        percent = f"{level:.0f}" if level >= 9.5 else f"{level:.1g}"
        return f"turn it down to {percent} % of its settings, or add a path for the heat"


SKIN = "skin"
"""How the limit for a hand on the surface begins."""


@dataclass(frozen=True)
class HeatReport:
    """The heat of a prop.

    judged : the drive that is judged: 'at your settings' or 'on average over the pulses'
    boards : as in the scene;  fields : by key of each different body with lights
    error_factor : how far rises may be off by the conductivity alone, as a factor
    """

    title: str
    judged: str
    settings: Heat
    boards: tuple[BoardHeat, ...]
    fields: Mapping[str, HeatField]
    parts: Mapping[str, HeatPart]
    power_w: Mapping[str, FloatArray]
    error_factor: float
    notes: tuple[str, ...]

    @property
    def hottest(self) -> BoardHeat:
        """The board with the least to spare."""
        return min(self.boards, key=lambda board: board.allowed_share)

    @property
    def cautions(self) -> tuple[str, ...]:
        """What to take care of: always heat; fire and skin where such a limit is passed, and skin
        for what is held or worn."""
        passed = {limit.what for b in self.boards for limit in b.limits if limit.allowed_share < 1}
        on_skin = {what for what in passed if what.startswith(SKIN)}
        topics: list[Topic] = ["heat"]
        if passed - on_skin:
            topics.append("fire")
        if on_skin or self.settings.contact in ("held", "worn"):
            topics.append("skin")
        return tuple(caution(topic) for topic in topics)

    def as_json(self) -> dict[str, object]:
        """Return the report as plain data."""
        return {
            "title": self.title,
            "judged": self.judged,
            "settings": self.settings.model_dump(),
            "boards": [_plain(board) for board in self.boards],
            "rise_good_to_a_factor": self.error_factor,
            "notes": list(self.notes),
        }


def heat_of(
    scene_file: SceneFile,
    *,
    of: str | None = None,
    how_soon: bool = True,
    report: Callable[[str], None] = lambda text: None,
) -> HeatReport:
    """Return how warm the boards of a scene get; where it has pulses, by their average.

    of       : the body of this name alone
    how_soon : work out how soon they get there, too, which takes about as long again
    Raises SceneError, MaterialError, GeometryError or SolveError.
    """
    electrics = Electrics(scene_file)
    plan, heat = electrics.plan, scene_file.scene.heat
    asked = [k for k, board in enumerate(electrics.boards) if of in (None, board.body)]
    lit = [electrics.boards[k] for k in asked]
    if not lit:
        who = "no body has a light" if of is None else f"'{of}' has no light"
        raise SceneError(f"{scene_file.toml.name}: {who}, so there is no heat to work out")
    levels = electrics.average_levels()[asked]
    holder = holder_of(plan)
    drawn = np.array([_watts(b, b.current_ma(v)) for b, v in zip(lit, levels, strict=True)])
    full = np.array([_watts(board, board.white_ma) for board in lit])
    fields, parts = _solved(plan, {board.body for board in lit}, report)
    boards: list[BoardHeat] = []
    powers: dict[str, FloatArray] = {}
    keys = {body.name: key for body, key in zip(scene_file.scene.bodies, plan.keys, strict=True)}
    known: dict[tuple[str, bytes], list[BoardHeat]] = {}
    warming: dict[tuple[str, tuple[float, ...]], WarmUp] = {}
    for copy in dict.fromkeys(board.copy for board in lit):
        mine = np.array([k for k, board in enumerate(lit) if board.copy == copy])
        key = keys[lit[mine[0]].body]
        case = (key, levels[mine].tobytes() + drawn[mine].tobytes())
        group = [lit[k] for k in mine]
        if case not in known:
            # How soon depends on how the watts are shared between boards, not on how many.
            shared = (key, tuple(np.round(drawn[mine] / max(drawn[mine].max(), 1e-12), 2)))
            if how_soon and drawn[mine].any() and shared not in warming:
                report(f"warming up {copy}")
                warming[shared] = warm_up(fields[key], drawn[mine])
            warm = warming.get(shared)
            chips = [chip_rise_k(lit[k], levels[k]) for k in mine]
            watts = np.stack([drawn[mine], full[mine]], axis=1)
            known[case] = _judged(heat, fields[key], warm, group, watts, chips, holder)
        boards += [
            replace(alike, name=board.name, copy=board.copy, body=board.body)
            for alike, board in zip(known[case], group, strict=True)
        ]
        powers[copy] = drawn[mine]
    notes = [*dict.fromkeys(note for part in parts.values() for note in part.notes)]
    for body in dict.fromkeys(board.body for board in boards if board.in_air and not holder):
        hung = [board for board in boards if board.in_air and board.body == body]
        hottest = max(hung, key=lambda board: board.board_c)
        told = (hottest.board_c, hottest.full_board_c)
        notes.append(said_of_holder(plan.catalogue, body, *told))
    factor = max(part.conductivity_factor for part in parts.values())
    judged = "on average over the pulses" if electrics.course.moves else "at your settings"
    return HeatReport(
        plan.title, judged, heat, tuple(boards), fields, parts, powers, factor, tuple(notes)
    )


def _watts(board: LitBoard, current_ma: float) -> float:
    """Return the power of a board; all of it is taken to become heat.

    5050 LEDs turn 90 to 94 % into heat by their data sheets, and foam swallows much of the light.
    """
    return board.board.supply_v * current_ma / 1000


def chip_rise_k(board: LitBoard, levels: FloatArray) -> float | None:
    """Return how much hotter than the board the hottest chip of one of its LEDs is [K].

    levels : (3,) float, shares of full drive

    Each chip stands on its own thermal resistance with its own watts, so one chip lit alone is as
    hot as it is among three. The watts are those drawn from the supply: what the chip itself does
    not turn into heat the driver in the same package does. None where nothing is known.
    """
    part = board.board
    if part.junction_k_w is None:
        return None
    own = part.supply_v * board.channel_ma * levels / 1000 / board.led_count
    if part.drive == "white":
        own = np.full(3, own.sum() / 3)  # one chip, whose current counts a third in each band
        return float(own.sum() * (max(part.junction_k_w) + part.package_k_w))
    return float((np.array(part.junction_k_w) * own).max() + part.package_k_w * own.sum())


def _solved(
    plan: Plan, names: set[str], report: Callable[[str], None]
) -> tuple[dict[str, HeatField], dict[str, HeatPart]]:
    bodies = plan.scene_file.scene.bodies
    wanted = {key for key, body in zip(plan.keys, bodies, strict=True) if body.name in names}
    outers = {key: solid_of(plan.scene_file, n).outer for key, n in plan.distinct.items()}
    fields, parts = {}, {}
    for key, number in plan.distinct.items():
        if plan.keys[number] in wanted:
            report(f"heat of {bodies[number].name}")
            parts[key] = heat_part(plan, number, outers)
            fields[key] = HeatField(parts[key].body)
    return fields, parts


def _judged(
    heat: Heat,
    field: HeatField,
    warm: WarmUp | None,
    boards: list[LitBoard],
    watts: FloatArray,
    chips_k: list[float | None],
    holder: tuple[str, float] | None,
) -> list[BoardHeat]:
    """Return the heat of the boards of one copy.

    watts : (boards, 2) float, judged and at full white;  chips_k : of the hottest chips
    """
    body = field.body
    steady = field.rise_k_w @ watts
    rise = field.board_k(steady)
    skin_k = float(field.skin_k(steady)[0])
    around = _of_the_body(heat, body, field, steady[:, :1], skin_k)
    judged = []
    for k, board in enumerate(boards):
        limits = [*around, *_of_the_board(board, heat, float(rise[k, 0]), chips_k[k])]
        touching, hangs, chip = body.touching(body.boards[k]), in_air(body, k), chips_k[k]
        if holder and hangs:
            name, limit_c = holder
            limits.append(_limit(f"its holder, {name}", limit_c, heat.room_c, float(rise[k, 0])))
        judged.append(
            BoardHeat(
                name=board.name,
                copy=board.copy,
                body=board.body,
                kind=board.kind,
                buried_in=", ".join(dict.fromkeys(body.substances[r].name for r in touching)),
                power_w=float(watts[k, 0]),
                full_power_w=float(watts[k, 1]),
                idle_w=_watts(board, board.idle_ma),
                board_c=heat.room_c + float(rise[k, 0]),
                full_board_c=heat.room_c + float(rise[k, 1]),
                chip_c=None if chip is None else heat.room_c + float(rise[k, 0]) + chip,
                skin_c=heat.room_c + skin_k,
                limits=tuple(sorted(limits, key=lambda limit: limit.allowed_share)),
                minutes=warm.seconds_to(0.9, k) / 60 if warm else None,
                soon_share=float(warm.rise_k(SOON_S)[k] / warm.share_k[k].sum()) if warm else None,
                in_air=hangs,
            )
        )
    return judged


def _of_the_body(
    heat: Heat, body: HeatBody, field: HeatField, steady: FloatArray, skin_k: float
) -> list[HeatLimit]:
    """Return the limits that hold for a whole copy: its materials, and hands on its skin."""
    limits = []
    board_k = field.board_k(steady)[:, 0]
    for region in body.conducting:
        substance = body.substances[region]
        if substance.service_c is not None:
            # Where it touches a board it is as warm as that board.
            at_boards = [k for k, b in enumerate(body.boards) if region in body.touching(b)]
            if at_boards:
                rise = float(board_k[at_boards].max())
            else:
                rise = float(field.region_k(region, steady)[0])
            limits.append(_limit(substance.name, substance.service_c, heat.room_c, rise))
    if heat.contact != "none":
        words = f"{SKIN}, {TOUCH_WORDS[heat.contact]}"
        limits.append(_limit(words, TOUCH_C[heat.contact], heat.room_c, skin_k))
    return limits


def _of_the_board(
    board: LitBoard, heat: Heat, rise_k: float, chip_k: float | None
) -> list[HeatLimit]:
    limits, part = [], board.board
    if part.ambient_max_c is not None:
        limits.append(_limit("LEDs' surroundings", part.ambient_max_c, heat.room_c, rise_k))
    if part.junction_max_c is not None and chip_k is not None:
        limits.append(_limit("LED chips", part.junction_max_c, heat.room_c, rise_k + chip_k))
    return limits


def _limit(what: str, limit_c: float, room_c: float, rise_k: float) -> HeatLimit:
    spare = max(limit_c - room_c, 0.0)
    allowed_share = spare / rise_k if rise_k > 0 else float("inf")
    return HeatLimit(what, limit_c, room_c + rise_k, allowed_share)


def _plain(board: BoardHeat) -> dict[str, object]:
    plain = {k: v for k, v in vars(board).items() if k != "limits"}
    return plain | {
        "bears_share": _finite(board.allowed_share),
        "bears_level": _finite(board.allowed_level),
        "bearable_w": None if math.isinf(board.allowed_share) else board.bearable_w,
        "verdict": board.verdict,
        "limits": [
            {"what": limit.what, "limit_c": limit.limit_c, "found_c": limit.found_c}
            | {"bears": _finite(limit.allowed_share)}
            for limit in board.limits
        ],
    }


def _finite(share: float) -> float | None:
    return None if math.isinf(share) else share
