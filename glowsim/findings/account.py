"""The energy account of a prop: where each colour's lumens went."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from glowsim.geometry.mesh import FloatArray
from glowsim.transport.result import SurfaceGlow


@dataclass(frozen=True)
class EnergyAccount:
    """Lumens per band, (3,) float each.

    absorbed : by material or core, by name;  error_share : what does not add up, over emitted
    """

    emitted_lm: FloatArray
    escaped_lm: FloatArray
    through_holes_lm: FloatArray
    absorbed_lm: dict[str, FloatArray]
    in_coats_lm: FloatArray

    @property
    def error_share(self) -> float:
        """What does not add up, as a share of what was emitted."""
        known = self.escaped_lm + self.through_holes_lm + self.in_coats_lm
        known = known + sum(self.absorbed_lm.values(), np.zeros(3))
        total = float(self.emitted_lm.sum())
        return float(np.abs(self.emitted_lm - known).sum() / total) if total > 0 else 0.0

    @property
    def escape_fraction(self) -> FloatArray:
        """Share of the emitted light that leaves through surfaces, per band; 0 for none."""
        emitted = np.maximum(self.emitted_lm, 1e-12)
        return np.where(self.emitted_lm > 0, self.escaped_lm / emitted, 0.0)


def energy_account(glow: SurfaceGlow) -> EnergyAccount:
    """Return the account of a whole prop as driven."""
    emitted, escaped, holes, coats = (np.zeros(3) for _ in range(4))
    absorbed: dict[str, FloatArray] = {}
    for copy in glow.copies:
        flux = glow.flux_lm(copy)
        if len(flux) == 0:
            continue
        account = glow.bodies[copy.body].account
        emitted += flux.sum(axis=0)
        escaped += (flux * account.escaped).sum(axis=0)
        holes += (flux * account.through_holes).sum(axis=0)
        coats += (flux * account.in_coats).sum(axis=0)
        for region, name in enumerate(account.regions):
            if name != "air":
                taken = (flux * account.absorbed[:, :, region]).sum(axis=0)
                absorbed[name] = absorbed.get(name, np.zeros(3)) + taken
    return EnergyAccount(emitted, escaped, holes, absorbed, coats)
