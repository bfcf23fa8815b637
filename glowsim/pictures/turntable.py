"""The prop on a turntable: pictures from all round, at one exposure, and as an animation."""

from __future__ import annotations

import os
import shutil
from collections import deque
from collections.abc import Callable, Generator, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import closing
from pathlib import Path

from PIL import Image

from glowsim.errors import PictureError
from glowsim.files import folder_beside
from glowsim.pictures.animation import FRAME_NAME, write_animation, writer_for
from glowsim.pictures.camera import Size, checked_size
from glowsim.pictures.photo import Studio, foot_px, with_foot
from glowsim.pictures.room import THREADS

TURNTABLE_SIZE: Size = (640, 480)
FRAMES = 72
SECONDS = 6.0
MOST_FRAMES = 360

Progress = Callable[[int, int], None]
"""Told how many frames are finished, and of how many."""


def no_progress(done: int, count: int) -> None:
    """Tell nobody."""


def turntable_frames(
    studio: Studio,
    *,
    frame_count: int = FRAMES,
    size: Size = TURNTABLE_SIZE,
    exposure_cd_m2: float | None = None,
) -> Generator[Image.Image, None, None]:
    """Yield the pictures of one turn, in order, starting from the scene's view.

    What feeds the lights stands below each, where the glow says it. Several are drawn at once.
    Raises PictureError for a count or size out of range.
    """
    if not 1 <= frame_count <= MOST_FRAMES:
        raise PictureError(
            f"a turntable of {frame_count} frames cannot be drawn; give 1 to {MOST_FRAMES}"
        )
    # Framed once: the turn must not make the prop grow and shrink.
    words = studio.glow.supply
    strip = foot_px(checked_size(size), words)
    inner = (size[0], size[1] - strip)
    framing = studio.camera(inner, turning=True)
    exposure = studio.exposure_cd_m2 if exposure_cd_m2 is None else exposure_cd_m2
    _ = studio.backdrop, studio.shading  # before the threads ask for them together

    def draw(number: int) -> Image.Image:
        camera = framing.turned(360 * number / frame_count, studio.stage.axis)
        picture = studio.photo(inner, camera=camera, exposure_cd_m2=exposure, caption=False)
        return with_foot(picture, words, strip)

    yield from drawn_ahead(draw, frame_count)


def drawn_ahead(
    draw: Callable[[int], Image.Image], count: int
) -> Generator[Image.Image, None, None]:
    """Yield draw(0), draw(1) and so on, several being drawn at once."""
    waiting: deque[Future[Image.Image]] = deque()
    with ThreadPoolExecutor(THREADS) as pool:
        try:
            for number in range(count):
                waiting.append(pool.submit(draw, number))
                if len(waiting) > THREADS:
                    yield waiting.popleft().result()
            while waiting:
                yield waiting.popleft().result()
        finally:
            for drawing in waiting:
                drawing.cancel()


def write_turntable(
    studio: Studio,
    path: str | os.PathLike[str],
    *,
    frame_count: int = FRAMES,
    seconds: float = SECONDS,
    size: Size = TURNTABLE_SIZE,
    exposure_cd_m2: float | None = None,
    progress: Progress = no_progress,
) -> None:
    """Write a turntable; a path without an ending is a folder for the frames as PNG.

    Frames are written beside the target as they are finished, the animation whole or not at
    all. If that fails or is interrupted, the frames so far are kept in a folder that the message
    of the PictureError or KeyboardInterrupt names. Raises PictureError, besides, for
    arguments out of range, an unknown format, or a place that cannot be written.
    """
    pictures = turntable_frames(
        studio, frame_count=frame_count, size=size, exposure_cd_m2=exposure_cd_m2
    )
    write_moving(pictures, path, frame_count=frame_count, seconds=seconds, progress=progress)


def write_moving(
    pictures: Generator[Image.Image, None, None],
    path: str | os.PathLike[str],
    *,
    frame_count: int,
    seconds: float,
    kept_by: Path | None = None,
    progress: Progress = no_progress,
) -> None:
    """Write pictures as an animation, or into a folder; see `write_turntable`.

    kept_by : the file beside which the frames so far are kept, where that is not `path`
    """
    target = Path(path)
    kept_by = kept_by or target
    if not seconds > 0:
        raise PictureError(f"a turn cannot take {seconds:g} s; give a time above 0")
    as_frames = not target.suffix
    if as_frames and target.exists():
        raise PictureError(f"{target}: exists already and is left alone; choose another name")
    if not as_frames:
        writer_for(target)
    folder = _frame_folder(target)
    try:
        with closing(pictures):
            frames = _write_frames(pictures, folder, frame_count, progress)
        if as_frames:
            folder.replace(target)
        else:
            write_animation(frames, target, seconds)
    except KeyboardInterrupt:
        raise KeyboardInterrupt(f"stopped: {_kept(folder, kept_by, frame_count)}") from None
    except OSError as problem:
        kept = _kept(folder, kept_by, frame_count)
        raise PictureError(f"{kept_by}: cannot be written: {problem.strerror}; {kept}") from None
    except PictureError as problem:
        raise PictureError(f"{problem}; {_kept(folder, kept_by, frame_count)}") from None
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def _frame_folder(target: Path) -> Path:
    """Make a folder for frames beside the target."""
    try:
        return folder_beside(target)
    except OSError as problem:
        raise PictureError(f"{target}: cannot be written: {problem.strerror}") from None


def _write_frames(
    pictures: Iterator[Image.Image], folder: Path, count: int, progress: Progress
) -> list[Path]:
    frames = []
    for k, picture in enumerate(pictures):
        frame = folder / (FRAME_NAME % k)
        # Named when it is whole: what an interruption leaves behind can be used.
        part = frame.with_suffix(".part")
        picture.save(part, "PNG", compress_level=1)
        part.replace(frame)
        frames.append(frame)
        progress(k + 1, count)
    return frames


def _kept(folder: Path, target: Path, count: int) -> str:
    """Move the finished frames to where the user finds them; return what to tell."""
    for part in folder.glob("*.part"):
        part.unlink()
    finished = len(list(folder.glob("*.png")))
    if not finished:
        return f"none of {count} frames was finished"
    kept = target.with_name(f"{target.stem}_frames")
    number = 2
    while kept.exists():
        kept = target.with_name(f"{target.stem}_frames_{number}")
        number += 1
    folder.replace(kept)
    return f"{finished} of {count} frames are kept in {kept}"
