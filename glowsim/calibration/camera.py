"""The camera's response as measured: one view at several drive levels of the LEDs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from glowsim.calibration.image import UnreadableError
from glowsim.calibration.lit import Levels

LEAST_ERROR = 0.01
"""Doubt of an exponent, however many levels were read."""
OFF_THE_LINE = 0.06
"""What a value may be off one curve: more is tone mapping, which changes from image to image."""


@dataclass(frozen=True)
class CameraCurve:
    """Values go as light to the power `exponent`; error : its deviation, None if not measured."""

    exponent: float = 1.0
    error: float | None = None


def curve_of(levels: Sequence[Levels]) -> CameraCurve:
    """Return the camera's response by all tables; raises UnreadableError where it is no power."""
    if not levels:
        return CameraCurve()
    top = bottom = 0.0
    for number, one in enumerate(levels):
        light, value = np.log(one.level), np.log(one.value)
        light, value = light - light.mean(), value - value.mean()
        slope = float(light @ value / (light @ light))
        off = np.abs(value - slope * light)
        if off.max() > OFF_THE_LINE:
            worst = int(off.argmax())
            raise UnreadableError(
                f"at level {one.level[worst]:g} the value is {100 * off[worst]:.0f} % off the "
                "curve of the others: the camera processes tones by itself (HDR, night mode), or a "
                "frame is clipped; switch that off and take all of them again",
                *(number, "value", worst),
            )
        top += float(light @ value) / one.reading_error**2
        bottom += float(light @ light) / one.reading_error**2
    return CameraCurve(top / bottom, max(LEAST_ERROR, float(1.0 / np.sqrt(bottom))))
