"""What to have on the bench: boards, battery, fuse, wire, small parts, material."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from glowsim.buildsheet.blocks import Grid
from glowsim.buildsheet.places import BodyPlaces
from glowsim.catalogue.cautions import Topic, caution
from glowsim.electrics.loads import LitBoard
from glowsim.electrics.power import PowerReport
from glowsim.scene import Picture, Where
from glowsim.transport.plan import Plan

PRACTICE = "common practice"
COLOURS = {1: "one colour", 2: "two colours", 3: "three colours"}


def parts_grid(plan: Plan, bodies: tuple[tuple[BodyPlaces, int], ...], power: PowerReport) -> Grid:
    """Return the table of parts."""
    rows = [*_boards(power), *_supply(power), *_wires(power), *_data(power)]
    for places, count in bodies:
        rows += _material(plan, places, count)
    rows += [
        (str(count), f"{kind}: {label}", name)
        for (kind, label, name), count in _inserts(plan, bodies).items()
    ]
    ticked = tuple(("☐", *row) for row in rows)
    return Grid(("have", "how many", "what", "for"), ticked, (0.7, 1.4, 5, 3.4))


Row = tuple[str, str, str]

MADE_OF: dict[Topic, tuple[str, ...]] = {
    "cutting": ("foam", "polystyrene"),
    "resin": ("resin", "epoxy"),
    "dust": ("foam", "polystyrene", "resin", "epoxy", "print", "acrylic"),
}
"""Words in a material's label that call for a caution."""


def material_cautions(plan: Plan, bodies: tuple[tuple[BodyPlaces, int], ...]) -> tuple[str, ...]:
    """Return the cautions for working the materials of a prop."""
    names = {places.spec.material for places, _ in bodies}
    names |= {i.material for places, _ in bodies for i in places.spec.inserts if i.material}
    known = plan.catalogue.materials
    labels = " ".join(known[name].label.lower() for name in names if name in known)
    return tuple(
        caution(topic) for topic, words in MADE_OF.items() if any(word in labels for word in words)
    )


def _boards(power: PowerReport) -> list[Row]:
    rows: list[Row] = []
    lengths = bought(power.boards)
    for kind, leds in dict.fromkeys((b.kind, leds) for b, leds in lengths):
        mine = [b for b, count in lengths if (b.kind, count) == (kind, leds)]
        board = mine[0].board
        label = board.label
        if board.kind == "strip":
            length = leds * float(board.pitch_mm or 0)
            label += f", cut to {leds} LEDs ({length:.0f} mm)"
        where = Counter(b.body for b in mine)
        rows.append(
            (str(len(mine)), label, ", ".join(f"{n} in {name}" for name, n in where.items()))
        )
    return rows


def bought(boards: Sequence[LitBoard]) -> list[tuple[LitBoard, int]]:
    """Return boards as they are bought, with their LEDs: pieces of one strip stay together."""
    first: dict[str, LitBoard] = {}
    leds: Counter[str] = Counter()
    for board in boards:
        leds[first.setdefault(board.whole, board).name] += board.led_count
    return [(board, leds[board.name]) for board in first.values()]


def _supply(power: PowerReport) -> list[Row]:
    rows: list[Row] = []
    if power.choice is not None:
        rows.append(("1", power.choice.pack.label, "battery, as in the scene"))
    if power.fuse is not None:
        rows.append(("1", f"fuse {power.fuse.label}, with holder", "close to the battery's plus"))
    amperes = f"{power.fuse.fuse_a:g} A" if power.fuse else "the full current"
    rows.append(
        ("1", f"switch for {amperes} of direct current or more", "the handler must reach it")
    )
    return rows


