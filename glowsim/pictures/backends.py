"""Which way pictures are drawn: asks once per machine whether OpenGL works, and how fast.

A bad graphics driver can take the whole program with it, so the question is put to a process of
its own; the answer is kept in the user's cache folder.
"""

from __future__ import annotations

import json
import math
import platform
import subprocess
import sys
import time
from dataclasses import asdict, dataclass
from importlib.metadata import version
from pathlib import Path

import numpy as np
from platformdirs import user_cache_path

from glowsim.errors import PictureError, did_you_mean
from glowsim.files import write_whole
from glowsim.geometry.rays import RayTarget
from glowsim.pictures.camera import framed
from glowsim.pictures.visibility import Backend, load_pyrender, view_of

SYSTEM_PACKAGES = "libegl1 libgl1 libgl1-mesa-dri"
"""What Debian and its kin need for OpenGL without a display."""
TRUSTED_S = 24 * 3600.0
"""A failure is tried again after a day: the missing library may have come since."""
_TIMEOUT_S = 120.0
_TAKES = 3
"""The least of so many counts: the machine may be busy with something else just then."""
GL_START_MS = 700.0
"""Processor time to load OpenGL and open its first window, measured; rays start at once."""
_PACKAGES = ("pyrender", "PyOpenGL", "pyglet", "embreex", "numpy")


@dataclass(frozen=True)
class Probe:
    """What trying OpenGL gave.

    fault      : why it cannot be used, empty if it can
    gl_ms, embree_ms : processor time to find the triangles of one 1280 x 960 picture [ms], which
                       does not depend on what else the machine does
    when       : seconds since 1970
    """

    fault: str
    gl_ms: float
    embree_ms: float
    when: float


def drawn_by_glow(size: tuple[int, int]) -> float:
    """Return how many pictures `glow` draws, as `choose_backend` counts them: a photo, at four rays
    a pixel, and the two views of the map."""
    return 6 * size[0] * size[1] / 1280 / 960


def choose_backend(wanted: str, pictures: float = math.inf) -> tuple[Backend, str]:
    """Return the back end to draw with, and why, in one line.

    wanted   : "embree", "gl" or "auto" (OpenGL where it works and is faster)
    pictures : how many are to be drawn, counted in pictures of 1280 x 960 points
    Raises PictureError for another name, and if OpenGL is wanted but cannot be used.
    """
    if wanted not in ("auto", "embree", "gl"):
        known = did_you_mean(wanted, ("auto", "embree", "gl"))
        raise PictureError(f"'{wanted}' is not a back end{known}")
    if wanted == "embree":
        return "embree", "rays, as asked for"
    if sys.platform == "darwin":
        fault = "macOS lets only the first thread of a program draw"
        if wanted == "gl":
            raise PictureError(f"OpenGL cannot be used: {fault}; use the back end 'embree'")
        return "embree", f"rays; {fault}"
    probe = probed(again=wanted == "gl")
    if wanted == "gl":
        if probe.fault:
            raise PictureError(
                f"OpenGL cannot be used: {probe.fault}; use the back end 'embree'{_advice()}"
            )
        return "gl", "OpenGL, as asked for"
    if probe.fault:
        return "embree", f"rays; OpenGL cannot be used: {probe.fault}{_advice()}"
    times = f"{probe.gl_ms:.0f} ms by OpenGL, {probe.embree_ms:.0f} ms by rays"
    if probe.gl_ms < probe.embree_ms:
        if pictures * (probe.embree_ms - probe.gl_ms) < GL_START_MS:
            return "embree", f"rays; OpenGL is not worth starting for so few pictures ({times})"
        return "gl", f"OpenGL is faster here ({times})"
    return "embree", f"rays are faster here ({times})"


def probed(again: bool = False, cache: Path | None = None) -> Probe:
    """Return whether OpenGL works here, from the cache or by trying.

    again : do not believe an earlier failure.
    """
    cache = cache or user_cache_path("glowsim") / "opengl.json"
    key = _machine_key()
    known = _read(cache, key)
    if known and not (known.fault and (again or time.time() - known.when > TRUSTED_S)):
        return known
    probe = _try_in_own_process()
    try:
        text = json.dumps({"key": key, "probe": asdict(probe)}, indent=1)
        write_whole(cache, text.encode())
    except OSError:
        pass  # Without a cache the question is put again next time.
    return probe


def _read(cache: Path, key: str) -> Probe | None:
    try:
        kept = json.loads(cache.read_text(encoding="utf-8"))
        return Probe(**kept["probe"]) if kept["key"] == key else None
    except (OSError, ValueError, KeyError, TypeError):
        return None


def _machine_key() -> str:
    versions = [f"{name} {version(name)}" for name in _PACKAGES]
    return "; ".join(
        ["processor time", platform.node(), platform.platform(), sys.version.split()[0], *versions]
    )


def _advice() -> str:
    if not sys.platform.startswith("linux"):
        return ""
    return f"; on Debian and Ubuntu it needs the system packages {SYSTEM_PACKAGES}"


def _try_in_own_process() -> Probe:
    command = [sys.executable, "-c", "from glowsim.pictures.backends import report; report()"]
    try:
        done = subprocess.run(command, capture_output=True, text=True, timeout=_TIMEOUT_S)
    except (OSError, subprocess.TimeoutExpired) as problem:
        return Probe(f"the trial did not end: {problem}", 0.0, 0.0, time.time())
    try:
        return Probe(**json.loads(done.stdout.strip().splitlines()[-1]))
    except (IndexError, ValueError, TypeError):
        last = (done.stderr.strip().splitlines() or ["no message"])[-1]
        return Probe(f"the trial ended with {done.returncode}: {last}", 0.0, 0.0, time.time())


def report() -> None:
    """Try OpenGL in this process and write the Probe as JSON to the standard output."""
    try:
        probe = _tried()
    except PictureError as problem:
        probe = Probe(str(problem), 0.0, 0.0, time.time())
    sys.stdout.write(json.dumps(asdict(probe)) + "\n")
    sys.stdout.flush()


def _tried() -> Probe:
    """Draw a wavy sheet of 50 000 triangles both ways; the faces must be the same."""
    load_pyrender()
    triangles = _sheet()
    rays = RayTarget(triangles)
    camera = framed(
        triangles.reshape(-1, 3),
        azimuth_deg=20,
        elevation_deg=30,
        distance_mm=1000,
        size=(1280, 960),
    )
    seen, times = {}, {}
    backends: tuple[Backend, ...] = ("gl", "embree")
    for backend in backends:
        view = view_of(triangles, rays, backend)
        view(camera)
        taken = []
        for _ in range(_TAKES):
            started = time.process_time()
            seen[backend] = view(camera).triangle
            taken.append(1000 * (time.process_time() - started))
        times[backend] = min(taken)
    same = float((seen["gl"] == seen["embree"]).mean())
    fault = "" if same > 0.99 else f"it shows other triangles than rays do ({same:.1%} agree)"
    return Probe(fault, times["gl"], times["embree"], time.time())


def _sheet() -> np.ndarray:
    across = np.linspace(-100, 100, 159)
    x, y = np.meshgrid(across, across, indexing="ij")
    point = np.stack([x, y, 10 * np.sin(x / 15) * np.cos(y / 20)], axis=-1)
    a, b, c, d = point[:-1, :-1], point[1:, :-1], point[1:, 1:], point[:-1, 1:]
    pairs = np.stack([np.stack([a, b, c], axis=2), np.stack([a, c, d], axis=2)])
    return pairs.reshape(-1, 3, 3)
