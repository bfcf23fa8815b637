"""Rays that stand for the light of emitters, spread evenly instead of by chance."""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np

from glowsim.geometry.mesh import FloatArray, IntArray
from glowsim.geometry.rays import cosine_rays
from glowsim.transport.problem import Emitters

MOST_SHARING = 32
"""Emitters that share a light's rays; from there on every emitter brings more."""

# The generalised golden ratio in two dimensions: x^3 = x + 1 (Roberts, 'The unreasonable
# effectiveness of quasirandom sequences', 2018).
_PLASTIC = 1.324717957244746
_STEP = np.array([1 / _PLASTIC, 1 / _PLASTIC**2])


@dataclass
class Rays:
    """A bundle of rays.

    origin, direction : (n, 3) float;  power : (n, 3) float, per band, in units of the light's flux
    region            : (n,) int, where each ray is
    light             : (n,) int
    phase             : (n,) float in 0..1, spreads out what is sampled along each ray
    entry_face        : (n,) int, the wall face a ray came in through from the air, or -1
    gain              : (n,) float, how much more gets deep through that face than diffusion says
    """

    origin: FloatArray
    direction: FloatArray
    power: FloatArray
    region: IntArray
    light: IntArray
    phase: FloatArray
    entry_face: IntArray
    gain: FloatArray

    def __len__(self) -> int:
        return len(self.region)

    def where(self, chosen: np.ndarray | slice) -> Rays:
        """Return the rays picked by a mask or index array."""
        return Rays(*(getattr(self, f.name)[chosen] for f in fields(self)))

    @staticmethod
    def joined(bundles: list[Rays]) -> Rays:
        """Return several bundles as one."""
        return Rays(*(np.concatenate([getattr(b, f.name) for b in bundles]) for f in fields(Rays)))


def rays_of(emitters: Emitters, chosen: np.ndarray, rays_per_light: int, seed: int) -> Rays:
    """Return rays that carry the flux of the `chosen` emitters in equal parts, by their beams.

    A light's rays are shared out over its emitters; each emitter beyond MOST_SHARING brings
    rays of its own. The same seed gives the same rays.
    """
    per_light = np.bincount(emitters.light)
    each = rays_per_light // np.minimum(per_light[emitters.light], MOST_SHARING)
    each = np.where(chosen, each, 0)
    owner = np.repeat(np.arange(len(each)), each)
    number = np.arange(len(owner)) - np.repeat(np.cumsum(each) - each, each)
    shift = np.random.default_rng(seed).random((len(each), 2))
    place = even_points(number, shift[owner])
    direction = _spread(place, emitters.direction[owner], emitters.exponent[owner])
    power = (emitters.share / np.maximum(each, 1))[owner]
    return Rays(
        emitters.position[owner].copy(),
        direction,
        np.repeat(power[:, None], 3, axis=1),
        emitters.region[owner].copy(),
        emitters.light[owner].copy(),
        (number * 0.618033988749895) % 1.0,
        np.full(len(owner), -1),
        np.ones(len(owner)),
    )


def even_points(number: IntArray, shift: FloatArray) -> FloatArray:
    """Return points number 0, 1, 2 ... of an even cover of the unit square, (n, 2)."""
    return (number[:, None] * _STEP + shift) % 1.0


def _spread(place: FloatArray, axis: FloatArray, exponent: FloatArray) -> FloatArray:
    """Return directions about `axis` with density cos^exponent, from points of the unit square."""
    cos = place[:, 0] ** (1.0 / (exponent + 1.0))
    sin = np.sqrt(1.0 - cos**2)
    turn = 2 * np.pi * place[:, 1]
    across, up = frames(axis)
    return (
        (sin * np.cos(turn))[:, None] * across
        + (sin * np.sin(turn))[:, None] * up
        + cos[:, None] * axis
    )


def frames(axis: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return two unit vectors that complete each unit `axis`, (n, 3), to a right-handed frame.

    Duff et al., 'Building an orthonormal basis, revisited', JCGT 6, 1 (2017).
    """
    x, y, z = axis.T
    sign = np.where(z < 0, -1.0, 1.0)
    a = -1.0 / (sign + z)
    b = x * y * a
    first = np.stack([1.0 + sign * x**2 * a, sign * b, -sign * x], axis=1)
    second = np.stack([b, sign + y**2 * a, -y], axis=1)
    return first, second


def cosine_directions(normal: FloatArray, place: FloatArray) -> FloatArray:
    """Return directions spread about normals as diffuse light is; place : (n, 2) in 0..1."""
    return cosine_rays(normal, place[:, 1:], 1 - place[:, :1])
