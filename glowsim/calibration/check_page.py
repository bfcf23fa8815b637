"""A picture of a photo beside its prediction: where they part, place by place."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from PIL import Image

from glowsim.calibration.compare import Compared
from glowsim.pictures.figure import new_figure, picture_of
from glowsim.pictures.inks import GRID, INK, OFF, colour_map, hexed

INCHES = (5.2, 5.2)
DPI = 110


def check_page(every: Sequence[Compared]) -> Image.Image:
    """Return, for each photo, the photo with its places, and both against each other."""
    width, height = INCHES
    figure = new_figure(2 * width, height * len(every), DPI)
    axes = figure.subplots(len(every), 2, squeeze=False)
    for (left, right), one in zip(axes, every, strict=True):
        frame = one.views.frames[0]
        share = frame.codes / frame.full
        left.imshow(np.clip(share / max(float(np.percentile(share, 99.5)), 1e-6), 0, 1) ** 0.6)
        most = max(0.3, float(np.abs(one.off).max()))
        # The sign of a difference shows in a grey print too.
        for mine, marker in ((one.off < 0, "v"), (one.off >= 0, "^")):
            dots = left.scatter(
                *one.pixels[mine].T, c=np.exp(one.off[mine]), cmap=colour_map(OFF), s=30,
                edgecolors=hexed(INK), norm=_norm(most), marker=marker,
            )  # fmt: skip
        bar = figure.colorbar(dots, ax=left, shrink=0.8)
        bar.set_label("photo over prediction (▲ photo brighter, ▼ darker)")
        low, high = one.pixels.min(axis=0), one.pixels.max(axis=0)
        margin = 0.15 * float((high - low).max())
        left.set_xlim(low[0] - margin, high[0] + margin)
        left.set_ylim(high[1] + margin, low[1] - margin)
        left.set_title("the photo, and where it differs", fontsize=10, loc="left")
        chance = float(np.exp(one.parted * np.median(one.sd)))
        right.axhspan(1 / chance, chance, color=hexed(GRID))
        right.errorbar(one.points[:, 2], np.exp(one.off), yerr=_bars(one), fmt="o", markersize=4)
        right.set_yscale("log")
        right.set_xlabel("height z, mm")
        right.set_title(f"photo over prediction, {len(one.off)} places", fontsize=10, loc="left")
    return picture_of(figure)


def _bars(one: Compared) -> np.ndarray:
    """Return how far the ends of the error bars lie below and above, (2, m) float."""
    return np.array(
        [sign * (np.exp(one.off + sign * one.sd) - np.exp(one.off)) for sign in (-1, 1)]
    )


def _norm(most: float):  # type: ignore[no-untyped-def]
    from matplotlib.colors import LogNorm

    return LogNorm(float(np.exp(-most)), float(np.exp(most)))
