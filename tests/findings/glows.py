"""Plates whose brightness and noise are made up."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from glowsim.geometry.mesh import Mesh
from glowsim.transport.likeness import Likeness
from glowsim.transport.problem import Copy, LightSource
from glowsim.transport.result import BodyGlow, SurfaceGlow
from tests.pictures.glows import body_glow

FOAM = Likeness(("foam",), False, 10.0, 4.0, 0.002)


def plate(length_mm=120.0, width_mm=60.0, face_mm=2.0) -> Mesh:
    """A rectangle in the x-z plane, cut into right triangles."""
    across, along = int(width_mm / face_mm), int(length_mm / face_mm)
    x, z = np.meshgrid(np.arange(across + 1), np.arange(along + 1), indexing="ij")
    points = np.column_stack([x.ravel(), np.zeros(x.size), z.ravel()]) * face_mm
    return Mesh.single_part(points, grid_faces(across, along))


def grid_faces(across: int, along: int) -> np.ndarray:
    """Two right triangles for each cell of a grid whose corners are numbered row by row."""
    i, j = (a.ravel() for a in np.meshgrid(np.arange(across), np.arange(along), indexing="ij"))
    corner = i * (along + 1) + j
    return np.vstack(
        [
            np.column_stack([corner, corner + along + 1, corner + along + 2]),
            np.column_stack([corner, corner + along + 2, corner + 1]),
        ]
    )


def lit(
    brightness, noise=None, *, seed=None, solver="quick", surface=None, **changed
) -> SurfaceGlow:
    """A prop of one plate, lit green by one light.

    brightness(x, z) : luminance [cd/m2];  noise(x, z) : its one-sigma error, or None
    seed             : draw that error and add it;  surface : another than a plate
    """
    surface = plate() if surface is None else surface
    x, _, z = surface.centroids.T
    level = np.broadcast_to(brightness(x, z), x.shape).astype(float)
    sigma = None if noise is None else np.broadcast_to(noise(x, z), x.shape).astype(float)
    if seed is not None:
        level = level + sigma * np.random.default_rng(seed).standard_normal(len(x))
    error = None
    if sigma is not None:
        error = np.zeros((1, 3, len(x)), np.float32)
        error[0, 1] = np.pi * sigma / 1e6
    place = np.array([[30.0, 10.0, 60.0]])
    body = replace(
        body_glow(surface, np.pi * level),
        key="plate",
        error=error,
        light_mm=place,
        led_mm=place,
        likeness=FOAM,
    )
    return lit_by_lamp(replace(body, **changed), solver=solver)


def lit_by_lamp(body: BodyGlow, *, solver="quick", flux_factor=1.3) -> SurfaceGlow:
    """A prop of one body called a plate, lit by one lamp."""
    source = LightSource(
        *("lamp", "all", "board"),
        *(np.ones(3), np.ones(3), np.eye(3), flux_factor, np.zeros(3), 0.1, 0.1),
    )
    body = replace(body, name="plate")
    copy = Copy("plate", "plate", 0, np.eye(4), (0,))
    return SurfaceGlow("plate", (body,), (copy,), (source,), solver, 0, 0.0)


def photons(brightness, per_face, seed, uneven=0.5) -> SurfaceGlow:
    """The plate as a reference run sees it: so many photons a face on average, drawn by chance.

    uneven : standard deviation of the logarithm of a photon's weight
    """
    surface, random = plate(), np.random.default_rng(seed)
    area = surface.areas_mm2
    x, _, z = surface.centroids.T
    light = np.broadcast_to(brightness(x, z), x.shape) * area
    one = light.sum() / (per_face * len(area))
    counts = random.poisson(light / one)
    face = np.repeat(np.arange(len(area)), counts)
    weight = one * np.exp(uneven * random.standard_normal(len(face)) - uneven**2 / 2)
    out = np.bincount(face, weight, len(area)) / area
    error = np.sqrt(np.bincount(face, weight**2, len(area))) / area
    return lit(lambda x, z: out, lambda x, z: error, solver="reference")
