"""Every shipped entry: complete, sourced, and within physical bounds."""

import tomllib
from importlib import resources

import numpy as np
import pytest
from numpy.testing import assert_allclose

from glowsim.catalogue import Board, Coat, Material, load_catalogue
from glowsim.optics.boundary import boundary_coefficient

CATALOGUE = load_catalogue()
ENTRIES = {
    **{f"materials.{name}": entry for name, entry in CATALOGUE.materials.items()},
    **{f"coats.{name}": entry for name, entry in CATALOGUE.coats.items()},
    **{f"boards.{name}": entry for name, entry in CATALOGUE.boards.items()},
}
WHITE_FOAMS = ("upholstery_foam_white", "eva_foam_white", "pe_packing_foam")


def written(file_name):
    text = resources.files("glowsim.catalogue").joinpath(file_name).read_text(encoding="utf-8")
    return tomllib.loads(text)


@pytest.mark.parametrize("name", ENTRIES)
def test_provenance_is_complete(name):
    entry = ENTRIES[name]
    assert len(entry.label) > 5
    assert len(entry.source) > 15
    assert len(entry.notes) > 20
    assert entry.confidence in ("measured", "datasheet", "derived", "estimate")
    if entry.source.startswith("estimate"):
        assert entry.confidence == "estimate"


@pytest.mark.parametrize(
    ("file_name", "ranges"),
    [
        ("materials.toml", ("mu_a_factor", "mu_s_reduced_factor")),
        ("coats.toml", ("reflectance_uncertainty", "transmittance_uncertainty")),
        ("boards.toml", ("flux_factor",)),
    ],
)
def test_ranges_are_stated_not_defaulted(file_name, ranges):
    entries = written(file_name)
    for name, entry in entries.items():
        while "like" in entry:
            entry = entries[entry["like"]] | {k: v for k, v in entry.items() if k != "like"}
        for key in ranges:
            assert key in entry, f"{name} states no {key}"


@pytest.mark.parametrize("name", CATALOGUE.materials)
def test_materials_are_physical(name):
    material = CATALOGUE.materials[name]
    assert all(0 < mu_a < 10 for mu_a in material.mu_a_per_mm)
    assert all(0 <= mu_s < 50 for mu_s in material.mu_s_reduced_per_mm)
    assert 0 < material.g < 0.95
    assert 1 <= material.refractive_index <= 1.6
    assert 1 <= material.mu_a_factor <= 5
    assert 1 <= material.mu_s_reduced_factor <= 5
    assert 5 <= material.density_kg_m3 <= 2300
    assert 0.02 <= material.thermal_conductivity_w_mk <= 0.5
    assert 40 <= material.max_service_c <= 200
    assert 1.05 <= material.thermal_conductivity_factor <= 2
    assert 800 <= material.specific_heat_j_kgk <= 3000
    assert material.thermal_source


@pytest.mark.parametrize("name", CATALOGUE.coats)
def test_coats_conserve_energy(name):
    coat = CATALOGUE.coats[name]
    assert np.add(coat.reflectance, coat.transmittance).max() <= 1 + 1e-12  # round-off
    assert max(coat.open_fraction, 0) <= min(coat.transmittance)


@pytest.mark.parametrize("name", CATALOGUE.boards)
def test_boards_are_physical(name):
    board = CATALOGUE.boards[name]
    watts_in_leds = np.array(board.forward_v) * np.array(board.channel_current_ma) / 1000
    if board.drive == "white":
        watts_in_leds = watts_in_leds[:1]
    # No visible light source passes 683 lm/W; these parts lie well below 200.
    assert sum(board.flux_lm) < 200 * watts_in_leds.sum()
    assert board.power_w(1.0, 1 if board.kind == "strip" else None) > watts_in_leds.sum()
    for nominal, peak in zip((620, 525, 465), board.dominant_wavelength_nm, strict=True):
        assert abs(peak - nominal) <= 6
    assert 10 < min(board.fwhm_nm) <= max(board.fwhm_nm) < 50
    assert 1.1 <= board.flux_factor <= 2
    assert 50 <= board.ambient_max_c < board.junction_max_c <= 150
    assert all(5 <= k_w <= 95 for k_w in board.junction_k_w)
    assert board.thermal_source
    assert board.led_window_mm <= (board.diameter_mm or board.width_mm)


@pytest.mark.parametrize("name", [n for n in CATALOGUE.boards if not n.startswith(("star", "w"))])
def test_addressable_leds_have_the_limits_that_their_sheets_print(name):
    """Documents WS2813 (operation -25 to +60) and WS2812B (operation junction temperature -25 to
    +80); chips to pins 50 / 95 / 95 K/W, document ASMT-QTB4, table 4."""
    board = CATALOGUE.boards[name]
    assert (board.ambient_max_c, board.junction_max_c) == (60, 80)
    assert (board.junction_k_w, board.package_k_w) == ((50, 95, 95), 0)


def test_specific_heats_are_those_of_the_papers_cited():
    """Seven polyurethane foams 2359 to 2996 J/kgK (doi 10.1002/fam.2188, abstract); printed PLA
    1200 (AIP Conf. Proc. 2305, 020022, abstract)."""
    for name in ("white", "cream", "charcoal"):
        foam = CATALOGUE.material(f"upholstery_foam_{name}")
        assert 2359 <= foam.specific_heat_j_kgk <= 2996
    for name in ("pla_natural", "pla_white"):
        assert CATALOGUE.material(name).specific_heat_j_kgk == 1200


