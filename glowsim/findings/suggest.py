"""What to try: a move, more diffuser or another light, estimated without a new solve.

The estimate fits how a light's brightness falls with distance over the body's own faces and
moves the light in that fit. It ranks ideas; only a new solve confirms one.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.optimize import nnls

from glowsim.findings.luminance import Look
from glowsim.findings.patches import Eye, Patch
from glowsim.geometry.hollow import depth_mm, nearest_on
from glowsim.geometry.mesh import FloatArray, at_mm

BARE_LED = 0.3
"""From this share of unscattered light on, a hot spot is a bare LED showing."""
WORTH_IT = 0.93
"""A move is suggested if it brings the spread of brightness down to this share or less."""
TOO_FAR_APART = 1.7
"""A row of LEDs is too coarse from this spacing over depth on: a square grid then dips to about
60 % between LEDs (Poisson sum of Lambertian LEDs, `optics.photometry`)."""
MOVES_MM = (2.0, 4.0, 8.0, 12.0, 18.0, 26.0, 36.0, 50.0)
_FALLS_PER_MM = np.concatenate([[0.0], np.geomspace(0.003, 0.6, 24)])


@dataclass(frozen=True)
class _Falloff:
    """Brightness by distance r to each LED: near * sum of exp(-fall r) / r^2, + everywhere."""

    fall_per_mm: float
    near: float
    everywhere: float

    def at(self, distance_mm: FloatArray) -> FloatArray:
        """Return the brightness for distances to LEDs, which run along the last axis."""
        return self.near * _kernel(distance_mm, self.fall_per_mm) + self.everywhere


def _kernel(distance_mm: FloatArray, fall_per_mm: float) -> FloatArray:
    r = np.maximum(distance_mm, 2.0)
    total: FloatArray = (np.exp(-fall_per_mm * r) / r**2).sum(axis=-1)
    return total


def suggestion(patch: Patch, eye: Eye) -> str:
    """Return one plain sentence on what would mend a patch."""
    look = eye.look
    if patch.kind == "hot spot" and patch.direct_share > BARE_LED:
        return (
            f"{100 * patch.direct_share:.0f} % of the light here never scattered, the bare LED "
            "shows: put a diffuser over it (thin fabric, frosted film) or use a cloudier material"
        )
    spaced = _too_far_apart(patch, look)
    if spaced:
        return spaced
    fit = _falloff(look, patch.light)
    ideas = [_move(patch, eye, fit)]
    ideas.append(_thicker(patch, eye, fit) if patch.kind == "hot spot" else _another(patch, look))
    known = [idea for idea in ideas if idea]
    if not known:
        return "no move of the nearest light helps much: try another board or material"
    return " or ".join(known) + " (estimate; run again to confirm)"


def _falloff(look: Look, light: int) -> _Falloff:
    """Fit the light's brightness over the glowing faces by non-negative least squares."""
    faces = np.nonzero(look.glows)[0]
    bright = look.per_light_cd_m2[light, faces]
    faces, bright = faces[bright > 1e-5 * bright.max()], bright[bright > 1e-5 * bright.max()]
    r = _apart(look.body.surface.centroids[faces], _leds(look, light))
    weight = np.sqrt(look.body.surface.areas_mm2[faces]) / np.sqrt(bright * bright.max())
    best, least = _Falloff(0.0, 1.0, 0.0), np.inf
    for fall in _FALLS_PER_MM:
        columns = np.column_stack([_kernel(r, float(fall)), np.ones(len(r))])
        (near, everywhere), misfit = nnls(columns * weight[:, None], bright * weight)
        if misfit < least:
            best, least = _Falloff(float(fall), float(near), float(everywhere)), misfit
    return best


