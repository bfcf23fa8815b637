"""How far a body's brightness may be off because its materials are estimates."""

from __future__ import annotations

import numpy as np

from glowsim.catalogue import Material, load_catalogue
from glowsim.geometry.mesh import FloatArray
from glowsim.scene import Scene
from glowsim.tomlfile import TomlText
from glowsim.transport.result import Account

DEEP = 0.1
"""A body that lets out less than this share of a colour swallows it on the way, not by and by."""
WIDEST = 100.0
"""Beyond this factor nothing is known of a brightness."""


def material_range(account: Account, flux_lm: FloatArray, scene: Scene) -> tuple[float, float]:
    """Return the factors, below and above one, that one sigma of the materials allows.

    Light in a pale body comes back to its surface again and again and is absorbed in between with
    the same odds, which grow with mu_a and, as light then turns round more often, with mu_s'. So
    the odds are taken to change by the factors of both together. In a dark body light dies out
    as exp(-k r) with k^2 in proportion to both. Where readings of a test piece say how both err
    together, that counts. Against new solves with those coefficients a
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
    account: Account, flux_lm: FloatArray, escape_fraction: FloatArray, sign: int, scene: Scene
) -> FloatArray:
    """Return what light let out becomes, per band, one sigma darker (1) or paler (-1).

    Boards and cores in the material take more where light turns round more often: their odds go
    as mu_s' alone.
    """
    emitted = np.maximum(flux_lm.sum(axis=0), 1e-12)
    entries = [_entry(name, scene) for name in account.regions]
    owns = [None if entry is None else _both(entry) for entry in entries]
    turning = np.max([np.ones(3), *(_spread(e)[1] for e in entries if e is not None)], axis=0)
    before, after, steepest = np.ones(3), np.ones(3), np.ones(3)
    for region, own in enumerate(owns):
        factor = turning if own is None else own
        share = (flux_lm * account.absorbed[:, :, region]).sum(axis=0) / emitted
        odds = share / np.maximum(escape_fraction, 1e-9)
        before += odds
        after += odds * factor**sign
        steepest = np.maximum(steepest, factor)
    deep = np.maximum(escape_fraction, 1e-12) ** (steepest ** (sign / 2) - 1)
    return np.where(escape_fraction < DEEP, deep, before / after)


def _both(entry: Material) -> FloatArray:
    """Return the factors of mu_a mu_s' in each band, (3,) float: with their correlation, which in
    what readings say is strong, since they tell the product better than either."""
    return np.asarray(np.exp(np.sqrt(entry.covariance.sum(axis=(1, 2)))), dtype=float)


def _spread(entry: Material) -> FloatArray:
    """Return the one-sigma factors of mu_a and mu_s', (2, 3) float."""
    return np.asarray(np.exp(np.sqrt(np.einsum("bii->ib", entry.covariance))), dtype=float)


def _entry(name: str, scene: Scene) -> Material | None:
    """Return a material of the scene; None for what is none: a board, a core, air."""
    own = TomlText("the scene", {})
    return load_catalogue(own, {"materials": scene.materials}).materials.get(name)
