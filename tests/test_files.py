"""Files appear whole, or the old one stays."""

from __future__ import annotations

import errno
import os
import stat
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from glowsim.errors import PictureError
from glowsim.files import write_whole, written_together, written_whole


def test_bytes_and_functions_are_written(tmp_path: Path) -> None:
    target = tmp_path / "a" / "new.bin"
    write_whole(target, b"one")
    assert target.read_bytes() == b"one"
    write_whole(target, lambda part: part.write_text("two", encoding="utf-8") and None)
    assert target.read_text(encoding="utf-8") == "two"
    assert os.listdir(target.parent) == ["new.bin"]


def half_written(stop: type[BaseException]) -> Callable[[Path], None]:
    def write(part: Path) -> None:
        part.write_text("ne", encoding="utf-8")
        raise stop

    return write


@pytest.mark.parametrize("stop", [ValueError, KeyboardInterrupt])
def test_failure_leaves_the_old_file_and_nothing_else(
    tmp_path: Path, stop: type[BaseException]
) -> None:
    target = tmp_path / "kept.txt"
    target.write_text("old", encoding="utf-8")

    with pytest.raises(stop):
        write_whole(target, half_written(stop))
    assert target.read_text(encoding="utf-8") == "old"
    assert os.listdir(tmp_path) == ["kept.txt"]


def test_temporary_file_has_the_same_folder_and_ending(tmp_path: Path) -> None:
    # np.savez and others add an ending of their own when it is missing.
    with written_whole(tmp_path / "glow.npz") as temporary:
        assert temporary.parent == tmp_path
        assert temporary.suffix == ".npz"


def leave_a_stray(target: Path) -> Path:
    """Kill a program while it writes `target`; return what it leaves behind."""
    code = (
        "import os, sys, pathlib\nfrom glowsim.files import written_whole\n"
        "with written_whole(pathlib.Path(sys.argv[1])) as part:\n"
        "    part.write_text('half')\n    os._exit(9)\n"
    )
    before = set(os.listdir(target.parent))
    subprocess.run([sys.executable, "-c", code, str(target)], check=False)
    (stray,) = set(os.listdir(target.parent)) - before
    return target.with_name(stray)


@pytest.mark.skipif(sys.platform == "win32", reason="there only age tells")
def test_what_a_killed_program_left_goes_with_the_next_try(tmp_path: Path) -> None:
    target = tmp_path / "photo[1].png"
    stray, other = leave_a_stray(target), leave_a_stray(tmp_path / "photo.png")
    mine = [tmp_path / ".photo[1]-mine.png", tmp_path / ".photo[1].png", tmp_path / "photo2.png"]
    for path in mine:
        path.write_bytes(b"")
    write_whole(target, b"new")
    assert not stray.exists()
    assert set(tmp_path.iterdir()) == {target, other, *mine}


def test_what_another_program_is_writing_stays(tmp_path: Path) -> None:
    target = tmp_path / "x.txt"
    with written_whole(target) as first:
        first.write_text("one")
        write_whole(target, b"two")
        assert first.read_text() == "one"
    elsewhere = tmp_path / ".x-00000000-1-00000000.txt"
    elsewhere.write_bytes(b"")
    write_whole(target, b"three")
    assert elsewhere.exists()
    os.utime(elsewhere, (0, 0))
    write_whole(target, b"four")
    assert os.listdir(tmp_path) == ["x.txt"]


@pytest.mark.parametrize("stop", [ValueError, KeyboardInterrupt])
def test_a_set_of_files_changes_at_once_or_not_at_all(
    tmp_path: Path, stop: type[BaseException]
) -> None:
    for name in "ab":
        (tmp_path / name).write_text("old")
    with pytest.raises(stop), written_together(tmp_path) as part:
        write_whole(part / "a", half_written(stop))
    assert {(tmp_path / name).read_text() for name in "ab"} == {"old"}
    with written_together(tmp_path) as part:
        for name in "ab":
            (part / name).write_text("new")
        assert {(tmp_path / name).read_text() for name in "ab"} == {"old"}
    assert {(tmp_path / name).read_text() for name in "ab"} == {"new"}
    assert sorted(os.listdir(tmp_path)) == ["a", "b"]


