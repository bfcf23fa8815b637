"""From entries of the catalogue to what regions of a body are to light."""

from __future__ import annotations

import numpy as np

from glowsim.catalogue.coat import Coat
from glowsim.catalogue.material import Material
from glowsim.optics.infill import infill_as_medium
from glowsim.scene import Body, Infill
from glowsim.transport.problem import Kind, Medium

UNSURE_INFILL = 2.0
"""What the scattering of an infill may be off by, as a factor (estimate: walls in a pattern, ribbed
by their layers, for flat ones turned every way)."""


def medium_of(name: str, entry: Material) -> Medium:
    """Return the medium of a volume material."""
    return Medium(
        name,
        Kind.SCATTERS,
        np.array(entry.mu_a_per_mm),
        np.array(entry.mu_s_reduced_per_mm),
        entry.g,
        entry.refractive_index,
    )


def core_of(name: str, entry: Coat) -> Medium:
    """Return the medium of an opaque core with the surface of a coat."""
    return Medium(
        name, Kind.OPAQUE, np.zeros(3), np.zeros(3), reflectance=np.array(entry.reflectance)
    )


def infill_of(name: str, entry: Material, infill: Infill) -> Medium:
    """Return the medium of a print's sparse core; see `optics.infill`."""
    mu_a, mu_s_reduced = infill_as_medium(
        share=infill.share,
        sheet_mm=infill.line_mm,
        mu_a_per_mm=entry.mu_a_per_mm,
        mu_s_reduced_per_mm=entry.mu_s_reduced_per_mm,
        n=entry.refractive_index,
    )
    return Medium(f"infill of {name}", Kind.SCATTERS, mu_a, mu_s_reduced, own_share=infill.share)


def infill_notes(body: Body, media: list[Medium]) -> tuple[str, ...]:
    """Say what an infill is taken for, and how sure that is."""
    infill = body.infill
    if infill is None or not 0 < infill.share < 1:
        return ()
    (core,) = (m for m in media if m.own_share is not None)
    reach_mm = 1 / float(core.mu_t_reduced_per_mm.max())
    return (
        f"{body.name}: its core, {100 * infill.share:.0f} % of {body.material} in walls of "
        f"{infill.line_mm:g} mm beneath a skin of {infill.skin_mm:g} mm, counts as one even cloud "
        f"in which light turns round every {reach_mm:.2g} mm: an estimate, x/÷ {UNSURE_INFILL:g}. "
        "The pattern, which shows through a thin skin as lines, is not drawn; a lit test piece of "
        "your own print tells more",
    )
