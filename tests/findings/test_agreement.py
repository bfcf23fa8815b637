"""Quick beside a reference whose noise is known."""

from __future__ import annotations

import json

import numpy as np
import pytest

from glowsim.errors import SolveError
from glowsim.findings import agreement_of, comparisons_from, comparisons_of, findings_of
from glowsim.findings.compared import compared_with
from glowsim.findings.slices import Ratio
from glowsim.scene import Room
from glowsim.transport.likeness import Likeness
from tests.findings.glows import FOAM, lit
from tests.pictures.glows import scene_with

ROOM = Room(illuminance_lx=0.0)


def level(x, z):
    return 100.0 * np.exp(-z / 60.0)


def reference(noise=0.05, seed=1):
    return lit(level, lambda x, z: noise * level(x, z), seed=seed, solver="reference")


def compared(factor, noise=0.05, seed=1, **changed):
    quick = lit(lambda x, z: level(x, z) * factor(x, z), **changed)
    (body,) = agreement_of(quick, reference(noise, seed), ROOM).bodies
    return body


def test_slices_stand_along_the_long_axis_and_cover_the_body():
    body = compared(lambda x, z: 1.0)
    assert body.axis == "z"
    assert [(s.from_mm, s.to_mm) for s in body.slices] == [
        (10.0 * k, 10.0 * k + 10) for k in range(12)
    ]
    assert sum(s.area_mm2 for s in body.slices) == pytest.approx(120 * 60)
    for part in body.slices:
        middle = (part.from_mm + part.to_mm) / 2
        assert part.quick_cd_m2 == pytest.approx(level(0, middle), rel=0.01)


def test_slices_differ_by_no_more_than_their_errors_say():
    """Equal but for noise: the squared deviations in errors add up to chi-square (240 slices;
    its standard deviation is sqrt(2 n))."""
    ratios = [
        s.luminance for seed in range(20) for s in compared(lambda x, z: 1.0, seed=seed).slices
    ]
    chi2 = sum(((r.value - 1) / r.noise) ** 2 for r in ratios)
    assert chi2 == pytest.approx(len(ratios), abs=3 * np.sqrt(2 * len(ratios)))


def test_the_ratio_of_all_light_and_of_the_bands():
    body = compared(lambda x, z: 1.07)
    assert abs(body.let_out.value - 1.07) < 3 * body.let_out.noise
    red, green, blue = body.bands
    assert red is None
    assert blue is None
    assert green.value == pytest.approx(body.let_out.value, rel=1e-5)
    assert body.let_out.noise < 0.003


def test_the_usual_difference_is_freed_from_the_noise():
    """A ripple of 8 %, wider than a patch, has a root mean square of 8 % / sqrt 2."""
    ripple = compared(lambda x, z: 1 + 0.08 * np.sin(2 * np.pi * z / 60), noise=0.15)
    assert ripple.noise > 0.02
    assert ripple.usual == pytest.approx(0.08 / np.sqrt(2), rel=0.15)
    assert not ripple.usual_below
    even = compared(lambda x, z: 1.0, noise=0.15)
    assert even.usual_below
    # A ripple of that size could just have been told.
    assert 0.005 < even.usual < 0.03


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("noise", [0.02, 0.15, 0.5])
@pytest.mark.parametrize(
    "factor",
    [
        lambda x, z: np.where(z > 100, 0.02, 1.0),  # a thin fin lit at its edge
        lambda x, z: 0.75 + 0.02 * np.sin(z),
        lambda x, z: np.where(x > 30, 1.6, 0.7),
        lambda x, z: 1.05,
        lambda x, z: 1.0,
    ],
)
def test_no_root_mean_square_is_above_the_worst_place(factor, noise, seed):
    body = compared(factor, noise, seed)
    assert 0 < body.usual < 1.01
    if body.worst is None:
        assert body.usual <= 2 * body.noise
    else:
        assert body.usual <= body.worst.ratio.off


def test_too_dark_and_too_bright_by_as_much_are_as_far_off():
    dark, bright = (compared(lambda x, z, f=f: f, 0.01).usual for f in (0.7, 1.3))
    assert dark == pytest.approx(0.3, rel=0.01)
    assert bright == pytest.approx(0.3, rel=0.01)


def test_patches_are_those_that_findings_are_made_of():
    """What the eye averages at the viewing distance (4 sigma wide), where noise allows it."""
    quick = lit(level)
    for distance, wide in ((3000.0, 6.98), (6000.0, 13.96)):
        room = Room(illuminance_lx=0.0, viewing_distance_mm=distance)
        (body,) = agreement_of(quick, reference(0.03), room).bodies
        assert body.patch_mm == pytest.approx(wide, rel=0.01)
    noisy = compared(lambda x, z: 1.0, noise=0.6)
    assert noisy.patch_mm > compared(lambda x, z: 1.0, noise=0.05).patch_mm


