"""What every catalogue entry carries: a label, where its numbers come from, how far to trust them.

Colour bands are always in the order red 620 nm, green 525 nm, blue 465 nm. One number in
place of three means the same value in each band.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Annotated, Any, ClassVar, Literal

from pydantic import AfterValidator, BeforeValidator, ConfigDict, Field

from glowsim.described import Described

BANDS_NM = (620.0, 525.0, 465.0)
"""Nominal wavelengths of the three colour bands: red, green, blue."""

Confidence = Literal["measured", "datasheet", "derived", "estimate", "user"]


def _same_in_each_band(value: Any) -> Any:
    """Spread a single number over the three bands; refuse any other count of numbers."""
    if isinstance(value, (int, float)) and not isinstance(value, bool):
        return (value, value, value)
    if isinstance(value, Sequence) and not isinstance(value, str) and len(value) == 3:
        return tuple(value)
    raise ValueError(f"{value!r} is not one number, nor three in the order red, green, blue")


NonNegative = Annotated[float, Field(ge=0)]
Positive = Annotated[float, Field(gt=0)]
Fraction = Annotated[float, Field(ge=0, le=1)]
Factor = Annotated[float, Field(ge=1)]
"""Uncertainty of one standard deviation as a factor: 2 means half to twice the value."""

Prose = Annotated[str, AfterValidator(lambda text: " ".join(text.split()))]
"""Text that may be broken over lines in the file."""

_per_band = BeforeValidator(_same_in_each_band, json_schema_input_type=float | list[float])
NonNegativeBands = Annotated[tuple[NonNegative, NonNegative, NonNegative], _per_band]
PositiveBands = Annotated[tuple[Positive, Positive, Positive], _per_band]
FractionBands = Annotated[tuple[Fraction, Fraction, Fraction], _per_band]
FactorBands = Annotated[tuple[Factor, Factor, Factor], _per_band]
_Correlation = Annotated[float, Field(gt=-1, lt=1)]
CorrelationBands = Annotated[tuple[_Correlation, _Correlation, _Correlation], _per_band]


class Entry(Described):
    """The part common to materials, coats and boards."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)

    voided_by: ClassVar[dict[str, tuple[str, ...]]] = {}
    """Keys taken over through `like` that no longer hold once the named key is given anew."""

    label: str = Field(min_length=1)
    """The name shown to a person."""
    source: Prose = Field(min_length=1)
    """The document or formula the numbers come from."""
    confidence: Confidence
    """How far to trust the numbers: measured, datasheet, derived, estimate, or user."""
    notes: Prose = ""
    """How an estimate was made and what it leaves out."""
    beware: Prose = ""
    """What it really is, where one set of figures is a fiction; said wherever it is used."""
    like: str | None = None
    """The entry this one starts from, if any."""
