"""A picture of a photo beside its prediction: where they part, place by place."""

from __future__ import annotations

import io
from collections.abc import Sequence

import numpy as np
from PIL import Image

from glowsim.calibration.compare import Compared

INCHES = (5.2, 5.2)
DPI = 110


def check_page(every: Sequence[Compared]) -> Image.Image:
    """Return, for each photo, the photo with its places, and both against each other."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    width, height = INCHES
    figure = Figure(figsize=(2 * width, height * len(every)), layout="constrained")
    canvas = FigureCanvasAgg(figure)
    axes = figure.subplots(len(every), 2, squeeze=False)
    for (left, right), one in zip(axes, every, strict=True):
        frame = one.views.frames[0]
        share = frame.codes / frame.full
        left.imshow(np.clip(share / max(float(np.percentile(share, 99.5)), 1e-6), 0, 1) ** 0.6)
        most = max(0.3, float(np.abs(one.off).max()))
        dots = left.scatter(
            *one.pixels.T, c=np.exp(one.off), cmap="RdBu_r", s=26, edgecolors="#222222",
            norm=_norm(most),
        )  # fmt: skip
        bar = figure.colorbar(dots, ax=left, shrink=0.8)
        bar.set_label("photo over prediction")
        low, high = one.pixels.min(axis=0), one.pixels.max(axis=0)
        margin = 0.15 * float((high - low).max())
        left.set_xlim(low[0] - margin, high[0] + margin)
        left.set_ylim(high[1] + margin, low[1] - margin)
        left.set_title("the photo, and where it parts", fontsize=10, loc="left")
        chance = float(np.exp(one.parted * np.median(one.sd)))
        right.axhspan(1 / chance, chance, color="#eeeeee")
        right.errorbar(one.points[:, 2], np.exp(one.off), yerr=_bars(one), fmt="o", markersize=4)
        right.set_yscale("log")
        right.set_xlabel("height z, mm")
        right.set_title(f"photo over prediction, {len(one.off)} places", fontsize=10, loc="left")
    stream = io.BytesIO()
    canvas.print_figure(stream, dpi=DPI, format="png")
    stream.seek(0)
    return Image.open(stream).convert("RGB")


def _bars(one: Compared) -> np.ndarray:
    """Return how far the ends of the error bars lie below and above, (2, m) float."""
    return np.array(
        [sign * (np.exp(one.off + sign * one.sd) - np.exp(one.off)) for sign in (-1, 1)]
    )


def _norm(most: float):  # type: ignore[no-untyped-def]
    from matplotlib.colors import LogNorm

    return LogNorm(float(np.exp(-most)), float(np.exp(most)))
