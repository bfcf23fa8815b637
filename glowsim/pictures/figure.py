"""A figure of matplotlib as a picture, drawn in memory without any window."""

from __future__ import annotations

from typing import Any

import numpy as np
from PIL import Image


def new_figure(width_in: float, height_in: float, dpi: int, *, constrained: bool = True) -> Any:
    """Return an empty figure of a size in inches; constrained : its parts make room by themselves.

    matplotlib is imported only here and below: it takes as long as a small solve.
    """
    from matplotlib.figure import Figure

    return Figure(
        figsize=(width_in, height_in), dpi=dpi, layout="constrained" if constrained else None
    )


def picture_of(figure: Any) -> Image.Image:
    """Return what is on a figure."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg

    canvas: Any = FigureCanvasAgg(figure)
    canvas.draw()
    return Image.fromarray(np.asarray(canvas.buffer_rgba())).convert("RGB")
