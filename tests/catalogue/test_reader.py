"""Lookup by name, and a scene's own entries."""

import pytest
from numpy.testing import assert_allclose

from glowsim.catalogue import load_catalogue
from glowsim.errors import MaterialError
from glowsim.tomlfile import parse_toml


def own(text):
    return load_catalogue(parse_toml(text, "orb.toml", MaterialError))


def faults_of(text):
    with pytest.raises(MaterialError) as caught:
        own(text)
    return str(caught.value).splitlines()


def test_lookup_names_the_nearest():
    catalogue = load_catalogue()
    assert catalogue.material("pla_white").refractive_index == 1.46
    assert catalogue.coat("copy_paper").reflectance[0] == 0.78
    assert catalogue.board("ring_16").led_count == 16
    with pytest.raises(MaterialError, match="no material 'pla_wite'; did you mean 'pla_white'"):
        catalogue.material("pla_wite")
    with pytest.raises(MaterialError, match="no coat 'copypaper'; did you mean 'copy_paper'"):
        catalogue.coat("copypaper")
    with pytest.raises(MaterialError, match="no board 'ring16'; did you mean 'ring_16'"):
        catalogue.board("ring16")


def test_fault_is_a_reason_without_a_place():
    catalogue = load_catalogue()
    assert catalogue.fault("board", "round_7") is None
    reason = catalogue.fault("coat", "black_pant")
    assert reason == "there is no coat 'black_pant'; did you mean 'black_paint'?"


def test_catalogues_do_not_share_their_dictionaries():
    load_catalogue().materials.clear()
    assert load_catalogue().materials


def test_own_entry_from_nothing():
    catalogue = own("""
        [materials.sponge]
        mu_a_per_mm = [0.001, 0.002, 0.01]
        mu_s_reduced_per_mm = 0.6
        refractive_index = 1.0
        """)
    sponge = catalogue.material("sponge")
    assert (sponge.label, sponge.source, sponge.confidence) == ("sponge", "user", "user")
    assert sponge.mu_s_reduced_per_mm == (0.6, 0.6, 0.6)
    assert sponge.density_kg_m3 is None
    assert "pla_white" in catalogue.materials


def test_own_entry_keeps_its_own_source():
    catalogue = own("""
        [coats.veil]
        label = "Bride's veil"
        source = "light meter, 3 May"
        confidence = "measured"
        reflectance = 0.1
        transmittance = 0.8
        open_fraction = 0.7
        """)
    veil = catalogue.coat("veil")
    assert (veil.source, veil.confidence) == ("light meter, 3 May", "measured")


def test_like_takes_over_what_is_not_said():
    catalogue = own("""
        [materials.dense]
        like = "upholstery_foam_white"
        mu_s_reduced_per_mm = 0.8
        [materials.denser]
        like = "dense"
        density_kg_m3 = 40
        """)
    base, denser = catalogue.material("upholstery_foam_white"), catalogue.material("denser")
    assert denser.mu_s_reduced_per_mm == (0.8, 0.8, 0.8)
    assert denser.mu_a_per_mm == base.mu_a_per_mm
    assert (denser.density_kg_m3, denser.max_service_c) == (40, base.max_service_c)
    # Where the numbers came from is not taken over: they are the user's now.
    assert (denser.source, denser.confidence, denser.notes) == ("user", "user", "")
    assert denser.like == "dense"


def test_own_entry_may_stand_in_for_a_shipped_one():
    catalogue = own('[materials.pla_white]\nlike = "pla_white"\ng = 0.5')
    assert catalogue.material("pla_white").g == 0.5
    assert load_catalogue().material("pla_white").g == 0.8


def test_measured_transmittance_in_place_of_scattering():
    catalogue = own("""
        [materials.shell]
        like = "pla_white"
        measured_transmittance = 0.3
        measured_thickness_mm = 2
        refractive_index = 1.49
        mu_a_per_mm = 0.001
        """)
    shell = catalogue.material("shell")
    # Derived by adding-doubling: 3.023 per mm; 1 %: interpolation.
    assert_allclose(shell.mu_s_reduced_per_mm, 3.023, rtol=1e-2)
    assert (shell.confidence, shell.source) == ("measured", "user")
    assert shell.mu_s_reduced_factor == 1.3


def test_measurement_is_replaced_by_a_new_one_or_by_a_number():
    catalogue = own("""
        [materials.sheet]
        like = "opal_acrylic_t30"
        measured_transmittance = 0.5
        measured_thickness_mm = 2
        [materials.plain]
        like = "opal_acrylic_t30"
        mu_s_reduced_per_mm = [1, 2, 3]
        """)
    assert_allclose(catalogue.material("sheet").mu_s_reduced_per_mm, 0.929, rtol=1e-2)
    plain = catalogue.material("plain")
    assert plain.mu_s_reduced_per_mm == (1, 2, 3)
    assert plain.measured_transmittance is None


