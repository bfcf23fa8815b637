"""Turntables: frames, animations, and what an interruption leaves."""

from __future__ import annotations

import os
import stat
import sys
from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose
from PIL import Image

from glowsim.errors import PictureError
from glowsim.pictures import Studio, turntable_frames, write_turntable
from glowsim.pictures.animation import write_animation
from glowsim.pictures.pulsed import pulse_frames, pulsed_studio
from glowsim.scene import Room
from tests.pictures.glows import body_glow, glow_of, scene_with, sphere

SIZE = (64, 48)


@pytest.fixture(scope="module")
def studio() -> Studio:
    ball = sphere(40.0)
    lit = body_glow(ball, np.where(ball.normals[:, 1] < 0, 1500.0, 100.0), whiteness=0.5)
    return Studio(glow_of([lit]), scene_with(Room(illuminance_lx=20)), "embree")


def test_the_camera_goes_round_at_one_exposure(studio: Studio) -> None:
    frames = [np.asarray(f).astype(int) for f in turntable_frames(studio, frame_count=8, size=SIZE)]
    assert len(frames) == 8
    middle = [frame[24, 32].mean() for frame in frames]
    # The bright side faces -y; the scene's view starts 25 degrees from there.
    assert middle[0] > 1.5 * middle[4]
    again = next(turntable_frames(studio, frame_count=1, size=SIZE))
    assert_allclose(np.asarray(again), frames[0])


def test_frames_say_what_feeds_the_lights(studio: Studio) -> None:
    size = (200, 120)
    bare = np.asarray(next(turntable_frames(studio, frame_count=1, size=size)))
    fed = Studio(studio.glow.alike(supply="as wired, battery half used"), studio.scene, "embree")
    said = np.asarray(next(turntable_frames(fed, frame_count=1, size=size)))
    assert bare.shape == said.shape == (120, 200, 3)
    # The lowest 16 rows are the line: even paper with words on it; without words they are picture.
    line = said[-16:].astype(int)
    assert (line[0] == line[0, 0]).all()
    assert (line.max(axis=(0, 2)) > 80).sum() > 40
    pulsed = pulsed_studio(fed, [])
    frame = next(pulse_frames(pulsed, np.zeros((1, 0)), size=size, exposure_cd_m2=100.0))
    assert (np.asarray(frame)[-16:] == said[-16:]).all()


@pytest.mark.parametrize(("ending", "step_ms"), [(".webp", 1), (".gif", 10)])
def test_animations_have_all_frames_and_the_right_length(
    studio: Studio, tmp_path: Path, ending: str, step_ms: int
) -> None:
    path = tmp_path / f"turn{ending}"
    told: list[tuple[int, int]] = []
    write_turntable(
        studio, path, frame_count=6, seconds=1.0, size=SIZE,
        progress=lambda done, count: told.append((done, count)),
    )  # fmt: skip
    assert told == [(k, 6) for k in range(1, 7)]
    assert os.listdir(tmp_path) == [path.name]
    with Image.open(path) as animation:
        assert animation.n_frames == 6
        assert animation.size == SIZE
        length = 0
        for k in range(6):
            animation.seek(k)
            animation.load()
            length += animation.info["duration"]
    assert abs(length - 1000) < step_ms


def test_a_name_without_ending_is_a_folder_of_frames(studio: Studio, tmp_path: Path) -> None:
    write_turntable(studio, tmp_path / "frames", frame_count=3, size=SIZE)
    names = sorted(os.listdir(tmp_path / "frames"))
    assert names == ["frame_0000.png", "frame_0001.png", "frame_0002.png"]
    with pytest.raises(PictureError, match="exists already and is left alone"):
        write_turntable(studio, tmp_path / "frames", frame_count=3, size=SIZE)


def test_an_interruption_keeps_the_finished_frames(studio: Studio, tmp_path: Path) -> None:
    def stop_after_two(done: int, count: int) -> None:
        if done == 2:
            raise KeyboardInterrupt

    path = tmp_path / "turn.webp"
    path.write_bytes(b"older")
    for kept in ("turn_frames", "turn_frames_2"):
        with pytest.raises(KeyboardInterrupt, match=rf"2 of 5 frames are kept in .*{kept}$"):
            write_turntable(studio, path, frame_count=5, size=SIZE, progress=stop_after_two)
        frames = sorted((tmp_path / kept).iterdir())
        assert [frame.name for frame in frames] == ["frame_0000.png", "frame_0001.png"]
        with Image.open(frames[1]) as picture:
            assert picture.size == SIZE
    assert path.read_bytes() == b"older"
    assert sorted(os.listdir(tmp_path)) == ["turn.webp", "turn_frames", "turn_frames_2"]


