"""What the user wrote: the scene file as validated data. No meshes, no physics."""

from glowsim.scene.bodies import Body, Insert, Light, Mask, MeshFile, Where
from glowsim.scene.model import Room, Scene, Thresholds, View
from glowsim.scene.patterns import Along, Around, Places
from glowsim.scene.read import SceneFile, parse_scene, read_scene, scene_schema, write_scene
from glowsim.scene.shapes import Blade, Crystal, Dome, Orb, Ring, Rod, Shape, Slab, Spike

__all__ = [
    "Along",
    "Around",
    "Blade",
    "Body",
    "Crystal",
    "Dome",
    "Insert",
    "Light",
    "Mask",
    "MeshFile",
    "Orb",
    "Places",
    "Ring",
    "Rod",
    "Room",
    "Scene",
    "SceneFile",
    "Shape",
    "Slab",
    "Spike",
    "Thresholds",
    "View",
    "Where",
    "parse_scene",
    "read_scene",
    "scene_schema",
    "write_scene",
]
