"""Result files, and solving only what changed."""

from __future__ import annotations

import pickle
import tokenize
from dataclasses import replace

import numpy as np
import pytest

from glowsim.errors import SolveError
from glowsim.scene import parse_scene
from glowsim.transport.hollows import Entering
from glowsim.transport.result import SurfaceGlow
from glowsim.transport.solve import keep_what_is_known, solve
from glowsim.transport.store import load_glow, load_tallies, save_glow

TWO = """
[[bodies]]
name = "spike"
shape = { kind = "spike", length_mm = 60, base_diameter_mm = 30 }
material = "upholstery_foam_white"
detail_mm = 5
cell_mm = 3
  [[bodies.lights]]
  board = "rgb_5050_18ma"
  position_mm = [0, 0, 12]
  zone = "a"
  [[bodies.patterns]]
  kind = "along"
  count = 3
  step_mm = [50, 0, 0]
[[bodies]]
name = "rod"
shape = { kind = "rod", length_mm = 30, diameter_mm = 20 }
material = "wood_dowel"
"""


@pytest.fixture(scope="module")
def glow() -> SurfaceGlow:
    return solve(parse_scene(TWO))


def test_a_glow_survives_its_file(glow, tmp_path):
    path = tmp_path / "glow.npz"
    spike = glow.bodies[0]
    lid = np.where(np.arange(len(spike.glows)) < 5, 0, -1)
    glow = glow.alike(
        bodies=(replace(spike, entering=Entering(lid, spike.diffuse)), glow.bodies[1])
    )
    save_glow(glow, path)
    back = load_glow(path)
    first, second = back.bodies
    assert first.entering is not None
    assert second.entering is None
    np.testing.assert_array_equal(first.entering.lid, lid)
    np.testing.assert_array_equal(first.entering.out, spike.diffuse)
    assert back.title == glow.title
    assert back.copies[2].lights == glow.copies[2].lights
    assert [copy.of for copy in back.copies] == ["spike"] * 3 + ["rod"]
    np.testing.assert_array_equal(back.copies[1].transform, glow.copies[1].transform)
    for old, new in zip(glow.bodies, back.bodies, strict=True):
        np.testing.assert_array_equal(new.diffuse, old.diffuse)
        np.testing.assert_array_equal(new.surface.faces, old.surface.faces)
        np.testing.assert_array_equal(new.account.absorbed, old.account.absorbed)
        np.testing.assert_array_equal(new.index, old.index)
        assert (new.name, new.key, new.trust) == (old.name, old.key, old.trust)
    for old, new in zip(glow.lights, back.lights, strict=True):
        assert old.name == new.name
        np.testing.assert_allclose(new.xyz_per_lm, old.xyz_per_lm)
    for copy in glow.copies:
        np.testing.assert_array_equal(back.exitance_lm_mm2(copy), glow.exitance_lm_mm2(copy))


def worked_on(text, saved):
    done: list[str] = []
    glow = solve(parse_scene(text), saved=saved, report=done.append)
    return glow, [line for line in done if line.startswith("lighting")]


def test_a_glow_that_was_judged_goes_to_another_process(glow):
    """Its faces, ready for rays, cannot go along: they are made anew where they are wanted."""
    assert glow.rough_air is not None
    other = pickle.loads(pickle.dumps(glow))
    np.testing.assert_array_equal(other.bodies[0].diffuse, glow.bodies[0].diffuse)
    np.testing.assert_allclose(other.faces.areas_mm2, glow.faces.areas_mm2)


def test_what_has_not_changed_is_not_solved_again(tmp_path):
    saved = tmp_path / "glow.npz"
    first, done = worked_on(TWO, saved)
    assert done == ["lighting spike", "lighting rod"]
    again, done = worked_on(TWO, saved)
    assert done == []
    np.testing.assert_array_equal(again.bodies[0].diffuse, first.bodies[0].diffuse)
    moved, done = worked_on(TWO.replace("[50, 0, 0]", "[0, 70, 0]"), saved)
    assert done == []
    assert moved.copies[1].transform[1, 3] == 70
    other, done = worked_on(
        TWO.replace("position_mm = [0, 0, 12]", "position_mm = [0, 0, 20]"), saved
    )
    assert done == ["lighting spike"]
    assert np.abs(other.bodies[0].diffuse - first.bodies[0].diffuse).max() > 0


def test_what_faces_see_of_each_other_is_worked_out_once(tmp_path):
    saved = tmp_path / "glow.npz"
    first, _ = worked_on(TWO, saved)
    judged = first.alike(supply="as wired")
    assert judged.air.seen.nnz > 0
    assert judged.rough_air.rough
    keep_what_is_known(first, judged, saved)
    again, _ = worked_on(TWO, saved)
    assert again.known_air.keys() == judged.known_air.keys()
    for name, old in judged.known_air.items():
        new = again.known_air[name]
        assert (new.rays, new.rough) == (old.rays, old.rough)
        for part in ("white", "shut"):
            np.testing.assert_array_equal(getattr(new, part), getattr(old, part))
        for part in ("seen", "leaning"):
            assert (getattr(new, part) != getattr(old, part)).nnz == 0
    light = np.ones_like(old.white)
    np.testing.assert_array_equal(
        again.air.arriving(light, light, again.hollows),
        first.air.arriving(light, light, first.hollows),
    )
    moved, _ = worked_on(TWO.replace("[50, 0, 0]", "[0, 70, 0]"), saved)
    assert not moved.known_air


