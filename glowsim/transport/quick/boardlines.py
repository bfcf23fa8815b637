"""One light board against lines, cells and points: where it starts and ends, what it covers."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property, lru_cache
from itertools import pairwise

import numpy as np

from glowsim.geometry.boards import BoardShape
from glowsim.geometry.mesh import FloatArray, IntArray
from glowsim.geometry.rays import BoolArray
from glowsim.geometry.voxels import Grid

_ALONG = 1e-6
"""A line turned from the board's normal by less than this sine counts as parallel to it."""
_MARGIN = 0.06
"""Cells this much of a cell away from a board still count as near it."""


@dataclass(frozen=True)
class Plane:
    """The mid-plane of a board over the nodes of a grid.

    slope : (3,) float, change of height from node to node;  start : height of node (0, 0, 0)
    """

    slope: FloatArray
    start: float

    def ahead(self, node: IntArray) -> BoolArray:
        """Return whether nodes (..., 3) lie on the side of the LEDs.

        Sum by sum, so that a node gives the same answer whichever cell asks.
        """
        a, b, c = (node[..., k] * self.slope[k] for k in range(3))
        return np.asarray(((a + b) + c) + self.start >= 0)


@dataclass(frozen=True)
class BoardLines:
    """A board and the axis of the grid nearest to its normal, along which it is measured."""

    shape: BoardShape

    @cached_property
    def axis(self) -> int:
        """The axis along which lines cross the board most steeply."""
        return int(np.abs(self.shape.frame[:3, 2]).argmax())

    @property
    def thickness(self) -> float:
        """Thickness [mm]."""
        return self.shape.thickness_mm

    def plane(self, grid: Grid) -> Plane:
        """Return the mid-plane over the nodes of a grid."""
        normal = self.shape.frame[:3, 2]
        middle = self.shape.frame[:3, 3] - self.thickness / 2 * normal
        return Plane(normal * grid.cell_mm, float((grid.low_mm - middle) @ normal))

    def holds(self, local: FloatArray) -> BoolArray:
        """Return whether points of the board's frame lie in the board."""
        within = (local[:, 2] <= 0) & (local[:, 2] >= -self.thickness)
        some = np.nonzero(within)[0]
        within[some] = self.shape.covers(local[some])
        return within

    def near_cells(self, grid: Grid) -> IntArray:
        """Return the numbers of the cells that may meet the board or its mid-plane within it."""
        low, high = self.box(grid, 1)
        sides = [np.arange(a, b) for a, b in zip(low, high, strict=True)]
        index = np.stack(np.meshgrid(*sides, indexing="ij"), axis=-1).reshape(-1, 3)
        local = self.shape.local(grid.low_mm + (index + 0.5) * grid.cell_mm)
        reach = np.abs(self.shape.frame[:3, :3]).sum(axis=0) * (0.5 + _MARGIN) * grid.cell_mm
        length, width = self.shape.size_mm
        near = np.abs(local[:, 2] + self.thickness / 2) <= self.thickness / 2 + reach[2]
        if self.shape.is_round:
            radius = np.linalg.norm(local[:, :2], axis=1)
            slack = (np.sqrt(3) / 2 + _MARGIN) * grid.cell_mm
            near &= (radius <= length / 2 + slack) & (radius >= self.shape.bore_mm / 2 - slack)
        else:
            near &= np.abs(local[:, 0]) <= length / 2 + reach[0]
            near &= np.abs(local[:, 1]) <= width / 2 + reach[1]
        return grid.flat(index[near])

    def box(self, grid: Grid, margin: int) -> tuple[IntArray, IntArray]:
        """Return the least and the past-the-last cell index around the board and a margin."""
        low, high = self.reach(grid, 0.0)
        return np.clip(low - margin, 0, grid.counts), np.clip(high + margin, 0, grid.counts)

    def reach(self, grid: Grid, slack: float) -> tuple[IntArray, IntArray]:
        """Return the least and the past-the-last cell index that the board reaches, or cells of an
        endless grid would have; slack : how much of a cell it counts as larger."""
        length, width = self.shape.size_mm
        flat = self.shape.frame[:3, :2] * np.array([length, width]) / 2
        half = np.linalg.norm(flat, axis=1) if self.shape.is_round else np.abs(flat).sum(axis=1)
        half = half + np.abs(self.shape.frame[:3, 2]) * self.thickness / 2
        middle = self.shape.frame[:3, 3] - self.shape.frame[:3, 2] * self.thickness / 2
        low = np.floor((middle - half - grid.low_mm) / grid.cell_mm - slack).astype(np.int64)
        high = np.floor((middle + half - grid.low_mm) / grid.cell_mm + slack).astype(np.int64)
        return low, high + 1

    def breaks(self, start: FloatArray, step: FloatArray) -> list[FloatArray]:
        """Return where lines may enter, leave or pass the middle of the board.

        start : (n, 3) float, where each line starts, step : (3,) float, what it goes in one unit
        of length, both in the board's frame. Returns columns (n,) of places along the lines.
        """
        found = [(z - start[:, 2]) / step[2] for z in (0, -self.thickness / 2, -self.thickness)]
        size = float(np.linalg.norm(step))
        if self.shape.is_round:
            if np.linalg.norm(step[:2]) > _ALONG * size:
                radii = [self.shape.size_mm[0] / 2, self.shape.bore_mm / 2]
                for radius in radii[: 1 + (self.shape.bore_mm > 0)]:
                    found += _circle(start[:, :2], step[:2], radius)
            return found
        for k in (0, 1):
            if abs(step[k]) > _ALONG * size:
                half = self.shape.size_mm[k] / 2
                found += [(side - start[:, k]) / step[k] for side in (-half, half)]
        return found


