"""Brightness along a stretch of a lit piece, read from image files of one view."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from glowsim.calibration.fields import LEAST_PROFILE
from glowsim.calibration.image import Frame, UnreadableError, read_frame
from glowsim.calibration.lit import Photo, Shot
from glowsim.calibration.marks import CORNERS, MARK_MM, eye_of, marks_in
from glowsim.calibration.merge import Seen, merged
from glowsim.calibration.outline import check_outline
from glowsim.calibration.pose import Known, Pose, pose_of
from glowsim.calibration.response import (
    Response,
    bracket_response,
    linear_response,
    srgb_response,
)
from glowsim.geometry.mesh import FloatArray
from glowsim.transport.problem import BANDS

BIN_MM = 3.0
CLICK = 0.0015
"""What a point may be off by, over the diagonal of the image: 6 pixels in one of 12 million."""
MOST_BINS = 60
BRIGHTEST = {"linear": 0.9, "srgb": 0.955, "brackets": 0.97}
"""Share of the greatest code above which a pixel counts as clipped: nine tenths of full light."""
DARKEST = {255: 5 / 255, 65535: 5 / 4095}
"""The same below which it is noise and rounding."""
LEAST_PX = 60.0
"""Length of the stretch in the image that can be read."""
FLAT_MM = 0.3
"""What a printed mark may lie off its place (opinion)."""
TURNED_DEG = 50.0
"""Between 'toward' and where the card says that the camera stood, from which they contradict."""
STRAY_UNSEEN, STRAY_IN_LENS = 0.002, 0.0005
"""Stray light over the brightest place, one deviation, where no dark frame tells it, and what the
lens adds of the piece's own light where one does (opinion)."""


@dataclass(frozen=True)
class Strip:
    """What images say along a stretch, or of patches.

    points : (m, 3) float, places on the body;  along_mm, values : (m,) float, values linear
    toward : (3,) float, to the camera;  moved_mm : (m, 7) float, see `Pose.along_mm`; of patches
             (2, m, 7), along both of `patches.tangents`
    stray  : light that may be left in the values, one deviation
    frame, outline : an image, and the line round what was read in it, (n, 2) float
    left_out : what was left out, in plain words, or ''
    """

    points: FloatArray
    along_mm: FloatArray
    values: FloatArray
    toward: FloatArray
    moved_mm: FloatArray
    stray: float
    pose: Pose
    frame: Frame
    outline: FloatArray
    left_out: str


@dataclass(frozen=True)
class Views:
    """Exposures of one view, and where their camera stood."""

    photo: Photo
    frames: list[Frame]
    dark: Frame | None
    pose: Pose
    times: FloatArray
    response: Response

    def seen(self, pixels: Sequence[np.ndarray]) -> list[Seen]:
        """Return what each exposure shows of places, the dark frame taken away."""
        clipped = 1.0 if all(f.linear for f in self.frames) else BRIGHTEST[self.photo.response]
        seen = [_seen(frame, pixels, self.response, min(clipped, 0.97)) for frame in self.frames]
        if self.dark is None:
            return seen
        dark = _seen(self.dark, pixels, self.response, 1.0)
        share = self.times / _dark_time(self.photo, self.dark, self.times)
        return [one.less(dark, float(part)) for one, part in zip(seen, share, strict=True)]

    @property
    def stray(self) -> float:
        """Stray light that may be left over the brightest place, one deviation."""
        return STRAY_UNSEEN if self.dark is None else STRAY_IN_LENS


def views_of(photo: Photo, folder: Path) -> Views:
    """Return a photo's exposures; raises UnreadableError saying what is wrong."""
    frames = [_frame(shot, folder, "images", k) for k, shot in enumerate(photo.images)]
    for k, frame in enumerate(frames):
        if frame.size != frames[0].size:
            raise UnreadableError(
                f"{frame.size[0]} x {frame.size[1]} pixels, and the first image "
                f"{frames[0].size[0]} x {frames[0].size[1]}; exposures must be of one view",
                *("images", k, "file"),
            )
    dark = _frame(photo.dark, folder, "dark") if photo.dark else None
    if dark is not None and dark.size != frames[0].size:
        raise UnreadableError("is not of the same view: its size is another", "dark", "file")
    times = _times(photo, frames)
    pose = camera_by_card(photo, frames[0], folder) if photo.card else camera_of(photo, frames[0])
    return Views(photo, frames, dark, pose, times, _response(photo, frames, times))


def strip_of(photo: Photo, folder: Path) -> Strip:
    """Return the brightness along a photo's stretch; raises UnreadableError."""
    views = views_of(photo, folder)
    pose, frames = views.pose, views.frames
    points, along, across = _places(photo, pose)
    pixels = [_pixels_of(photo, pose, place, across, len(points)) for place in points]
    _check_place(photo, pose, frames[0], pixels)
    seen = views.seen(pixels)
    best = max(range(len(seen)), key=lambda k: int(seen[k].good.sum()))
    check_light(seen)
    values, good = merged(seen, views.times)
    check_colour(photo, seen[best])
    check_outline(pose, frames[best], views.response, points[seen[best].good], across)
    heading = (points[-1] - points[0]) / np.linalg.norm(points[-1] - points[0])
    return Strip(
        points[good], along[good], values[good], toward_camera(pose, points),
        pose.along_mm(points[good], heading), views.stray * float(values[good].max()),
        pose, frames[best], stretch_px(photo, pose), left_out(seen, good),
    )  # fmt: skip


