"""How far the quick solver can be trusted on a body: what its approximations rest on.

Limits follow from comparison with exact slabs, with Monte Carlo spheres (tests/physics) and with
the reference on props drawn at random (tests/transport/test_promises): what is called good is
nowhere more than 10 % off on patches a sixth of the body wide.
"""

from __future__ import annotations

import numpy as np

from glowsim.geometry.mesh import FloatArray, Mesh
from glowsim.transport.likeness import absorption_of, depth_of, thickness_of
from glowsim.transport.problem import BodyProblem, Kind
from glowsim.transport.quick.shaded import cautions_behind_boards, cautions_of_shut_boards

THIN = 3.0
"""A wall thinner than this many transport mean free paths is thin for diffusion."""
THIN_ROUND_A_CORE = 3.5
"""The same with an opaque core inside, in whose shadow quick is too bright: by 16 % at 3.4."""
DARK = 0.1
"""Absorption above this share of the reduced scattering is strong for diffusion."""
DEEP_ENOUGH = 1.25
"""A light within this many transport lengths of the surface it lights is close."""
COARSE = (1.5, 0.3)
"""Cells of a wall lit from a hollow are coarse above this many transport lengths, if light decays
by more than the second number within one: flat sides then depend on how the grid cuts them."""
LONG = (6.0, 2.5)
"""A hollow is long if its far end is more than this many of its mean widths, 4 V / S, away from
every light: the first where it is as wide there, the second where it tapers. Light gets there by
many bounces. Pipes: within 8 % at ends 4 to 6 widths away, n from 1 to 1.58; spikes: within 10 %
2.4 widths away, -10 to -21 % in their tips 2.6 widths away."""
TAPERS = 0.3
"""A hollow tapers if the wall of its far end is nearer than this to its own axis, root mean square,
in mean widths: 0.37 in a pipe, 0.2 in a spike."""
BARE = 0.05
"""Above this share of light that never scatters, bare LEDs show."""
SHEET_WIDE = 8.0
"""A sheet is at least this many times as wide as it is thick."""
GUIDES = 1.2
"""From this refractive index on a clear sheet carries light along inside it."""


def trust_of(problem: BodyProblem, direct_share: float) -> tuple[str, ...]:
    """Return what makes quick a rough guide on this body; empty where it can be trusted.

    direct_share : share of the flux that leaves unscattered.
    """
    cautions = []
    for region, medium in enumerate(problem.media):
        if medium.kind != Kind.SCATTERS or problem.solids[region] is None:
            continue
        if _guides(problem, region):
            cautions.append(_of_sheet(problem, region))
            continue
        cautions += _of_thickness(problem, region) + _of_absorption(problem, region)
        cautions += _of_grid(problem, region) + _of_length(problem, region)
    # Of a thin body that is said in all; behind its boards as before them.
    if not any("transport lengths thick" in caution for caution in cautions):
        cautions += cautions_behind_boards(problem) + cautions_of_shut_boards(problem)
    if direct_share > BARE:
        cautions.append(bare_words(direct_share))
    return tuple(cautions)


def bare_words(share: float) -> str:
    """Return what it means that a share of the light leaves without scattering."""
    return f"{100 * share:.0f} % of the light leaves without scattering: the bare LEDs show"


def _of_thickness(problem: BodyProblem, region: int) -> list[str]:
    """Return what is to say of a region's thickness and of its lights' depth."""
    name, cautions = problem.media[region].name, []
    thickness = thickness_of(problem, region)
    core = any(medium.kind == Kind.OPAQUE for medium in problem.media)
    needed = THIN_ROUND_A_CORE if core and problem.wall_mm is None else THIN
    if thickness < needed:
        cautions.append(
            f"{name}: only {thickness:.2g} transport lengths thick (quick needs {needed:g})"
        )
    depth_mm, depth = depth_of(problem, region)
    if thickness > 0 and depth < DEEP_ENOUGH:
        cautions.append(
            f"a light lies {depth_mm:.1f} mm below the surface, "
            f"{depth:.2g} transport lengths (quick needs {DEEP_ENOUGH:g})"
        )
    return cautions


def _of_absorption(problem: BodyProblem, region: int) -> list[str]:
    medium = problem.media[region]
    dark = absorption_of(medium)
    if dark.max() <= DARK:
        return []
    band = ("red", "green", "blue")[int(dark.argmax())]
    return [
        f"{medium.name}: absorbs {dark.max():.2g} times what it scatters in {band} "
        f"(quick needs below {DARK:g})"
    ]


