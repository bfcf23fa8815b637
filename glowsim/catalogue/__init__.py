"""Numbers about parts: volume materials, thin layers, light boards, batteries, wires.

The data are in TOML files beside the reader; every entry says where its numbers come from,
how far they can be trusted, and how far the truth may lie from them.
"""

from glowsim.catalogue.battery import Battery
from glowsim.catalogue.board import Board, flux_from_axial_intensity_lm
from glowsim.catalogue.calibration import calibrate_mu_s_reduced
from glowsim.catalogue.coat import Coat
from glowsim.catalogue.entry import BANDS_NM, Entry
from glowsim.catalogue.material import Material
from glowsim.catalogue.reader import Catalogue, load_catalogue
from glowsim.catalogue.wire import Wire

__all__ = [
    "BANDS_NM",
    "Battery",
    "Board",
    "Catalogue",
    "Coat",
    "Entry",
    "Material",
    "Wire",
    "calibrate_mu_s_reduced",
    "flux_from_axial_intensity_lm",
    "load_catalogue",
]
