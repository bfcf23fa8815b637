"""Glows with known brightness, built without a solver."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import trimesh

from glowsim.geometry.mesh import Mesh
from glowsim.scene import Body, Orb, Room, Scene, View
from glowsim.transport.problem import Copy, LightSource
from glowsim.transport.result import Account, BodyGlow, SurfaceGlow

NEUTRAL = np.array([0.95047, 1.0, 1.08883])
"""XYZ of D65 at Y = 1 (IEC 61966-2-1)."""


def sphere(radius_mm: float = 50.0, subdivisions: int = 3) -> Mesh:
    ball = trimesh.creation.icosphere(subdivisions=subdivisions, radius=radius_mm)
    return Mesh.single_part(ball.vertices, ball.faces)


def box(*sides_mm: float) -> Mesh:
    block = trimesh.creation.box(sides_mm)
    return Mesh.single_part(block.vertices, block.faces)


def body_glow(
    surface: Mesh,
    diffuse_lm_m2: np.ndarray | float = 0.0,
    *,
    direct_lm_m2: np.ndarray | float = 0.0,
    mean_direction: np.ndarray | None = None,
    whiteness: float = 0.0,
    glows: np.ndarray | bool = True,
    index: float | None = None,
) -> BodyGlow:
    """Return a body with one light of 1 lm, all of it in the green band."""
    count = len(surface.faces)
    response = np.zeros((2, 1, 3, count), np.float32)
    response[0, 0, 1] = np.asarray(diffuse_lm_m2) / 1e6
    response[1, 0, 1] = np.asarray(direct_lm_m2) / 1e6
    nothing = np.zeros((1, 3))
    return BodyGlow(
        name="body",
        key="",
        surface=surface,
        glows=np.broadcast_to(glows, count).copy(),
        hole=np.zeros(count, bool),
        whiteness=np.full((count, 3), whiteness),
        diffuse=response[0],
        direct=response[1],
        mean_direction=(
            np.zeros((1, count, 3), np.float32) if mean_direction is None else mean_direction[None]
        ),
        error=None,
        light_mm=np.zeros((1, 3)),
        led_mm=np.zeros((1, 3)),
        led_light=np.zeros(1, np.int64),
        account=Account((), np.zeros((1, 3, 0)), nothing, nothing, nothing, nothing),
        trust=(),
        index=None if index is None else np.full(count, index),
    )


def glow_of(
    bodies: Sequence[BodyGlow],
    transforms: Sequence[tuple[int, np.ndarray]] | None = None,
    xyz_per_lm: np.ndarray = NEUTRAL,
) -> SurfaceGlow:
    """Return a prop: each body once, or the given (body, transform) copies, each with a light."""
    places = transforms or [(k, np.eye(4)) for k in range(len(bodies))]
    lights = tuple(
        LightSource(
            f"light {k}", "all", "board", np.array([0.0, 1.0, 0.0]), np.ones(3),
            np.tile(xyz_per_lm, (3, 1)), 1.2, np.zeros(3), 0.1, 0.1,
        )
        for k in range(len(places))
    )  # fmt: skip
    copies = tuple(
        Copy(f"copy {k}", f"copy {k}", body, place, (k,)) for k, (body, place) in enumerate(places)
    )
    return SurfaceGlow("Test prop", tuple(bodies), copies, lights, "quick", 0, 0.0)


def scene_with(room: Room | None = None, view: View | None = None) -> Scene:
    orb = Body(name="orb", shape=Orb(kind="orb", diameter_mm=100.0), material="pla_white")
    return Scene(
        title="Test prop", room=room or Room(illuminance_lx=0.0), view=view or View(), bodies=(orb,)
    )


def moved(x_mm: float, y_mm: float, z_mm: float) -> np.ndarray:
    transform = np.eye(4)
    transform[:3, 3] = x_mm, y_mm, z_mm
    return transform