def test_the_worst_place_is_found():
    def bump(x, z):
        return 1 + 0.5 * np.exp(-((x - 40) ** 2 + (z - 80) ** 2) / 2 / 6**2)

    body = compared(bump)
    assert np.linalg.norm(np.array(body.worst.body_place_mm) - [40, 0, 80]) < 5
    # Averaged over a patch of deviation s the bump is 6^2 / (6^2 + s^2) as high.
    wanted = 1 + 0.5 * 36 / (36 + (body.patch_mm / 4) ** 2)
    assert abs(body.worst.ratio.value - wanted) < 4 * body.worst.ratio.noise + 0.03
    assert body.misjudged
    told = compared(bump, trust=("thin",))
    assert not told.misjudged
    assert told.worst_off == body.worst_off > 0.2


@pytest.mark.parametrize("seed", range(12))
def test_noise_alone_has_no_worst_place(seed):
    body = compared(lambda x, z: 1.0, noise=0.3, seed=seed)
    assert body.worst is None
    assert body.worst_off < 0.05
    assert not body.misjudged


def test_what_is_all_but_dark_is_not_judged():
    def dim_end(x, z):
        return np.where(z > 100, 0.0005, 1.0)

    quick = lit(lambda x, z: level(x, z) * dim_end(x, z) * np.where(z > 100, 5.0, 1.0))
    other = lit(lambda x, z: level(x, z) * dim_end(x, z), lambda x, z: 1e-9, solver="reference")
    (body,) = agreement_of(quick, other, ROOM).bodies
    assert body.slices[-1].luminance.value == pytest.approx(5, rel=1e-3)
    assert len(body.judged) == len(body.slices) - 2
    assert max(part.luminance.surely_off for part in body.judged) < 1e-5
    assert np.isnan(body.faces[0]).any()


def test_ratios_of_faces_are_for_the_map():
    body = compared(lambda x, z: np.where(x < 30, 0.8, 1.2), noise=0.02)
    ratio, noise = body.faces
    x = lit(level).bodies[0].surface.centroids[:, 0]
    assert np.median(ratio[x < 20]) == pytest.approx(0.8, rel=0.01)
    assert np.median(ratio[x > 40]) == pytest.approx(1.2, rel=0.01)
    assert np.median(noise / ratio) < 0.02


def test_results_of_different_bodies_are_refused():
    with pytest.raises(SolveError, match="different bodies"):
        agreement_of(lit(level, key="another"), reference(), ROOM)


def test_no_photon_out_is_said():
    dark = lit(lambda x, z: 0.0, lambda x, z: 0.0, solver="reference")
    with pytest.raises(SolveError, match="no photon has left 'plate' yet"):
        agreement_of(lit(level), dark, ROOM)


def test_only_what_exceeds_its_errors_is_sure():
    assert Ratio(1.10, 0.02).surely_off == pytest.approx(0.06)
    assert Ratio(0.90, 0.02, sure=4).surely_off == pytest.approx(0.02)
    assert Ratio(1.03, 0.02).surely_off == 0


def agreement():
    quick = lit(lambda x, z: level(x, z) * np.where(z < 30, 1.3, 1.0))
    return agreement_of(quick, reference(0.02), ROOM)


def test_what_was_compared_is_told_of_bodies_alike():
    found = agreement()
    (known,) = comparisons_from(json.loads(json.dumps(found.as_json() | comparisons_of(found))))
    assert known.likeness == FOAM
    assert known.worst_off == pytest.approx(found.bodies[0].worst_off, abs=1e-4)
    assert known.rough
    findings = findings_of(lit(level), scene_with(room=ROOM), (known,))
    assert "off as a rule, at worst" in str(findings)
    assert "too bright (±" in str(findings)
    assert "on 'plate' of plate" in str(findings)
    assert findings.as_json()["compared"]["plate"]["worst_off"] > 0.1
    # The reference itself needs no such word.
    assert findings_of(reference(), scene_with(room=ROOM), (known,)).compared == {}


@pytest.mark.parametrize(
    ("other", "alike"),
    [
        (FOAM, True),
        (Likeness(("foam",), False, 14.0, 3.0, 0.0025), True),
        (Likeness(("foam",), False, 16.0, 4.0, 0.002), False),
        (Likeness(("foam",), False, 10.0, 1.0, 0.002), False),
        (Likeness(("foam",), False, 10.0, 4.0, 0.02), False),
        (Likeness(("foam",), True, 10.0, 4.0, 0.002), False),
        (Likeness(("resin",), False, 10.0, 4.0, 0.002), False),
        (Likeness(("foam", "resin"), False, 10.0, 4.0, 0.002), False),
    ],
)
def test_which_bodies_are_alike(other, alike):
    known = comparisons_from(comparisons_of(agreement()))
    bodies = lit(level, likeness=other).bodies
    assert (compared_with(bodies, known) != {}) is alike
    assert FOAM.similar(other) is other.similar(FOAM) is alike


@pytest.mark.parametrize(
    "data", [None, [], {}, {"title": "x"}, {"title": "x", "compared": [{"body": "y"}]}, "text"]
)
def test_other_files_tell_nothing(data):
    assert comparisons_from(data) == ()
