"""From tallies to the glow of a body."""

from __future__ import annotations

import numpy as np

from glowsim.transport.boards import folded, region_names
from glowsim.transport.problem import BodyProblem
from glowsim.transport.reference.noise import standard_error
from glowsim.transport.reference.tallies import Tallies
from glowsim.transport.result import Account, BodyGlow, body_glow, is_hole

MOST_LOST = 1e-6
"""Photons lost through seams, as a share, that need no mention."""


def glow_of(problem: BodyProblem, tallies: Tallies) -> BodyGlow:
    """Return the glow that the photons so far add up to. Lights without any are dark."""
    lights, faces = problem.emitters.light_count, len(problem.skin)
    diffuse, direct, error = (np.zeros((lights, 3, faces), dtype=np.float32) for _ in range(3))
    direct_moment = np.zeros((lights, faces, 3), dtype=np.float32)
    for light in range(lights):
        count = max(int(tallies.photons[light]), 1)
        direct[light] = tallies.direct[light].T / count
        diffuse[light] = np.maximum(tallies.out[light].T / count - direct[light], 0.0)
        direct_moment[light] = tallies.direct_moment[light] / count
        error[light] = standard_error(tallies, light).T
    account = _account(problem, tallies)
    return body_glow(problem, diffuse, direct, direct_moment, account, _trust(tallies), error)


def _account(problem: BodyProblem, tallies: Tallies) -> Account:
    hole = is_hole(problem)[problem.skin]
    per_photon = 1.0 / np.maximum(tallies.photons, 1)[:, None]
    through_holes = np.array([out[hole].sum(axis=0) for out in tallies.out]).reshape(-1, 3)
    return Account(
        region_names(problem),
        folded(problem, tallies.absorbed.transpose(0, 2, 1)) * per_photon[:, :, None],
        tallies.coats * per_photon,
        (tallies.escaped - through_holes) * per_photon,
        through_holes * per_photon,
        tallies.lost * per_photon,
    )


def _trust(tallies: Tallies) -> tuple[str, ...]:
    """Return what to be careful about."""
    cautions = []
    photons = max(float(tallies.photons.sum()), 1.0)
    dark = int(np.count_nonzero(tallies.photons == 0))
    if dark:
        cautions.append(
            f"{dark} of its {len(tallies.photons)} lights have had no photon yet and count as "
            "dark: follow more"
        )
    lost = float(tallies.events[:, 2].sum()) / photons
    trapped = float(tallies.events[:, 4].sum()) / photons
    if lost > MOST_LOST:
        cautions.append(
            f"{lost:.1e} of the photons slipped through seams of the mesh; where they would have "
            "gone is not known"
        )
    if trapped > MOST_LOST:
        cautions.append(
            f"{100 * trapped:.2g} % of the light circles for ever in clear material that neither "
            "scatters nor absorbs; give it the little that all real material has"
        )
    return tuple(cautions)
