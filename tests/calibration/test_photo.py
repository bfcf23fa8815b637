"""Photos from image files: brightness of a made-up rod comes back, and bad ones are refused."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from PIL import Image, ImageOps

from glowsim.calibration.image import UnreadableError, read_frame
from glowsim.calibration.lit import Photo
from glowsim.calibration.patches import patches_of
from glowsim.calibration.response import response_curve
from glowsim.calibration.strip import Strip, strip_of
from tests.support.photos import RADIUS, STRAIGHT, fading, save, taken, write_16_bit

MARKS = ((0.0, 0.0, 100.0), (0.0, 15.0, 0.0), (0.0, -15.0, 0.0), (15.0, 0.0, 50.0))
PICTURE = taken()
GAIN = {"short.png": 0.8, "middle.png": 6.4, "long.png": 51.2}
BRACKET = [{"file": file, "exposure_s": gain / 80} for file, gain in GAIN.items()]


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    place = tmp_path_factory.mktemp("photos")
    for seed, (file, gain) in enumerate(GAIN.items()):
        save(PICTURE, place / file, gain=gain, seed=seed)
    return place


def photo(*files, marks=MARKS, picture=PICTURE, **more) -> Photo:
    points = [{"pixel": picture.pixel(mark), "at_mm": mark} for mark in marks]
    images = [{"file": file} for file in files]
    given = {"scene": "rod.toml", "band": "green", "images": images, "points": points}
    return Photo(**(given | STRAIGHT | more))


def off(strip: Strip) -> np.ndarray:
    """Return ln of what was read over what was there, less its mean."""
    ratio = np.log(strip.values / fading(strip.points))
    return ratio - ratio.mean()


@pytest.mark.parametrize(
    ("file", "response"),
    [("srgb.png", "srgb"), ("linear.png", "linear"), ("linear.tif", "linear")],
)
def test_sixteen_bits_are_read_to_two_percent(folder, file, response):
    save(
        PICTURE, folder / file, deep=True, **({} if response == "srgb" else {"curve": lambda x: x})
    )
    strip = strip_of(photo(file, response=response, distance_mm=600), folder)
    assert np.abs(off(strip)).max() < 0.03
    assert read_frame(folder / file).full == 65535


def test_sixteen_bits_come_back_to_the_last_one(tmp_path):
    codes = np.random.default_rng(1).integers(0, 65536, (5, 7, 3)).astype(np.uint16)
    for name in ("a.png", "a.tif"):
        write_16_bit(tmp_path / name, codes)
        assert (read_frame(tmp_path / name).codes == codes).all()


def test_exposures_make_one_wide_range(folder):
    """A fall of 1:55 by three exposures of 8 bits, clipped and noisy places left out."""
    strip = strip_of(photo(images=BRACKET), folder)
    assert np.abs(off(strip)).max() < 0.06  # places are off by 0.7 mm, which is 4 %
    assert "34 were clipped" in strip.left_out
    assert len(strip.values) == 27


def patched(*places, **more) -> Photo:
    return photo(images=BRACKET, from_mm=None, to_mm=None, patches_mm=places, **more)


def test_patches_are_read_wherever_they_lie(folder):
    """Round patches square-on and aslant, up a rod whose light falls by e in 20 mm."""
    turns = np.radians([0, 40, -40, 20, -20])
    outward = np.column_stack([np.cos(turns), np.sin(turns), np.zeros(5)])
    places = RADIUS * outward + np.outer([12.0, 20.0, 30.0, 45.0, 60.0], [0, 0, 1])
    strip = patches_of(patched(*places.tolist()), folder, outward)
    assert np.abs(off(strip)).max() < 0.06  # half a mm is 2.5 %
    assert strip.moved_mm.shape == (2, 5, 7)
    assert np.nanmax(strip.outline, axis=0) == pytest.approx(
        PICTURE.camera.project(places)[0].max(axis=0), abs=6
    )


@pytest.mark.parametrize(
    ("place", "more", "words"),
    [
        ((RADIUS, 0.0, 290.0), {}, "runs out of the image"),
        ((RADIUS, 0.0, 50.0), {"width_mm": 0.2}, "12 are needed"),
    ],
)
def test_a_patch_that_cannot_be_read_is_named(folder, place, more, words):
    places = [(RADIUS, 0.0, 20.0), (RADIUS, 0.0, 30.0), place]
    outward = np.tile([1.0, 0.0, 0.0], (3, 1))
    if "width_mm" in more:
        places = [place, *places[:2]]
    with pytest.raises(UnreadableError, match=words) as fault:
        patches_of(patched(*places, **more), folder, outward)
    assert fault.value.at == ("patches_mm", 0 if more else 2)


def test_a_dark_frame_takes_stray_light_away(folder):
    lit, room = replace(PICTURE), replace(PICTURE)
    room.light = np.full(PICTURE.light.shape, 0.01)
    lit.light = PICTURE.light + room.light
    save(lit, folder / "lit.png", deep=True)
    save(room, folder / "dark.png", deep=True)
    with_it = strip_of(photo("lit.png", dark={"file": "dark.png"}, distance_mm=600), folder)
    without = strip_of(photo("lit.png", distance_mm=600), folder)
    assert np.abs(off(with_it)).max() < 0.05
    assert np.abs(off(without)).max() > 0.3
    assert with_it.stray < 0.3 * without.stray


def test_where_the_camera_stood(folder):
    """Two points give shape and scale, four the view as well; what is read moves along less."""
    two, four = (strip_of(photo("short.png", marks=MARKS[:n]), folder) for n in (2, 4))
    for strip, share in ((two, 0.5), (four, 0.3)):
        eye = strip.pose.eye_mm - strip.points.mean(axis=0)
        true = PICTURE.camera.eye_mm - strip.points.mean(axis=0)
        assert eye @ true / np.linalg.norm(eye) / np.linalg.norm(true) > np.cos(np.radians(6))
        assert np.linalg.norm(eye) == pytest.approx(np.linalg.norm(true), rel=share)
        sd = np.sqrt((strip.moved_mm**2).sum(axis=1))
        assert 0.2 < sd.mean() < 3.0
    assert (four.moved_mm**2).sum() < (two.moved_mm**2).sum()


def test_every_turn_of_exif_is_undone(tmp_path):
    codes = np.random.default_rng(2).integers(0, 256, (4, 6, 3)).astype(np.uint8)
    for turn in range(1, 9):
        exif = Image.Exif()
        exif[0x0112] = turn
        Image.fromarray(codes).save(tmp_path / "a.png", exif=exif)
        upright = ImageOps.exif_transpose(Image.open(tmp_path / "a.png"))
        assert (read_frame(tmp_path / "a.png").codes == np.asarray(upright)).all()


def test_a_turned_phone_changes_nothing(folder):
    save(PICTURE, folder / "turned.jpg", orientation=6, gain=0.8)
    plain, turned = (strip_of(photo(f), folder) for f in ("short.png", "turned.jpg"))
    assert np.log(turned.values / plain.values) == pytest.approx(0.0, abs=0.08)  # JPEG's own noise


def curve(light):
    """A camera's curve that is no power: gamma 2.2 with a shoulder."""
    return np.clip(light, 0.0, 1.0) ** (1 / 2.2) * (1.15 - 0.15 * np.clip(light, 0.0, 1.0))


