"""Battery cells and power banks: how much they hold at a drain, what voltage, what current."""

from __future__ import annotations

from itertools import pairwise
from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from glowsim.catalogue.entry import Entry, Fraction, NonNegative, Positive

Curve = Annotated[tuple[NonNegative, ...], Field(min_length=2)]
PositiveCurve = Annotated[tuple[Positive, ...], Field(min_length=1)]


class Battery(Entry):
    """One cell, or one power bank; a pack is several of them."""

    kind: Literal["alkaline", "nimh", "lithium", "bank", "coin"]
    """Chemistry of a cell, or a power bank."""
    drain_ma: PositiveCurve
    """Drains of one cell at which the capacity is known, rising."""
    capacity_mah: PositiveCurve
    """Capacity down to `cutoff_v` at each of these drains."""
    used_share: Curve
    """Shares of the capacity that are used, 0 to 1, at which the voltage is known."""
    cell_v: Curve
    """Voltage of the cell at each of these shares, at a drain of `cell_v_drain_ma`."""
    cell_v_drain_ma: NonNegative = 0.0
    """Drain at which those voltages were read; 0 for a cell at rest."""
    resistance_ohm: Annotated[tuple[Positive, Positive], Field()]
    """Inner resistance for the sag, fresh and used up."""
    cutoff_v: Positive
    """Voltage of one cell at which to stop."""
    max_current_ma: Positive
    """What one cell bears for long without getting hot or giving much less."""
    mass_g: Positive | None = None
    """Of one cell, or of the whole bank."""
    share_at_0_c: Fraction | None = None
    """Share of its capacity that it gives at 0 C; left out where no figure was found."""
    output_v: Positive | None = None
    """Of a power bank: the regulated output, with its efficiency and its least current."""
    efficiency: Annotated[float, Field(gt=0, le=1)] = 1.0
    """Share of the cells' energy that a power bank gives out."""
    shuts_off_below_ma: NonNegative = 0.0
    """A power bank that gives less than this for a while switches itself off."""

    @model_validator(mode="after")
    def _curves_agree(self) -> Self:
        if len(self.drain_ma) != len(self.capacity_mah):
            raise ValueError("drain_ma and capacity_mah need the same count of values")
        if len(self.used_share) != len(self.cell_v):
            raise ValueError("used_share and cell_v need the same count of values")
        for name in ("drain_ma", "used_share"):
            curve = getattr(self, name)
            if any(later <= sooner for sooner, later in pairwise(curve)):
                raise ValueError(f"{name} must rise from value to value")
        if self.used_share[0] != 0 or self.used_share[-1] != 1:
            raise ValueError("used_share must run from 0 to 1")
        if any(later > sooner for sooner, later in pairwise(self.cell_v)):
            raise ValueError("cell_v must fall as the cell is used")
        if (self.kind == "bank") != (self.output_v is not None):
            raise ValueError("output_v belongs to a power bank, and a power bank needs it")
        return self

    @property
    def fresh_v(self) -> float:
        """Voltage of one full cell without load."""
        return self.cell_v[0] + self.cell_v_drain_ma / 1000 * self.resistance_ohm[0]

    def rest_v_and_ohm(self, used: Fraction) -> tuple[float, float]:
        """Return the voltage without load [V] and inner resistance [ohm] at a share used."""
        import numpy as np

        ohm = float(np.interp(used, (0.0, 1.0), self.resistance_ohm))
        volts = float(np.interp(used, self.used_share, self.cell_v))
        return volts + self.cell_v_drain_ma / 1000 * ohm, ohm

    def capacity_at_mah(self, drain_ma: float) -> tuple[float, str]:
        """Return the capacity of one cell at a drain, and what to say if the table ends before.

        Interpolated on logarithms. Below the least drain the value there holds; above the
        greatest the last slope goes on. Either is said.
        """
        import numpy as np

        drains, held = np.log(self.drain_ma), np.log(self.capacity_mah)
        x = np.log(max(drain_ma, 1e-6))
        least, most = self.drain_ma[0], self.drain_ma[-1]
        value = float(np.exp(np.interp(x, drains, held)))
        if drain_ma < least * (1 - 1e-9):
            return value, (
                "a lighter load than its capacity table begins with; the capacity there is used"
            )
        if drain_ma > most * (1 + 1e-9):
            slope = (held[-1] - held[-2]) / (drains[-1] - drains[-2]) if len(drains) > 1 else -1.0
            value *= float(np.exp(slope * (x - drains[-1])))
            return value, (
                f"a heavier load than the {most:g} mA a cell its capacity table ends with: a guess"
            )
        return value, ""
