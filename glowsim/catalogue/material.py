"""Volume materials: foams, resins, prints, sheets."""

from __future__ import annotations

from typing import Any, ClassVar

import numpy as np
from numpy.typing import NDArray
from pydantic import Field, ValidationInfo, field_validator

from glowsim.catalogue.calibration import calibrate_mu_s_reduced
from glowsim.catalogue.entry import (
    CorrelationBands,
    Entry,
    Factor,
    FactorBands,
    NonNegativeBands,
    Positive,
    Prose,
)
from glowsim.errors import MaterialError

MEASUREMENT = ("measured_transmittance", "measured_thickness_mm")
LEARNT = ("mu_a_factor_by_band", "mu_s_reduced_factor_by_band", "correlation_by_band")
DEFAULT_FACTOR = 2.0
MEASURED_FACTOR = 1.3
"""One number from a home-made transmittance measurement: 0.1 in T is about 30 % in mu_s'."""


class Material(Entry):
    """Optical and thermal properties of a volume material.

    Scattering is given either as `mu_s_reduced_per_mm` or as a transmittance measured on a
    flat piece (`measured_transmittance`, `measured_thickness_mm`), from which the same
    value follows for all three bands by `calibrate_mu_s_reduced`.
    """

    voided_by: ClassVar[dict[str, tuple[str, ...]]] = {
        "measured_transmittance": (
            "measured_thickness_mm",
            "mu_s_reduced_per_mm",
            "mu_s_reduced_factor",
            "beware",
            *LEARNT,
        ),
        "mu_s_reduced_per_mm": (*MEASUREMENT, *LEARNT),
        "mu_a_per_mm": LEARNT,
    }

    mu_a_per_mm: NonNegativeBands
    """Absorption coefficient in red, green, blue (1/mm)."""
    mu_a_factor: Factor = DEFAULT_FACTOR
    """Its uncertainty as a factor of one standard deviation: 2 means half to twice."""
    g: float = Field(default=0.8, gt=-1, lt=1)
    """Mean cosine of the scattering angle."""
    refractive_index: float = Field(ge=1, le=2.5)
    """Index of the outer smooth face; 1.0 for an open foam, which has no such face."""
    measured_transmittance: float | None = Field(default=None, gt=0, lt=1)
    """Share of light that a flat piece of yours lets through, in place of scattering."""
    measured_thickness_mm: Positive | None = None
    """How thick that piece is."""
    mu_s_reduced_per_mm: NonNegativeBands = Field(default=None, validate_default=True)
    """Reduced scattering coefficient mu_s (1 - g) in red, green, blue (1/mm)."""
    mu_s_reduced_factor: Factor = Field(default=None, validate_default=True)
    """Its uncertainty as a factor of one standard deviation."""
    mu_a_factor_by_band: FactorBands | None = None
    """Uncertainty of absorption in each band, as `calibrate` finds it."""
    mu_s_reduced_factor_by_band: FactorBands | None = None
    """The same of scattering."""
    correlation_by_band: CorrelationBands | None = None
    """How far both err together in each band: their correlation, -1 to 1."""
    density_kg_m3: Positive | None = None
    """Weight of a cubic metre, for grams and for how soon it gets warm."""
    thermal_conductivity_w_mk: Positive | None = None
    """How well it carries heat: 0.035 for foam, 0.2 for plastics."""
    thermal_conductivity_factor: Factor = 1.3
    """Its uncertainty as a factor of one standard deviation."""
    specific_heat_j_kgk: Positive | None = None
    """Heat that a kilogram takes up per degree."""
    max_service_c: float | None = None
    """Warmest it may stay for long."""
    thermal_source: Prose = ""
    """Where density, conductivity and the highest service temperature come from."""

    @field_validator("mu_s_reduced_per_mm", mode="before")
    @classmethod
    def _scattering_from_measurement(cls, value: Any, info: ValidationInfo) -> Any:
        if value is not None:
            if any(info.data.get(key) is not None for key in MEASUREMENT):
                raise ValueError(f"give either this key or {' and '.join(MEASUREMENT)}, not both")
            return value
        # Fields are validated in order: one that is absent from info.data is wrong by itself.
        if any(info.data.get(key, "wrong") is None for key in MEASUREMENT):
            raise ValueError(
                f"this key is needed but missing; or give {' and '.join(MEASUREMENT)} "
                "of a flat piece in its place"
            )
        needed = (*MEASUREMENT, "mu_a_per_mm", "refractive_index")
        if wrong := [key for key in needed if key not in info.data]:
            raise ValueError(f"cannot be found without a right {' and '.join(wrong)}")
        transmittance, thickness_mm = (info.data[key] for key in MEASUREMENT)
        index, green_per_mm = info.data["refractive_index"], info.data["mu_a_per_mm"][1]
        try:
            return calibrate_mu_s_reduced(transmittance, thickness_mm, index, green_per_mm)
        except MaterialError as problem:
            raise ValueError(str(problem)) from None

    @field_validator("mu_s_reduced_factor", mode="before")
    @classmethod
    def _factor_of_the_way_it_was_found(cls, value: Any, info: ValidationInfo) -> Any:
        if value is not None:
            return value
        measured = info.data.get("measured_transmittance") is not None
        return MEASURED_FACTOR if measured else DEFAULT_FACTOR

    @property
    def mu_s_per_mm(self) -> NDArray[np.float64]:
        """Scattering coefficient mu_s = mu_s' / (1 - g), `(3,) float`, 1/mm."""
        return np.array(self.mu_s_reduced_per_mm) / (1 - self.g)

    @property
    def learnt(self) -> bool:
        """Whether readings of a test piece say how well it is known."""
        return None not in (getattr(self, key) for key in LEARNT)

    @property
    def covariance(self) -> NDArray[np.float64]:
        """Covariance of ln mu_a and ln mu_s' in each band, (3, 2, 2) float."""
        sd = np.log(
            [
                self.mu_a_factor_by_band or (self.mu_a_factor,) * 3,
                self.mu_s_reduced_factor_by_band or (self.mu_s_reduced_factor,) * 3,
            ]
        )
        both = np.array(self.correlation_by_band or (0.0,) * 3) * sd[0] * sd[1]
        return np.moveaxis(np.array([[sd[0] ** 2, both], [both, sd[1] ** 2]]), 2, 0)
