"""How far a body's brightness may be off because its materials are estimates."""

from __future__ import annotations

import numpy as np

from glowsim.catalogue import Material, load_catalogue
from glowsim.catalogue.material import DEFAULT_FACTOR
from glowsim.geometry.mesh import FloatArray
from glowsim.scene import Scene
from glowsim.transport.result import Account

DEEP = 0.1
"""A body that lets out less than this share of a colour swallows it on the way, not by and by."""
OPAQUE = (1.0, 1.0)
"""The factors of what is no material: a board, a core, air."""
WIDEST = 100.0
"""Beyond this factor nothing is known of a brightness."""


def material_range(account: Account, flux_lm: FloatArray, scene: Scene) -> tuple[float, float]:
    """Return the factors, below and above one, that one sigma of the materials allows.

    Light in a pale body comes back to its surface again and again and is absorbed in between with
    the same odds, which grow with mu_a and, as light then turns round more often, with mu_s'. So
    the odds are taken to change by the factors of both together. In a dark body light dies out
    as exp(-k r) with k^2 in proportion to both. Against new solves with those coefficients a
    range comes out right to a fifth for pale bodies, and to its order of magnitude for dark ones.
    Where on the body the light goes is not told by this.

    flux_lm : (lights, 3) float, as driven.
    """
    emitted = np.maximum(flux_lm.sum(axis=0), 1e-12)
    left = (flux_lm * account.escaped).sum(axis=0)
    total = float(left.sum())
    if total <= 0:
        return 1.0, 1.0
    low, high = (float((left * _kept(account, flux_lm, left / emitted, sign, scene)).sum()) / total
                 for sign in (1, -1))  # fmt: skip
    return max(low, 1 / WIDEST), min(high, WIDEST)


def _kept(
    account: Account, flux_lm: FloatArray, let_out: FloatArray, sign: int, scene: Scene
) -> FloatArray:
    """Return what light let out becomes, per band, one sigma darker (1) or paler (-1).

    Boards and cores in the material take more where light turns round more often: their odds go
    as mu_s' alone.
    """
    emitted = np.maximum(flux_lm.sum(axis=0), 1e-12)
    factors = [_factors(name, scene) for name in account.regions]
    turning = max((mu_s for _, mu_s in factors), default=1.0)
    before, after, steepest = np.ones(3), np.ones(3), 1.0
    for region, (mu_a, mu_s) in enumerate(factors):
        own = float(np.exp(np.hypot(np.log(mu_a), np.log(mu_s))))
        factor = own if (mu_a, mu_s) != OPAQUE else turning
        share = (flux_lm * account.absorbed[:, :, region]).sum(axis=0) / emitted
        odds = share / np.maximum(let_out, 1e-9)
        before += odds
        after += odds * factor**sign
        steepest = max(steepest, factor)
    deep = np.maximum(let_out, 1e-12) ** (steepest ** (sign / 2) - 1)
    return np.where(let_out < DEEP, deep, before / after)


def _factors(name: str, scene: Scene) -> tuple[float, float]:
    """Return the one-sigma factors of a material's mu_a and mu_s'; 1 for what is none."""
    own = scene.materials.get(name)
    if own is None:
        entry: Material | None = load_catalogue().materials.get(name)
        return (entry.mu_a_factor, entry.mu_s_reduced_factor) if entry else OPAQUE
    like = own.get("like")
    base = (DEFAULT_FACTOR, DEFAULT_FACTOR) if like in (None, name) else _factors(str(like), scene)
    given = (own.get("mu_a_factor", base[0]), own.get("mu_s_reduced_factor", base[1]))
    return float(given[0]), float(given[1])
