"""Own materials from files that a scene names."""

from __future__ import annotations

import pytest

from glowsim.errors import MaterialError, SceneError
from glowsim.scene import parse_scene, read_scene, write_scene
from glowsim.transport.plan import catalogue_of, plan_of

SCENE = """
materials_from = ["foams/mine.toml"]
[[bodies]]
name = "bud"
shape = { kind = "orb", diameter_mm = 40 }
material = "my_foam"
"""
ENTRY = """
[materials.my_foam]
like = "upholstery_foam_white"
mu_a_per_mm = [0.001, 0.002, 0.003]
mu_a_factor = 1.2
"""


def scene_in(folder, entry=ENTRY, scene=SCENE):
    (folder / "foams").mkdir()
    (folder / "foams" / "mine.toml").write_text(entry, encoding="utf-8")
    (folder / "scene.toml").write_text(scene, encoding="utf-8")
    return read_scene(folder / "scene.toml")


def test_a_scene_uses_it(tmp_path):
    plan = plan_of(scene_in(tmp_path))
    assert plan.catalogue.material("my_foam").mu_a_per_mm == (0.001, 0.002, 0.003)
    assert plan.catalogue.material("my_foam").mu_a_factor == 1.2


def test_the_scenes_own_entry_comes_first(tmp_path):
    own = SCENE + '[materials.my_foam]\nlike = "upholstery_foam_white"\nmu_a_factor = 4\n'
    assert catalogue_of(scene_in(tmp_path, scene=own)).material("my_foam").mu_a_factor == 4


def test_a_written_scene_holds_together_elsewhere(tmp_path):
    scene_file = scene_in(tmp_path)
    write_scene(scene_file.scene, tmp_path / "away" / "copy.toml")
    again = read_scene(tmp_path / "away" / "copy.toml")
    assert again.scene.materials == scene_file.scene.materials
    assert plan_of(again).keys == plan_of(scene_file).keys


def test_a_missing_file_is_named_with_the_scenes_line(tmp_path):
    with pytest.raises(SceneError, match=r"line 2: materials_from\[0\]: .*mine.toml: there is no"):
        parse_scene(SCENE, folder=tmp_path)


@pytest.mark.parametrize("entry", ['[bodies]\nname = "x"\n', "materials = 3\n", ""])
def test_a_file_of_something_else_is_refused(tmp_path, entry):
    with pytest.raises(SceneError, match=r"must hold tables \[materials.NAME\] and nothing else"):
        scene_in(tmp_path, entry=entry)


def test_one_name_in_two_files_is_refused(tmp_path):
    twice = SCENE.replace('["foams/mine.toml"]', '["foams/mine.toml", "foams/mine.toml"]')
    with pytest.raises(SceneError, match="'my_foam' stands in an earlier file already"):
        scene_in(tmp_path, scene=twice)


def test_a_fault_in_the_file_has_its_own_line(tmp_path):
    wrong = ENTRY.replace("mu_a_factor = 1.2", "mu_a_factor = 0.5")
    with pytest.raises(MaterialError, match=r"mine.toml, line 5: materials.my_foam.mu_a_factor"):
        plan_of(scene_in(tmp_path, entry=wrong))
