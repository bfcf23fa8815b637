"""From a coat of the catalogue to what it does on a face of some material."""

from __future__ import annotations

import numpy as np

from glowsim.catalogue.coat import Coat
from glowsim.optics.fresnel import reflectance_diffuse
from glowsim.transport.problem import Layer


def layer_number(layers: list[Layer], name: str, coat: Coat, index: float) -> int:
    """Return the number of a coat on material of a refractive index, adding to `layers` a new one.

    A rough face is one only of material that bends light; over air, or foam, whose index is 1, it
    is a film. To diffuse light from within it is as a smooth face, to a few percent: what light in
    balance on both sides carries through decides (`optics.fresnel`), of which facets let up to a
    tenth more by.
    """
    reflectance, transmittance = np.array(coat.reflectance), np.array(coat.transmittance)
    roughness = (coat.roughness or 0.0) if index > 1 else 0.0
    if roughness:
        reflectance = np.full(3, float(reflectance_diffuse(n_from=index, n_to=1.0)))
        transmittance = 1 - reflectance
    for number, known in enumerate(layers):
        if known.name == name and np.array_equal(known.reflectance, reflectance):
            return number
    open_fraction = 0.0 if roughness else coat.open_fraction
    layers.append(Layer(name, reflectance, transmittance, open_fraction, roughness))
    return len(layers) - 1
