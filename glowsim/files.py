"""Files are written whole or not at all: first beside their place, then moved into it."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path


@contextmanager
def written_whole(path: Path) -> Iterator[Path]:
    """Give a temporary path to write to; on success it takes the place of `path`.

    The temporary file stands in the same folder, with the same ending. If the body of the
    `with` raises, or the program is interrupted, `path` is left as it was and nothing remains.
    """
    path.parent.mkdir(parents=True, exist_ok=True)
    handle, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.stem}-", suffix=path.suffix)
    os.close(handle)
    temporary = Path(name)
    try:
        yield temporary
        os.replace(temporary, path)
    finally:
        temporary.unlink(missing_ok=True)
