"""Sheets of pictures side by side."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from glowsim.errors import PictureError
from glowsim.pictures import Studio, compared, contact_sheet, save_picture
from glowsim.pictures.text import boxes_note, number, round_number
from glowsim.scene import Room
from tests.pictures.glows import body_glow, glow_of, scene_with, sphere


def flat(colour: int) -> Image.Image:
    return Image.new("RGB", (80, 60), (colour, colour, colour))


def test_pictures_stand_in_rows_with_room_for_labels() -> None:
    sheet = np.asarray(contact_sheet([flat(200), flat(100), flat(50)], ["a", "b", "c"], columns=2))
    for colour, right, lower in ((200, False, False), (100, True, False), (50, False, True)):
        rows, columns = np.nonzero((sheet == colour).all(axis=2))
        # Letters have single pixels of any grey.
        assert (np.median(rows) > sheet.shape[0] / 2) == lower
        assert (np.median(columns) > sheet.shape[1] / 2) == right
        assert len(rows) >= 80 * 60


def test_variants_are_compared_at_one_exposure() -> None:
    scene = scene_with(Room(illuminance_lx=5))
    studios = [
        Studio(glow_of([body_glow(sphere(), flux)]), scene, "embree") for flux in (100.0, 1000.0)
    ]
    sheet = np.asarray(compared(studios, ["dim", "bright"], (96, 72), columns=2)).astype(int)
    half = sheet.shape[1] // 2
    middle = sheet.shape[0] // 3
    dim, bright = sheet[middle, half // 2].mean(), sheet[middle, half + half // 2].mean()
    assert bright > 1.5 * dim


def test_one_glaring_variant_does_not_darken_the_others() -> None:
    scene = scene_with(Room(illuminance_lx=5))
    studios = [
        Studio(glow_of([body_glow(sphere(), flux)]), scene, "embree") for flux in (1e3, 1e3, 1e6)
    ]
    sheet = np.asarray(compared(iter(studios), "abc", (96, 72), columns=3)).astype(int)
    middle, third = sheet.shape[0] // 3, sheet.shape[1] // 3
    dim, glaring = (sheet[middle, third // 2 + k * third].mean() for k in (0, 2))
    assert dim > 100
    assert glaring > 250
    darkened = compared(studios, "abc", (96, 72), columns=3, exposure_cd_m2=1e6)
    assert np.asarray(darkened)[middle, third // 2].mean() < 30


def test_faults_are_said() -> None:
    with pytest.raises(PictureError, match="got 1 labels for 2 pictures"):
        contact_sheet([flat(1), flat(2)], ["one"])
    with pytest.raises(PictureError, match="at least one"):
        contact_sheet([], [])
    with pytest.raises(PictureError, match="make the pictures smaller"):
        contact_sheet([Image.new("RGB", (4000, 10))] * 3, ["", "", ""], columns=3)


@pytest.mark.parametrize("ending", [".png", ".webp", ".jpg", ".tif"])
def test_pictures_are_saved_by_their_ending(tmp_path: Path, ending: str) -> None:
    path = tmp_path / f"picture{ending}"
    save_picture(flat(90), path)
    with Image.open(path) as picture:
        assert picture.size == (80, 60)


def test_an_unknown_ending_and_a_bad_place_are_said(tmp_path: Path) -> None:
    with pytest.raises(PictureError, match=r"the ending '\.pgn' tells no format; did you mean"):
        save_picture(flat(1), tmp_path / "a.pgn")
    with pytest.raises(PictureError, match="a name without an ending tells no format; known"):
        save_picture(flat(1), tmp_path / "a")
    (tmp_path / "file").write_bytes(b"")
    with pytest.raises(PictureError, match=r"a\.png: cannot be written"):
        save_picture(flat(1), tmp_path / "file" / "a.png")


@pytest.mark.parametrize(
    ("value", "text"),
    [(0, "0"), (0.05, "0.05"), (1.5, "1.5"), (12.34, "12.3"), (199.6, "200"), (5108.9, "5110"),
     (20, "20"), (123456, "123000"), (-75, "-75"), (9.999, "10")],
)  # fmt: skip
def test_numbers_are_written_with_three_digits(value: float, text: str) -> None:
    assert number(value) == text


@pytest.mark.parametrize(("limit", "length"), [(1, 1), (4.9, 2), (5, 5), (99, 50), (0.3, 0.2)])
def test_scale_bars_have_round_lengths(limit: float, length: float) -> None:
    assert round_number(limit) == pytest.approx(length)


def test_letters_that_pictures_lack_are_told():
    assert boxes_note(["Lampe für Dörte: Ελλάδα, Україна, 3 × ½ Ω, ≤ 5 °C, ☐ →\n"]) == ""
    assert "no letters for 提 灯 ラ and show boxes" in boxes_note(["提灯 lantern", "提ラ"])
