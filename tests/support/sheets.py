"""A small prop to build, and pages of its sheet as pixels and as text."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pypdfium2

SPIKE = """
title = "Little spike"
[[bodies]]
name = "spike"
shape = { kind = "spike", length_mm = 90, base_diameter_mm = 40 }
material = "upholstery_foam_white"
detail_mm = 6
cell_mm = 4
  [[bodies.lights]]
  name = "board"
  board = "round_7_12ma"
  position_mm = [0, 0, 20]
  drive = { red = 0.2, green = 0.1, blue = 0.1 }

  [[bodies.patterns]]
  kind = "along"
  count = 2
  step_mm = [60, 0, 0]

[wiring]
kind = "bus"
feed_mm = 400
spacing_mm = 60
"""
DPI = 300
PX_PER_MM = DPI / 25.4


def page_pixels(pdf: Path | bytes, number: int) -> np.ndarray:
    """Return a page as darkness 0 to 1, (h, w) float, rows from the top."""
    document = pypdfium2.PdfDocument(pdf)
    picture = document[number].render(scale=DPI / 72, grayscale=True).to_numpy()
    document.close()
    return 1 - picture.reshape(picture.shape[0], -1) / 255.0


def page_texts(pdf: Path | bytes) -> list[str]:
    """Return the text of each page."""
    document = pypdfium2.PdfDocument(pdf)
    texts = [document[k].get_textpage().get_text_range() for k in range(len(document))]
    document.close()
    return texts