@dataclass(frozen=True)
class FacePoints:
    """Points that stand for the surface of a board, in its body's frame.

    points, normals : (n, 3) float, normals of length 1 out of the board;  areas : (n,) float [mm2]
    front : (n,) bool, on the side with the LEDs
    """

    points: FloatArray
    normals: FloatArray
    areas: FloatArray
    front: BoolArray


def face_points(shape: BoardShape, spacing_mm: float) -> FacePoints:
    """Return even points on all faces of a board, no further apart than about `spacing_mm`."""
    outline = (shape.size_mm, shape.thickness_mm, shape.is_round, shape.bore_mm)
    local, normals, areas, front = _local_points(*outline, spacing_mm)
    turn = shape.frame[:3, :3].T
    return FacePoints(local @ turn + shape.frame[:3, 3], normals @ turn, areas, front)


@lru_cache(maxsize=64)
def _local_points(
    size: tuple[float, float], thickness: float, is_round: bool, bore: float, spacing: float
) -> tuple[FloatArray, FloatArray, FloatArray, BoolArray]:
    """Return points, normals, areas and which are in front, in the board's frame.

    A board that is moved about keeps them.
    """
    flat, area = _flat_points(size, is_round, bore, spacing)
    rim, out, length = _rim_points(size, is_round, bore, spacing)
    # An even number of rows, so that none lies on the mid-plane.
    rows = 2 * max(1, int(np.ceil(thickness / 2 / spacing)))
    heights = -(np.arange(rows) + 0.5) / rows * thickness
    up = np.broadcast_to(np.array([0.0, 0.0, 1.0]), (len(flat), 3))
    local = np.concatenate(
        [
            np.column_stack([flat, np.zeros(len(flat))]),
            np.column_stack([flat, np.full(len(flat), -thickness)]),
            *(np.column_stack([rim, np.full(len(rim), z)]) for z in heights),
        ]
    )
    side = np.column_stack([out, np.zeros(len(out))])
    normals = np.concatenate([up, -up, np.tile(side, (rows, 1))])
    areas = np.concatenate([area, area, np.tile(length * thickness / rows, rows)])
    front = np.arange(len(local)) < len(flat)
    for array in (local, normals, areas, front):
        array.setflags(write=False)
    return local, normals, areas, front


def _flat_points(
    size_mm: tuple[float, float], is_round: bool, bore: float, spacing: float
) -> tuple[FloatArray, FloatArray]:
    """Return points on the flat of a board, (n, 2), and the area each stands for."""
    if not is_round:
        sides = []
        for size in size_mm:
            many = max(1, int(np.ceil(size / spacing)))
            sides.append(((np.arange(many) + 0.5) / many - 0.5) * size)
        x, y = np.meshgrid(*sides, indexing="ij")
        points = np.column_stack([x.ravel(), y.ravel()])
        return points, np.full(len(points), np.prod(size_mm) / len(points))
    inner, outer = bore / 2, size_mm[0] / 2
    rings = max(1, int(np.ceil((outer - inner) / spacing)))
    border = np.linspace(inner, outer, rings + 1)
    circles, areas = [], []
    for low, high in pairwise(border.tolist()):
        circle, _, length = _circle_points((low + high) / 2, spacing, 1.0)
        circles.append(circle)
        areas.append(length * (high - low))
    return np.concatenate(circles), np.concatenate(areas)


def _rim_points(
    size_mm: tuple[float, float], is_round: bool, bore: float, spacing: float
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return points on the outline, (n, 2), the way out there, and the length of each."""
    if is_round:
        parts = [_circle_points(size_mm[0] / 2, spacing, 1.0)]
        if bore > 0:
            parts.append(_circle_points(bore / 2, spacing, -1.0))
    else:
        parts = []
        for k in (0, 1):
            size = size_mm[k]
            many = max(1, int(np.ceil(size / spacing)))
            along = ((np.arange(many) + 0.5) / many - 0.5) * size
            for sign in (-1.0, 1.0):
                points, out = np.zeros((many, 2)), np.zeros((many, 2))
                points[:, k], points[:, 1 - k] = along, sign * size_mm[1 - k] / 2
                out[:, 1 - k] = sign
                parts.append((points, out, np.full(many, size / many)))
    points, out, length = (np.concatenate(part) for part in zip(*parts, strict=True))
    return points, out, length


def _circle_points(
    radius: float, spacing: float, sign: float
) -> tuple[FloatArray, FloatArray, FloatArray]:
    many = max(8, int(np.ceil(2 * np.pi * radius / spacing)))
    turn = 2 * np.pi * (np.arange(many) + 0.5) / many
    out = np.column_stack([np.cos(turn), np.sin(turn)])
    return radius * out, sign * out, np.full(many, 2 * np.pi * radius / many)


def _circle(start: FloatArray, step: FloatArray, radius: float) -> list[FloatArray]:
    """Return both places where lines meet a cylinder; two equal ones where they pass it by."""
    square = float(step @ step)
    middle = -(start @ step) / square
    root = middle**2 - ((start**2).sum(axis=1) - radius**2) / square
    half = np.sqrt(np.maximum(root, 0.0))
    return [middle - half, middle + half]
