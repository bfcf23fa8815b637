"""How white surfaces look in room light: coats over what they cover."""

from __future__ import annotations

import numpy as np
import pytest

from glowsim.geometry.shapes import shape_mesh
from glowsim.scene import Orb
from glowsim.transport.appearance import whiteness
from glowsim.transport.problem import BARE, Kind, Layer, Medium


def looks(layer: Layer, beneath: float) -> np.ndarray:
    """Return the whiteness of a bare and a coated face of something opaque, (2, 3)."""
    core = Medium("core", Kind.OPAQUE, np.zeros(3), np.zeros(3), reflectance=np.full(3, beneath))
    return whiteness(
        [core],
        [layer],
        np.array([0, 0]),
        np.array([BARE, 0]),
        np.array([True, True]),
        shape_mesh(Orb(kind="orb", diameter_mm=20)),
        None,
    )


@pytest.mark.parametrize(("through", "beneath"), [(0.5, 0.6), (0.5, 0.0), (0.0, 0.6), (0.7, 0.9)])
def test_light_passes_a_coat_twice_and_more_often_still(through, beneath):
    # Summed pass by pass: R + T (r + r R r + r R r R r + ...) T.
    coat = 0.3
    passes = sum(beneath * (coat * beneath) ** k for k in range(60))
    layer = Layer("film", np.full(3, coat), np.full(3, through))
    bare, coated = looks(layer, beneath)
    np.testing.assert_allclose(bare, beneath)
    np.testing.assert_allclose(coated, coat + through * passes * through, rtol=1e-9)
