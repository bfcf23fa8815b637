"""What the user wrote: the scene file as validated data. No meshes, no physics."""

from glowsim.scene.bodies import Body, Infill, Insert, Mask, MeshFile
from glowsim.scene.drawn import Course, Cut, Drawn, FromDrawing, Loft, Outline, Turned
from glowsim.scene.lights import Light, StripPiece
from glowsim.scene.model import Room, Scene, Thresholds, View
from glowsim.scene.patterns import Along, Around, Places
from glowsim.scene.placing import DrillLine, DrillRing, Placing
from glowsim.scene.read import SceneFile, parse_scene, read_scene, scene_schema, write_scene
from glowsim.scene.shapes import Blade, Crystal, Dome, Orb, Ring, Rod, Shape, Slab, Spike
from glowsim.scene.supply import (
    SUPPLY,
    Bus,
    Chain,
    Controller,
    Converter,
    Pin,
    Power,
    Pulse,
    Segment,
    Star,
    Tree,
    Wiring,
)
from glowsim.scene.wanted import Fade
from glowsim.scene.where import Picture, Where

__all__ = [
    "SUPPLY",
    "Along",
    "Around",
    "Blade",
    "Body",
    "Bus",
    "Chain",
    "Controller",
    "Converter",
    "Course",
    "Crystal",
    "Cut",
    "Dome",
    "Drawn",
    "DrillLine",
    "DrillRing",
    "Fade",
    "FromDrawing",
    "Infill",
    "Insert",
    "Light",
    "Loft",
    "Mask",
    "MeshFile",
    "Orb",
    "Outline",
    "Picture",
    "Pin",
    "Places",
    "Placing",
    "Power",
    "Pulse",
    "Ring",
    "Rod",
    "Room",
    "Scene",
    "SceneFile",
    "Segment",
    "Shape",
    "Slab",
    "Spike",
    "Star",
    "StripPiece",
    "Thresholds",
    "Tree",
    "Turned",
    "View",
    "Where",
    "Wiring",
    "parse_scene",
    "read_scene",
    "scene_schema",
    "write_scene",
]
