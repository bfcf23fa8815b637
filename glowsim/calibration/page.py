"""One page of pictures: each reading beside the fit, and what is known before and after."""

from __future__ import annotations

from typing import Any

import numpy as np
from PIL import Image

from glowsim.calibration.learn import Learnt, LearntBand, ellipse
from glowsim.calibration.strip import Strip
from glowsim.pictures.figure import new_figure, picture_of
from glowsim.pictures.inks import FAINT_INK, GRID, INK, PAPER, hexed

INCHES = (5.0, 3.3)
DPI = 120
COLOUR = {"red": "#c0392b", "green": "#218c53", "blue": "#2563b0"}
_FAINT = hexed(FAINT_INK)
MOST_LABELS = 12


def page(learnt: Learnt) -> Image.Image:
    """Return the page: a row for each band with its readings, how far off they are, what is known.

    Everything it shows stands in `learnt`.
    """
    rows = len(learnt.bands)
    width, height = INCHES
    photos = max(len(one.strips) for one in learnt.bands)
    figure = new_figure((3 + 0.5 * photos) * width, height * rows + 0.7, DPI)
    ratios = [1.0] * 3 + [0.5] * photos
    axes = figure.subplots(rows, 3 + photos, squeeze=False, width_ratios=ratios)
    for row, one in zip(axes, learnt.bands, strict=True):
        for axis in row[3:]:
            axis.set_axis_off()
        for axis, strip in zip(row[3:], one.strips, strict=False):
            _photo(axis, strip)
        _readings(row[0], one)
        _residuals(row[1], one)
        _known(row[2], one)
    bench = learnt.file.bench
    made = "  (computed readings, not measured)" if bench.made else ""
    trusted = "  NOT SAVED: the readings contradict each other" if learnt.alarms else ""
    figure.suptitle(
        f"{bench.name}, {bench.date.isoformat()}{made}{trusted}", fontsize=13, x=0.01, ha="left"
    )
    return picture_of(figure)


def _readings(axis: Any, one: LearntBand) -> None:
    """Draw readings with what they may be off, and what the fit foresees, on powers of ten."""
    fitted = one.fitted
    place = np.arange(len(fitted.measured))
    level = _level(one)
    # A free scale is nobody's error: shown is what each reading may be off by itself.
    own = 1.0 / np.sqrt(np.diag(np.linalg.inv(fitted.expected)))
    axis.errorbar(
        place, np.exp(fitted.measured), yerr=np.exp(fitted.measured) * own,
        fmt="o", color=COLOUR[one.band], markersize=4, label="read",
    )  # fmt: skip
    axis.plot(
        place, np.exp(fitted.foreseen + level), "x", color=hexed(INK), markersize=6, label="fitted"
    )
    axis.set_yscale("log")
    axis.set_title(f"{one.band}: readings and fit", fontsize=10, loc="left")
    axis.legend(fontsize=8)
    _name_places(axis, one)


def _residuals(axis: Any, one: LearntBand) -> None:
    place = np.arange(len(one.fitted.measured))
    axis.axhspan(-1.0, 1.0, color=hexed(GRID))
    axis.axhline(0.0, color=_FAINT, linewidth=1)
    axis.plot(place, one.fitted.strangeness, "o", color=COLOUR[one.band], markersize=4)
    top = max(3.0, 1.1 * float(np.abs(one.fitted.strangeness).max()))
    axis.set_ylim(-top, top)
    axis.set_title("off from what the others say (standard deviations)", fontsize=10, loc="left")
    _name_places(axis, one)


def _known(axis: Any, one: LearntBand) -> None:
    """Draw where the coefficients lie with 68 %, before and after."""
    fitted = one.fitted
    before = ellipse(fitted.prior.optics.logarithms, np.diag(fitted.prior.sd**2))
    after = ellipse(fitted.optics.logarithms, fitted.covariance)
    axis.plot(*np.exp(before).T, "--", color=_FAINT, label="before (catalogue)")
    axis.fill(*np.exp(after).T, color=COLOUR[one.band], alpha=0.35, label="after")
    axis.set_xscale("log")
    axis.set_yscale("log")
    axis.tick_params(which="both", labelsize=7)
    axis.tick_params(axis="x", which="both", labelrotation=30)
    axis.set_xlabel("absorption mu_a, 1/mm", fontsize=9)
    axis.set_ylabel("cloudiness mu_s', 1/mm", fontsize=9)
    axis.set_title("what is known, 68 % range", fontsize=10, loc="left")
    axis.legend(fontsize=8, loc="lower left")
    axis.grid(color=hexed(GRID), linewidth=0.7)


def _photo(axis: Any, strip: Strip) -> None:
    """Draw the photo with what was read on it, brightened so that it can be seen."""
    share = strip.frame.codes / strip.frame.full
    axis.imshow(np.clip(share / max(float(np.percentile(share, 99.5)), 1e-6), 0.0, 1.0) ** 0.6)
    axis.plot(*strip.outline.T, color=hexed(PAPER), linewidth=1.2)
    axis.set_title("what was read", fontsize=10, loc="left")


def _level(one: LearntBand) -> np.ndarray:
    """Return what to add to each series' fit where its scale is free, (m,) float."""
    level = np.zeros(len(one.fitted.measured))
    for start, end in one.series_ends:
        if np.diag(one.fitted.expected)[start:end].min() > 10.0:
            off = one.fitted.measured[start:end] - one.fitted.foreseen[start:end]
            level[start:end] = off.mean()
    return level


def _name_places(axis: Any, one: LearntBand) -> None:
    labels = one.fitted.labels
    shown = range(0, len(labels), -(-len(labels) // MOST_LABELS))
    axis.set_xticks(list(shown))
    axis.set_xticklabels([labels[k] for k in shown], rotation=30, ha="right", fontsize=7)
    axis.tick_params(axis="y", labelsize=8)