def _wires(power: PowerReport) -> list[Row]:
    if power.wiring is None:
        return []
    metres: dict[str, float] = {}
    names: dict[str, dict[str, None]] = {}
    for piece in power.cut_list:
        metres[piece.gauge] = metres.get(piece.gauge, 0.0) + piece.length_mm * piece.count / 1000
        names.setdefault(piece.gauge, {})[piece.conductor] = None
    rows: list[Row] = [
        (
            f"{length:.1f} m",
            f"stranded wire {gauge}, {COLOURS[len(names[gauge])]}",
            ", ".join(names[gauge]),
        )
        for gauge, length in metres.items()
    ]
    joints = 6 * len(power.wiring.harness.every_run)
    rows.append((str(joints), "pieces of heat-shrink sleeve", f"joints of the wires ({PRACTICE})"))
    return rows


def _data(power: PowerReport) -> list[Row]:
    rows: list[Row] = []
    outputs = len(power.data.outputs)
    if outputs:
        words = "controller with " + (f"{outputs} data outputs" if outputs > 1 else "a data output")
        rows.append(("1", words, f"{power.data.frames_per_second:g} frames a second"))
        rows.append((str(outputs), "resistor 300 to 470 ohm", f"in each data line ({PRACTICE})"))
    if power.data.dimmed_channels:
        count = str(power.data.dimmed_channels)
        rows.append((count, "channels of a constant-current dimmer", "boards without data"))
    rows.append(("1 or more", "capacitor 1000 uF, 10 V or more", f"across the supply ({PRACTICE})"))
    return rows


def _material(plan: Plan, places: BodyPlaces, count: int) -> list[Row]:
    cm3 = places.own_volume_mm3 / 1000
    name = places.spec.material
    size = " x ".join(f"{s:.0f}" for s in places.solid.outer.size_mm)
    if name not in plan.catalogue.materials:
        area = float(places.solid.outer.areas_mm2.sum()) / 100
        label = plan.catalogue.coat(name).label
        return [(f"{count} x {area:.0f} cm²", label, f"{places.name}, {size} mm")]
    entry = plan.catalogue.material(name)
    grams = (
        ""
        if entry.density_kg_m3 is None
        else f", each about {cm3 * entry.density_kg_m3 / 1000:.3g} g"
    )
    return [(f"{count} x {cm3:.3g} cm³{grams}", entry.label, f"{places.name}, {size} mm")]


def _inserts(
    plan: Plan, bodies: tuple[tuple[BodyPlaces, int], ...]
) -> Counter[tuple[str, str, str]]:
    """Return cores and sleeves, and paints and tapes, with how many are needed."""
    found: Counter[tuple[str, str, str]] = Counter()
    for places, count in bodies:
        for insert in places.spec.inserts:
            if insert.material is not None:
                label = plan.catalogue.material(insert.material).label
                found[(insert.name or "sleeve", label, f"set into {places.name}")] += count
            elif insert.coat is not None:
                label = plan.catalogue.coat(insert.coat).label
                found[(insert.name or "core", label, f"set into {places.name}")] += count
        for mask in places.spec.masks:
            label = plan.catalogue.coat(mask.coat).label
            there = f"on {places.name}{_drawn_words(mask.where)}"
            found[(mask.name or "cover", label, there)] += count
    return found


def _drawn_words(where: Where) -> str:
    """Say where a line runs or how a picture is laid on, '' for a region that has neither."""
    words = ""
    if where.line_mm is not None:
        points = "; ".join(", ".join(f"{c:g}" for c in point) for point in where.line_mm)
        words += f", {where.line_width_mm:g} mm wide, by x, y, z = {points} mm"
    if (picture := where.picture) is not None:
        words += f", what is {picture.covers} on {picture.file}, {_picture_words(picture)}"
    return words


def _picture_words(picture: Picture) -> str:
    if picture.by_texture:
        return "laid by the mesh's texture"
    wide = picture.width_mm is not None
    size = f"{picture.width_mm if wide else picture.height_mm:g} mm {'wide' if wide else 'high'}"
    side = ", ".join(f"{c:g}" for c in picture.seen_from)
    return f"{size}, laid on from ({side})"
