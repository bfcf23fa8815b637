"""A picture laid on a body: its area against closed forms, its place, and what it cannot be."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh
from PIL import Image

from glowsim.errors import GeometryError, SceneError
from glowsim.geometry.mesh import Mesh
from glowsim.geometry.shapes import shape_mesh
from glowsim.geometry.stencil import outlines_of
from glowsim.geometry.where import Region, region_on
from glowsim.scene import Orb, Picture, Slab, Where, parse_scene
from glowsim.transport.build import build_problem
from tests.support.meshes import can, held_on

SHEET = shape_mesh(Slab(kind="slab", length_mm=60, width_mm=50, thickness_mm=2))
"""Twelve triangles, lying flat."""
ORB = shape_mesh(Orb(kind="orb", diameter_mm=40))


def disc(pixels: int, radius: float, at=(0.0, 0.0), smooth=True) -> Image.Image:
    """Return a black disc on white, its radius and place as shares of the picture's side."""
    y, x = (np.mgrid[:pixels, :pixels] + 0.5) / pixels - 0.5
    off = (np.hypot(x - at[0], y - at[1]) - radius) * pixels
    return Image.fromarray(np.uint8(255 * np.clip(off + 0.5, 0, 1) if smooth else 255 * (off > 0)))


def laid(mesh: Mesh, folder, image: Image.Image, **given) -> tuple[Mesh, np.ndarray, Region]:
    """Lay a picture on a mesh; return it cut, which faces are covered, and the region."""
    image.save(folder / "picture.png")
    picture = Picture(file="picture.png", **{"width_mm": 40, "seen_from": (0, 0, 1)} | given)
    region = region_on(mesh, Where(picture=picture), folder)
    return *held_on(mesh, region), region


@pytest.mark.parametrize(
    ("pixels", "smooth", "off"), [(200, True, 1e-3), (200, False, 5e-3), (2100, False, 1e-3)]
)
def test_a_disc_on_a_sheet(tmp_path, pixels, smooth, off):
    cut, covered, _ = laid(SHEET, tmp_path, disc(pixels, 0.3, smooth=smooth))
    assert cut.areas_mm2[covered].sum() == pytest.approx(np.pi * 12**2, rel=off)
    assert cut.areas_mm2.sum() == pytest.approx(SHEET.areas_mm2.sum(), rel=1e-12)
    assert cut.volume_mm3 == pytest.approx(SHEET.volume_mm3, rel=1e-12)
    assert (cut.normals[covered] @ (0, 0, 1) > 0.999).all()
    np.testing.assert_allclose(
        np.average(cut.centroids[covered][:, :2], axis=0, weights=cut.areas_mm2[covered]),
        SHEET.bounds.mean(axis=0)[:2],
        atol=0.02,
    )


def test_a_disc_on_the_front_of_an_orb_is_a_cap(tmp_path):
    """Archimedes: a cap of a ball has the area of its height on the cylinder around it."""
    cut, covered, _ = laid(ORB, tmp_path, disc(400, 0.3), seen_from=(0, -1, 0))
    cap = 2 * np.pi * 20 * (20 - np.sqrt(20**2 - 12**2))
    smaller = ORB.areas_mm2.sum() / (4 * np.pi * 20**2)  # of many flat faces
    assert cut.areas_mm2[covered].sum() == pytest.approx(cap * smaller, rel=2e-3)
    assert (cut.centroids[covered][:, 1] < 0).all()
    through, both, _ = laid(ORB, tmp_path, disc(400, 0.3), seen_from=(0, -1, 0), sides="both")
    assert through.areas_mm2[both].sum() == pytest.approx(2 * cap * smaller, rel=2e-3)


def test_it_lies_as_it_is_seen(tmp_path):
    """A disc to the right and above the middle of the picture, seen from four sides."""
    image = disc(200, 0.1, at=(0.2, -0.3))
    for seen_from, right, up in (
        ((0, -1, 0), (1, 0, 0), (0, 0, 1)),
        ((1, 0, 0), (0, 1, 0), (0, 0, 1)),
        ((0, 0, 3), (1, 0, 0), (0, 1, 0)),
        ((0, 0, -1), (-1, 0, 0), (0, 1, 0)),
    ):
        cut, covered, _ = laid(ORB, tmp_path, image, seen_from=seen_from)
        middle = cut.centroids[covered].mean(axis=0) - ORB.bounds.mean(axis=0)
        assert middle @ right == pytest.approx(8, abs=0.6)
        assert middle @ up == pytest.approx(12, abs=0.6)
        assert middle @ seen_from > 0


def test_size_place_and_turn(tmp_path):
    wide = disc(200, 0.1, at=(0.3, 0.0)).crop((0, 50, 200, 150))
    cut, covered, _ = laid(
        SHEET, tmp_path, wide, width_mm=None, height_mm=20, middle_mm=(3, -4, 99), turned_deg=90
    )
    middle = np.average(cut.centroids[covered], axis=0, weights=cut.areas_mm2[covered])
    np.testing.assert_allclose(middle[:2], (3, -4 + 12), atol=0.02)
    assert cut.areas_mm2[covered].sum() == pytest.approx(np.pi * 4**2, rel=2e-3)


def test_black_up_to_its_edge_ends_there_and_white_may_be_what_counts(tmp_path):
    black = Image.new("L", (30, 20), 0)
    cut, covered, _ = laid(SHEET, tmp_path, black, width_mm=30)
    assert cut.areas_mm2[covered].sum() == pytest.approx(600, rel=2e-3)
    clear = Image.new("RGBA", (20, 20), (0, 0, 0, 0))
    cut, covered, _ = laid(SHEET, tmp_path, clear, width_mm=30, covers="white")
    assert cut.areas_mm2[covered].sum() == pytest.approx(900, rel=2e-3)
    deep = Image.fromarray(np.uint16(np.linspace(0, 65535, 40))[None].repeat(40, axis=0))
    cut, covered, _ = laid(SHEET, tmp_path, deep, width_mm=30)
    assert cut.areas_mm2[covered].sum() == pytest.approx(450, rel=0.01)


