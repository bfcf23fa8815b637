"""Reduced scattering of a material from one measured transmittance.

A user holds a flat piece in front of a lamp and compares the light with and without it.
That one number fixes mu_s' once absorption and refractive index are taken as known; it
cannot tell absorption from scattering.

The table in calibration.toml was computed by the adding-doubling method (Prahl, van Gemert
& Welch, Appl. Opt. 32, 559 (1993)) with iadpython 0.5.3 at 16 quadrature points: slab with
smooth faces in air, collimated light at normal incidence, total transmittance, g = 0.8.
Transmittance depends on lengths only through mu_a d and mu_s' d, so the table is held in
these and serves every thickness.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources

import numpy as np
from numpy.typing import NDArray

from glowsim.errors import MaterialError


@dataclass(frozen=True)
class _Table:
    """ln(mu_s' d) for each refractive index, mu_a d and transmittance (rising)."""

    refractive_index: NDArray[np.float64]
    absorption_thickness: NDArray[np.float64]
    transmittance: NDArray[np.float64]
    log_scattering_thickness: NDArray[np.float64]


def calibrate_mu_s_reduced(
    transmittance: float,
    thickness_mm: float,
    refractive_index: float,
    mu_a_per_mm: float = 0.001,
) -> float:
    """Return mu_s' (1/mm) of a flat piece from its total transmittance at normal incidence.

    `transmittance` is a fraction of the light that falls on the piece, collected over all
    directions behind it. Interpolated in the logarithm of mu_s' (within 3 % of the full
    computation, far inside the accuracy of such a measurement). Raises MaterialError
    outside the table: it is never extrapolated.
    """
    if not thickness_mm > 0:
        raise MaterialError(f"a thickness of {thickness_mm:g} mm is not more than 0")
    table = _table()
    absorption_thickness = mu_a_per_mm * thickness_mm
    instead = "give mu_s_reduced_per_mm instead"
    thinner = "measure a thinner piece"
    _check("transmittance", transmittance, table.transmittance, thinner, "measure a thicker piece")
    _check("refractive_index", refractive_index, table.refractive_index, instead, instead)
    _check(
        "absorption times thickness",
        absorption_thickness,
        table.absorption_thickness,
        "neither can be negative",
        f"one number cannot tell so much absorption from scattering; {thinner} or {instead}",
    )
    by_index = [
        np.interp(
            absorption_thickness,
            table.absorption_thickness,
            [np.interp(_logit(transmittance), _logit(table.transmittance), row) for row in rows],
        )
        for rows in table.log_scattering_thickness
    ]
    log_thickness = np.interp(refractive_index, table.refractive_index, by_index)
    return float(np.exp(log_thickness)) / thickness_mm


def _check(what: str, value: float, known: NDArray[np.float64], if_low: str, if_high: str) -> None:
    if not known[0] <= value <= known[-1]:
        raise MaterialError(
            f"{what} {value:g} is outside the calibration table ({known[0]:g} to {known[-1]:g}); "
            f"{if_high if value > known[-1] else if_low}"
        )


def _logit(transmittance: float | NDArray[np.float64]) -> NDArray[np.float64]:
    # ln(mu_s' d) is nearly a straight line in this, so that few nodes are enough.
    return np.log(transmittance / (1 - np.asarray(transmittance)))


@lru_cache(maxsize=1)
def _table() -> _Table:
    text = resources.files(__package__).joinpath("calibration.toml").read_text(encoding="utf-8")
    data = tomllib.loads(text)
    index, absorption, transmittance = (
        np.array(data[key], dtype=float)
        for key in ("refractive_index", "absorption_thickness", "transmittance")
    )
    rows = np.array(data["scattering_thickness"]).reshape(
        len(index), len(absorption), len(transmittance)
    )
    return _Table(index, absorption, transmittance, np.log(rows))