def test_own_board_of_another_kind_keeps_the_led():
    catalogue = own("""
        [boards.ring_8]
        like = "rgb_5050_12ma"
        kind = "ring"
        led_count = 8
        ring_diameter_mm = 25
        diameter_mm = 32
        [boards.bright]
        like = "round_7"
        flux_lm = [2, 5, 1]
        """)
    ring, led = catalogue.board("ring_8"), catalogue.board("rgb_5050_12ma")
    assert ring.led_offsets_mm().shape == (8, 3)
    assert (ring.flux_lm, ring.channel_current_ma) == (led.flux_lm, led.channel_current_ma)
    assert ring.thickness_mm == led.thickness_mm
    assert catalogue.board("bright").flux_lm == (2, 5, 1)


def test_every_fault_has_file_line_and_key():
    faults = faults_of("""[materials.mine]
like = "upholstery_foam_white"
mu_s_reducd_per_mm = 0.5
g = 1.5

[materials.other]
like = "pla_wite"
""")
    assert faults == [
        "orb.toml, line 4: materials.mine.g: 1.5 is out of range; it must be less than 1",
        "orb.toml, line 3: materials.mine.mu_s_reducd_per_mm: unknown key; "
        "did you mean 'mu_s_reduced_per_mm'?",
        "orb.toml, line 7: materials.other.like: there is no material 'pla_wite'; "
        "did you mean 'pla_white'?",
    ]


@pytest.mark.parametrize(
    ("text", "fault"),
    [
        (
            "[coats.c]\nreflectance = 0.6\ntransmittance = [0.1, 0.5, 0.1]",
            "orb.toml, line 1: coats.c: reflectance 0.6 and transmittance 0.5 in green "
            "add up to more than 1",
        ),
        (
            "[coats.c]\nreflectance = 0.6\ntransmittance = 0.1\nopen_fraction = 0.2",
            "orb.toml, line 1: coats.c: open_fraction 0.2 is more than the whole "
            "transmittance 0.1 in red, of which it is a part",
        ),
        (
            "[coats.c]\ntransmittance = 0.1\nreflectance = [0.5, 0.6]",
            "orb.toml, line 3: coats.c.reflectance: [0.5, 0.6] is not one number, nor three "
            "in the order red, green, blue",
        ),
        (
            '[materials.a]\nlike = "b"\n[materials.b]\nlike = "pla_white"',
            "orb.toml, line 2: materials.a.like: 'b' must stand above the entry that starts "
            "from it, and be right",
        ),
        (
            '[materials.a]\nlike = "pla_white"\nmeasured_transmittance = 0.3',
            "orb.toml, line 1: materials.a.mu_s_reduced_per_mm: this key is needed but missing; "
            "or give measured_transmittance and measured_thickness_mm of a flat piece "
            "in its place",
        ),
        (
            '[materials.a]\nlike = "pla_white"\nmeasured_transmittance = 0.9\n'
            "measured_thickness_mm = 2",
            "orb.toml, line 1: materials.a.mu_s_reduced_per_mm: transmittance 0.9 is outside the "
            "calibration table (0.05 to 0.8); measure a thicker piece",
        ),
        (
            '[materials.a]\nlike = "pla_white"\nmeasured_transmittance = 0.3\n'
            "measured_thickness_mm = 2\nmu_s_reduced_per_mm = 1",
            "orb.toml, line 5: materials.a.mu_s_reduced_per_mm: give either this key or "
            "measured_transmittance and measured_thickness_mm, not both",
        ),
        ("materials = 3", "orb.toml, line 1: materials: must hold one table for each entry"),
        ("[boards]\nx = 3", "orb.toml, line 2: boards.x: must be a table of keys and values"),
    ],
)
def test_fault_texts(text, fault):
    (found,) = faults_of(text)
    assert found.startswith(fault)


def test_a_wrong_input_of_the_calibration_is_named_by_itself():
    faults = faults_of(
        '[materials.a]\nlike = "pla_white"\nmeasured_transmittance = 0.3\n'
        'measured_thickness_mm = "thin"\n'
    )
    assert faults == [
        "orb.toml, line 4: materials.a.measured_thickness_mm: 'thin' is not a number",
        "orb.toml, line 1: materials.a.mu_s_reduced_per_mm: cannot be found without a right "
        "measured_thickness_mm",
    ]
