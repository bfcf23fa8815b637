"""Shells that are open to the room, as print files have them: one closed surface each."""

from __future__ import annotations

import manifold3d
import numpy as np

from glowsim.geometry.mesh import Mesh, from_manifold


def bowl(radius: float = 40.0, wall: float = 2.0, fine: int = 64) -> Mesh:
    """Return a hemispherical bowl, its opening at z = 0 and its bottom below."""
    full = manifold3d.Manifold.sphere(radius, fine) - manifold3d.Manifold.sphere(
        radius - wall, fine
    )
    return from_manifold(full.split_by_plane((0, 0, -1), 0.0)[0])


def bowl_with_eyes(radius: float = 60.0, wall: float = 2.0) -> Mesh:
    """Return a bowl with two round holes of 18 mm through its bottom."""
    solid = manifold3d.Manifold.sphere(radius, 96) - manifold3d.Manifold.sphere(radius - wall, 96)
    solid = solid.split_by_plane((0, 0, -1), 0.0)[0]
    for x in (-18, 18):
        solid -= manifold3d.Manifold.cylinder(4 * radius, 9, 9, 48, True).translate((x, 0, 0))
    return from_manifold(solid)


def tube(length: float = 80.0, radius: float = 20.0, wall: float = 1.5) -> Mesh:
    """Return a tube that is open at both ends, along z from 0."""
    outside = manifold3d.Manifold.cylinder(length, radius, radius, 96)
    return from_manifold(
        outside - manifold3d.Manifold.cylinder(length, radius - wall, radius - wall, 96)
    )


def half_tube(length: float = 120.0, radius: float = 60.0, wall: float = 2.0) -> Mesh:
    """Return half of such a tube, y above 0: its one rim runs around three sides of a box."""
    outside = manifold3d.Manifold.cylinder(length, radius, radius, 96)
    whole = outside - manifold3d.Manifold.cylinder(length, radius - wall, radius - wall, 96)
    return from_manifold(whole.split_by_plane((0, 1, 0), 0.0)[0])


def vase() -> Mesh:
    """Return a vase with a belly of 70 mm and a mouth of 26 mm, 90 mm high."""
    outline = [(0, 0), (20, 0), (35, 40), (15, 90), (13, 90), (33, 40), (18.6, 2), (0, 2)]
    section = manifold3d.CrossSection([np.array(outline, float)])
    return from_manifold(manifold3d.Manifold.revolve(section, 64))