def _move(patch: Patch, eye: Eye, fit: _Falloff) -> str:
    """Return the best move of the nearest light, or nothing if none is worth it."""
    look = eye.look
    body, light = look.body, patch.light
    here = body.light_mm[light]
    ways = np.vstack([np.eye(3), -np.eye(3)])
    places = here + (ways[:, None, :] * np.array(MOVES_MM)[None, :, None]).reshape(-1, 3)
    depth = depth_mm(body.surface, np.vstack([here, places]))
    allowed = depth[1:] >= min(depth[0], 5.0) - 0.1
    if not allowed.any():
        return ""
    places = places[allowed]
    rows = eye.patchwork.faces
    centre = body.surface.centroids[rows]
    own = look.per_light_cd_m2[light, rows]
    rest = look.seen_cd_m2[rows] - own
    leds = _leds(look, light)
    before = fit.at(_apart(centre, leds))
    then = [own * fit.at(_apart(centre, leds + place - here)) / before for place in places]
    moved = rest[:, None] + np.stack(then, axis=1)
    now = _spread(look.seen_cd_m2[rows, None], eye)[0]
    spread = _spread(moved, eye)
    stands_out = _stands_out(patch, moved, eye)
    before_move = _stands_out(patch, look.seen_cd_m2[rows, None], eye)[0]
    helps = stands_out < before_move if patch.kind == "hot spot" else stands_out > before_move
    spread[~helps] = np.inf
    best = int(spread.argmin())
    if spread[best] > WORTH_IT * now:
        return ""
    step = places[best] - here
    return (
        f"move {_light_name(look, light)} about {np.linalg.norm(step):.0f} mm {_way(step)}, which "
        f"takes about {100 * (1 - spread[best] / now):.0f} % off the spread from dark to bright"
    )


def _spread(luminance: FloatArray, eye: Eye) -> FloatArray:
    """Return the spread of log luminance over the area, for columns (n, k); 0 is even."""
    log = np.log(np.maximum(luminance, 1e-9))
    area = eye.patchwork.area / eye.patchwork.area.sum()
    return np.sqrt(area @ (log - area @ log) ** 2)


def _stands_out(patch: Patch, luminance: FloatArray, eye: Eye) -> FloatArray:
    """Return the patch's mean luminance over the body's, for columns (n, k)."""
    area = eye.patchwork.area
    mine = np.isin(eye.patchwork.faces, patch.faces)
    own = area[mine] @ luminance[mine] / area[mine].sum()
    return own / (area @ luminance / area.sum())


def _thicker(patch: Patch, eye: Eye, fit: _Falloff) -> str:
    """Return how much more material between light and surface would calm a hot spot."""
    worst = max(
        patch.ratio / eye.limits.hot_spot_ratio, patch.ratio_to_mean / eye.limits.whole_bright_ratio
    )
    more = np.linspace(0.5, 60, 120)
    here = fit.at(np.array([patch.light_mm]))
    enough = fit.at(patch.light_mm + more[:, None]) <= here / max(worst, 1.02)
    if not enough.any():
        return ""
    return f"add about {more[enough][0]:.0f} mm of material between it and the surface"


def _another(patch: Patch, look: Look) -> str:
    """Return where another light would fill a dark gap."""
    body = look.body
    low, high = body.surface.bounds
    points = low + np.random.default_rng(0).random((1500, 3)) * (high - low)
    depth = depth_mm(body.surface, points)
    inside = depth > 3.0
    if not inside.any():
        return ""
    points, depth = points[inside], depth[inside]
    centre = np.average(
        body.surface.centroids[patch.faces], axis=0, weights=body.surface.areas_mm2[patch.faces]
    )
    score = np.linalg.norm(points - centre, axis=1) - 0.7 * depth
    return f"add a light near {at_mm(points[int(score.argmin())])}"


def _too_far_apart(patch: Patch, look: Look) -> str:
    """Say when a row or ring of LEDs is too coarse for its depth."""
    leds = _leds(look, patch.light)
    if len(leds) < 4:
        return ""
    gaps = _apart(leds, leds)
    np.fill_diagonal(gaps, np.inf)
    spacing = float(np.median(gaps.min(axis=1)))
    nearest, _, _ = nearest_on(look.body.surface, leds)
    depth = float(np.median(nearest))
    if spacing < TOO_FAR_APART * depth:
        return ""
    return (
        f"the LEDs of {_light_name(look, patch.light)} stand {spacing:.0f} mm apart but only "
        f"{depth:.1f} mm below the surface: use a denser row or bury it deeper; spacing about "
        "equal to depth starts to even out (common practice, no source)"
    )


def _leds(look: Look, light: int) -> FloatArray:
    return look.body.led_mm[look.body.led_light == light]


def _apart(points: FloatArray, others: FloatArray) -> FloatArray:
    """Return distances between points (n, 3) and others (m, 3), (n, m)."""
    return np.linalg.norm(points[:, None, :] - others[None], axis=2)


def _light_name(look: Look, light: int) -> str:
    return f"light {light + 1}" if look.body.light_count > 1 else "the light"


def _way(step: FloatArray) -> str:
    """Say where a step along an axis of the body's frame leads."""
    axis = int(np.abs(step).argmax())
    sign = "+" if step[axis] > 0 else "-"
    if axis == 2:
        return "up its length (+z)" if step[2] > 0 else "toward the base (-z)"
    return f"sideways ({sign}{'xyz'[axis]})"
