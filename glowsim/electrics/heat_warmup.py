"""How a body warms up: a few slow modes in place of thousands of grid nodes.

The field after switching on is sought in the span of the steady field and what follows from it by
repeated quasi-steady solves, K^-1 C (...): the response then agrees with that of the whole grid
in its first moments (reduction by moment matching: Odabasioglu, Celik & Pileggi, IEEE Trans. CAD
17, 645 (1998)), and is a sum of decaying exponentials that needs no time steps.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import linalg

from glowsim.electrics.heat_field import HeatField
from glowsim.geometry.mesh import FloatArray

MODES = 5
"""More than four change the time to 90 % by less than a millionth on a buried sphere."""


@dataclass(frozen=True)
class WarmUp:
    """What the boards' rise is made of: rise(t) = sum of share (1 - exp(-rate t)).

    share_k : (boards, modes) float [K];  rate_per_s : (modes,) float
    """

    share_k: FloatArray
    rate_per_s: FloatArray

    def rise_k(self, seconds: float) -> FloatArray:
        """Return the rise of each board some time after switching on, (boards,) K."""
        return self.share_k @ -np.expm1(-self.rate_per_s * seconds)

    def seconds_to(self, part: float, board: int) -> float:
        """Return when a board reaches a part of its final rise, 0 < part < 1 [s]."""
        goal = part * float(self.share_k[board].sum())
        low, high = 0.0, 1.0 / float(self.rate_per_s.min())
        while self.rise_k(high)[board] < goal and high < 1e9:
            low, high = high, 2 * high
        for _ in range(60):
            middle = (low + high) / 2
            low, high = (middle, high) if self.rise_k(middle)[board] < goal else (low, middle)
        return high


def warm_up(field: HeatField, power_w: FloatArray) -> WarmUp:
    """Return how the boards of a body warm up once they are given power, (boards,) W."""
    capacity, count = field.capacity_j_k, field.node_count
    steady = field.rise_k_w @ power_w
    known: list[FloatArray] = []
    content: list[FloatArray] = []  # capacity times each
    follow: list[FloatArray] = []
    wanted = steady
    for _ in range(MODES):
        before = float(wanted @ (capacity @ wanted))
        # Orthonormal in the sense of heat content, twice over against rounding.
        for vector, joules in 2 * list(zip(known, content, strict=True)):
            wanted = wanted - (joules @ wanted) * vector
        joules = capacity @ wanted
        left = float(wanted @ joules)
        if left <= 1e-18 * before:
            break
        known.append(wanted / np.sqrt(left))
        content.append(joules / np.sqrt(left))
        follow.append(field.solve(content[-1][:, None])[:, 0])
        wanted = follow[-1]
    # K^-1 C within the span: its eigenvalues are the time constants.
    slow = np.array(content) @ np.array(follow).T
    seconds, turn = linalg.eigh((slow + slow.T) / 2)
    modes = np.stack(known, axis=1) @ turn
    boards = modes[count : count + len(power_w)]
    shares = boards * (modes.T @ (capacity @ steady))
    return WarmUp(shares, 1.0 / seconds)
