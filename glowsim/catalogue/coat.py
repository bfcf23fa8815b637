"""Thin layers on a face and opaque surfaces: paint, tape, paper, fabric, wood, metal."""

from __future__ import annotations

from typing import Annotated, Self

from pydantic import Field, model_validator

from glowsim.catalogue.entry import Entry, Fraction, FractionBands, Positive, Prose

BANDS = ("red", "green", "blue")


class Coat(Entry):
    """What a thin layer does with light that falls on it; nothing travels sideways in it.

    What is neither reflected nor transmitted is absorbed. `transmittance` is the whole of
    what comes through, as an integrating sphere measures it, holes of a weave included. Of a rough
    face they are those of a film over an opening; on a material its facets decide.
    """

    reflectance: FractionBands
    """Share of the light thrown back, in red, green, blue."""
    transmittance: FractionBands
    """Share of the light let through, scattered and straight together."""
    open_fraction: Fraction = 0.0
    """Share of the light that passes straight through holes; part of `transmittance`."""
    roughness: Annotated[float, Field(gt=0, le=3)] | None = None
    """Of a face of the material itself that was frosted or engraved: how steep its facets are (the
    width of the Trowbridge-Reitz law), 0.05 for satin, 0.5 for frost, 1 for a laser's groove. Left
    out, it is a layer that lies on the face."""
    reflectance_uncertainty: Fraction = 0.1
    """One standard deviation of `reflectance`, plus or minus, in each band."""
    transmittance_uncertainty: Fraction = 0.1
    """One standard deviation of `transmittance`, plus or minus, in each band."""
    density_kg_m3: Positive | None = None
    """Of the solid or tube behind the surface, its hollow included."""
    thermal_conductivity_w_mk: Positive | None = None
    """How well the solid behind the surface carries heat."""
    specific_heat_j_kgk: Positive | None = None
    """Heat that a kilogram of it takes up per degree."""
    max_service_c: float | None = None
    """Warmest it may stay for long."""
    thermal_source: Prose = ""
    """Where density, conductivity, specific heat and service temperature come from."""

    @model_validator(mode="after")
    def _conserves_energy(self) -> Self:
        for band, back, through in zip(BANDS, self.reflectance, self.transmittance, strict=True):
            if back + through > 1 + 1e-12:
                raise ValueError(
                    f"reflectance {back:g} and transmittance {through:g} in {band} "
                    "add up to more than 1"
                )
            if self.open_fraction > through:
                raise ValueError(
                    f"open_fraction {self.open_fraction:g} is more than the whole "
                    f"transmittance {through:g} in {band}, of which it is a part"
                )
        return self
