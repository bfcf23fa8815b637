"""Plates whose brightness and noise are made up."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from glowsim.geometry.mesh import Mesh
from glowsim.transport.likeness import Likeness
from glowsim.transport.problem import Copy, LightSource
from glowsim.transport.result import Account, BodyGlow, SurfaceGlow

FOAM = Likeness(("foam",), False, 10.0, 4.0, 0.002)


def plate(length_mm=120.0, width_mm=60.0, face_mm=2.0) -> Mesh:
    """A rectangle in the x-z plane, cut into right triangles."""
    across, along = int(width_mm / face_mm), int(length_mm / face_mm)
    x, z = np.meshgrid(np.arange(across + 1), np.arange(along + 1), indexing="ij")
    points = np.column_stack([x.ravel(), np.zeros(x.size), z.ravel()]) * face_mm
    i, j = (a.ravel() for a in np.meshgrid(np.arange(across), np.arange(along), indexing="ij"))
    corner = i * (along + 1) + j
    faces = np.vstack(
        [
            np.column_stack([corner, corner + along + 1, corner + along + 2]),
            np.column_stack([corner, corner + along + 2, corner + 1]),
        ]
    )
    return Mesh.single_part(points, faces)


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
    diffuse = np.zeros((1, 3, len(x)), np.float32)
    diffuse[0, 1] = np.pi * level / 1e6
    error = None
    if sigma is not None:
        error = np.zeros_like(diffuse)
        error[0, 1] = np.pi * sigma / 1e6
    none = np.zeros((1, 3))
    body = BodyGlow(
        name="plate",
        key="plate",
        surface=surface,
        glows=np.ones(len(x), bool),
        hole=np.zeros(len(x), bool),
        whiteness=np.zeros((len(x), 3)),
        diffuse=diffuse,
        direct=np.zeros_like(diffuse),
        mean_direction=np.zeros((1, len(x), 3), np.float32),
        error=error,
        light_mm=np.array([[30.0, 10.0, 60.0]]),
        led_mm=np.array([[30.0, 10.0, 60.0]]),
        led_light=np.zeros(1, np.int64),
        account=Account(("foam",), np.zeros((1, 3, 1)), none, none, none, none),
        trust=(),
        likeness=FOAM,
    )
    source = LightSource(
        *("lamp", "all", "board"), np.ones(3), np.ones(3), np.eye(3), 1.3, np.zeros(3), 0.1, 0.1
    )
    copy = Copy("plate", "plate", 0, np.eye(4), (0,))
    return SurfaceGlow("plate", (replace(body, **changed),), (copy,), (source,), solver, 0, 0.0)


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
