"""Pictures of a glow: photographs, brightness maps, turntables, sheets, meshes for viewers.

Pictures read the glow and never measure: what they show is worked out from the surface, and
no other room takes a number from a pixel.
"""

from glowsim.pictures.backends import choose_backend
from glowsim.pictures.bright_map import bright_map, scale_of
from glowsim.pictures.chart import Line, Panel, chart
from glowsim.pictures.colour_scale import ColourScale
from glowsim.pictures.export import export_glow
from glowsim.pictures.heat_map import heat_map
from glowsim.pictures.map_page import Words
from glowsim.pictures.marks import Mark, marks_of
from glowsim.pictures.photo import Studio, photo
from glowsim.pictures.ratio_map import Compared, ratio_map
from glowsim.pictures.sheet import compared, contact_sheet
from glowsim.pictures.turntable import turntable_frames, write_turntable
from glowsim.pictures.writing import save_picture

__all__ = [
    "ColourScale",
    "Compared",
    "Line",
    "Mark",
    "Panel",
    "Studio",
    "Words",
    "bright_map",
    "chart",
    "choose_backend",
    "compared",
    "contact_sheet",
    "export_glow",
    "heat_map",
    "marks_of",
    "photo",
    "ratio_map",
    "save_picture",
    "scale_of",
    "turntable_frames",
    "write_turntable",
]
