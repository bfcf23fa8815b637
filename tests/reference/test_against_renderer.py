"""The same mesh and medium in a general-purpose renderer.

A spike of scattering material in a box of air holds a black ball that shines evenly; what
falls on four sides of the box is compared. The renderer samples paths from the box towards
the ball, ours from the ball to the box. Only where `mitsuba` is installed (pip install mitsuba).

The ball is there because the renderer aims at its lights from every scattering: at a point
light inside the medium the square of 1 / r^2 has no mean, and its error could not be told.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from glowsim.geometry.mesh import Mesh
from glowsim.geometry.patterns import placed
from glowsim.geometry.shapes import shape_mesh
from glowsim.scene import Orb, Slab, Spike
from glowsim.transport.problem import AIR, BodyProblem, Emitters
from tests.support.bodies import body, medium, opaque
from tests.support.monte_carlo import follow, leaving, of_samples

PLACE, RADIUS = np.array([1.0, 0.5, 9.0]), 3.0
MU_A, MU_S, G = 0.01, 1.0, 0.5
SPIKE = shape_mesh(Spike(kind="spike", length_mm=40, base_diameter_mm=20, tip_radius_mm=2))
SIDES = {  # of the box: centre, inward normal, half width and half height
    "top": ((0, 0, 45), (0, 0, -1), 15, 15),
    "bottom": ((0, 0, -5), (0, 0, 1), 15, 15),
    "right": ((15, 0, 20), (-1, 0, 0), 25, 15),
    "left": ((-15, 0, 20), (1, 0, 0), 25, 15),
}


def ours() -> BodyProblem:
    box = shape_mesh(Slab(kind="slab", length_mm=30, width_mm=30, thickness_mm=50))
    ball = shape_mesh(Orb(kind="orb", diameter_mm=2 * RADIUS)).moved(
        placed(tuple(PLACE), (0, 0, 0))
    )
    count = 4000
    k = np.arange(count) + 0.5
    z, turn = 1 - 2 * k / count, np.pi * (1 + np.sqrt(5)) * k
    ring = np.sqrt(1 - z**2)
    out = np.stack([ring * np.cos(turn), ring * np.sin(turn), z], axis=1)
    lights = Emitters(
        PLACE + 1.004 * RADIUS * out, out, np.ones(count), np.zeros(count, np.int64),
        np.full(count, 1 / count), np.ones(count, np.int64),
    )  # fmt: skip
    media = [AIR, medium(MU_A, MU_S * (1 - G), G), opaque(0.0)]
    low = box.moved(placed((0, 0, -5), (0, 0, 0)))
    return body(low, media, lights, inserts=[SPIKE, ball], cell_mm=1.0, face_mm=100.0)


def theirs(mi: Any, mesh: Mesh, folder: Path) -> Any:
    made = mi.Mesh("spike", vertex_count=len(mesh.vertices), face_count=len(mesh.faces))
    table = mi.traverse(made)
    table["vertex_positions"] = mesh.vertices.astype(np.float32).ravel()
    table["faces"] = mesh.faces.astype(np.uint32).ravel()
    table.update()
    made.write_ply(str(folder / "spike.ply"))
    black = {"type": "diffuse", "reflectance": {"type": "rgb", "value": 0.0}}
    radiance = {"type": "rgb", "value": 1 / (4 * np.pi**2 * RADIUS**2)}
    scene: dict[str, Any] = {
        "type": "scene",
        "integrator": {"type": "volpath", "max_depth": -1, "rr_depth": 1_000_000},
        "foam": {
            "type": "homogeneous", "albedo": MU_S / (MU_A + MU_S), "sigma_t": MU_A + MU_S,
            "phase": {"type": "hg", "g": G},
        },
        "spike": {
            "type": "ply", "filename": str(folder / "spike.ply"), "face_normals": True,
            "bsdf": {"type": "null"}, "interior": {"type": "ref", "id": "foam"},
        },
        "ball": {
            "type": "sphere", "center": list(PLACE), "radius": RADIUS, "bsdf": black,
            "emitter": {"type": "area", "radiance": radiance},
            "exterior": {"type": "ref", "id": "foam"},
        },
    }  # fmt: skip
    for seed, (name, (centre, inward, wide, high)) in enumerate(SIDES.items()):
        up = [0, 1, 0]
        target = (np.array(centre) + inward).tolist()
        turn = mi.ScalarTransform4f().look_at(origin=list(centre), target=target, up=up)
        film = {"type": "hdrfilm", "width": 1, "height": 1, "pixel_format": "rgb"}
        scene[name] = {
            "type": "rectangle", "bsdf": black,
            "to_world": turn @ mi.ScalarTransform4f().scale([wide, high, 1]),
            # Sensors alike are taken for one; the seed tells them apart.
            "sensor": {
                "type": "irradiancemeter", "film": {**film, "rfilter": {"type": "box"}},
                "sampler": {"type": "independent", "seed": seed},
            },
        }  # fmt: skip
    return mi.load_dict(scene)


@pytest.mark.slow
def test_light_on_the_sides_of_a_box(tmp_path):
    mi = pytest.importorskip("mitsuba", reason="the renderer is not installed")
    mi.set_variant("scalar_rgb")
    problem = ours()
    tallies = follow(problem, 400_000)
    centre = problem.walls.centroids[problem.skin]
    scene = theirs(mi, SPIKE, tmp_path)
    seen = {
        tuple(np.round(np.array(s.bbox().center()))): s for s in scene.shapes() if s.is_sensor()
    }
    for middle, inward, wide, high in SIDES.values():
        mine = leaving(tallies, np.abs((centre - middle) @ np.array(inward)) < 1e-3)
        sensor = seen[tuple(np.array(middle, float))].sensor()
        renders = [
            np.array(mi.render(scene, sensor=sensor, seed=k + 1, spp=20_000))[0, 0, 1]
            for k in range(16)
        ]
        other = of_samples(4 * wide * high * np.array(renders, dtype=float))
        print(f"{middle}: {mine.mean:.5f} +- {mine.error:.5f}, "
              f"{other.mean:.5f} +- {other.error:.5f}, {mine.off(other):.1f} s.e.")  # fmt: skip
        # The light of the ball's rim that its faceted twin lets by is worth 0.4 %.
        assert mine.agrees(other, digits=0.004 * mine.mean)
