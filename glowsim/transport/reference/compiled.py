"""How the photon loop is compiled, and where the result is kept for the next run.

Compiling takes some ten seconds; it is kept in the user's cache folder, so that it happens once
also where the project is installed read-only. Where nothing can be written, every run compiles
anew.
"""

from __future__ import annotations

import hashlib
import os
import tempfile
from pathlib import Path
from typing import Any

import numba
from platformdirs import user_cache_path


def _kept() -> bool:
    """Choose the folder for compiled code; return whether there is one that can be written."""
    given = os.environ.get("NUMBA_CACHE_DIR")
    folder = Path(given) if given else user_cache_path("glowsim") / "compiled"
    # What is kept names the classes it was compiled for: where these changed it cannot be read.
    packing = Path(__file__).with_name("packing.py").read_bytes()
    folder /= hashlib.sha256(packing).hexdigest()[:12]
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryFile(dir=folder):
            pass
    except OSError:
        return False
    vars(numba.config)["CACHE_DIR"] = str(folder)
    return True


_OPTIONS: dict[str, Any] = {
    "nogil": True,
    "cache": _kept(),
    "error_model": "numpy",
    # Products and sums may be fused, a / b may become a * (1 / b): same result on every run.
    # No array is made or kept inside, so none need be counted: counting costs threads half their
    # speed, as all of them count the same arrays.
    "_nrt": False,
    "fastmath": {"contract", "arcp", "nsz"},
}
compiled = numba.njit(**_OPTIONS)
"""Compile a function; it runs without Python's lock."""
inlined = numba.njit(inline="always", **_OPTIONS)
"""The same, for small functions that are to vanish into their callers."""
