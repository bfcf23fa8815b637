"""Where every light and every piece goes: tables, feet, copies."""

from __future__ import annotations

import math

import numpy as np

from glowsim.buildsheet.blocks import Block, Grid, Para
from glowsim.buildsheet.places import CHANNEL_MM, BodyPlaces, bearing_deg
from glowsim.buildsheet.prop import Prop
from glowsim.buildsheet.seats import BLIND, Seat, hole_deep_mm, leads_to
from glowsim.geometry.mesh import FloatArray
from glowsim.transport.neighbours import boards_in_neighbours

HAND = "; by hand, rub it on coarse paper laid round the head"
ON_FROM_BLIND = (
    "A wire hole that leads to nothing ends blind: bore on from its end until it meets the others, "
    "or bore a way out for its wires where nobody looks."
)
SOCKET = (
    "The piece stays whole; the mesh of {} has a socket for it, without play: ease it until the "
    "piece goes in."
)


def where_the_lights_go(prop: Prop) -> tuple[Block, ...]:
    """Return where the lights of each body go, how its foot sits, and where the copies stand."""
    blocks: list[Block] = []
    for places, count in prop.lit:
        foot = places.foot
        name = places.name if count == 1 else f"{places.name} ({count} alike)"
        rows = tuple(
            (
                str(light.number),
                f"{light.name}\n{light.board_name}",
                ", ".join(f"{c:z.1f}" for c in light.centre_mm),
                f"{light.height_mm:.1f}",
                f"{light.from_axis_mm:.1f}"
                + ("" if light.from_axis_mm < 0.05 else f" at {light.angle_deg:.0f}°"),
                light.faces,
                f"{light.below_mm:.1f}",
                light.make,
            )
            for light in places.lights
        )
        headings = (
            *("no", "light", "x, y, z", f"above {foot}", "from axis", "faces"),
            *("below surface", "hole or pocket"),
        )
        widths = (0.5, 2.1, 1.7, 1.0, 1.3, 1.4, 1.0, 2.8)
        blocks.append(Grid(headings, rows, widths, name))
        blocks += [
            Para(
                f"Light {light.number} ({light.name}) does not fit: part of its board would stand "
                f"out of {places.name}.",
                strong=True,
            )
            for light in places.lights
            if not light.fits
        ]
        upright = [light for light in places.lights if np.ptp(light.led_mm[:, 2]) > 1]
        for light in upright:
            heights = ", ".join(f"{z - places.foot_mm:.1f}" for z in sorted(light.led_mm[:, 2]))
            blocks.append(Para(f"{light.name}: its LEDs sit {heights} above the {foot}."))
    blocks.append(
        Para(
            "x, y, z: of the LED face's middle, in the body's own frame. Angles run from +x "
            "towards +y, seen from above. Every hole and pocket is open straight down, on the "
            "template as in the mesh: put the board in from there and plug the hole behind it with "
            "the same material, as the light was worked out without the hole."
        )
    )
    blocks += _feet(prop)
    if len(prop.copies) > 1:
        holes = _holes(prop)
        blocks += [_copies(prop), *holes]
        if any(BLIND in row for grid in holes for row in grid.rows):
            blocks.append(Para(ON_FROM_BLIND))
    return tuple(blocks)


def _feet(prop: Prop) -> list[Block]:
    """Return how the pieces sit on what carries them."""
    blocks: list[Block] = []
    for places, _ in prop.lit:
        mine = [prop.seats.get(copy.name, ()) for copy in prop.copies if copy.of == places.name]
        for foot in places.feet:
            hand = "" if foot.radius_mm is None else HAND
            how = SOCKET.format(foot.head) if foot.sunk else f"It is cut so in the mesh{hand}."
            blocks.append(Para(f"{places.name}: {foot.words}. {how}"))
        if not places.feet and any(mine):
            how = "the mesh has a flat foot; fit each in its place."
            if all(seat.foot.sunk for seats in mine for seat in seats):
                how = "each has a socket of its own in the mesh of what it is sunk into."
            blocks.append(
                Para(f"{places.name}: its copies sit differently on what carries them: {how}")
            )
    reach = boards_in_neighbours(prop.plan, [one.solid for one, _ in prop.bodies], prop.copies)
    blocks += [
        Para(f"{name}: {line}.", strong=True) for name, lines in reach.items() for line in lines
    ]
    return blocks


def _copies(prop: Prop) -> Grid:
    rows = []
    for copy in prop.copies:
        x, y, z = copy.transform[:3, 3]
        up = copy.transform[:3, 2]
        tilt, turn = _tilt_and_turn(up)
        seats = prop.seats.get(copy.name, ())
        sits = "; ".join(
            f"{seat.head}, {max(seat.foot.middle_mm, 0):.1f} mm deep in the middle"
            for seat in seats
        )
        rows.append((copy.name, f"{x:z.1f}, {y:z.1f}, {z:z.1f}", f"{tilt:.0f}°", turn, sits or "-"))
    return Grid(
        (
            "piece",
            "its own zero point stands at x, y, z",
            "leans from upright",
            "towards",
            "sits on",
        ),
        tuple(rows),
        (1.6, 2.6, 1.5, 1.2, 3),
        "Where the pieces stand, in the frame of the whole prop",
    )


def _holes(prop: Prop) -> list[Grid]:
    """Return, for each body that pieces sit on, where their wire holes open on it."""
    heads = {copy.name: prop.bodies[copy.body][0] for copy in prop.copies}
    seats: dict[str, list[Seat]] = {}
    for mine in prop.seats.values():
        for seat in mine:
            seats.setdefault(seat.head, []).append(seat)
    rows = {
        head: [
            _hole(heads[head], seat, to)
            for seat, to in zip(mine, leads_to(heads[head], mine), strict=True)
        ]
        for head, mine in seats.items()
    }
    return [
        Grid(
            (
                "hole of",
                "x, y from its axis",
                "from axis",
                f"above its {heads[head].foot}",
                "deep",
                "leads to",
                "leans",
            ),
            tuple(mine),
            (1.5, 1.6, 0.9, 1.2, 0.7, 2.0, 2.1),
            f"Where the wire holes Ø {CHANNEL_MM:.0f} mm open on {head}, in its own frame",
        )
        for head, mine in rows.items()
    ]


def _hole(head: BodyPlaces, seat: Seat, to: str) -> tuple[str, ...]:
    """Return the row of one wire hole."""
    x, y = seat.hole_mm[:2] - head.axis_mm
    tilt, turn = _tilt_and_turn(-seat.way)
    return (
        seat.piece,
        f"{x:z.1f}, {y:z.1f}",
        f"{math.hypot(x, y):.1f}",
        f"{seat.hole_mm[2] - head.foot_mm:.1f}",
        f"{hole_deep_mm(head, seat):.1f}",
        to,
        "upright" if turn == "-" else f"{tilt:.0f}°, its top towards {turn}",
    )


def _tilt_and_turn(up: FloatArray) -> tuple[float, str]:
    x, y, z = (float(v) for v in up)
    tilt = math.degrees(math.acos(max(-1.0, min(1.0, z))))
    if math.hypot(x, y) < 1e-6:
        return tilt, "-"
    return tilt, f"{bearing_deg(x, y):.0f}°"
