"""Photos of a made-up glowing body, taken by rays: nothing of the program's own reading of them."""

from __future__ import annotations

import struct
import zlib
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import trimesh
from PIL import Image
from scipy.ndimage import gaussian_filter

from glowsim.geometry.rays import RayTarget
from glowsim.optics.srgb import encode
from glowsim.pictures.camera import Camera, framed

TALL, RADIUS = 100.0, 15.0
STRAIGHT = {"from_mm": [RADIUS, 0.0, 10.0], "to_mm": [RADIUS, 0.0, 90.0], "toward": [1.0, 0, 0]}
"""A stretch of the rod, seen from +x (azimuth 90)."""


def rod() -> np.ndarray:
    """Return the triangles of an upright rod, from z = 0 on."""
    mesh = trimesh.creation.cylinder(RADIUS, TALL, sections=96)
    return np.asarray(mesh.triangles) + np.array([0.0, 0.0, TALL / 2])


def fading(points: np.ndarray) -> np.ndarray:
    """Return light that falls by e in 20 mm of height."""
    return np.exp(-points[:, 2] / 20.0)


@dataclass
class Picture:
    """What a camera saw: light, (h, w) float of peak about 1."""

    light: np.ndarray
    camera: Camera

    def pixel(self, place: tuple[float, float, float]) -> list[float]:
        """Return where a point appears, to a tenth of a pixel."""
        at, _ = self.camera.project(np.array([place], dtype=float))
        return [round(float(c), 1) for c in at[0]]


def taken(light: Callable[[np.ndarray], np.ndarray] = fading) -> Picture:
    """Return what a camera at 600 mm sees of a matt rod, with light by the place."""
    triangles = rod()
    return taken_of(triangles, lambda face, heading, point: light(point))


def taken_of(
    triangles: np.ndarray,
    light: Callable[[np.ndarray, np.ndarray, np.ndarray], np.ndarray],
    size: tuple[int, int] = (240, 320),
) -> Picture:
    """Return what a camera at 600 mm sees of a body.

    light : of faces (n,), seen along headings (n, 3), at points (n, 3)
    """
    camera = framed(
        triangles.reshape(-1, 3), azimuth_deg=87.0, elevation_deg=3.0, distance_mm=600.0,
        size=size, fill=0.6,
    )  # fmt: skip
    row, column = np.mgrid[: size[1], : size[0]]
    heading = camera.directions(column.ravel(), row.ravel()).astype(float)
    eye = np.broadcast_to(camera.eye_mm, heading.shape)
    hits = RayTarget(triangles).first_hits(eye, heading)
    seen = hits.face >= 0
    found = np.zeros(len(seen))
    found[seen] = light(hits.face[seen], heading[seen], hits.point[seen])
    return Picture(found.reshape(size[1], size[0]), camera)


def save(
    picture: Picture,
    path: Path,
    *,
    gain: float = 1.0,
    channel: int = 1,
    curve: Callable[[np.ndarray], np.ndarray] = encode,
    deep: bool = False,
    blur_px: float = 0.0,
    orientation: int | None = None,
    seed: int = 1,
) -> None:
    """Write light times a gain as an image, by the camera's curve, with a little noise."""
    light = gain * (gaussian_filter(picture.light, blur_px) if blur_px else picture.light)
    crosstalk = np.full(3, 0.05)
    crosstalk[channel] = 1.0
    rng = np.random.default_rng(seed)
    noisy = light[..., None] * crosstalk * rng.normal(1.0, 0.01, (*light.shape, 1))
    noisy += rng.normal(0.0, 0.0003, noisy.shape)
    share = np.clip(curve(np.clip(noisy, 0.0, 1.0)), 0.0, 1.0)
    if deep:
        write_16_bit(path, np.round(share * 65535).astype(np.uint16))
        return
    image = Image.fromarray(np.round(share * 255).astype(np.uint8))
    exif = Image.Exif()
    if orientation is not None:
        exif[0x0112] = orientation
        image = image.transpose(_TURNED[orientation])
    image.save(path, exif=exif)


_TURNED = {6: Image.Transpose.ROTATE_90, 8: Image.Transpose.ROTATE_270}


def write_16_bit(path: Path, codes: np.ndarray) -> None:
    """Write codes, (h, w, 3) uint16, as PNG or plain TIFF (the picture library cannot)."""
    height, width = codes.shape[:2]
    if path.suffix == ".png":
        line = codes.astype(">u2").reshape(height, -1).view(np.uint8)
        rows = np.concatenate([np.zeros((height, 1), np.uint8), line], axis=1)
        head = struct.pack(">IIBBBBB", width, height, 16, 2, 0, 0, 0)
        parts = [(b"IHDR", head), (b"IDAT", zlib.compress(rows.tobytes())), (b"IEND", b"")]
        chunks = (
            struct.pack(">I", len(d)) + n + d + struct.pack(">I", zlib.crc32(n + d))
            for n, d in parts
        )
        path.write_bytes(b"\x89PNG\r\n\x1a\n" + b"".join(chunks))
        return
    data = codes.astype("<u2").tobytes()
    tags = [
        (256, 4, 1, width), (257, 4, 1, height), (258, 3, 3, 8 + 2 + 10 * 12 + 4),
        (259, 3, 1, 1), (262, 3, 1, 2), (273, 4, 1, 200), (277, 3, 1, 3),
        (278, 4, 1, height), (279, 4, 1, len(data)), (284, 3, 1, 1),
    ]  # fmt: skip
    entries = b"".join(struct.pack("<HHII", *tag) for tag in tags)
    head = struct.pack("<2sHIH", b"II", 42, 8, len(tags)) + entries + struct.pack("<I", 0)
    bits = struct.pack("<HHH", 16, 16, 16)
    path.write_bytes((head + bits).ljust(200, b"\0") + data)