def test_a_known_curve_comes_back_from_brackets():
    """Debevec and Malik's way: five exposures of 200 places, whole codes, noise of one code."""
    rng = np.random.default_rng(3)
    light, times = np.exp(rng.uniform(np.log(2e-3), 0.0, 200)), np.array([1, 2, 4, 8, 16]) / 4
    codes = 255 * curve(light[None] * times[:, None]) + rng.normal(0, 0.7, (5, 200))
    found = response_curve(np.clip(np.round(codes), 0, 255).astype(int), np.log(times))
    at = np.linspace(1e-4, 1.0, 4000)
    known = np.interp(np.arange(256) / 255, curve(at), np.log(at))
    away = (found - known)[20:245]
    assert np.abs(away - np.median(away)).max() < 0.03


def test_a_camera_of_unknown_curve_is_read_by_its_brackets(folder):
    for seed, gain in enumerate((0.8, 2.4, 7.2, 21.6)):
        save(PICTURE, folder / f"own{seed}.png", gain=gain, curve=curve, seed=seed)
    shots = [{"file": f"own{k}.png", "exposure_s": 3.0**k / 100} for k in range(4)]
    strip = strip_of(photo(images=shots, response="brackets"), folder)
    assert np.abs(off(strip)).max() < 0.1


def swapped(i, j):
    points = [{"pixel": PICTURE.pixel(mark), "at_mm": mark} for mark in MARKS]
    points[i]["pixel"], points[j]["pixel"] = points[j]["pixel"], points[i]["pixel"]
    return points