def stretch_px(photo: Photo, pose: Pose) -> FloatArray:
    """Return the closed line round what is read of a stretch, (5, 2) float, in pixels."""
    points, _, across = _places(photo, pose)
    half = 0.5 * photo.width_mm * across
    (first, last), ring = points[[0, -1]], (-1, 1, 1, -1, -1)
    ends = (first, first, last, last, first)
    return pose.pixels(np.array([end + side * half for end, side in zip(ends, ring, strict=True)]))


def camera_of(photo: Photo, frame: Frame) -> Pose:
    """Return where the camera stood; raises UnreadableError for points that do not fit."""
    width, height = frame.size
    for k, mark in enumerate(photo.points):
        column, row = mark.pixel
        if not (0 <= column <= width and 0 <= row <= height):
            raise UnreadableError(
                f"({column:g}, {row:g}) is outside the image of {width} x {height} pixels, turned "
                "upright as the file says; read the pixel in a viewer that turns it too",
                *("points", k, "pixel"),
            )
    known = Known(
        points=np.array([mark.at_mm for mark in photo.points], dtype=float),
        toward=np.array(photo.toward, dtype=float),
        size=frame.size,
        click_px=photo.click_px or max(1.0, CLICK * float(np.hypot(*frame.size))),
        distance_mm=photo.distance_mm,
        focal_px=photo.focal_px or frame.focal_px,
    )
    return pose_of(np.array([mark.pixel for mark in photo.points], dtype=float), known)


def camera_by_card(photo: Photo, first: Frame, folder: Path) -> Pose:
    """Return where the camera stood by the marks card; raises UnreadableError where it is not
    seen whole, or lies turned."""
    card = photo.card
    assert card is not None
    frame = _frame(card.file, folder, "card") if card.file else first
    if frame.size != first.size:
        raise UnreadableError("is not of the same view: its size is another", "card", "file")
    try:
        pixels = marks_in(frame)
    except UnreadableError as problem:
        raise UnreadableError(str(problem), "card") from None
    focal = photo.focal_px or first.focal_px or frame.focal_px
    eye = eye_of(pixels, frame.size, focal)
    said = np.array(photo.toward, dtype=float) / np.linalg.norm(photo.toward)
    if (off := float(np.degrees(np.arccos(np.clip(said @ eye, -1.0, 1.0))))) > TURNED_DEG:
        raise UnreadableError(
            "by the card the camera looked from ({:.1f}, {:.1f}, {:.1f})".format(*eye)
            + f", {off:.0f} degrees from 'toward': do the card's x and y run as the body's do?",
            "card",
        )
    flat = MARK_MM * card.bar_mm / 100.0 * CORNERS
    px_per_mm = float(np.linalg.norm(pixels[0] - pixels[2]) / np.linalg.norm(flat[0] - flat[2]))
    known = Known(
        points=np.column_stack([flat, np.zeros(4)]) + np.array(card.at_mm, dtype=float),
        toward=eye,
        size=frame.size,
        click_px=photo.click_px or max(0.5, FLAT_MM * px_per_mm),
        distance_mm=photo.distance_mm,
        focal_px=focal,
    )
    return pose_of(pixels, known)


def _frame(shot: Shot | str, folder: Path, *at: str | int) -> Frame:
    try:
        return read_frame(folder / (shot if isinstance(shot, str) else shot.file))
    except UnreadableError as problem:
        raise UnreadableError(str(problem), *at, *problem.at) from None


def toward_camera(pose: Pose, points: FloatArray) -> FloatArray:
    """Return the direction from the middle of places to the camera, (3,) float."""
    away = pose.eye_mm - points.mean(axis=0)
    return np.asarray(away / np.linalg.norm(away), dtype=float)


