"""A cut through a body: how warm it is where, on a raster."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from glowsim.electrics.heat import BoardHeat, HeatReport
from glowsim.geometry.boards import board_frame
from glowsim.geometry.body import region_of
from glowsim.geometry.mesh import FloatArray, IntArray
from glowsim.scene import Body

PIXELS = 800
"""Of the longer side."""
MARGIN = 0.06
"""Room left around the body, as a share of its size."""


@dataclass(frozen=True)
class HeatSection:
    """A cut in a plane through a board and the body's up direction.

    temperature_c : (h, w) float, rows from the top down; NaN outside the body
    region        : (h, w) int, region of each pixel, -1 outside
    pixel_mm      : edge of a pixel;  across : direction of the rows in the body's frame
    boards        : (h, w) bool, inside a light board
    """

    title: str
    temperature_c: FloatArray
    region: IntArray
    boards: np.ndarray
    pixel_mm: float
    across: FloatArray


def heat_section(report: HeatReport, body: Body, key: str, hottest: BoardHeat) -> HeatSection:
    """Return the cut through a board of a report; `body` and `key` are those it belongs to."""
    field, cut = report.fields[key], report.parts[key].body
    names = [board.name for board in report.boards if board.copy == hottest.copy]
    light = body.lights[names.index(hottest.name)]
    frame = board_frame(light)
    assert frame is not None, "the heat was worked out, so every board has its frame"
    across = frame[:3, 2] * (1.0, 1.0, 0.0)
    size = float(np.linalg.norm(across))
    across = across / size if size > 0.1 else np.array([1.0, 0.0, 0.0])
    outer = report.parts[key].solid.outer
    reach = (outer.vertices - frame[:3, 3]) @ across
    low, high = outer.bounds[:, 2]
    margin = MARGIN * max(float(np.ptp(reach)), high - low)
    pixel = (max(float(np.ptp(reach)), high - low) + 2 * margin) / PIXELS
    u = np.arange(reach.min() - margin, reach.max() + margin, pixel)
    z = np.arange(high + margin, low - margin, -pixel)
    place = frame[:3, 3] * (1.0, 1.0, 0.0) + u[None, :, None] * across
    points = place + z[:, None, None] * np.array([0.0, 0.0, 1.0])
    flat = points.reshape(-1, 3)
    region = region_of(flat, cut.regions.solids)
    steady = field.rise_k_w @ report.power_w[hottest.copy]
    value = np.full(len(flat), np.nan)
    inside = np.nonzero(region >= 0)[0]
    lump = cut.lump[region[inside]]
    value[inside[lump >= 0]] = steady[field.node_count + lump[lump >= 0]]
    conducts = inside[lump < 0]
    if len(conducts):
        # No place is warmer than the warmest board; near its edges the grid may overshoot.
        read = field.read(flat[conducts], steady[:, None])[:, 0]
        value[conducts] = np.minimum(read, steady[field.node_count :].max())
    shape = points.shape[:2]
    return HeatSection(
        hottest.name,
        report.settings.room_c + value.reshape(shape),
        region.reshape(shape),
        np.isin(region, cut.boards).reshape(shape),
        pixel,
        across,
    )
