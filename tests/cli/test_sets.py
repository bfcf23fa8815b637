"""What a command writes is swapped as a set: stopped before its end, it leaves all as it was."""

import json
from types import SimpleNamespace

import pytest
from click.testing import CliRunner

from glowsim.cli import modules, place, thickness
from glowsim.scene import parse_scene

SCENE = """
[[bodies]]
name = "bud"
shape = { kind = "orb", diameter_mm = 30 }
material = "upholstery_foam_white"
  [[bodies.lights]]
  board = "round_7"
  position_mm = [0, 0, 5]
"""
WORTH = SimpleNamespace(worth=True)


class Answer(SimpleNamespace):
    """Stands for what was found; a new scene is written as the real one does it."""

    def as_json(self):
        """Return plain data."""
        return {"found": "new"}

    def write(self):
        """Write a scene."""
        path = self.folder / "bud-placed.toml"
        path.write_text(SCENE)
        return path


CASES = {
    "place": (place, ("--count", "2"), ("place.json", "mend_before.png")),
    "modules": (modules, ("--write",), ("modules.json", "modules.png")),
    "thickness": (thickness, ("--from", "1", "--to", "2"), ("thickness.json", "thickness.png")),
}


@pytest.mark.parametrize("stop", [KeyboardInterrupt, None])
@pytest.mark.parametrize("name", CASES)
def test_the_set_is_swapped_at_its_end(name, stop, tmp_path, monkeypatch):
    module, options, names = CASES[name]
    (tmp_path / "bud.toml").write_text(SCENE)
    out = tmp_path / "out"
    out.mkdir()
    for file in names:
        (out / file).write_text("old")
    step = SimpleNamespace(scene_file=parse_scene(SCENE))
    answer = Answer(folder=tmp_path, worth=True, verdict=WORTH, neighbours=(), steps=(), advice=(),
                    after=step, shown=SimpleNamespace(step=step))  # fmt: skip

    def drawn(answer, folder, *rest):
        (folder / names[1]).write_text("new")
        assert (out / names[0]).read_text() == "old"
        if stop:
            raise stop
        return [folder / names[1]]

    monkeypatch.setattr(module, name, lambda *_, **__: answer)
    monkeypatch.setattr(module, "_drawn", drawn)
    if name == "thickness":
        monkeypatch.setattr(module, "_row", lambda *_: {})
        answer.steps = (answer,)
    call = [str(tmp_path / "bud.toml"), *options, "--out", str(out), "--json"]
    done = CliRunner().invoke(module.command, call)
    texts = [(out / file).read_text() for file in names]
    assert not list(out.glob(".*"))
    if stop:
        assert texts == ["old", "old"]
        assert not (tmp_path / "bud-placed.toml").exists()
        return
    assert done.exit_code == 0, done.output
    assert json.loads(texts[0])["found"] == texts[1] == "new"
    said = json.loads(done.output)["files"]
    assert {str(out / file) for file in names} <= set(said)
    assert (name == "thickness") or said[0] == str(tmp_path / "bud-placed.toml")
