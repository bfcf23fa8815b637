"""The sheet's folder: filled whole, and never over a file that is not the sheet's own."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from pathlib import Path

from glowsim.errors import SceneError
from glowsim.files import write_whole, written_together

LIST = "sheet-files.json"
"""Names and digests of what the last sheet wrote, so that it may be replaced."""


def check_free(folder: Path, names: list[str]) -> dict[str, list[str]]:
    """Return digests of what earlier sheets wrote to a folder, by name.

    Raises SceneError for a file of one of these names that is not from there, or was changed.
    """
    if folder.exists() and not folder.is_dir():
        raise SceneError(f"{folder}: is a file; the sheet needs a folder, choose another --out")
    known = _known(folder / LIST)
    for name in names:
        path = folder / name
        if path.exists() and _digest(path) not in known.get(name, []):
            raise SceneError(
                f"{path}: is not from an earlier sheet, or was changed since, and is left alone; "
                "move it away, or choose another --out"
            )
    return known


def fill(folder: Path, files: Mapping[str, bytes]) -> list[Path]:
    """Write files to a folder, all at once; take away what an earlier sheet left there unchanged.

    Raises SceneError as `check_free` does, before anything is written, or if a file cannot be
    written.
    """
    known = check_free(folder, [*files])
    digests = {name: hashlib.sha256(content).hexdigest() for name, content in files.items()}
    try:
        # Old and new are both listed while they are written: after a run that was cut short
        # either may be replaced.
        _write_list(folder, known | {n: [*known.get(n, []), digests[n]] for n in files})
        with written_together(folder) as part:
            for name, content in files.items():
                (part / name).write_bytes(content)
        for name, earlier in known.items():
            path = folder / name
            if name not in files and path.is_file() and _digest(path) in earlier:
                path.unlink()
        _write_list(folder, {name: [digest] for name, digest in digests.items()})
    except OSError as problem:
        where = problem.filename or folder
        raise SceneError(f"{where}: cannot be written: {problem.strerror}") from None
    return [folder / name for name in files]


def _write_list(folder: Path, digests: Mapping[str, list[str]]) -> None:
    write_whole(folder / LIST, json.dumps(digests, indent=1).encode())


def _known(path: Path) -> dict[str, list[str]]:
    try:
        known = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {}
    if not isinstance(known, dict):
        return {}
    # Only plain names of this folder: the list may have been tampered with.
    return {n: d for n, d in known.items() if Path(n).name == n and isinstance(d, list)}


def _digest(path: Path) -> str:
    try:
        return hashlib.sha256(path.read_bytes()).hexdigest()
    except OSError:
        return ""
