"""Photos of the printed marks card, made from its very drawing by a pinhole camera."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path as FilePath

import numpy as np
from PIL import Image, ImageDraw
from scipy.ndimage import gaussian_filter, map_coordinates

from glowsim.buildsheet.bench_sheet import marks_card
from glowsim.buildsheet.drawing import Path

PER_MM = 6
INK, PAPER, CLOTH = 0.25, 0.9, 0.12
"""Codes of an image in room light, over the greatest."""


@dataclass(frozen=True)
class Pinhole:
    """A camera that looks at the middle of the card, in the card's frame."""

    azimuth_deg: float
    elevation_deg: float
    roll_deg: float = 0.0
    distance_mm: float = 600.0
    focal_px: float = 900.0
    size: tuple[int, int] = (640, 480)

    @property
    def eye_mm(self) -> np.ndarray:
        turn, rise = np.radians([self.azimuth_deg, self.elevation_deg])
        flat = np.cos(rise) * np.array([np.cos(turn), np.sin(turn)])
        return self.distance_mm * np.array([*flat, np.sin(rise)])

    @property
    def axes(self) -> np.ndarray:
        forward = -self.eye_mm / self.distance_mm
        right = np.cross(forward, [0.0, 0.0, 1.0])
        right /= np.linalg.norm(right)
        down = np.cross(forward, right)
        c, s = np.cos(np.radians(self.roll_deg)), np.sin(np.radians(self.roll_deg))
        return np.array([c * right - s * down, s * right + c * down, forward])

    def pixels(self, points: np.ndarray) -> np.ndarray:
        local = (points - self.eye_mm) @ self.axes.T
        return 0.5 * np.array(self.size) + self.focal_px * local[:, :2] / local[:, 2:]


def printed(hidden: tuple[int, ...] = ()) -> np.ndarray:
    """Return the codes of the card as printed, rows downward, without some of its squares."""
    card = marks_card()
    height = round(card.height_mm * PER_MM)
    image = Image.new("L", (round(card.width_mm * PER_MM), height), round(255 * PAPER))
    draw = ImageDraw.Draw(image)
    for item in card.items:
        if isinstance(item, Path):
            places = [(x * PER_MM, height - y * PER_MM) for x, y in item.points.tolist()]
            if item.fill is not None:
                draw.polygon(places, fill=round(255 * (PAPER if item.fill[0] > 0.5 else INK)))
            else:
                draw.line(
                    places, fill=round(255 * INK), width=max(1, round(item.width_mm * PER_MM))
                )
    for x, y in ((140.0, 140.0), (20.0, 140.0), (20.0, 20.0), (140.0, 20.0)):
        if ((140.0, 140.0), (20.0, 140.0), (20.0, 20.0), (140.0, 20.0)).index((x, y)) in hidden:
            left, top = (x - 13) * PER_MM, height - (y + 13) * PER_MM
            draw.rectangle(
                (left, top, left + 26 * PER_MM, top + 26 * PER_MM), fill=round(255 * PAPER)
            )
    return np.asarray(image) / 255.0


def photographed_card(
    camera: Pinhole,
    *,
    hidden: tuple[int, ...] = (),
    noise: float = 0.01,
    shade: float = 0.3,
    post: bool = True,
) -> np.ndarray:
    """Return codes of what the camera sees, (h, w, 3) uint8: the card on dark cloth, light falling
    off by `shade` across the image, and a grey post on the cross."""
    width, height = camera.size
    column, row = np.meshgrid(np.arange(width) + 0.5, np.arange(height) + 0.5)
    away = np.stack([column - 0.5 * width, row - 0.5 * height], axis=-1) / camera.focal_px
    heading = np.dstack([away, np.ones((height, width))]) @ camera.axes
    reach = -camera.eye_mm[2] / np.minimum(heading[..., 2], -1e-6)
    at = camera.eye_mm + reach[..., None] * heading
    drawn = printed(hidden)
    place = [(80.0 - at[..., 1]) * PER_MM, (80.0 + at[..., 0]) * PER_MM]
    grey = map_coordinates(gaussian_filter(drawn, 1.5), place, order=1, cval=CLOTH)
    if post:
        feet = camera.pixels(np.array([[0, 0, 0.0], [0, 0, 70.0], [10, 0, 0], [-10, 0, 0]]))
        far = np.abs(column - feet[:, 0].mean())
        low, high = sorted(feet[:2, 1])
        grey[(far < 20) & (row > low) & (row < high)] = 0.6
    grey = gaussian_filter(grey, 0.6) * (1.0 - shade * column / width)
    grey = grey + np.random.default_rng(5).normal(0.0, noise, grey.shape)
    return np.repeat(np.round(255 * np.clip(grey, 0, 1)).astype(np.uint8)[..., None], 3, axis=2)


def save_codes(codes: np.ndarray, path: FilePath) -> None:
    """Write codes as an image file."""
    Image.fromarray(codes).save(path)
