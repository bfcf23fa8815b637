"""The look that is wanted of a body, as a level for each face that luminance is held against."""

from __future__ import annotations

import numpy as np

from glowsim.errors import SceneError
from glowsim.geometry.mesh import FloatArray, IntArray, Mesh
from glowsim.scene import Fade, Scene


def fade_of(scene: Scene, body: str) -> Fade | None:
    """Return the fade wanted of a body of a scene, by name; None for an even glow."""
    return next((b.wanted for b in scene.bodies if b.name == body), None)


def wanted_level(fade: Fade | None, surface: Mesh, faces: IntArray, body: str) -> FloatArray:
    """Return the luminance wanted of some faces, relative, (n,) float; its mean over them is 1.

    faces : (n,) int, those that are meant to glow;  body : its name, for messages
    A fade runs geometrically: equal distances take equal factors, which the eye reads as equal
    steps. Raises SceneError for a fade that lies beside these faces.
    """
    if fade is None:
        return np.ones(len(faces))
    axis = np.array(fade.axis or ((0, 0, -1) if fade.fade == "down" else (0, 0, 1)), dtype=float)
    axis /= np.linalg.norm(axis)
    along = surface.triangles[faces] @ axis
    low, high = float(along.min()), float(along.max())
    sign = -1.0 if fade.fade == "down" else 1.0
    start = low if fade.from_mm is None else sign * fade.from_mm
    end = high if fade.to_mm is None else sign * fade.to_mm
    if start >= min(end, high) or end <= low:
        ends = sorted((sign * low + 0.0, sign * high + 0.0))
        raise SceneError(
            f"{body}: the wanted fade from {sign * start:g} to {sign * end:g} mm misses what is "
            f"meant to glow, which reaches from {ends[0]:.4g} to {ends[1]:.4g} mm: mend "
            "wanted.from_mm or to_mm"
        )
    share = np.clip((along.mean(axis=1) - start) / (end - start), 0.0, 1.0)
    level = fade.to**share
    area = surface.areas_mm2[faces]
    return np.asarray(level * area.sum() / (area @ level))
