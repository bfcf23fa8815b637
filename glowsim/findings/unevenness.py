"""How uneven a glow is, both ends counted: one figure that ranks, three shares, a grade.

The figure `off_by` rests on J = sum of a (x - 1) ln x over faces of area share a, x their luminance
over the mean: how differently light and area are spread (the symmetric divergence of Jeffreys,
Proc. R. Soc. A 186, 453 (1946), of the light from the area). Every face adds to it, dark ones
by the area that lacks light, bright ones by the light that is too much there; scaling all light
changes nothing. (x - 1) ln x is strictly convex, so light taken from a brighter place and given to
a darker one always lowers J: no step toward even goes unseen, however far off it is.
exp(sqrt(J)) is a factor: for small differences one plus their root mean square.

For a sinusoidal ripple of modulation m, J = 1 - sqrt(1 - m^2) (by the integrals of ln(1 + m sin)),
and 5th percentile over mean is 1 - cos(0.05 pi) m. So a glow is as uneven as a ripple whose 5th
percentile is known, and one threshold on that holds for both ends.
"""

from __future__ import annotations

from typing import Literal

import numpy as np

from glowsim.geometry.mesh import FloatArray
from glowsim.scene import Thresholds

Grade = Literal["even", "fair", "patchy"]
GRADES: tuple[Grade, ...] = ("patchy", "fair", "even")
"""From worst to best."""
MEANS: dict[Grade, str] = {
    "even": "looks like one even glow",
    "fair": "looks like one glow, with differences that show",
    "patchy": "falls into bright and dark parts",
}
VEIL = 1e-3
"""Share of the mean that is added everywhere before judging. Light scattered in the eye and from
wall to wall veils about that much (common practice, no source), and what is darker still
counts hardly more. A share, not a luminance: dimming a glow must not make it more even."""
ALL_DARK = 1 / VEIL
"""What is said of a glow without any light."""
_P5_OF_SINE = float(np.cos(0.05 * np.pi))


def uneven(luminance: FloatArray, area: FloatArray) -> FloatArray:
    """Return J, the square of the logarithm of `off_by`, (..., n) and (n,) -> (...)."""
    share = area / area.sum()
    mean = np.maximum(weighed(luminance, share), 1e-300)[..., None]
    x = (np.maximum(luminance, 0.0) / mean + VEIL) / (1 + VEIL)
    return np.maximum(weighed((x - 1) * np.log(x), share), 0.0)


def weighed(values: FloatArray, weight: FloatArray) -> FloatArray:
    """Return weighted sums, (..., n) and (n,) -> (...), the same on any number of threads."""
    return np.asarray(np.einsum("...n,n->...", values, weight))


def off_by(luminance: FloatArray, area: FloatArray) -> float:
    """Return the factor by which a typical place is off an even glow, from 1 (even) on.

    luminance : (n,) float, over what is wanted there and as the eye averages it;  area : (n,)
    """
    if area @ luminance <= 0:
        return ALL_DARK
    return float(np.exp(np.sqrt(uneven(luminance, area))))


def middle(luminance: FloatArray, area: FloatArray) -> float:
    """Return the luminance that half of the light comes from above, and half from below.

    Neither a dark half of the surface nor a few hot spots move it, as they move median and mean.
    """
    order = np.argsort(luminance)
    light = (luminance * area)[order]
    total = float(light.sum())
    if total <= 0:
        return 0.0
    return float(np.interp(0.5, (np.cumsum(light) - light / 2) / total, luminance[order]))


def shares(luminance: FloatArray, area: FloatArray, factor: float) -> tuple[float, float, float]:
    """Return the shares of the area within a factor of the middle, too dark, and too bright."""
    level, total = middle(luminance, area), float(area.sum())
    dark = float(area[luminance * factor < level * (1 - 1e-9)].sum()) / total
    bright = float(area[luminance > level * factor * (1 + 1e-9)].sum()) / total
    return (1 - dark - bright, dark, bright) if level > 0 else (0.0, 1.0, 0.0)


def off_of_ripple(p5_over_mean: float) -> float:
    """Return by what factor a soft ripple is off that has this 5th percentile over mean."""
    m = min((1 - p5_over_mean) / _P5_OF_SINE, 1.0)
    return float(np.exp(np.sqrt(1 - np.sqrt(1 - m**2))))


def as_ripple(off: float) -> float:
    """Return 5th percentile over mean of the ripple that is off by a factor; the deepest there is
    for all that is worse."""
    j = min(float(np.log(off)) ** 2, 1.0)
    return 1 - _P5_OF_SINE * float(np.sqrt(1 - (1 - j) ** 2))


def worse_end(p5_over_mean: float, off: float) -> float:
    """Return what an evenness target is held against: 5th percentile over mean, or that of a soft
    ripple which is as uneven, whichever is less."""
    return min(p5_over_mean, as_ripple(off))


def grade(worse_end: float, spots: int, limits: Thresholds) -> Grade:
    """Return the grade of a glow on which so many hot spots and dark gaps stand out.

    worse_end : see the function
    """
    if worse_end >= max(limits.even_from, limits.evenness_target) and not spots:
        return "even"
    return "fair" if worse_end >= limits.evenness_target else "patchy"
