"""How a body is made: carved, printed, cast or laminated; from that follow the steps."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, Literal

from glowsim.catalogue import Catalogue
from glowsim.scene import Body

if TYPE_CHECKING:
    from glowsim.buildsheet.places import BodyPlaces

Making = Literal["carved", "printed", "cast", "laminated"]

USUALLY: tuple[tuple[Making, tuple[str, ...]], ...] = (
    ("printed", ("print", "pla", "petg")),
    ("cast", ("resin", "epoxy", "silicone")),
    ("laminated", ("acrylic", "sheet")),
)
"""Words in a material's label that tell how it is usually made up; everything else is carved."""
SPARE = 1.1
"""Resin to mix over what the mould holds (common practice)."""
LAYER_MM = 10.0
"""Depth of one pour above which casting resins run hot (common practice; the resin's own sheet
outranks it)."""


def making_of(spec: Body, catalogue: Catalogue) -> Making:
    """Return how a body is made: as the scene says, or as its material usually is."""
    if spec.made is not None:
        return spec.made
    if spec.material not in catalogue.materials:
        return "laminated"
    words = set(catalogue.material(spec.material).label.lower().replace(",", " ").split())
    return next(
        (making for making, marks in USUALLY if any(w.startswith(m) for w in words for m in marks)),
        "carved",
    )


def head_step(head: str, jigs: bool, sockets: bool) -> str:
    """Return how to prepare a body that pieces sit on, or are sunk into."""
    mark = "with the paper strips, or put on the printed jigs" if jigs else "by its table of holes"
    way = "towards its middle" if jigs else "at the slant that stands there"
    cut = ", cut the sockets that it has in its mesh" if sockets else ""
    return (
        f"Mark the wire holes on {head} {mark}; bore them {way}{cut}, and try every piece in "
        "its place before any glue."
    )


def making_steps(bodies: Iterable[tuple[BodyPlaces, int]]) -> tuple[str, ...]:
    """Return how to make the lit bodies, in their order, each with the way its boards go in."""
    return tuple(_steps(places, count) for places, count in bodies)


def _steps(places: BodyPlaces, count: int) -> str:
    name = places.name if count == 1 else f"{places.name} ({count} times)"
    cm3 = places.material.volume_mm3 / 1000
    if places.rough:
        return _polished(name, places.rough)
    buried = any(light.channel is not None for light in places.lights)
    match places.making:
        case "printed":
            inside = (
                "its holes are open to the base in the mesh: put the boards in from there"
                if buried
                else "its boards stand inside on a holder"
            )
            return (
                f"Print {name} from its STL, standing as in the file, its size unchanged; "
                f"{inside}. Do not cut or drill the wall: every scratch shows lit. Try every board "
                "in its place before any glue."
            )
        case "cast":
            top = float(places.solid.outer.size_mm[2])
            layers = max(1, -int(-top // LAYER_MM))
            order = _order(places)
            return (
                f"Cast {name}: the mould holds {cm3:.0f} cm³ each; mix {SPARE * cm3:.0f} cm³. Test "
                "every board first: once poured it cannot be reached. "
                + (f"Bury the lights from the bottom up: {order}. " if order else "")
                + f"{top:.0f} mm deep: about {layers} pours of {LAYER_MM:.0f} mm, each left to gel "
                "and cool before the next; thick pours run hot, crack, and cook LEDs and wires. "
                "Hang each board on stiff wire at its height above the base, and lead the wires "
                "out where the template shows."
            )
        case "laminated":
            return (
                f"Cut the sheet of {name} by the template and lay it over its form; the boards go "
                "in before the last seam is closed."
            )
        case _:
            return (
                f"Carve {name} by the templates, then bore its holes from the base. Try every "
                "board in its hole before any glue, then plug the hole behind it with the same "
                "material."
            )


def _polished(name: str, rough: tuple[str, ...]) -> str:
    """Return how to make a clear body whose faces carry light."""
    return (
        f"Make {name} of the clear material and polish every face, saw cuts too: light runs on "
        "inside, and every scratch and every smear of glue lets some out. Keep glue and paint off "
        f"its faces. Then frost or engrave {', '.join(rough)}, as the list of parts says where; "
        "try the light after each, and stop before it is too much."
    )


def _order(places: BodyPlaces) -> str:
    lights = sorted(places.lights, key=lambda light: light.height_mm)
    return ", ".join(f"{light.name} at {light.height_mm:.0f} mm" for light in lights)
