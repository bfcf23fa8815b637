"""mu_s' from one transmittance: against two independent computations, and its limits."""

import itertools

import numpy as np
import pytest
from iadpython import Sample
from numpy.testing import assert_allclose

from glowsim.catalogue import calibrate_mu_s_reduced
from glowsim.catalogue.calibration import _table
from glowsim.errors import MaterialError

# Derived: mu_s' (1/mm) for total transmittance of 80 to 5 %, mu_a 0.001/mm, g 0.8, from an
# adding-doubling code (double Gauss with right Radau nodes, split at the critical angle)
# written apart from the one the stored table was made with.
TRANSMITTANCE = (0.8, 0.7, 0.6, 0.5, 0.4, 0.3, 0.2, 0.1, 0.05)
CHECK_VALUES = {
    (1.49, 1.0): (0.257, 0.530, 0.980, 1.887, 3.468, 6.122, 11.41, 27.1, 57.8),
    (1.49, 2.0): (0.126, 0.261, 0.483, 0.929, 1.711, 3.023, 5.628, 13.3, 28.0),
    (1.49, 3.0): (0.083, 0.172, 0.318, 0.610, 1.126, 1.991, 3.702, 8.69, 18.1),
    (1.00, 1.0): (0.617, 0.957, 1.380, 1.951, 2.796, 4.200, 7.002, 15.4, 31.9),
    (1.00, 3.0): (0.203, 0.316, 0.456, 0.645, 0.924, 1.387, 2.307, 5.02, 10.3),
}


def slab_transmittance(mu_s_reduced, mu_a, thickness, refractive_index, g=0.8):
    """Total transmittance of a slab for collimated normal light, by iadpython."""
    mu_s = mu_s_reduced / (1 - g)
    extinction = mu_s + mu_a
    # 16 points: this version loses accuracy when more are asked for.
    slab = Sample(
        a=mu_s / extinction,
        b=extinction * thickness,
        g=g,
        d=thickness,
        n=refractive_index,
        n_above=1,
        n_below=1,
        quad_pts=16,
    )
    return float(slab.rt()[1])


@pytest.mark.parametrize(("piece", "expected"), CHECK_VALUES.items())
def test_check_values_come_back(piece, expected):
    refractive_index, thickness_mm = piece
    found = [calibrate_mu_s_reduced(t, thickness_mm, refractive_index) for t in TRANSMITTANCE]
    # 1 %: three-digit check values, and 2 mm lies between the nodes of the stored table.
    assert_allclose(found, expected, rtol=1e-2)


def test_stored_table_gives_its_transmittances():
    table = _table()
    nodes = itertools.product(
        enumerate(table.refractive_index),
        enumerate(table.absorption_thickness),
        list(enumerate(table.transmittance))[::3],
    )
    for (i, n), (j, absorption), (k, transmittance) in nodes:
        scattering = np.exp(table.log_scattering_thickness[i, j, k])
        # 2e-4: numbers are stored with four digits.
        assert_allclose(
            slab_transmittance(scattering, absorption, 1.0, n), transmittance, atol=2e-4
        )


@pytest.mark.parametrize(
    ("transmittance", "thickness_mm", "refractive_index", "mu_a_per_mm"),
    [
        (0.35, 2.0, 1.41, 0.0006),
        (0.62, 0.8, 1.57, 0.0032),
        (0.12, 10.0, 1.0, 0.0022),
        (0.25, 25.0, 1.1, 0.0003),
        (0.55, 6.0, 1.53, 0.0026),
        (0.07, 4.0, 1.25, 0.01),
    ],
)
def test_round_trip_between_the_nodes(transmittance, thickness_mm, refractive_index, mu_a_per_mm):
    mu_s_reduced = calibrate_mu_s_reduced(
        transmittance, thickness_mm, refractive_index, mu_a_per_mm
    )
    back = slab_transmittance(mu_s_reduced, mu_a_per_mm, thickness_mm, refractive_index)
    # 3 %: linear interpolation between the nodes is within 3 % in mu_s', less in T.
    assert_allclose(back, transmittance, rtol=3e-2)


def test_only_products_with_thickness_count():
    thin = calibrate_mu_s_reduced(0.3, 1.0, 1.49, mu_a_per_mm=0.02)
    thick = calibrate_mu_s_reduced(0.3, 10.0, 1.49, mu_a_per_mm=0.002)
    assert_allclose(thin, 10 * thick, rtol=1e-12)  # the same numbers, scaled


def test_more_absorption_leaves_less_to_scattering():
    clean = calibrate_mu_s_reduced(0.3, 5.0, 1.49, mu_a_per_mm=0.0)
    tinted = calibrate_mu_s_reduced(0.3, 5.0, 1.49, mu_a_per_mm=0.009)
    assert tinted < clean


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ((0.85, 2.0, 1.49), r"transmittance 0.85 is outside .* \(0.05 to 0.8\); .* thicker"),
        ((0.02, 2.0, 1.49), r"transmittance 0.02 is outside .*; measure a thinner"),
        ((float("nan"), 2.0, 1.49), "transmittance nan is outside"),
        ((0.3, 2.0, 1.7), r"refractive_index 1.7 is outside .* \(1 to 1.6\); give mu_s_reduced"),
        ((0.3, 2.0, 1.49, 0.1), r"absorption times thickness 0.2 is outside .* \(0 to 0.05\)"),
        ((0.3, 2.0, 1.49, -0.1), "neither can be negative"),
        ((0.3, 0.0, 1.49), "thickness of 0 mm is not more than 0"),
    ],
)
def test_refuses_to_extrapolate(arguments, message):
    with pytest.raises(MaterialError, match=message):
        calibrate_mu_s_reduced(*arguments)
