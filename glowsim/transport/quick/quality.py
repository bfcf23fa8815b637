"""How good an answer is wanted: a draft to look at, or one to judge by."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np


@dataclass(frozen=True)
class Quality:
    """What the quick solver spends on an answer.

    rays_per_light : rays of first flight
    more_rays      : times as many are followed where unscattered light shows at the surface
    tolerance      : relative residual at which the field is taken as solved
    number_type    : of the numbers the field is solved in
    judged         : whether anything is judged by it
    follows        : whether it starts from the field of the last such answer
    """

    name: str
    rays_per_light: int
    more_rays: int
    tolerance: float
    number_type: type[np.floating]
    judged: bool
    follows: bool = False


FULL = Quality("full", 16_384, 8, 1e-8, np.float64, True)
"""What figures, findings, files and decisions come from."""
DRAFT = Quality("draft", 1024, 1, 1e-4, np.float32, False)
"""What is looked at while a light is moved: within about 1 % rms, single places within 5 %."""
FOLLOWING = replace(DRAFT, name="following", rays_per_light=2048, tolerance=5e-5, follows=True)
"""A draft while something moves, solved from the one before: see `trail`. Within its tolerance it
hangs on what was asked before, so nothing is chosen by it. Solved to 1e-4, as one that starts from
nothing is, single places of the blade were 8 % off; with 1024 rays those of a crystal 5.2 %, with
2048 4.1 %."""
