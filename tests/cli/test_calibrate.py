"""`glowsim calibrate --check` as a user meets it: words, JSON, a picture."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest
from PIL import Image

from tests.support import checked_photos
from tests.support.checked_photos import Prop, Sort
from tests.support.commands import run
from tests.support.photos import save
from tests.support.readings import HEAD

SORT = Sort(
    'kind = "rod", length_mm = 60, diameter_mm = 30', "upholstery_foam_white", ((0, 0, 20),),
    ((0, 0, 60), (0, 15, 0), (0, -15, 0), (15, 0, 30)),
)  # fmt: skip


def photographed(folder) -> None:
    """Write a scene, a photo of it by the reference, and the readings file that names both."""
    prop = Prop(SORT)
    picture, face, shape = prop.view
    light = picture.light.copy()
    light[picture.light > 0] = np.exp(prop.built - prop.built.max())[face] * shape
    save(replace(picture, light=light / light.max()), folder / "prop.png", deep=True)
    points = "\n".join(
        f"[[photos.points]]\npixel = {picture.pixel(mark)}\nat_mm = {list(mark)}"
        for mark in SORT.marks
    )
    (folder / "prop.toml").write_text(SORT.scene(None))
    (folder / "photo.toml").write_text(
        f'{HEAD}\n[[photos]]\nscene = "prop.toml"\nband = "green"\ntoward = [1, 0, 0]\n'
        "from_mm = [15, 0, 10]\nto_mm = [15, 0, 50]\ndistance_mm = 600\n"
        f'images = [{{ file = "prop.png" }}]\n{points}\n'
    )


@pytest.mark.slow
def test_a_photo_is_checked(tmp_path, monkeypatch):
    monkeypatch.setattr(checked_photos, "PHOTONS", 200_000)
    photographed(tmp_path)
    shown = run("calibrate", "--check", "photo.toml", "--json", folder=tmp_path)
    assert shown.returncode == 0, shown.stderr
    [photo] = json.loads(shown.stdout)["photos"]
    assert photo["words"][1:] == ["They agree within their errors."]
    assert not photo["parts"]
    assert photo["causes"] == []
    assert len(photo["places"]) == len(photo["photo_over_prediction"]) >= 8
    with Image.open(tmp_path / "photo-check" / "check.png") as picture:
        assert picture.width > 800


def test_a_check_without_a_photo_is_refused(tmp_path, typed):
    (tmp_path / "photo.toml").write_text(
        HEAD + '[[cards]]\nband = "green"\nthickness_mm = 60\npiece = [0.6]\npaper = [0.9]\n'
    )
    shown = typed("calibrate", "--check", "photo.toml")
    assert shown.returncode == 2
    assert "there is no photo to check" in shown.stderr
