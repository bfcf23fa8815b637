"""Regions drawn at random on shapes drawn at random: their areas do not depend on the mesh, and the
surface stays closed."""

from __future__ import annotations

import numpy as np
import pytest
from PIL import Image

from glowsim.geometry.cuts import Surface
from glowsim.geometry.mesh import Mesh, from_manifold, to_manifold
from glowsim.geometry.shapes import shape_mesh
from glowsim.geometry.where import cut_for, faces_where, region_on
from glowsim.scene import Picture, Where
from tests.support.random_props import SHAPES


def drawn(rng: np.random.Generator, low, high) -> Where:
    ways = (
        {"above_mm": float(rng.uniform(low[2], high[2]))},
        {"centre_mm": tuple(rng.uniform(low, high)), "radius_mm": float(rng.uniform(3, 12))},
        {"facing": tuple(rng.normal(size=3)), "facing_within_deg": float(rng.uniform(10, 120))},
        {
            "picture": Picture(
                file="ring.png",
                width_mm=float(rng.uniform(5, 40)),
                seen_from=tuple(rng.normal(size=3)),
                turned_deg=float(rng.uniform(0, 360)),
                sides=("both", "facing")[rng.integers(2)],
            )
        },
    )
    return Where(**ways[rng.integers(len(ways))])


@pytest.mark.parametrize("seed", [1, *(pytest.param(k, marks=pytest.mark.slow) for k in (6, 9))])
def test_areas_do_not_depend_on_the_mesh(tmp_path, seed):
    x, y = np.meshgrid(np.linspace(-1, 1, 160), np.linspace(-1, 1, 120))
    ring = np.abs(np.hypot(x, y) - 0.6) > 0.2
    Image.fromarray(np.uint8(255 * ring)).save(tmp_path / "ring.png")
    rng = np.random.default_rng(seed)
    mesh = shape_mesh(SHAPES[rng.integers(len(SHAPES))])
    regions = [region_on(mesh, drawn(rng, *mesh.bounds), tmp_path) for _ in range(2)]
    areas = []
    for face_mm in (2.5, 5.0):
        whole = from_manifold(to_manifold(mesh, "shape").refine_to_length(face_mm))
        surface = Surface.of(whole.vertices, whole.faces)
        for region in regions:
            surface = cut_for(surface, region, np.ones(len(whole.faces), bool), whole.normals)
        cut = Mesh.single_part(surface.vertices, surface.faces)
        assert cut.areas_mm2.sum() == pytest.approx(mesh.areas_mm2.sum(), rel=1e-3)
        ways = np.concatenate([cut.faces[:, [k, (k + 1) % 3]] for k in range(3)])
        assert len(np.unique(ways, axis=0)) == len(ways)
        assert {tuple(way) for way in ways.tolist()} == {tuple(w[::-1]) for w in ways.tolist()}
        part = np.zeros(len(cut.faces), dtype=int)
        held = [faces_where(region, cut, part, ("surface",)) for region in regions]
        areas.append([float(cut.areas_mm2[faces].sum()) for faces in held])
    assert areas[0] == pytest.approx(areas[1], rel=3e-3, abs=0.1)