def shrunk(mark):
    return {"pixel": [0.25 * c for c in PICTURE.pixel(mark)], "at_mm": mark}


def shots(first, second):
    return [
        {"file": "short.png", "exposure_s": first},
        {"file": "middle.png", "exposure_s": second},
    ]


BAD = {
    "blurred": ({"blur_px": 9.0}, {}, "blurred"),
    "clipped": ({"gain": 300.0}, {}, "clipped along 100 %"),
    "too dark": ({"gain": 0.002}, {}, "dark along 100 %"),
    "wrong channel": ({"channel": 2}, {}, "brightest in blue, not in green"),
    "swapped points": ({}, {"points": swapped(0, 1)}, "points 1 and 2 look swapped"),
    "tiny": ({}, {"points": [shrunk(mark) for mark in MARKS]}, "pixels long in the image"),
    "turned": (
        {},
        {"points": [{"pixel": [300.0, 10.0], "at_mm": MARKS[0]}, *swapped(1, 1)[1:]]},
        "outside the image",
    ),
    "no file": ({}, {"images": [{"file": "none.png"}]}, "no such file"),
    "raw without its library": ({}, {"images": [{"file": "none.dng"}]}, "no such file"),
    "exposure not fixed": ({}, {"images": shots(0.01, 0.02)}, "8 times as bright"),
    "shutter unknown": ({}, {"images": shots(None, 0.02)}, "give exposure_s"),
    "off the image": ({}, {"to_mm": [15.0, 0.0, 290.0]}, "runs out of the image"),
}


@pytest.mark.parametrize("name", BAD)
def test_one_message_each(folder, name):
    how, more, words = BAD[name]
    save(PICTURE, folder / "bad.png", **how)
    with pytest.raises(UnreadableError, match=words) as fault:
        strip_of(photo("bad.png", **more), folder)
    assert "\n" not in str(fault.value)
    assert fault.value.at


@pytest.mark.parametrize(
    ("other", "words"),
    [
        (lambda column, row: np.full(column.shape, 0.4), "nowhere darker"),
        (lambda column, row: np.exp(-((column - 90) ** 2 + (row - 150) ** 2) / 5e3), "no sharp"),
        (lambda column, row: 0.02 + 0.5 * (np.cos(column / 6 + row / 60) > 0), "bright alternate"),
        (
            lambda column, row: 0.02 + 0.5 * (np.hypot(column - 100, row - 170) % 36 < 18),
            "bright alternate",
        ),
    ],
    ids=["a lit wall", "a lamp's halo", "stripes", "rings"],
)
def test_a_photo_of_something_else_is_no_outline(folder, other, words):
    row, column = np.mgrid[: PICTURE.light.shape[0], : PICTURE.light.shape[1]]
    save(replace(PICTURE, light=other(column, row)), folder / "other.png", deep=True)
    with pytest.raises(UnreadableError, match=words) as fault:
        strip_of(photo("other.png", distance_mm=600), folder)
    assert "is this a photo of" in str(fault.value)


def test_a_text_is_no_image(folder):
    (folder / "text.png").write_text("hello", encoding="utf-8")
    with pytest.raises(UnreadableError, match="not an image"):
        strip_of(photo("text.png"), folder)
