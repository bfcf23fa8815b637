"""What the heat of the prop is judged by: the room's air, who touches it, wires that cool."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from glowsim.scene.fields import Mm, Number, Strict
from glowsim.scene.supply import Gauge


class Heat(Strict):
    """How warm the room is, how the surface gives off heat, and what the prop is used for."""

    room_c: Annotated[Number, Field(ge=-20, le=50)] = 25.0
    """Warmth of the air around the prop."""
    skin_w_m2k: Annotated[Number, Field(ge=1, le=100)] = 8.0
    """Heat that a square metre of skin gives off per kelvin, by still air and radiation."""
    contact: Literal["none", "touched", "held", "worn"] = "touched"
    """How people meet the surface: not at all, for moments, in the hand, on the skin."""
    leads: Annotated[int, Field(strict=True, ge=0, le=50)] = 0
    """Copper wires that run down from each board and carry heat away with them."""
    lead_gauge: Gauge = "24 AWG"
    """Size of those wires."""
    lead_free_mm: Annotated[Mm, Field(ge=0)] = 0.0
    """How far each wire runs on in free air beyond the body."""
    holder: str = ""
    """What holds boards that hang in air (a material or coat): it gets as warm as they do."""
