"""What a glowing prop sends across the air and gets back, as driven."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from glowsim.geometry.mesh import FloatArray
from glowsim.optics.emission import square_on
from glowsim.transport.air import Air
from glowsim.transport.hollows import Entering
from glowsim.transport.result import BodyGlow, SurfaceGlow

MATTERS = 0.02
"""Light that crosses the air counts in findings from this share of a body's own on."""


@dataclass(frozen=True)
class Crossing:
    """Light that falls from faces on other faces, from lights of one colour kind.

    xyz_per_lm : (3, 3) float, of the lights' bands (rows)
    arriving   : (m, 3) float, per band, faces of all copies in their order [lm/mm2]
    sent_back  : (m, 3) float, exitance that faces add to it, evenly [lm/mm2]
    let_out    : (m, 3) float, exitance of what falls into open hollows and comes out of the body
                 again [lm/mm2]
    """

    xyz_per_lm: FloatArray
    arriving: FloatArray
    sent_back: FloatArray
    let_out: FloatArray


def crossings(glow: SurfaceGlow, air: Air) -> tuple[Crossing, ...]:
    """Return the light that `air` brings back to the faces of a glow as driven.

    Worked out once for each glow: findings and pictures ask for the same.
    """
    known, name = vars(glow), "rough crossings" if air.rough else "crossings"
    if name not in known:
        known[name] = tuple(_crossings(glow, air))
    found: tuple[Crossing, ...] = known[name]
    return found


def _crossings(glow: SurfaceGlow, air: Air) -> Iterator[Crossing]:
    kinds = {light.xyz_per_lm.tobytes(): light.xyz_per_lm for light in glow.lights}
    for kind, xyz_per_lm in kinds.items():
        share = np.array([light.xyz_per_lm.tobytes() == kind for light in glow.lights], dtype=float)
        alone = glow if share.all() else glow.dimmed(np.repeat(share[:, None], 3, axis=1))
        both = _exitance(alone, direct=True)
        diffuse = _exitance(alone, direct=False)
        arriving = air.arriving(diffuse, both - diffuse, glow.hollows)
        let_out = glow.hollows.let_out(arriving)
        yield Crossing(xyz_per_lm, arriving, air.white * arriving, let_out)


def added(glow: SurfaceGlow, sent_back: FloatArray, let_out: FloatArray) -> FloatArray:
    """Return what light across the air adds to faces seen square-on, as the exitance of matt ones,
    (m, 3) float, per band [lm/mm2].

    sent_back, let_out : (m, 3) float, see `Crossing`
    """
    index = np.concatenate([glow.bodies[copy.body].face_index for copy in glow.copies])
    return sent_back + square_on(index)[:, None] * let_out


def exchange_lm_mm2(glow: SurfaceGlow) -> list[FloatArray] | None:
    """Return what falls on the faces of each copy from other faces, and what it adds to them (see
    `added`), (2, k) float each, all bands together; None where it is too little to matter to any
    lit body."""
    if crossing_share(glow) < MATTERS:
        return None
    return _by_copy(glow, crossings(glow, glow.air))


def settle(glow: SurfaceGlow) -> None:
    """Find out how faces see each other, as far as it matters: glows made from this one know it."""
    if crossing_share(glow) >= MATTERS:
        _ = glow.air


def crossing_share(glow: SurfaceGlow) -> float:
    """Return light that others add to what a body lets out itself, of the lit body where it is
    most.

    Over the faces that are meant to glow. Known to some percent of itself.
    """
    shares = [0.0]
    if glow.rough_air.seen.nnz and glow.lights:
        found = _by_copy(glow, crossings(glow, glow.rough_air))
        for copy, (_, back) in zip(glow.copies, found, strict=True):
            body = glow.bodies[copy.body]
            weight = body.surface.areas_mm2 * body.glows
            own = float(weight @ glow.exitance_lm_mm2(copy).sum(axis=0))
            if copy.lights and own > 0:
                shares.append(float(weight @ back) / own)
    return max(shares)


def lacking(glow: SurfaceGlow) -> tuple[str, ...]:
    """Return the keys of the bodies into whose open hollows so much light falls that it counts.

    It is held against what the body lets out itself; for a dark one, what the whole prop does.
    """
    if not any(body.hole.any() for body in glow.bodies) or not glow.lights:
        return ()
    # Whatever is known of hollows, so that the answer is the same every time.
    shut = glow.alike(bodies=tuple(replace(body, entering=None) for body in glow.bodies))
    found = _by_copy(glow, crossings(shut, glow.rough_air))
    areas = [glow.bodies[copy.body].surface.areas_mm2 for copy in glow.copies]
    out = [
        float(area @ glow.exitance_lm_mm2(copy).sum(axis=0))
        for copy, area in zip(glow.copies, areas, strict=True)
    ]
    keys = []
    for copy, area, own, (arriving, _) in zip(glow.copies, areas, out, found, strict=True):
        body = glow.bodies[copy.body]
        if float((area * body.hole) @ arriving) >= MATTERS * (own or sum(out)) > 0:
            keys.append(body.key)
    return tuple(dict.fromkeys(keys))


def with_hollows(glow: SurfaceGlow, entering: Callable[[str], Entering]) -> SurfaceGlow:
    """Return a glow with light counted that falls into open hollows, where it is enough to count.

    entering : what such light does to a body, by key; asked only where it is not known yet
    """
    return counting(glow, lacking(glow), entering)


def counting(
    glow: SurfaceGlow, keys: Collection[str], entering: Callable[[str], Entering]
) -> SurfaceGlow:
    """Return a glow with light counted that falls into the open hollows of these bodies alone."""

    def counted(body: BodyGlow) -> BodyGlow:
        known = (body.entering or entering(body.key)) if body.key in keys else None
        return body if known is body.entering else replace(body, entering=known)

    bodies = tuple(counted(body) for body in glow.bodies)
    return glow.alike(bodies=bodies)


def _exitance(glow: SurfaceGlow, direct: bool) -> FloatArray:
    """Return what leaves the faces of all copies per band, (m, 3) float [lm/mm2]."""
    return np.concatenate([glow.exitance_lm_mm2(copy, direct).T for copy in glow.copies])


def _by_copy(glow: SurfaceGlow, found: Sequence[Crossing]) -> list[FloatArray]:
    """Return what arrives and what is added on each copy's faces, (2, k) float each."""
    both = [
        [k.arriving.sum(axis=1), added(glow, k.sent_back, k.let_out).sum(axis=1)] for k in found
    ]
    sizes = [len(glow.bodies[copy.body].glows) for copy in glow.copies]
    return np.split(np.sum(both, axis=0), np.cumsum(sizes)[:-1], axis=1)