def test_an_interruption_before_the_first_frame_leaves_nothing(
    studio: Studio, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def stop(self: Studio, *size: object, **options: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(Studio, "photo", stop)
    with pytest.raises(KeyboardInterrupt, match="none of 5 frames was finished"):
        write_turntable(studio, tmp_path / "turn.webp", frame_count=5, size=SIZE)
    assert not os.listdir(tmp_path)


def test_an_unknown_format_is_known_before_the_work(studio: Studio, tmp_path: Path) -> None:
    def never(done: int, count: int) -> None:
        raise AssertionError("drew a frame")

    with pytest.raises(PictureError, match=r"'\.webm' tells no format; did you mean '\.webp'\?"):
        write_turntable(studio, tmp_path / "turn.webm", size=SIZE, progress=never)
    assert not os.listdir(tmp_path)


@pytest.mark.parametrize(
    ("options", "message"),
    [
        ({"frame_count": 0}, "a turntable of 0 frames cannot be drawn; give 1 to 360"),
        ({"seconds": 0.0}, "a turn cannot take 0 s"),
        ({"size": (5, 5)}, "a picture of 5 x 5 pixels"),
    ],
)
def test_arguments_out_of_range(
    studio: Studio, tmp_path: Path, options: dict, message: str
) -> None:
    with pytest.raises(PictureError, match=message):
        write_turntable(
            studio, tmp_path / "turn.webp", **{"frame_count": 2, "size": SIZE, **options}
        )
    assert not os.listdir(tmp_path)


def test_a_place_that_cannot_be_written(studio: Studio, tmp_path: Path) -> None:
    (tmp_path / "file").write_bytes(b"")
    with pytest.raises(PictureError, match=r"turn\.webp: cannot be written"):
        write_turntable(studio, tmp_path / "file" / "turn.webp", frame_count=2, size=SIZE)


def stand_in(folder: Path, script: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Put a program called ffmpeg in the place of the real one."""
    program = folder / "bin" / "ffmpeg"
    program.parent.mkdir()
    program.write_text(f"#!{sys.executable}\n{script}", encoding="utf-8")
    program.chmod(program.stat().st_mode | stat.S_IXUSR)
    monkeypatch.setenv("PATH", str(program.parent))


@pytest.mark.skipif(sys.platform == "win32", reason="scripts cannot stand in for programs")
def test_mp4_is_left_to_ffmpeg(
    studio: Studio, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    script = "import os, sys; open(sys.argv[-1], 'w').write('\\n'.join(sys.argv + os.listdir()))"
    stand_in(tmp_path, script, monkeypatch)
    write_turntable(studio, tmp_path / "turn.mp4", frame_count=3, seconds=1.5, size=SIZE)
    told = (tmp_path / "turn.mp4").read_text(encoding="utf-8").splitlines()
    assert told[told.index("-framerate") + 1] == "2.000000"
    assert told[told.index("-i") + 1] == "frame_%04d.png"
    assert "frame_0002.png" in told


@pytest.mark.skipif(sys.platform == "win32", reason="scripts cannot stand in for programs")
def test_frames_survive_a_failing_ffmpeg(
    studio: Studio, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    stand_in(tmp_path, "import sys; sys.exit('no such codec')", monkeypatch)
    with pytest.raises(PictureError, match=r"no such codec; 2 of 2 frames are kept in .*frames$"):
        write_turntable(studio, tmp_path / "turn.mp4", frame_count=2, size=SIZE)
    assert not (tmp_path / "turn.mp4").exists()


def test_mp4_without_ffmpeg_says_what_to_install(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("PATH", str(tmp_path))
    monkeypatch.setattr("importlib.util.find_spec", lambda name: None)
    with pytest.raises(PictureError, match="MP4 needs the program ffmpeg"):
        write_animation([tmp_path / "frame_0000.png"], tmp_path / "turn.mp4", 1.0)
