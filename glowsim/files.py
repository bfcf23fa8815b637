"""Files are written whole or not at all: first beside their place, then moved into it."""

from __future__ import annotations

import errno
import glob
import os
import platform
import re
import secrets
import shutil
import time
import zlib
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from glowsim.errors import GlowsimError

STRAY_S = 86_400.0
"""A temporary file this old is nobody's any more, where its program cannot be asked for."""
_WHOLE = ".whole"
"""In the folder of a set all of whose parts are written."""
_MACHINE = f"{zlib.crc32(platform.node().encode()):08x}"


@contextmanager
def written_whole(path: Path) -> Iterator[Path]:
    """Give a temporary path to write to; on success it takes the place of `path`.

    The temporary file stands in the same folder, with the same ending, and gets the usual
    permissions of a new file. A link is followed: what it points to is replaced. If the body of
    the `with` raises, or the program is interrupted, `path` is left as it was and nothing
    remains. What a killed program left of an earlier try is taken away. Missing folders are
    made. Raises OSError, which names `path`, if the place cannot be written.
    """
    target = Path(os.path.realpath(path))
    temporary = _beside(target)
    with _named(path, temporary):
        target.parent.mkdir(parents=True, exist_ok=True)
        _remove_strays(target)
        # Made here and at once, so that a place that cannot be written is known before the work.
        os.close(os.open(temporary, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o666))
        try:
            yield temporary
            os.replace(temporary, target)
        finally:
            temporary.unlink(missing_ok=True)


@contextmanager
def written_together(folder: Path) -> Iterator[Path]:
    """Give a temporary folder for a set of files; on success all of them move to `folder` at once.

    So a folder never holds a part of the set that is new and a part that is old. If the body of
    the `with` raises, or the program is stopped, `folder` is left as it was; a set that was whole
    when its program was killed is moved by whatever writes a set to `folder` next. Errors name
    files as they are asked for. Raises OSError if the place cannot be written.
    """
    target = Path(os.path.realpath(folder))
    with _named(folder, target):
        target.mkdir(parents=True, exist_ok=True)
        _finish_sets(target)
        temporary = folder_beside(target / "set")
    try:
        yield temporary
        (temporary / _WHOLE).touch()
        try:
            _move_set(temporary, target)
        except KeyboardInterrupt:  # all of it or none: it takes no time
            _move_set(temporary, target)
            raise
    except GlowsimError as fault:
        raise type(fault)(str(fault).replace(str(temporary), str(folder))) from None
    except OSError as problem:
        place = str(problem.filename or folder).replace(str(temporary), str(folder))
        words = problem.strerror or str(problem)
        raise type(problem)(problem.errno or errno.EIO, words, place) from None
    finally:
        shutil.rmtree(temporary, ignore_errors=True)


def _move_set(whole: Path, target: Path) -> None:
    """Move the parts of a set that is whole to their places."""
    for part in sorted(whole.iterdir()):
        if part.name != _WHOLE:
            os.replace(part, target / part.name)


def _finish_sets(target: Path) -> None:
    """Move the sets that killed programs had whole but did not come to move."""
    for left in _strays(target / "set"):
        if (left / _WHOLE).exists():
            with suppress(OSError):
                _move_set(left, target)


def folder_beside(target: Path) -> Path:
    """Make a hidden folder beside `target` for its parts; those of killed programs go."""
    bare = target.with_suffix("")
    bare.parent.mkdir(parents=True, exist_ok=True)
    _remove_strays(bare)
    folder = _beside(bare)
    folder.mkdir()
    return folder


def _beside(target: Path) -> Path:
    """Return a hidden name beside `target` that says which program is writing it."""
    mark = f"{_MACHINE}-{os.getpid()}-{secrets.token_hex(4)}"
    return target.with_name(f".{target.stem}-{mark}{target.suffix}")


@contextmanager
def _named(path: Path, temporary: Path) -> Iterator[None]:
    """Let errors of the system name the file that was asked for, never the temporary one."""
    try:
        yield
    except OSError as problem:
        if problem.filename is not None and str(problem.filename) != str(temporary):
            raise
        words = problem.strerror or str(problem)
        raise type(problem)(problem.errno or errno.EIO, words, str(path)) from None


def _strays(target: Path) -> Iterator[Path]:
    """Yield what programs that are gone left beside `target` instead of finishing it."""
    pattern = re.compile(
        rf"\.{re.escape(target.stem)}-([0-9a-f]{{8}})-(\d+)-[0-9a-f]{{8}}{re.escape(target.suffix)}"
    )
    for stray in target.parent.glob(f".*-*-*{glob.escape(target.suffix)}"):
        found = pattern.fullmatch(stray.name)
        with suppress(OSError):
            if found and _is_gone(found[1], int(found[2]), stray):
                yield stray


def _remove_strays(target: Path) -> None:
    for stray in _strays(target):
        with suppress(OSError):
            shutil.rmtree(stray) if stray.is_dir() else stray.unlink()


def _is_gone(machine: str, process: int, stray: Path) -> bool:
    """Return whether what wrote a temporary file runs no more, as far as can be told."""
    if machine == _MACHINE and os.name == "posix":
        try:
            os.kill(process, 0)
        except ProcessLookupError:
            return True
        except PermissionError:
            return False
    return time.time() - stray.stat().st_mtime > STRAY_S


def free_path(path: Path) -> Path:
    """Return a path that no file has: this, or with a number before its ending."""
    new, number = path, 1
    while new.exists():
        number += 1
        new = path.with_name(f"{path.stem}-{number}{path.suffix}")
    return new


def write_whole(path: Path, content: bytes | Callable[[Path], None]) -> None:
    """Write `path` whole or not at all: from bytes, or by a function that is given where to write.

    Raises OSError if the place cannot be written.
    """
    with written_whole(path) as temporary:
        if callable(content):
            content(temporary)
        else:
            temporary.write_bytes(content)