def test_faces_along_it_are_as_fine_as_asked_and_others_stay(tmp_path):
    cut, covered, region = laid(SHEET, tmp_path, disc(200, 0.3), edge_mm=2)
    edges = np.linalg.norm(cut.triangles - np.roll(cut.triangles, 1, axis=1), axis=2).max(axis=1)
    beside = np.abs(np.hypot(*(cut.centroids - SHEET.bounds.mean(axis=0))[:, :2].T) - 12) < 0.3
    assert edges[beside & (cut.centroids[:, 2] > 0)].max() < 2 * 1.2
    assert len(cut.faces) < 1000
    again, covered_again, _ = laid(SHEET, tmp_path, disc(200, 0.3), edge_mm=2)
    np.testing.assert_array_equal(cut.vertices, again.vertices)
    np.testing.assert_array_equal(covered, covered_again)
    far = region.stencil.limit.beyond(np.array([[500.0, 0, 0], [0, 0, 0]]))
    assert 400 < far[0] < 488  # never more than it is
    assert far[1] < 0


def test_a_disc_by_texture_keeps_its_area_round_a_can(tmp_path):
    """What is unrolled keeps its area; two halves meet across the seam."""
    around, high = 40 * 2 * 10 * np.sin(np.pi / 40), 60.0
    pixels = np.array([630, 600])
    y, x = np.mgrid[: pixels[1], : pixels[0]]
    off = np.hypot((x + 0.5) / 630 * around, ((y + 0.5) / 600 - 0.4) * high)
    off = np.minimum(off, off[:, ::-1])  # its middle lies on the seam, three fifths up
    Image.fromarray(np.uint8(255 * (off > 9))).save(tmp_path / "picture.png")
    can(30).export(tmp_path / "can.glb")
    text = """[[bodies]]
name = "can"
material = "pla_white"
mesh = { file = "can.glb", units = "mm", up = "z" }
dark_where = { picture = { file = "picture.png", by_texture = true } }
"""
    (body,) = build_problem(parse_scene(text, folder=tmp_path)).bodies
    dark = body.named.dark
    assert body.walls.areas_mm2[dark].sum() == pytest.approx(np.pi * 81, rel=5e-3)
    middle = np.average(body.walls.centroids[dark], axis=0, weights=body.walls.areas_mm2[dark])
    assert np.degrees(np.arctan2(middle[1], middle[0])) == pytest.approx(30, abs=1)
    assert middle[2] == pytest.approx(36, abs=0.1)
    again = text.replace(
        'mesh = { file = "can.glb", units = "mm", up = "z" }',
        'shape = { kind = "orb", diameter_mm = 40 }',
    )
    with pytest.raises(SceneError, match=r"dark_where.picture.*no mesh file with texture"):
        build_problem(parse_scene(again, folder=tmp_path))


@pytest.mark.parametrize(
    ("make", "said"),
    [
        (lambda path: Image.new("L", (9, 9), 255).save(path), "nothing black on it"),
        (lambda path: path.write_text("no picture"), "is not a picture that can be read"),
        (lambda path: path.with_name("pictures.png").write_text(""), "did you mean 'pictures.png'"),
        (lambda path: Image.new("1", (9000, 9000)).save(path), "more than 50 million pixels"),
        (lambda path: path.mkdir(), "there is no picture"),
    ],
)
def test_what_is_no_picture(tmp_path, make, said):
    make(tmp_path / "picture.png")
    picture = Picture(file="picture.png", width_mm=10)
    with pytest.raises(GeometryError, match=said):
        region_on(SHEET, Where(picture=picture), tmp_path)


def test_what_covers_a_ball_from_one_side_ends_where_it_turns_away(tmp_path):
    """By whole faces the half of this ball that looks one way is 3 % off."""
    coarse = trimesh.creation.icosphere(subdivisions=2, radius=15)
    ball = Mesh.single_part(coarse.vertices, coarse.faces)
    black = Image.new("L", (20, 20), 0)
    cut, covered, _ = laid(ball, tmp_path, black, seen_from=(0.7, -1, 0.4))
    assert cut.areas_mm2[covered].sum() == pytest.approx(ball.areas_mm2.sum() / 2, rel=2e-3)


def test_its_outlines_are_where_it_covers(tmp_path):
    """A ring, turned and off the middle: two circles, in the plane it is seen in."""
    y, x = (np.mgrid[:400, :400] + 0.5) / 400 - 0.5
    off = np.abs(np.hypot(x - 0.2, y) - 0.2) - 0.1
    Image.fromarray(np.uint8(255 * np.clip(400 * off + 0.5, 0, 1))).save(tmp_path / "ring.png")
    picture = Picture(
        file="ring.png", width_mm=40, seen_from=(0, -1, 0), turned_deg=90, middle_mm=(1, 2, 3)
    )
    lines = outlines_of(picture, tmp_path, ORB)
    radii = [np.linalg.norm(line - (1, 2, 3 + 8), axis=1) for line in lines]
    assert sorted(round(float(r.mean())) for r in radii) == [4, 12]
    for line, radius in zip(lines, radii, strict=True):
        np.testing.assert_allclose(radius, radius.mean(), atol=0.06)
        np.testing.assert_allclose(line[:, 1], 2, atol=1e-9)
