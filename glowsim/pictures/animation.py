"""Animations from finished frames: WebP, GIF, MP4."""

from __future__ import annotations

import importlib.util
import shutil
import subprocess
from collections.abc import Callable, Sequence
from itertools import pairwise
from pathlib import Path

from PIL import Image

from glowsim.errors import PictureError
from glowsim.pictures.writing import WEBP_QUALITY, checked_format, write_file

FRAME_NAME = "frame_%04d.png"
"""Of the frames, counted from 0; ffmpeg finds them by it."""

Writer = Callable[[Sequence[Path], Path, float], None]
"""Frames, where to write, and the time each frame is shown [ms]."""


def write_animation(frames: Sequence[Path], path: Path, seconds: float) -> None:
    """Write an animation that runs for `seconds` and repeats; its ending tells the format.

    frames : PNG files called FRAME_NAME in one folder, in order.
    Written whole or not at all. Raises PictureError for an unknown format, a missing ffmpeg, or a
    place that cannot be written.
    """
    writer = writer_for(path)
    write_file(path, lambda part: writer(frames, part, 1000 * seconds / len(frames)))


def writer_for(path: Path) -> Writer:
    """Return what writes the format of `path`; raise PictureError if nothing does.

    Ask before the frames are drawn: a missing ffmpeg is best known at the start.
    """
    ending = checked_format(path, ANIMATED_FORMATS)
    if ending == ".mp4":
        ffmpeg_program()
    return _WRITERS[ending]


def ffmpeg_program() -> str:
    """Return the path of ffmpeg: the user's own, or that of imageio-ffmpeg.

    Raises PictureError if there is neither. It always runs as a separate program.
    """
    own = shutil.which("ffmpeg")
    if own:
        return own
    if importlib.util.find_spec("imageio_ffmpeg"):
        import imageio_ffmpeg

        try:
            return str(imageio_ffmpeg.get_ffmpeg_exe())
        except RuntimeError as problem:
            raise PictureError(f"imageio-ffmpeg brings no ffmpeg here: {problem}") from None
    raise PictureError(
        "MP4 needs the program ffmpeg: install it, or 'pip install imageio-ffmpeg'; "
        "WebP and GIF need nothing more"
    )


def _write_webp(frames: Sequence[Path], path: Path, frame_ms: float) -> None:
    first, *rest = _loaded(frames)
    first.save(
        path,
        "WEBP",
        save_all=True,
        append_images=rest,
        duration=_durations(len(frames), frame_ms, 1),
        loop=0,
        quality=WEBP_QUALITY,
        method=3,
        # Whole frames: patches of the last one would show as steps in the dark.
        kmin=0,
        kmax=1,
    )


def _write_gif(frames: Sequence[Path], path: Path, frame_ms: float) -> None:
    # One palette for all: a palette of its own for each frame makes a still background flicker.
    pictures = _loaded(frames)
    shown = pictures[:: max(1, len(pictures) // 8)]
    strip = Image.new("RGB", (shown[0].width, sum(p.height for p in shown)))
    for k, picture in enumerate(shown):
        strip.paste(picture, (0, k * picture.height))
    palette = strip.quantize(256, method=Image.Quantize.MEDIANCUT)
    first, *rest = [
        p.quantize(palette=palette, dither=Image.Dither.FLOYDSTEINBERG) for p in pictures
    ]
    # The format counts in hundredths of a second.
    duration = _durations(len(frames), frame_ms, 10)
    first.save(path, "GIF", save_all=True, append_images=rest, duration=duration, loop=0)


def _write_mp4(frames: Sequence[Path], path: Path, frame_ms: float) -> None:
    # Players want both sides even, and this order of colours.
    command = [
        ffmpeg_program(), "-y", "-loglevel", "error", "-framerate", f"{1000 / frame_ms:.6f}",
        "-i", FRAME_NAME, "-vf", "pad=ceil(iw/2)*2:ceil(ih/2)*2", "-pix_fmt", "yuv420p",
        "-movflags", "+faststart", "-f", "mp4", str(path.resolve()),
    ]  # fmt: skip
    done = subprocess.run(command, cwd=frames[0].parent, capture_output=True, text=True)
    if done.returncode:
        last = (done.stderr.strip().splitlines() or ["no message"])[-1]
        raise PictureError(f"ffmpeg could not write the MP4: {last}")


def _loaded(frames: Sequence[Path]) -> list[Image.Image]:
    """Return the frames with their files closed: many open files are not to be had."""
    return [Image.open(frame).convert("RGB") for frame in frames]


def _durations(count: int, frame_ms: float, step_ms: int) -> list[int]:
    """Return whole durations, in multiples of `step_ms`, that add up to the time asked for."""
    ends = [round(k * frame_ms / step_ms) * step_ms for k in range(count + 1)]
    return [max(step_ms, later - sooner) for sooner, later in pairwise(ends)]


_WRITERS: dict[str, Writer] = {".webp": _write_webp, ".gif": _write_gif, ".mp4": _write_mp4}
ANIMATED_FORMATS = tuple(_WRITERS)