def _places(photo: Photo, pose: Pose) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return middles of the bins, how far along they lie, and the way across, (3,) float."""
    start, end = np.array(photo.from_mm, dtype=float), np.array(photo.to_mm, dtype=float)
    length = float(np.linalg.norm(end - start))
    count = int(np.clip(round(length / BIN_MM), LEAST_PROFILE, MOST_BINS))
    share = (np.arange(count) + 0.5) / count
    points = start + share[:, None] * (end - start)
    across = np.cross(end - start, toward_camera(pose, points))
    return points, share * length, across / np.linalg.norm(across)


def _pixels_of(
    photo: Photo, pose: Pose, place: FloatArray, across: FloatArray, bins: int
) -> np.ndarray:
    """Return column and row of the pixels of one bin, (n, 2) int."""
    stretch = (np.array(photo.to_mm) - np.array(photo.from_mm)) / bins
    wide = photo.width_mm * across
    ends = pose.pixels(np.array([place, place + stretch, place + wide]))
    steps = [int(np.clip(np.ceil(1.5 * np.linalg.norm(e - ends[0])), 2, 60)) for e in ends[1:]]
    u, v = (np.linspace(-0.5, 0.5, 2 * n + 1)[1::2] for n in steps)
    grid = place + u[:, None, None] * stretch + v[None, :, None] * wide
    found = np.floor(pose.pixels(grid.reshape(-1, 3))).astype(int)
    return np.unique(found, axis=0)


def _check_place(photo: Photo, pose: Pose, frame: Frame, pixels: Sequence[np.ndarray]) -> None:
    every = np.concatenate(pixels)
    if (every < 0).any() or (every >= np.array(frame.size)).any():
        raise UnreadableError(
            "the stretch runs out of the image; check its ends and the points", "points"
        )
    ends = pose.pixels(np.array([photo.from_mm, photo.to_mm], dtype=float))
    long = float(np.linalg.norm(ends[1] - ends[0]))
    if long < LEAST_PX:
        raise UnreadableError(
            f"the stretch is {long:.0f} pixels long in the image; {LEAST_PX:.0f} are needed: take "
            "the photo from nearer, or with more pixels",
            *("images", 0, "file"),
        )


def _times(photo: Photo, frames: Sequence[Frame]) -> FloatArray:
    """Return the shutter times; one image needs none."""
    found = []
    for k, (shot, frame) in enumerate(zip(photo.images, frames, strict=True)):
        time = shot.exposure_s or frame.exposure_s
        if time is None and len(frames) > 1:
            raise UnreadableError(
                "the file does not say its shutter time; give exposure_s", "images", k
            )
        found.append(time or 1.0)
    return np.array(found)


def _response(photo: Photo, frames: Sequence[Frame], times: FloatArray) -> Response:
    if all(frame.linear for frame in frames) or photo.response == "linear":
        return linear_response
    if photo.response == "srgb":
        return srgb_response
    return bracket_response([frame.codes / frame.full for frame in frames], times.tolist())


def _seen(frame: Frame, pixels: Sequence[np.ndarray], response: Response, clipped: float) -> Seen:
    """Return what one image shows of each bin."""
    light, spread, bright, dim = [], [], [], []
    for place in pixels:
        share = frame.codes[place[:, 1], place[:, 0]] / frame.full
        linear = response(share)
        light.append(linear.mean(axis=0))
        spread.append(linear.sum(axis=1).std())
        bright.append((share.max(axis=1) > clipped).mean() > 0.02)
        dim.append(share.mean(axis=0).max() < DARKEST[frame.full])
    return Seen(np.array(light), np.array(spread), np.array(bright), np.array(dim))


def _dark_time(photo: Photo, dark: Frame, times: FloatArray) -> float:
    """Return the shutter time of the dark frame; that of the photo where there is one alone."""
    assert photo.dark is not None
    time = photo.dark.exposure_s or dark.exposure_s
    if time is None and len(times) > 1:
        raise UnreadableError("the file does not say its shutter time; give exposure_s", "dark")
    return time or float(times[0])


def check_light(
    seen: Sequence[Seen], least: int = LEAST_PROFILE, what: str = "the stretch"
) -> None:
    """Raise where too few places can be read."""
    good = np.any([one.good for one in seen], axis=0)
    if good.sum() >= least:
        return
    clipped = float(np.mean([one.bright.mean() for one in seen]))
    dark = float(np.mean([one.dim.mean() for one in seen]))
    if clipped > dark:
        raise UnreadableError(
            f"clipped along {100 * clipped:.0f} % of {what}: the camera could take no more light; "
            "take the photo again with a shorter exposure",
            "images",
        )
    raise UnreadableError(
        f"dark along {100 * dark:.0f} % of {what}: is this a photo of the lit piece, and are "
        "the points right? Otherwise take it with a longer exposure",
        "images",
    )


def check_colour(photo: Photo, seen: Seen) -> None:
    """Raise where another channel than the photo's band is the brightest."""
    total = seen.light[seen.good].sum(axis=0)
    named = BANDS.index(photo.band)
    strongest = int(total.argmax())
    if total[strongest] > 1.1 * total[named]:
        raise UnreadableError(
            f"the image is brightest in {BANDS[strongest]}, not in {photo.band}: which channel was "
            "lit, and is this the right file?",
            "band",
        )


def left_out(seen: Sequence[Seen], good: np.ndarray) -> str:
    """Say how many places were left out of images, and why."""
    bright = sum(int(one.bright.sum()) for one in seen)
    dim = sum(int(one.dim.sum()) for one in seen)
    if not bright + dim:
        return ""
    places = len(good)
    gone = f", {places - int(good.sum())} places altogether" if not good.all() else ""
    return (
        f"of {places} places in {len(seen)} image{'s' if len(seen) > 1 else ''}, {bright} were "
        f"clipped and {dim} too dark, and left out there{gone}"
    )
