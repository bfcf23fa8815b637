"""How white a body's surface looks in room light. For pictures and for 'reads as lit'."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from glowsim.geometry.mesh import FloatArray, IntArray, Mesh
from glowsim.optics.fresnel import reflectance_diffuse
from glowsim.optics.slab import layer_reflectance_transmittance
from glowsim.transport.problem import BARE, Kind, Layer, Medium


def whiteness(
    media: Sequence[Medium],
    layers: Sequence[Layer],
    inside: IntArray,
    coat: IntArray,
    on_room: np.ndarray,
    outer: Mesh,
    wall_mm: float | None,
) -> FloatArray:
    """Return the share of diffuse room light each face on the room sends back, (m, 3) float.

    Scattering material is taken as a slab as thick as the body's wall, or, for a solid, as its
    mean half chord 2 V / S (Cauchy); what goes through such a slab comes out elsewhere, so it
    counts as well, as far as it is scattered. The clear part of a body looks dark here.
    """
    white = np.zeros((len(inside), 3))
    thickness = wall_mm or 2 * outer.volume_mm3 / float(outer.areas_mm2.sum())
    for region, medium in enumerate(media):
        mine = on_room & (inside == region)
        if medium.kind == Kind.OPAQUE and medium.reflectance is not None:
            white[mine] = medium.reflectance
        elif medium.kind == Kind.SCATTERS and mine.any():
            white[mine] = _scattering(medium, thickness)
    for number, layer in enumerate(layers):
        mine = on_room & (coat == number)
        if layer.roughness:
            # The face of the material itself: at least what it mirrors comes back, spread.
            index = np.array([medium.refractive_index for medium in media])[inside[mine]]
            mirrored = reflectance_diffuse(n_from=1.0, n_to=index)
            white[mine] = np.maximum(white[mine], mirrored[:, None])
            continue
        beneath = white[mine]
        # Light goes through the coat, comes back from beneath and leaves, over and over.
        back = np.maximum(1 - layer.reflectance * beneath, 1e-9)
        through = layer.transmittance**2 * beneath / back
        white[mine] = np.clip(layer.reflectance + through, 0.0, 1.0)
    white[(coat == BARE) & ~on_room] = 0.0
    return white


def _scattering(medium: Medium, thickness_mm: float) -> FloatArray:
    reflected, through = layer_reflectance_transmittance(
        mu_a_per_mm=medium.mu_a_per_mm,
        mu_s_reduced_per_mm=medium.mu_s_reduced_per_mm,
        n=medium.refractive_index,
        thickness_mm=thickness_mm,
    )
    scattered = -np.expm1(-medium.mu_s_reduced_per_mm * thickness_mm)
    return np.clip((reflected + through) * scattered, 0.0, 1.0)
