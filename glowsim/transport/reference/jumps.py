"""When a photon may cross clear material in one step, and what it costs.

Modified random walk: Fleck & Canfield, J. Comput. Phys. 54, 508 (1984); Min et al., A&A 497, 155
(2009). Deep inside, light diffuses; where and with what left it first reaches the rim of a ball
is known in closed form (`passage`), so a photon in a ball may as well start again from a random
point on its rim. The ball need not be centred on the photon: one that touches the nearest wall
takes it there at once. k, by which light dies, is the exact decay constant of the transport
equation, not that of diffusion theory.

Near walls the field is not that of deep inside, so the ball ends short of the nearest wall, and
the photon starts again a little deeper or less deep than the rim, by what makes up for the
difference (`optics.milne`). For forward scattering the walk remembers its direction over a
transport length l*: the photon counts as that far ahead, and the new start is set back by it
(derived; without this the light let out is 2 to 4 % wrong).
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from glowsim.geometry.mesh import FloatArray
from glowsim.optics.exact import decay_constant_of_phase
from glowsim.optics.milne import departure
from glowsim.transport.reference.passage import MOST

FAR = 1e30
"""Farther than any wall [mm]."""
LEAST_MOST = 4.0
"""Where light dies so fast that a ball can have no more than this radius, in transport lengths,
nothing is jumped."""
LARGE = 20.0
"""Radius from which a ball counts as large, in transport lengths."""
DEPARTURE = 0.03
"""What may have to be made up for where a photon starts again in a large ball, in transport
lengths: this decides how deep below the wall that is."""
SHALLOWEST = (0.5, 1.1)
"""Depth of such a start at least, in transport lengths; the second for forward scattering, where,
set back by 1, it still lies below the wall."""
FAR_LANDING = 3.0
"""The same, less g, in small balls, where the wall is not flat to the transients, and where walls
differ in kind."""


class JumpRule(NamedTuple):
    """Lengths [mm] that rule the jumps in one region.

    decay_per_mm : (3,) float, k in each band;  ahead_mm : how far ahead the photon counts
    most_mm      : largest radius of a ball for a jump;  large_mm : radius that makes a large ball
    margin_mm    : (2,) float, between the jump's ball and the walls, in small balls and large
    from_mm      : (2,) float, between walls and a start;  settle_mm : (2,) float, by how much
                   a photon starts again outside the jump's ball
    """

    decay_per_mm: FloatArray
    ahead_mm: float
    most_mm: float
    large_mm: float
    margin_mm: FloatArray
    from_mm: FloatArray
    settle_mm: FloatArray


NO_JUMPS = JumpRule(np.zeros(3), 0.0, 0.0, FAR, np.zeros(2), np.full(2, FAR), np.zeros(2))


def jump_rule(
    mu_a_per_mm: FloatArray,
    mu_s_per_mm: float,
    g: float,
    bands: list[int],
    face_index: float | None,
) -> JumpRule:
    """Return the rule for a region; `bands` share the path, mu_a_per_mm : (3,) float.

    face_index : refractive index relative to what is outside; 1 too for walls that send light back
                 diffusely, which is like none to the transients; None if walls differ
    """
    reduced = mu_s_per_mm * (1.0 - g)
    if reduced <= 0.0:
        return NO_JUMPS
    decay = np.zeros(3)
    for band in bands:
        mu_t = mu_s_per_mm + mu_a_per_mm[band]
        decay[band] = mu_t * decay_constant_of_phase(albedo=float(mu_s_per_mm / mu_t), g=g)
    length = 1.0 / (reduced + float(mu_a_per_mm[bands].min()))
    most = MOST / max(float(decay.max()), MOST / FAR)
    if most < LEAST_MOST * length:
        return NO_JUMPS
    set_back = 1.0 if g != 0.0 else 0.0
    landing, settle = np.full(2, FAR_LANDING - max(g, 0.0)), np.zeros(2)
    if face_index is not None:
        depths = np.arange(SHALLOWEST[int(g != 0.0)], FAR_LANDING, 0.1)
        departs = [departure(d, n=face_index, g=g, set_back=set_back) for d in depths]
        close = int((np.abs(departs) <= DEPARTURE).argmax())
        landing[1] = depths[close]
        settle[:] = departure(landing[0], n=face_index, g=g, set_back=set_back), departs[close]
    margin = landing + settle
    return JumpRule(
        decay_per_mm=decay,
        ahead_mm=set_back * length,
        most_mm=most,
        large_mm=LARGE * length,
        margin_mm=margin * length,
        from_mm=(margin + worth_of(g)) * length,
        settle_mm=settle * length,
    )


def worth_of(g: float) -> float:
    """Return how far from the rim of its ball a photon must be for a jump to be worth its time, in
    transport lengths: about what a jump's time in scatterings takes it (measured: anything from
    half to twice this is within 5 % of the best)."""
    return float(np.sqrt(1.0 - max(g, 0.0)))