STOPPED_WHILE_MOVING = """
import os, sys
from pathlib import Path
from glowsim.files import written_together
move, moved = os.replace, []
def stopping(start, end):
    if moved:
        {stop}
    moved.append(end)
    move(start, end)
os.replace = stopping
with written_together(Path(sys.argv[1])) as part:
    for name in "abc":
        (part / name).write_text("new")
"""


@pytest.mark.parametrize(
    ("stop", "at_once"),
    [
        ("os.kill(os.getpid(), 9)", False),
        ("os.replace = move; raise KeyboardInterrupt", True),
    ],
)
def test_a_set_whose_program_is_killed_while_it_moves_is_moved_by_the_next(
    tmp_path: Path, stop: str, at_once: bool
) -> None:
    for name in "abc":
        (tmp_path / name).write_text("old")
    program = STOPPED_WHILE_MOVING.format(stop=stop)
    ended = subprocess.run([sys.executable, "-c", program, tmp_path], capture_output=True)
    assert ended.returncode != 0
    texts = [(tmp_path / name).read_text() for name in "abc"]
    assert texts == (["new"] * 3 if at_once else ["new", "old", "old"])
    with written_together(tmp_path) as part:
        (part / "d").write_text("later")
    assert [(tmp_path / name).read_text() for name in "abcd"] == ["new", "new", "new", "later"]
    assert sorted(os.listdir(tmp_path)) == list("abcd")


def test_errors_within_a_set_name_the_files_asked_for(tmp_path: Path) -> None:
    folder = tmp_path / "out"
    with pytest.raises(FileNotFoundError) as caught, written_together(folder) as part:
        (part / "no" / "x").write_text("")
    assert caught.value.filename == str(folder / "no" / "x")
    with pytest.raises(PictureError) as told, written_together(folder) as part:
        raise PictureError(f"{part / 'x.png'}: cannot be written")
    assert str(told.value) == f"{folder / 'x.png'}: cannot be written"


@pytest.mark.parametrize(
    "raised",
    [
        OSError(errno.ENOSPC, "No space left on device"),
        OSError("No space left on device"),
        None,
    ],
)
def test_errors_name_the_file_that_was_asked_for(tmp_path: Path, raised: OSError | None) -> None:
    target = tmp_path / "photo.png"

    def full(part: Path) -> None:
        raise raised or OSError(errno.ENOSPC, "No space left on device", str(part))

    with pytest.raises(OSError, match="No space left on device") as caught:
        write_whole(target, full)
    assert caught.value.filename == str(target)
    assert caught.value.strerror == "No space left on device"
    assert os.listdir(tmp_path) == []


def test_errors_about_other_files_keep_their_names(tmp_path: Path) -> None:
    with pytest.raises(FileNotFoundError) as caught:
        write_whole(tmp_path / "x", lambda part: open(tmp_path / "none").close())
    assert caught.value.filename == str(tmp_path / "none")


@pytest.mark.skipif(sys.platform == "win32", reason="no permission bits")
def test_permissions_are_those_of_any_new_file(tmp_path: Path) -> None:
    plain, whole = tmp_path / "plain", tmp_path / "whole"
    plain.write_bytes(b"")
    write_whole(whole, b"")
    assert stat.S_IMODE(whole.stat().st_mode) == stat.S_IMODE(plain.stat().st_mode)


@pytest.mark.skipif(sys.platform == "win32", reason="links need rights there")
def test_a_link_is_followed(tmp_path: Path) -> None:
    (tmp_path / "real").mkdir()
    real, link = tmp_path / "real" / "x.txt", tmp_path / "x.txt"
    real.write_bytes(b"old")
    link.symlink_to(real)
    write_whole(link, b"new")
    assert link.is_symlink()
    assert real.read_bytes() == b"new"


def test_a_place_that_cannot_be_written_raises_before_the_work(tmp_path: Path) -> None:
    (tmp_path / "file").write_bytes(b"")
    called = []
    with pytest.raises(OSError, match="file"):
        write_whole(tmp_path / "file" / "x.txt", lambda part: called.append(part))
    assert not called
