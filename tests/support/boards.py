"""Light boards in simple bodies, and what a disc in a diffuse ball does, exactly."""

from __future__ import annotations

import numpy as np

from glowsim.geometry.boards import BoardShape
from glowsim.geometry.patterns import placed
from glowsim.transport.problem import OpaqueBoard
from tests.support.bodies import emitters, medium

FOAM = medium([0.002, 0.004, 0.02], [0.5, 0.5, 0.8], 0.65)
RESIN = medium(0.004, 0.25, 0.8, 1.5)


def disc(place, turn=(0.0, 0.0, 0.0), *, across=16.0, thick=1.6, bore=0.0):
    return BoardShape(placed(place, turn), (across, across), thick, True, bore)


def board(shape, front=0.7, back=None):
    reflectance = np.full(3, front), np.full(3, front if back is None else back)
    return OpaqueBoard("disc", shape, *reflectance)


def ahead_of(shape, region=0):
    """A light just ahead of the middle of a board's front, or of its rim where there is a bore."""
    local = np.array([(shape.size_mm[0] + shape.bore_mm) / 4 if shape.bore_mm else 0, 0, 0.05])
    place = shape.frame[:3, :3] @ local + shape.frame[:3, 3]
    return emitters([place], shape.frame[:3, 2], region)


def radiosity(radius, disc_radius, wall, through, front, back, rings=24, bands=60, turns=720):
    """Return what a hollow ball with a disc across its middle lets out, for a Lambertian lamp on
    the disc's front.

    Every surface is diffuse; wall, front and back are reflectances, `through` the transmittance.
    Derived: view factors of wall bands and disc rings by quadrature, the disc in the way of lines
    from one half of the ball to the other.
    """
    edge = np.linspace(0, np.pi, bands + 1)
    theta = np.arccos((np.cos(edge[1:]) + np.cos(edge[:-1])) / 2)
    area = 2 * np.pi * radius**2 * (np.cos(edge[:-1]) - np.cos(edge[1:]))
    phi = (np.arange(turns) + 0.5) * 2 * np.pi / turns
    z, rho = radius * np.cos(theta), radius * np.sin(theta)
    # Wall to wall: in a ball every place sees every other alike, but for the disc between them.
    seen = np.ones((bands, bands))
    for i in range(bands):
        for j in np.nonzero(z * z[i] < 0)[0]:
            s = z[i] / (z[i] - z[j])
            x = rho[i] + s * (rho[j] * np.cos(phi) - rho[i])
            y = s * rho[j] * np.sin(phi)
            seen[i, j] = (np.hypot(x, y) > disc_radius).mean()
    walls = seen * area[None] / (4 * np.pi * radius**2)
    cut = np.linspace(0, disc_radius, rings + 1)
    middle, ring = (cut[1:] + cut[:-1]) / 2, np.pi * (cut[1:] ** 2 - cut[:-1] ** 2)
    x = middle[None, :, None] * np.cos(phi) - rho[:, None, None]
    y = middle[None, :, None] * np.sin(phi)
    d2 = x**2 + y**2 + z[:, None, None] ** 2
    toward = -(x * rho[:, None, None] - z[:, None, None] ** 2) / radius
    kernel = (toward * np.abs(z)[:, None, None] / (np.pi * d2**2)).mean(axis=2)
    to_disc = kernel * ring[None]
    sides = [np.where((z > 0)[:, None], to_disc, 0), np.where((z < 0)[:, None], to_disc, 0)]
    count = bands + 2 * rings
    view = np.zeros((count, count))
    view[:bands, :bands] = walls
    for k, part in enumerate(sides):
        place = slice(bands + k * rings, bands + (k + 1) * rings)
        view[:bands, place] = part
        view[place, :bands] = (part * area[:, None] / ring[None]).T
    np.testing.assert_allclose(view.sum(axis=1), 1.0, atol=4e-3)
    view /= view.sum(axis=1, keepdims=True)
    back_again = np.concatenate([np.full(bands, wall), np.full(rings, front), np.full(rings, back)])
    first = np.zeros(count)
    first[:bands] = np.maximum(np.cos(edge[:-1]), 0) ** 2 - np.maximum(np.cos(edge[1:]), 0) ** 2
    # Power that arrives: P = first + view^T (reflected P).
    arrives = np.linalg.solve(np.eye(count) - view.T * back_again[None], first)
    return through * arrives[:bands].sum()