def test_scattering_coefficient():
    foam = CATALOGUE.material("upholstery_foam_white")
    assert_allclose(foam.mu_s_per_mm, 0.4 / (1 - 0.65), rtol=1e-12)  # mu_s = mu_s' / (1 - g)


def test_opal_grades_follow_from_their_transmittance():
    # Derived by adding-doubling at n 1.49, 3 mm, mu_a 0.001/mm: 0.172 for 70 %, 1.991 for 30 %.
    for name, expected in (("opal_acrylic_t70", 0.172), ("opal_acrylic_t30", 1.991)):
        # 0.5 %: three digits, interpolation.
        assert_allclose(CATALOGUE.material(name).mu_s_reduced_per_mm, [expected] * 3, rtol=5e-3)


@pytest.mark.parametrize("of", ["milky_resin", "milky_silicone"])
def test_pigment_follows_the_recipe_and_mie(of):
    """0.8 to 1.0 per mm at 1 mg/mL of TiO2 near 800 nm (epoxy phantom recipe, Oregon Medical
    Laser Center), proportional to the amount. How much more that is at 620, 525 and 465 nm, by
    Mie's theory for rutile (index by Devore, J. Opt. Soc. Am. 41, 416 (1951)) in a medium of index
    1.50: single grains of 0.25 um, and clumps of 0.5 um."""
    medium, strong = (
        np.array(CATALOGUE.material(f"{of}_{grade}").mu_s_reduced_per_mm)
        for grade in ("medium", "strong")
    )
    assert_allclose(strong / medium, 10 / 3, rtol=1e-2)  # two digits stored
    grains = np.array([1.86, 2.11, 2.18]) / 1.34
    clumps = np.array([0.84, 0.71, 0.67]) / 0.91
    assert np.all(strong > 0.8 * clumps)
    assert np.all(strong < 1.0 * grains)
    assert CATALOGUE.material(f"{of}_strong").mu_s_reduced_factor == 1.6


@pytest.mark.parametrize(
    ("name", "density", "solid", "cell_mm"),
    [
        ("upholstery_foam_white", 25, 1200, 0.5),
        ("pe_packing_foam", 25, 920, 1.0),
        ("expanded_polystyrene", 20, 1050, 0.1),
        ("extruded_polystyrene", 33, 1050, 0.2),
        ("eva_foam_white", 90, 1030, 0.15),
    ],
)
def test_foams_lie_between_the_laws_of_bubbles_within_their_factor(name, density, solid, cell_mm):
    """l* = 3.5 D dry, D (1.5 + 0.14 / eps) wet, eps the solid per gas by volume (Durian, Weitz &
    Pine 1991; Vera, Saint-Jalmes & Durian, Appl. Opt. 40, 4210 (2001); constants from memory)."""
    eps = density / (solid - density)
    laws = 1 / (3.5 * cell_mm), 1 / (cell_mm * (1.5 + 0.14 / eps))
    material = CATALOGUE.material(name)
    assert material.mu_s_reduced_factor == 2.0
    scattering = material.mu_s_reduced_per_mm[1]
    assert min(laws) / 2 < scattering < 2 * max(laws)
    # The walls of polymer foams scatter more than films of water do.
    assert material.mu_s_reduced_per_mm[1] > 0.95 * min(laws)


def test_a_ptfe_plate_throws_back_what_was_measured():
    """Plates of 5 to 10 mm: 92.5 to 94.5 % at 450 nm; a sintered grade 98 % and more at 10 mm.
    Diffusion in a slab without absorption: T = (1 + z) / (d / l* + 2 z), with z of index 1.35
    (Zhu, Pine & Weitz, Phys. Rev. A 44, 3948 (1991))."""
    plate = CATALOGUE.material("ptfe_plate")
    z = 2 / 3 * boundary_coefficient(plate.refractive_index)
    through = (1 + z) / (10 * plate.mu_s_reduced_per_mm[1] + 2 * z)
    assert 0.925 < 1 - through < 0.985


@pytest.mark.parametrize("name", [n for n in CATALOGUE.materials if n.startswith(("pla", "petg"))])
def test_prints_say_that_one_coefficient_is_a_fiction(name):
    assert "stack of lines" in CATALOGUE.material(name).beware


def test_white_foams_absorb_blue_most_and_have_no_smooth_face():
    for name in WHITE_FOAMS:
        foam = CATALOGUE.material(name)
        assert foam.refractive_index == 1.0
        assert foam.mu_a_per_mm[2] >= foam.mu_a_per_mm[0]


@pytest.mark.parametrize(
    ("name", "x", "y"), [("white_1w_neutral", 0.3805, 0.3768), ("white_1w_warm", 0.4369, 0.4041)]
)
def test_white_split_mixes_to_the_black_body(name, x, y):
    """Chromaticities of 4000 K and 3000 K (cubic fit to the Planckian locus, Kim et al., US patent
    7,024,034, gives .3805 .3767 and .4366 .4042); primaries as the notes of the entry state."""
    primaries_xy = np.array([[0.6925, 0.3073], [0.1323, 0.7613], [0.1353, 0.0458]])
    luminance = np.array(CATALOGUE.board(name).flux_lm)
    weight = luminance / primaries_xy[:, 1]  # X + Y + Z of each
    mixed = weight @ primaries_xy / weight.sum()
    # 0.002: blue is stored to 0.1 lm, which is worth that much in y.
    assert_allclose(mixed, [x, y], atol=2e-3)


@pytest.mark.parametrize("model", [Material, Coat, Board])
def test_models_describe_themselves(model):
    schema = model.model_json_schema()
    assert schema["additionalProperties"] is False
    assert {"label", "source", "confidence", "like"} <= schema["properties"].keys()
