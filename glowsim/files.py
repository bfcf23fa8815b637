"""Files are written whole or not at all: first beside their place, then moved into it."""

from __future__ import annotations

import os
import secrets
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path


@contextmanager
def written_whole(path: Path) -> Iterator[Path]:
    """Give a temporary path to write to; on success it takes the place of `path`.

    The temporary file stands in the same folder, with the same ending, and gets the usual
    permissions of a new file. A link is followed: what it points to is replaced. If the body of
    the `with` raises, or the program is interrupted, `path` is left as it was and nothing
    remains. Missing folders are made. Raises OSError if the place cannot be written.
    """
    target = Path(os.path.realpath(path))
    target.parent.mkdir(parents=True, exist_ok=True)
    temporary = target.with_name(f".{target.stem}-{secrets.token_hex(4)}{target.suffix}")
    # Made here and at once, so that a place that cannot be written is known before the work.
    os.close(os.open(temporary, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o666))
    try:
        yield temporary
        os.replace(temporary, target)
    finally:
        temporary.unlink(missing_ok=True)


def write_whole(path: Path, content: bytes | Callable[[Path], None]) -> None:
    """Write `path` whole or not at all: from bytes, or by a function that is given where to write.

    Raises OSError if the place cannot be written.
    """
    with written_whole(path) as temporary:
        if callable(content):
            content(temporary)
        else:
            temporary.write_bytes(content)
