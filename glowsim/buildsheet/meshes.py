"""Bodies with their pockets cut out, and the lights as a mesh to place them by."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import trimesh

from glowsim.buildsheet.places import CHANNEL_MM, PAST_MM, BodyPlaces, LightPlace
from glowsim.geometry.mesh import METRES_UP_Y, Mesh, from_manifold, to_manifold
from glowsim.transport.problem import Copy

_BODY, _BOARD, _LED = (215, 215, 210, 255), (40, 110, 60, 255), (235, 130, 20, 255)


def pocketed(places: BodyPlaces, fine: Mesh | None = None) -> Mesh:
    """Return a body's own material less the pockets of its boards, the bores for wires and what the
    body under its foot takes.

    fine : its outer surface with all its faces, where what was worked with has fewer
    """
    if fine is None:
        rest = to_manifold(places.material, places.name)
    else:
        rest = to_manifold(fine, places.name)
        hollow = [places.solid.hollow] if places.solid.hollow is not None else []
        for inner in (*hollow, *places.solid.inserts):
            rest = rest - to_manifold(inner, places.name)
    for tool in [*tools(places), *(foot.mesh for foot in places.feet if not foot.sunk)]:
        rest = rest - to_manifold(tool, places.name)
    return from_manifold(rest)


def tools(places: BodyPlaces) -> list[Mesh]:
    """Return what is cut out: for each board that lies in the material its pocket with the way in,
    and the bore for its wires. Nothing of a body that is cast: its boards are poured in."""
    cut = []
    for light in places.lights:
        if light.channel is None or places.making == "cast":
            continue
        cut.append(light.cut)
        start, end = light.channel
        past = np.array([0.0, 0.0, PAST_MM])
        bore = trimesh.creation.cylinder(
            radius=CHANNEL_MM / 2, segment=np.array([start + past / 2, end - past])
        )
        cut.append(Mesh.single_part(bore.vertices, bore.faces))
    return cut


def stl(mesh: Mesh) -> bytes:
    """Return a mesh as binary STL in mm."""
    made = trimesh.Trimesh(mesh.vertices, mesh.faces, process=False).export(file_type="stl")
    assert isinstance(made, bytes), "STL is written in binary"
    return made


def glb(mesh: Mesh) -> bytes:
    """Return a mesh as GLB."""
    scene = trimesh.Scene()
    scene.add_geometry(_coloured(mesh, _BODY), geom_name="body", transform=METRES_UP_Y)
    return bytes(scene.export(file_type="glb"))


def markers(bodies: Sequence[BodyPlaces], copies: Sequence[Copy]) -> bytes:
    """Return boards and LEDs of the whole prop as GLB, in the prop's frame."""
    scene = trimesh.Scene()
    made: dict[tuple[int, int], tuple[str, str]] = {}
    for copy in copies:
        number, place = copy.body, METRES_UP_Y @ copy.transform
        for k, light in enumerate(bodies[number].lights):
            node = f"{copy.name}: {light.name}"
            if (number, k) in made:
                for geometry, kind in zip(made[number, k], ("board", "LEDs"), strict=True):
                    scene.graph.update(f"{node}, {kind}", matrix=place, geometry=geometry)
                continue
            names = (f"board {number}.{k}", f"LEDs {number}.{k}")
            meshes = (light.board_mesh, _leds(light))
            for mesh, colour, name, kind in zip(
                meshes, (_BOARD, _LED), names, ("board", "LEDs"), strict=True
            ):
                scene.add_geometry(
                    _coloured(mesh, colour),
                    node_name=f"{node}, {kind}",
                    geom_name=name,
                    transform=place,
                )
            made[number, k] = names
    return bytes(scene.export(file_type="glb"))


def _leds(light: LightPlace) -> Mesh:
    """Return the LEDs of a light as little balls."""
    ball = trimesh.creation.icosphere(1, light.board.led_window_mm / 2)
    count = len(ball.vertices)
    vertices = (light.led_mm[:, None] + ball.vertices).reshape(-1, 3)
    faces = np.concatenate([ball.faces + k * count for k in range(len(light.led_mm))])
    return Mesh.single_part(vertices, faces)


def _coloured(mesh: Mesh, colour: tuple[int, int, int, int]) -> trimesh.Trimesh:
    material = trimesh.visual.material.PBRMaterial(
        baseColorFactor=colour, roughnessFactor=0.9, metallicFactor=0.0
    )
    visual = trimesh.visual.TextureVisuals(material=material)
    return trimesh.Trimesh(mesh.vertices, mesh.faces, visual=visual, process=False)
