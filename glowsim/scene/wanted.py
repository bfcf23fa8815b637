"""The look that is wanted of a body: one even glow, or a fade along it."""

from __future__ import annotations

from typing import Annotated, Any, Literal, Self

from pydantic import BeforeValidator, Field, model_validator

from glowsim.scene.fields import Direction, Mm, Number, Strict, times
from glowsim.tomlfile import shown


class Fade(Strict):
    """A glow that grows dimmer along the body, by the same factor with every mm: that is what
    the eye reads as an even fade. A flame: `{ fade = "up", to = 0.33 }`."""

    fade: Literal["up", "down", "along"]
    """The way it grows dimmer: up (+z in the body's frame), down, or along `axis`."""
    to: Annotated[Number, Field(ge=0.01, lt=1)]
    """Brightness at the dim end over that at the bright one."""
    axis: Direction | None = None
    """With 'along': the direction in which it grows dimmer."""
    from_mm: Mm | None = None
    """Where it begins; up to there it is even. A height (z) for up and down, a distance from the
    body's origin along `axis` otherwise. Left out, the bright end of what is meant to glow."""
    to_mm: Mm | None = None
    """Where it ends; from there on it is even. Left out, the dim end of what is meant to glow."""

    def scaled(self, factor: float) -> Fade:
        """Return it on a body of other size about the body's origin."""
        ends = {"from_mm": self.from_mm, "to_mm": self.to_mm}
        return self.model_copy(
            update={k: v if v is None else times(v, factor) for k, v in ends.items()}
        )

    @model_validator(mode="after")
    def _complete(self) -> Self:
        if (self.axis is not None) != (self.fade == "along"):
            raise ValueError("axis belongs to fade = 'along', and that needs one")
        start, end = self.from_mm, self.to_mm
        if start is None or end is None:
            return self
        if self.fade == "down" and start <= end:
            raise ValueError(f"a fade down begins high: from_mm {start:g} must be above {end:g}")
        if self.fade != "down" and start >= end:
            raise ValueError(f"from_mm {start:g} must be less than to_mm {end:g}")
        return self


def _even_is_no_fade(value: Any) -> Any:
    """Take the text 'even' for no fade at all."""
    if value == "even":
        return None
    if isinstance(value, str):
        raise ValueError(
            f'{shown(value)} is not a look; write "even", or a fade such as '
            '{ fade = "up", to = 0.33 }'
        )
    return value


Wanted = Annotated[
    Fade | None,
    BeforeValidator(_even_is_no_fade, json_schema_input_type=Literal["even"] | Fade),
]
"""Even (None), or a fade."""
