"""How good an answer is wanted: a draft to look at, or one to judge by."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class Quality:
    """What the quick solver spends on an answer.

    rays_per_light : rays of first flight
    more_rays      : times as many are followed where unscattered light shows at the surface
    tolerance      : relative residual at which the field is taken as solved
    number_type    : of the numbers the field is solved in
    judged         : whether anything is judged by it
    """

    name: str
    rays_per_light: int
    more_rays: int
    tolerance: float
    number_type: type[np.floating]
    judged: bool


FULL = Quality("full", 16_384, 8, 1e-8, np.float64, True)
"""What figures, findings, files and decisions come from."""
DRAFT = Quality("draft", 1024, 1, 1e-4, np.float32, False)
"""What is looked at while a light is moved: within about 1 % rms, single places within 5 %."""