def test_drive_and_zone_need_no_solve(tmp_path):
    saved = tmp_path / "glow.npz"
    full, _ = worked_on(TWO, saved)
    half, done = worked_on(TWO.replace('zone = "a"', 'zone = "b"\n  drive = { red = 0.5 }'), saved)
    assert done == []
    red_full, red_half = (g.exitance_lm_mm2(g.copies[0])[0] for g in (full, half))
    np.testing.assert_allclose(red_half, red_full / 2, rtol=1e-6)
    assert half.lights[0].zone == "b"


def test_a_new_name_needs_no_solve_and_is_told(tmp_path):
    saved = tmp_path / "glow.npz"
    worked_on(TWO, saved)
    renamed, done = worked_on(TWO.replace('"spike"\n', '"thorn"\n'), saved)
    assert done == []
    assert [body.name for body in renamed.bodies] == ["thorn", "rod"]


def test_another_seed_is_another_result(tmp_path):
    saved = tmp_path / "glow.npz"
    worked_on(TWO, saved)
    done: list[str] = []
    solve(parse_scene(TWO), seed=7, saved=saved, report=done.append)
    assert any(line.startswith("lighting") for line in done)


@pytest.mark.parametrize("content", [b"", b"not a zip", b"PK\x03\x04 broken"])
def test_a_broken_result_is_solved_again_and_said(tmp_path, content):
    saved = tmp_path / "glow.npz"
    saved.write_bytes(content)
    with pytest.raises(SolveError, match="not a readable result file"):
        load_glow(saved)
    told: list[str] = []
    solve(parse_scene(TWO), saved=saved, report=told.append)
    assert any("solve it again" in line for line in told)
    assert load_glow(saved).solver == "quick"


def refusal(read, path):
    try:
        read(path)
    except SolveError as fault:
        return str(fault)
    return ""


def test_every_damaged_file_is_not_readable_or_whole(glow, tmp_path):
    """Bytes turned over, cut out and left off, in the archive's own fields above all."""
    path = tmp_path / "glow.npz"
    save_glow(replace(glow, bodies=glow.bodies[1:], copies=(), lights=()), path)
    whole = path.read_bytes()
    draw = np.random.default_rng(20)
    directory = whole.index(b"PK\x01\x02")
    unreadable = 0
    for k in range(400):
        bad = bytearray(whole)
        first, last = ((0, 300), (directory, len(whole)), (0, len(whole)))[k % 3]
        for at in draw.integers(first, last, 1 + k % 4):
            bad[at] = draw.integers(256)
        path.write_bytes(bad[: draw.integers(len(bad))] if k % 10 == 9 else bad)
        faults = [fault for read in (load_glow, load_tallies) if (fault := refusal(read, path))]
        assert all("solve it again" in fault for fault in faults)
        unreadable += bool(faults)
    assert unreadable > 250


@pytest.mark.parametrize(
    "raised",
    [
        NotImplementedError("compression type 99"),
        RuntimeError("File 'meta.npy' is encrypted, password required for extraction"),
        tokenize.TokenError("EOF in multi-line statement"),
        MemoryError("Unable to allocate 8. EiB"),
    ],
)
def test_whatever_reading_raises_means_solve_it_again(glow, tmp_path, monkeypatch, raised):
    path = tmp_path / "glow.npz"
    save_glow(glow, path)

    def stopped(*args, **kwargs):
        raise raised

    monkeypatch.setattr(np, "load", stopped)
    with pytest.raises(SolveError, match=r"not a readable result file.*solve it again"):
        load_glow(path)


def test_a_fresh_solve_keeps_the_old_result_until_the_new_one_is_whole(tmp_path, monkeypatch):
    saved = tmp_path / "glow.npz"
    _, first = worked_on(TWO, saved)
    before = saved.read_bytes()

    def failing(*args, **kwargs):
        raise SolveError("no")

    with monkeypatch.context() as broken:
        broken.setattr("glowsim.transport.solve.PreparedProp.glow", failing)
        with pytest.raises(SolveError, match="no"):
            solve(parse_scene(TWO), saved=saved, fresh=True)
    assert saved.read_bytes() == before
    done: list[str] = []
    solve(parse_scene(TWO), saved=saved, fresh=True, report=done.append)
    assert [line for line in done if line.startswith("lighting")] == first
    assert saved.read_bytes() != before, "it says how long it took this time"


def test_another_version_is_refused(glow, tmp_path, monkeypatch):
    path = tmp_path / "glow.npz"
    monkeypatch.setattr("glowsim.transport.store.VERSION", 999)
    save_glow(glow, path)
    monkeypatch.undo()
    with pytest.raises(SolveError, match=r"another version .*format 999"):
        load_glow(path)


def test_missing_result_is_said(tmp_path):
    with pytest.raises(SolveError, match="there is no result file"):
        load_glow(tmp_path / "none.npz")


def test_a_failed_write_leaves_the_old_result(glow, tmp_path, monkeypatch):
    path = tmp_path / "glow.npz"
    save_glow(glow, path)
    before = path.read_bytes()

    def full_disk(*args, **kwargs):
        raise OSError("no space left on device")

    monkeypatch.setattr(np, "savez", full_disk)
    with pytest.raises(OSError, match="no space"):
        save_glow(glow, path)
    assert path.read_bytes() == before
    assert list(tmp_path.iterdir()) == [path]