def _of_grid(problem: BodyProblem, region: int) -> list[str]:
    """Return what is to say of the cells of a shell's wall that is lit from its hollow.

    Measured on a box of 2.3 mm wall, 5.5 transport lengths, mu_a = mu_s'/90: its sides are off by
    -21 to +16 % with the cells chosen for it, by -14 to +9 % with cells of 0.6 times their size.
    """
    medium, cell_mm = problem.media[region], problem.cell_mm
    if region != 0 or problem.wall_mm is None:
        return []
    if (problem.kind_of(problem.emitters.region) != Kind.AIR).all():
        return []
    lengths = cell_mm * medium.mu_t_reduced_per_mm
    decay = cell_mm * np.sqrt(3 * medium.mu_a_per_mm * medium.mu_t_reduced_per_mm)
    if not ((lengths > COARSE[0]) & (decay > COARSE[1])).any():
        return []
    return [
        f"{medium.name}: its wall is worked out in cells of {cell_mm:.2g} mm, coarse for one "
        "so dense and dark: one flat side may come out 15 % too bright and the next as much too "
        f"dark. Give the body cell_mm = {0.6 * cell_mm:.2g}"
    ]


def _of_length(problem: BodyProblem, region: int) -> list[str]:
    """Return what is to say of the far end of a shell's hollow that is lit from within."""
    if region != 0 or problem.wall_mm is None:
        return []
    lit = np.unique(problem.emitters.region)
    hollows = [problem.solids[r] for r in lit if problem.media[r].kind == Kind.AIR]
    for hollow in hollows:
        if hollow is None:
            continue
        far_mm, width_mm, tapers = _far_end(hollow, problem.emitters.position)
        if far_mm > LONG[tapers] * width_mm:
            return [
                f"{problem.media[region].name}: the far end of its hollow is {far_mm:.0f} mm from "
                f"the nearest light and the hollow about {width_mm:.0f} mm wide: light gets there "
                "from wall to wall alone. Quick may show it a tenth too dark, a tip a fifth"
            ]
    return []


def _far_end(hollow: Mesh, leds: FloatArray) -> tuple[float, float, bool]:
    """Return how far the far end of a hollow is from every LED, how wide the hollow is in the mean
    [mm], and whether it tapers toward that end."""
    middles, areas = hollow.centroids, hollow.areas_mm2
    away = np.full(len(middles), np.inf)
    for led in leds:
        np.minimum(away, np.linalg.norm(middles - led, axis=1), out=away)
    far_mm, width_mm = float(away.max()), 4 * hollow.volume_mm3 / float(areas.sum())
    end = away > far_mm - width_mm / 2
    middle = np.average(middles[end], axis=0, weights=areas[end])
    nearest = leds[np.linalg.norm(leds - middle, axis=1).argmin()]
    along = (middle - nearest) / max(float(np.linalg.norm(middle - nearest)), 1e-9)
    off = middles[end] - middle
    off = off - np.outer(off @ along, along)
    spread = float(np.sqrt(np.average((off**2).sum(axis=1), weights=areas[end])))
    return far_mm, width_mm, spread < TAPERS * width_mm


def _guides(problem: BodyProblem, region: int) -> bool:
    """Whether a region is a thin sheet that lights shine along, so that its faces guide the light.

    Thin for its size and for light, of an index that mirrors at a slant, and lit along, in it or
    from a notch in its edge.
    """
    solid, medium = problem.solids[region], problem.media[region]
    if solid is None or problem.wall_mm is not None or medium.refractive_index < GUIDES:
        return False
    if thickness_of(problem, region) >= 1.0:
        return False
    corners = solid.centroids - np.average(solid.centroids, axis=0, weights=solid.areas_mm2)
    spread = (corners * solid.areas_mm2[:, None]).T @ corners
    axes = np.linalg.eigh(spread)[1]
    size = np.ptp(solid.vertices @ axes, axis=0)
    along = np.abs(problem.emitters.direction @ axes[:, 0])
    return bool(size.max() > SHEET_WIDE * size.min() and (along < 0.7).any())


def _of_sheet(problem: BodyProblem, region: int) -> str:
    solid = problem.solids[region]
    assert solid is not None
    thick_mm = 2 * solid.volume_mm3 / float(solid.areas_mm2.sum())
    return (
        f"{problem.media[region].name}: a clear sheet about {thick_mm:.1f} mm thick, lit along "
        "from its edge: light runs on inside it, mirrored from face to face, until it meets the "
        "far rim or something that scatters it. Quick does not follow that and may show the far "
        "rim a tenth as bright as it is; it is not the tool for edge-lit sheets"
    )
