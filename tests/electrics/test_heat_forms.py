"""Closed forms of heat against worked examples."""

import math

import pytest

from glowsim.electrics.heat_forms import COPPER_W_MK, fin_k_w
from tests.support.heat_forms import (
    cylinder_k_w,
    equal_sphere_radius_mm,
    slab_k_w,
    sphere_k_w,
)


def test_textbook_flask_of_liquid_nitrogen():
    """Incropera & DeWitt, Fundamentals of Heat and Mass Transfer, example 3.6 (from memory):
    k 0.0017 W/mK, radii 0.25 and 0.275 m, h 20 W/m2K, 77 K in 300 K: 17.02 + 0.05 K/W, 13.06 W."""
    resistance = sphere_k_w(
        core_radius_mm=250, skin_radius_mm=275, conductivity_w_mk=0.0017, skin_w_m2k=20
    )
    assert resistance == pytest.approx(17.022 + 0.0526, abs=1e-3)
    assert (300 - 77) / resistance == pytest.approx(13.06, abs=0.01)


def test_a_watt_in_foam_is_three_hundred_kelvin():
    """By hand: (1/0.0073 - 1/0.040) / (4 pi 0.03) = 297.05 and 1 / (4 pi 8 0.04^2) = 6.22 K."""
    rise = sphere_k_w(core_radius_mm=7.3, skin_radius_mm=40, conductivity_w_mk=0.03, skin_w_m2k=8)
    assert rise == pytest.approx(303.27, abs=0.01)


def test_thicker_resin_cools_a_small_core():
    """Critical radius of a sphere 2 k / h (Incropera & DeWitt, ch. 3): 50 mm for k 0.2, h 8."""

    def rise(skin_mm):
        return sphere_k_w(
            core_radius_mm=7.3, skin_radius_mm=skin_mm, conductivity_w_mk=0.2, skin_w_m2k=8
        )

    assert rise(50) < rise(45)
    assert rise(50) < rise(55)


def test_cylinder_by_hand():
    """ln 5 / (2 pi 0.03 0.2) = 42.69 K, 1 / (8 2 pi 0.025 0.2) = 3.98 K."""
    rise = cylinder_k_w(
        core_radius_mm=5, skin_radius_mm=25, length_mm=200, conductivity_w_mk=0.03, skin_w_m2k=8
    )
    assert rise == pytest.approx(42.69 + 3.98, abs=0.01)


def test_slab_by_hand():
    """0.01 / 0.2 + 1/8 = 0.175 m2K/W, over 0.0025 m2."""
    rise = slab_k_w(thickness_mm=10, area_mm2=2500, conductivity_w_mk=0.2, skin_w_m2k=8)
    assert rise == pytest.approx(70.0, rel=1e-12)


def test_long_lead_in_foam():
    """24 AWG (0.2047 mm2) in foam of k 0.03 with its skin 20 mm away: 2 pi 0.03 / ln(20 / 0.255)
    per metre; 1/sqrt(0.0432 x 400 x 0.2047e-6) = 532 K/W, decay length 44 mm."""
    loss = 2 * math.pi * 0.03 / math.log(20 / 0.2553)
    assert fin_k_w(length_mm=5000, copper_mm2=0.2047, loss_w_mk=loss) == pytest.approx(532, abs=2)
    decay_mm = 1000 * math.sqrt(COPPER_W_MK * 0.2047e-6 / loss)
    assert decay_mm == pytest.approx(44, abs=0.5)


def test_short_lead_gives_off_less():
    short, long = (fin_k_w(length_mm=n, copper_mm2=0.2, loss_w_mk=0.04) for n in (10, 1000))
    assert short > 3 * long


def test_disc_as_a_sphere():
    """Shape factor of a disc 8 c (Incropera & DeWitt, table 4.1): 8 x 11.5 = 4 pi 7.32."""
    assert equal_sphere_radius_mm(23) == pytest.approx(8 * 11.5 / (4 * math.pi), rel=1e-12)


@pytest.mark.parametrize(("diameter_mm", "bears_w"), [(10, 0.072), (23, 0.183), (36.8, 0.33)])
def test_what_a_board_in_forty_millimetres_of_foam_bears(diameter_mm, bears_w):
    """The rule of thumb that is printed, 0.1 to 0.3 W: 35 K to spare over a room of 25 C, foam of
    0.048 W/mK; by hand for 23 mm: (1/0.00732 - 1/0.04) / (4 pi 0.048) + 6.22 = 185 + 6 K/W."""
    per_watt = sphere_k_w(
        core_radius_mm=equal_sphere_radius_mm(diameter_mm),
        skin_radius_mm=40,
        conductivity_w_mk=0.048,
        skin_w_m2k=8,
    )
    assert 35 / per_watt == pytest.approx(bears_w, rel=0.03)
