"""Evenness, hot spots, dark gaps and the verdict, on surfaces whose brightness is made up."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from glowsim.findings import Eye, Look, evenness, findings_of, grade_of, reads_as_lit
from glowsim.findings.evenness import area_percentiles
from glowsim.findings.luminance import looks_of
from glowsim.geometry.mesh import Mesh
from glowsim.geometry.patchwork import Patchwork
from glowsim.geometry.shapes import shape_mesh
from glowsim.scene import Room, Slab, Thresholds
from glowsim.transport.problem import Copy
from glowsim.transport.result import SurfaceGlow
from tests.findings.glows import grid_faces, lit_by_lamp
from tests.pictures.glows import body_glow, scene_with

FACE_MM = 4.0


def plate(width_mm=240.0) -> Mesh:
    """The top of a slab, cut into right triangles of `FACE_MM`."""
    many = int(width_mm / FACE_MM)
    x, y = np.meshgrid(np.arange(many + 1), np.arange(many + 1), indexing="ij")
    points = np.column_stack([x.ravel(), y.ravel(), np.zeros(x.size)]) * FACE_MM
    points -= [width_mm / 2, width_mm / 2, 0]
    return Mesh.single_part(points, grid_faces(many, many))


def lit(brightness, *, lights=None, whiteness=0.0, flux_factor=1.3) -> SurfaceGlow:
    """A prop of one plate whose luminance is `brightness(x, y)` [cd/m2]."""
    surface = plate()
    x, y, _ = surface.centroids.T
    exitance_lm_m2 = np.pi * np.broadcast_to(brightness(x, y), x.shape)
    place = np.array([[0.0, 0.0, -10.0]]) if lights is None else np.array(lights)
    body = replace(
        body_glow(surface, exitance_lm_m2, whiteness=whiteness),
        light_mm=place.mean(axis=0, keepdims=True),
        led_mm=place,
        led_light=np.zeros(len(place), np.int64),
    )
    return lit_by_lamp(body, flux_factor=flux_factor)


def dark_room(distance_mm=1000.0) -> Room:
    return Room(illuminance_lx=0.0, viewing_distance_mm=distance_mm)


def found(brightness, room=None, limits=None, lights=None):
    glow = lit(brightness, lights=lights)
    room = room or dark_room()
    limits = limits or Thresholds()
    (look,) = looks_of(glow, room)
    return Eye(look, room, limits).patches()


def spot(height, radius, centre=(30.0, -20.0)):
    def brightness(x, y):
        r2 = (x - centre[0]) ** 2 + (y - centre[1]) ** 2
        return 100.0 * (1 + height * np.exp(-r2 / (2 * radius**2)))

    return brightness


def test_an_even_glow_has_no_findings():
    assert found(lambda x, y: 100.0 + 0 * x) == []


@pytest.mark.parametrize(("bridge", "spots"), [(0.8, 2), (1.0, 1)])
def test_two_spots_are_one_where_all_between_them_stands_out_half_as_much(bridge, spots):
    """In logarithms: a bridge 1.67 times the mean parts them, one of 1.84 joins them, where 3 times
    the mean stands out by itself."""

    def brightness(x, y):
        ends = 1 + 4 * np.exp(-((np.abs(x) - 48) ** 2 + y**2) / 128)
        return 100 * np.maximum(ends, 1 + bridge * np.exp(-(y**2) / 128) * (np.abs(x) < 48))

    patches = found(brightness)
    assert [patch.kind for patch in patches] == ["hot spot"] * spots
    assert max(patch.length_mm for patch in patches) == pytest.approx(
        28 if spots == 2 else 120, abs=2
    )


def test_a_hot_spot_is_found_where_it_is_and_as_strong_as_it_is():
    (patch,) = found(spot(4.0, 8.0), lights=[[40.0, -20.0, -10.0]])
    assert patch.kind == "hot spot"
    np.testing.assert_allclose(patch.place_mm[:2], [30, -20], atol=FACE_MM)
    # The peak is 5 times the plate; the surroundings hold a little of the spot itself.
    assert 3.0 < patch.ratio < 5.0
    assert patch.ratio_to_mean == pytest.approx(5.0, rel=0.1)
    assert patch.light == 0
    assert patch.light_mm == pytest.approx(np.hypot(10, 10), abs=FACE_MM)


def test_a_dark_gap_is_found():
    (patch,) = found(spot(-0.8, 10.0))
    assert patch.kind == "dark gap"
    np.testing.assert_allclose(patch.place_mm[:2], [30, -20], atol=FACE_MM)
    assert patch.ratio < 0.4


def test_a_slow_ramp_is_no_finding_but_an_extreme_one_is():
    """A ramp over 14 degrees is hardly seen; but what is a tenth of the mean is dark."""
    assert found(lambda x, y: 100.0 + 0.25 * x) == []
    kinds = {p.kind for p in found(lambda x, y: 100 * np.exp(x / 40), limits=Thresholds())}
    assert kinds == {"hot spot", "dark gap"}


def test_ripple_too_fine_for_the_distance_is_not_seen():
    """8 mm stripes: 0.4 degrees at 1.1 m, but 1/30 degree at 14 m, where the eye averages them."""

    def stripes(x, y):
        return 100.0 * (1 + 0.8 * np.sign(np.sin(2 * np.pi * (x + 2) / 16)))

    near = found(stripes, dark_room(1100))
    far = found(stripes, dark_room(40_000))
    assert len(near) > 5
    assert far == []


def test_room_light_washes_a_hot_spot_out():
    glow = lit(spot(1.5, 8.0), whiteness=0.9)
    for lux, count in ((0.0, 1), (5000.0, 0)):
        room = Room(illuminance_lx=lux, viewing_distance_mm=1000)
        (look,) = looks_of(glow, room)
        assert len(Eye(look, room, Thresholds()).patches()) == count


def test_a_prop_is_judged_as_a_whole_too():
    findings = findings_of(lit(lambda x, z: 100.0), scene_with(room=dark_room()))
    assert findings.whole.mean_cd_m2 == pytest.approx(100, rel=1e-6)


def test_the_least_patch_is_a_disc_of_a_tenth_of_a_degree():
    (look,) = looks_of(lit(lambda x, z: 100.0), dark_room(2000))
    eye = Eye(look, dark_room(2000), Thresholds())
    assert eye.least_mm2 == pytest.approx(np.pi / 4 * 3.4907**2, rel=1e-4)  # 2 m x tan 0.1 degrees
    assert eye.fine_mm == pytest.approx(1.1636, rel=1e-4)  # 2 m x tan of two minutes of arc


def test_worst_finding_comes_first():
    def two(x, y):
        return spot(2.0, 7.0, (-60, 0))(x, y) + spot(8.0, 7.0, (60, 0))(x, y) - 100.0

    first, second = found(two)
    assert first.ratio > second.ratio
    assert first.place_mm[0] > 0 > second.place_mm[0]


def test_smoothing_keeps_the_sum_and_spreads_like_a_gaussian():
    surface = plate()
    patchwork = Patchwork(surface, np.ones(len(surface.faces), bool))
    middle = int(np.linalg.norm(surface.centroids, axis=1).argmin())
    point = np.zeros(len(surface.faces))
    point[middle] = 1.0
    sigma = 16.0
    spread = patchwork.smoothed(point, sigma)
    area = surface.areas_mm2
    assert (spread * area).sum() == pytest.approx((point * area).sum(), rel=1e-9)
    share = spread * area / (spread * area).sum()
    x, y, _ = (surface.centroids - surface.centroids[middle]).T
    # Exact for diffusion on a plane up to the lattice of faces.
    assert (share * x**2).sum() == pytest.approx(sigma**2, rel=0.1)
    assert (share * y**2).sum() == pytest.approx(sigma**2, rel=0.1)


def test_evenness_figures_of_a_made_up_surface():
    figures = evenness("x", np.array([1.0, 2.0, 3.0]), np.array([1.0, 1.0, 2.0]))
    assert figures.mean_cd_m2 == pytest.approx(9 / 4)
    assert figures.u0 == pytest.approx(4 / 9)
    assert figures.least_over_greatest == pytest.approx(1 / 3)
    deviation = np.sqrt((1.25**2 + 0.25**2 + 2 * 0.75**2) / 4)
    assert figures.variation == pytest.approx(deviation / 2.25)


def test_where_the_eye_decides_is_known():
    # Face by face too dark for its grade, and not so from where it is seen.
    flat = evenness("x", np.ones(3), np.ones(3))
    fair = replace(flat, p5_over_mean=0.47, seen_p5_over_mean=0.53, off_by=1.3, grade="fair")
    assert fair.eye_decides(Thresholds())
    assert not replace(fair, p5_over_mean=0.5).eye_decides(Thresholds())
    assert not replace(fair, grade="patchy").eye_decides(Thresholds())
    assert replace(fair, p5_over_mean=0.69, grade="even").eye_decides(Thresholds())


def test_percentiles_weigh_by_area():
    low, high = area_percentiles(np.array([10.0, 20.0]), np.array([1.0, 9.0]), (5, 95))
    assert low == pytest.approx(10.0)
    assert high == pytest.approx(20.0)
    (middle,) = area_percentiles(np.arange(101.0), np.ones(101), (50,))
    assert middle == pytest.approx(50.0)


def test_reads_as_lit_in_hall_light():
    """White paper (0.9) in 300 lx has 85.94 cd/m2; 1.7 times that is 146.1 (Bonato & Gilchrist,
    Perception 23, 991 (1994) for the factor)."""
    room = Room(illuminance_lx=300)
    glow = lit(lambda x, y: 76.69 + 0 * x, whiteness=0.5)
    (look,) = looks_of(glow, room)
    verdict = reads_as_lit(look, glow, room, Thresholds())
    assert verdict.white_paper_cd_m2 == pytest.approx(85.944, rel=1e-4)
    assert verdict.needed_cd_m2 == pytest.approx(146.10, rel=1e-4)
    # A diffuse body of reflectance 0.5 sends back 47.75 cd/m2: (76.69 + 47.75) / 47.75 = 2.606.
    assert verdict.on_off == pytest.approx(2.606, rel=1e-3)
    assert verdict.ratio == pytest.approx((76.69 + 47.746) / 85.944, rel=1e-3)
    assert verdict.grade == "tinted"
    assert verdict.lit_share == 0.0
    assert verdict.low < verdict.ratio < verdict.high


@pytest.mark.parametrize(
    ("ratio", "grade"),
    [
        (0.5, "looks painted"),
        (1.2, "tinted"),
        (1.7, "glows"),
        (5, "glows strongly"),
        (30, "bright"),
    ],
)
def test_grades(ratio, grade):
    assert grade_of(ratio) == grade


def test_copies_with_equal_lights_are_one_look():
    glow = lit(lambda x, y: 100.0 + 0 * x)
    twice = SurfaceGlow(
        glow.title,
        glow.bodies,
        (glow.copies[0], Copy("other", "other", 0, np.eye(4), (1,))),
        (glow.lights[0], glow.lights[0]),
        *("quick", 0, 0.0),
    )
    assert [len(look.copies) for look in looks_of(twice, dark_room())] == [2]
    dim = twice.driven({"all": np.full(3, 0.5)})
    assert len(looks_of(dim, dark_room())) == 1


def test_look_is_linear_in_the_drive():
    glow = lit(lambda x, y: 100.0 + x)
    half = glow.driven({"all": np.full(3, 0.5)})
    (full_look,), (half_look,) = looks_of(glow, dark_room()), looks_of(half, dark_room())
    assert isinstance(full_look, Look)
    np.testing.assert_allclose(half_look.luminance_cd_m2, full_look.luminance_cd_m2 / 2, rtol=1e-6)


def test_slab_shape_is_joined_all_round():
    mesh = shape_mesh(Slab(kind="slab", length_mm=10, width_mm=10, thickness_mm=10))
    patchwork = Patchwork(mesh, np.ones(len(mesh.faces), bool))
    assert len(patchwork.groups(np.ones(len(mesh.faces), bool))) == 1
