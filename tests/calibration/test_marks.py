"""The printed marks card finds itself in a photo, and says so where it cannot."""

from __future__ import annotations

import numpy as np
import pytest

from glowsim.calibration.image import Frame, UnreadableError
from glowsim.calibration.lit import Photo
from glowsim.calibration.marks import CORNERS, MARK_MM, homography, marks_in
from glowsim.calibration.strip import camera_by_card
from tests.support.card_photo import Pinhole, photographed_card, save_codes

UP_THE_PIECE = np.array([[0, 0, 0], [0, 0, 50.0], [0, 0, 100.0], [10, 10, 50.0]])


def of_card(camera: Pinhole, **more) -> Photo:
    given = {
        "scene": "rod.toml", "band": "green", "images": [{"file": "card.png"}], "card": {},
        "from_mm": [0, 0, 0], "to_mm": [0, 0, 90], "toward": camera.eye_mm.tolist(),
    }  # fmt: skip
    return Photo(**(given | more))


@pytest.mark.parametrize(
    ("camera", "noise"),
    [
        (Pinhole(0, 25), 0.01),
        (Pinhole(-30, 35, roll_deg=-90), 0.05),
        (Pinhole(100, 60, roll_deg=170), 0.03),
        (Pinhole(20, 85, distance_mm=500), 0.05),
    ],
    ids=["low", "on its side", "upside down", "from above"],
)
def test_card_tells_where_the_camera_stood(tmp_path, camera, noise):
    """Turned, tilted, noisy, light falling off by a third, in images of 640 x 480; the focal length
    unknown. Places up to 100 mm above the card are seen where the camera that took it has them."""
    codes = photographed_card(camera, noise=noise)
    found = marks_in(Frame(codes, 255, False, None, None))
    true = camera.pixels(np.column_stack([MARK_MM * CORNERS, np.zeros(4)]))
    assert np.abs(found - true).max() < 0.4
    save_codes(codes, tmp_path / "card.png")
    pose = camera_by_card(of_card(camera), Frame(codes, 255, False, None, None), tmp_path)
    off = np.linalg.norm(pose.pixels(UP_THE_PIECE) - camera.pixels(UP_THE_PIECE), axis=1)
    assert (off * camera.distance_mm / camera.focal_px < 0.5).all()
    eye = pose.eye_mm / np.linalg.norm(pose.eye_mm)
    assert eye @ camera.eye_mm / camera.distance_mm > np.cos(np.radians(2.0))


def test_card_of_its_own_image_off_the_cross_and_printed_small(tmp_path):
    """Marks are sought in the photo by room light; the piece stands 20 mm off the cross, and the
    printer shrank the card to 0.95: then all is that much smaller."""
    camera = Pinhole(10, 40)
    save_codes(photographed_card(camera), tmp_path / "room.png")
    dark = Frame(np.zeros((480, 640, 3), np.uint8), 255, False, None, 900.0)
    card = {"file": "room.png", "at_mm": [-20.0, 0.0, -3.0], "bar_mm": 95.0}
    pose = camera_by_card(of_card(camera, card=card), dark, tmp_path)
    there = np.array([[0.0, 0.0, 40.0]])
    foreseen = camera.pixels((there + np.array([20.0, 0.0, 3.0])) / 0.95)
    assert pose.pixels(there) == pytest.approx(foreseen, abs=0.8)


@pytest.mark.parametrize(
    ("hidden", "words"),
    [((0,), "ringed mark of the marks card is not seen"), ((2,), "2 of the three plain marks")],
)
def test_a_missing_mark_is_said_in_one_line(tmp_path, hidden, words):
    codes = photographed_card(Pinhole(0, 40), hidden=hidden)
    with pytest.raises(UnreadableError, match=words) as fault:
        camera_by_card(of_card(Pinhole(0, 40)), Frame(codes, 255, False, None, None), tmp_path)
    assert "\n" not in str(fault.value)
    assert fault.value.at == ("card",)


def test_a_card_turned_under_the_piece_is_told(tmp_path):
    codes = photographed_card(Pinhole(0, 40))
    with pytest.raises(UnreadableError, match="do the card's x and y run as the body's"):
        camera_by_card(of_card(Pinhole(90, 40)), Frame(codes, 255, False, None, None), tmp_path)


def test_homography_of_noisy_points_is_the_nearest_one():
    """Twelve points off by 0.2 pixels: the matrix behind them comes back to less than that."""
    rng = np.random.default_rng(4)
    true = np.array([[3.0, 0.4, 320.0], [-0.3, 2.5, 240.0], [4e-4, 9e-4, 1.0]])
    plane = rng.uniform(-60, 60, (12, 2))

    def seen(matrix):
        flat = np.column_stack([plane, np.ones(12)]) @ matrix.T
        return flat[:, :2] / flat[:, 2:]

    found = homography(plane, seen(true) + rng.normal(0, 0.2, (12, 2)))
    assert np.abs(seen(found) - seen(true)).max() < 0.4
