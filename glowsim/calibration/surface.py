"""Readings on the surface of a lit test piece: a photo's stretch or patches, a light meter."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from glowsim.calibration.camera import CameraCurve
from glowsim.calibration.forward import FREE, Doubts, Foreseen, Optics
from glowsim.calibration.lit import Lux, Photo
from glowsim.calibration.patches import patches_of, tangents
from glowsim.calibration.prop import Skin, TestPiece, moved_by, nearest, read_by, sharpened_by
from glowsim.calibration.strip import Strip, strip_of
from glowsim.calibration.told import COARSE_ERROR, LEFT, Told, told_along
from glowsim.geometry.mesh import FloatArray
from glowsim.optics.emission import luminance_shape
from glowsim.units import per_m2

MODEL_ERROR = 0.02
"""Smooth along the surface: of quick (beside the reference on a 120 mm spike) until photons tell
what it is off; after that, real material is not quite what these follow (opinion)."""
SMOOTH_MM = 20.0
LENGTH_ERROR = 0.01
READ_FACE_MM = 3.5
"""Longest edge of faces that a stretch or patch is read from. Along a rod of foam, light falling to
a quarter in 7 mm, faces of 4 mm shift ln mu_s' by 0.04 and ones of 9 mm by 0.5; 2.5 mm by 0.01."""
SIDE_MM = 1.5
"""Step by which patches are moved to see what a place that is off does."""
REFRESH = 0.3
"""Change of a logarithm from which slow sensitivities are found again."""


@dataclass
class SurfaceSeries:
    """Places on the surface of a piece.

    weights  : (m, k) float, of the exitance of each face in each reading
    along_mm : (m,) float, along a stretch;  own, shared : doubts of the instrument
    beside   : of patches, weights of the same places moved by SIDE_MM two ways, (m, k) float each
    moved_mm : what the camera's doubts move them by, (m, 7) float, (2, m, 7) of patches
    response : of the camera's exponent, one deviation
    """

    piece: TestPiece
    name: str
    labels: tuple[str, ...]
    measured: FloatArray
    weights: FloatArray
    along_mm: FloatArray
    own: FloatArray
    shared: dict[str, FloatArray]
    shift_mm: float = 0.0
    moved_mm: FloatArray | None = None
    beside: tuple[FloatArray, ...] = ()
    scale: float = FREE
    response: float = 0.0
    strip: Strip | None = None
    profile: bool = True
    _slow: tuple[FloatArray, dict[str, FloatArray]] | None = field(default=None, init=False)
    _told: Told | None = field(default=None, init=False)

    def follow(self, optics: Optics) -> None:
        """Let photons tell what quick is off for a material: taken into every answer from now."""
        self._told = told_along(self.piece, self.weights, optics)

    def foreseen(self, optics: Optics) -> Foreseen:
        """Return what would be read, up to a scale."""
        signal = read_by(self.piece, self.weights, optics)
        off = 0.0 if self._told is None else self._told[0]
        return Foreseen(signal.value + off, signal.slope)

    def doubts(self, optics: Optics) -> Doubts:
        """Return instrument, solver, place, length, depth of the lights, index and scale."""
        if self._slow is None or np.abs(self._slow[0] - optics.logarithms).max() > REFRESH:
            self._slow = optics.logarithms, moved_by(self.piece, self.weights, optics)
        apart = self.along_mm[:, None] - self.along_mm[None]
        coarse = self._told is None and self.piece.too_coarse(optics)
        sd = COARSE_ERROR if coarse else MODEL_ERROR
        own = self.own + sd**2 * np.exp(-0.5 * (apart / SMOOTH_MM) ** 2)
        shared = self.shared | self._slow[1]
        if self._told is None:
            finer = sharpened_by(self.piece, self.weights, optics)
            shared[f"cells {self.piece.problem.name}"] = LEFT * finer
        else:
            own = own + self._told[1]
        shared[f"{self.name} scale"] = np.full(len(self.measured), self.scale)
        if self.response:
            # By what is foreseen: by what was read, a fall that was read too steep would count less
            # than one too shallow, and cloudiness be learnt too low.
            ln = self.foreseen(optics).value
            shared[f"{self.name} response"] = self.response * (ln - ln.max())
        if self.beside:
            own = own + self._off_their_places(optics)
        elif self.shift_mm:
            slope = np.gradient(self.foreseen(optics).value, self.along_mm)
            shared[f"{self.name} shift"] = self.shift_mm * slope
            shared[f"{self.name} length"] = LENGTH_ERROR * slope * self.along_mm
            if self.moved_mm is not None:
                moves = slope[:, None] * self.moved_mm
                own = own + moves @ moves.T
        return Doubts(own, shared)

    def _off_their_places(self, optics: Optics) -> FloatArray:
        """Return what patches that are each off their place, and a camera that is, do: (m, m)."""
        here = read_by(self.piece, self.weights, optics).value
        slopes = [(read_by(self.piece, w, optics).value - here) / SIDE_MM for w in self.beside]
        found = np.diag(self.shift_mm**2 * (np.array(slopes) ** 2).sum(axis=0))
        if self.moved_mm is not None:
            moves = sum(s[:, None] * m for s, m in zip(slopes, self.moved_mm, strict=True))
            found = found + moves @ np.transpose(moves)
        return np.asarray(found, dtype=float)

    def cautions(self, optics: Optics) -> tuple[str, ...]:
        """Return whether the piece is too big for so dense a material, or cut too coarsely."""
        said = []
        left = COARSE_ERROR if self._told is None else float(np.diag(self._told[1]).max() ** 0.5)
        if self.piece.too_coarse(optics) and left > 0.5 * COARSE_ERROR:
            said.append(
                f"{self.name}: this material is too cloudy for the grid of so large a piece, so "
                "this counts less; a smaller piece would tell more"
            )
        if (longest := self._longest_face_mm()) > READ_FACE_MM:
            said.append(
                f"{self.name}: the piece is cut into faces of up to {longest:.1f} mm where it was "
                "read, which may shift its cloudiness by a tenth or more; give it detail_mm = 2.5 "
                "in its scene"
            )
        return tuple(said)

    def _longest_face_mm(self) -> float:
        """Return the longest edge of the faces that were read."""
        problem = self.piece.problem
        return longest_edge_mm(problem.walls.triangles[problem.skin][self.weights.any(axis=0)])


def longest_edge_mm(triangles: FloatArray) -> float:
    """Return the longest edge of some triangles, (n, 3, 3) float."""
    edges = np.linalg.norm(triangles - np.roll(triangles, 1, axis=1), axis=2)
    return float(edges.max())


def photo_series(
    photo: Photo, piece: TestPiece, name: str, camera: CameraCurve, folder: Path
) -> SurfaceSeries:
    """Return the series of a photo; raises ValueError for one that cannot be read."""
    if photo.patches_mm:
        return _patch_series(photo, piece, name, camera, folder)
    skin = piece.skin
    strip = strip_of(photo, folder) if photo.images else None
    if strip is None:
        start, end = np.array(photo.from_mm), np.array(photo.to_mm)
        values = np.array(photo.values)
        share = np.linspace(0.0, 1.0, len(values))
        points = start + share[:, None] * (end - start)
        along = share * float(np.linalg.norm(end - start))
        toward = np.array(photo.toward) / np.linalg.norm(photo.toward)
    else:
        points, along, values, toward = strip.points, strip.along_mm, strip.values, strip.toward
    measured, shared, response = _as_measured(photo, name, values, camera, strip)
    half = 2.0 * (along - along[0]) / (along[-1] - along[0]) - 1.0
    shared[f"{name} vignetting"] = -photo.vignetting * half**2
    own = np.diag(np.full(len(values), photo.reading_error**2))
    labels = tuple(f"{a:.0f} mm along" for a in along)
    return SurfaceSeries(
        piece, name, labels, measured, _seen_weights(skin, points, toward), along, own, shared,
        photo.shift_mm, strip.moved_mm if strip else None, response=response, strip=strip,
    )  # fmt: skip


def _patch_series(
    photo: Photo, piece: TestPiece, name: str, camera: CameraCurve, folder: Path
) -> SurfaceSeries:
    skin = piece.skin
    points = np.array(photo.patches_mm, dtype=float)
    toward = np.array(photo.toward, dtype=float) / np.linalg.norm(photo.toward)
    values, strip = np.array(photo.values or ()), None
    if photo.images:
        chosen, _ = nearest(skin, points)
        strip = patches_of(photo, folder, skin.normal[chosen])
        points, values, toward = strip.points, strip.values, strip.toward
    weights = _seen_weights(skin, points, toward)
    measured, shared, response = _as_measured(photo, name, values, camera, strip)
    own = np.diag(np.full(len(values), photo.reading_error**2))
    if strip is None:
        # Where in the image they were is not known: each may be darker by itself.
        own = own + np.diag(np.full(len(values), (0.5 * photo.vignetting) ** 2))
    else:
        middle = strip.pose.middle
        far = np.linalg.norm(strip.pose.pixels(points) - middle, axis=1) / np.linalg.norm(middle)
        shared[f"{name} vignetting"] = -photo.vignetting * far**2
    chosen, _ = nearest(skin, points)
    ways = tangents(skin.normal[chosen], toward)
    return SurfaceSeries(
        piece, name, tuple("at ({:g}, {:g}, {:g})".format(*p) for p in points), measured, weights,
        1e3 * np.arange(len(points), dtype=float), own, shared, photo.shift_mm,
        strip.moved_mm if strip else None,
        tuple(_seen_weights(skin, points + SIDE_MM * way, toward) for way in ways),
        response=response, strip=strip,
    )  # fmt: skip


def _as_measured(
    photo: Photo, name: str, values: FloatArray, camera: CameraCurve, strip: Strip | None
) -> tuple[FloatArray, dict[str, FloatArray], float]:
    """Return logarithms of light by the camera's curve, and doubts of stray light and curve."""
    measured = np.asarray(np.log(values) / camera.exponent, dtype=float)
    response = photo.response_error if camera.error is None else camera.error
    shared = {}
    if strip is not None and strip.stray > 0:
        shared[f"{name} stray light"] = np.minimum(strip.stray / values, 1.0)
    return measured, shared, response


def _seen_weights(skin: Skin, points: FloatArray, toward: FloatArray) -> FloatArray:
    """Return the weight of each face in what a camera sees of each point, (m, k) float."""
    facing = skin.normal @ toward
    shape = luminance_shape(np.clip(facing, 0.0, 1.0), n=skin.index)
    return np.asarray(_weights(skin, points, facing > 0.05) * shape, dtype=float)


def lux_series(lux: Lux, piece: TestPiece, name: str) -> SurfaceSeries:
    """Return the series of a light meter; raises ValueError for a place where it cannot be."""
    skin = piece.skin
    points = np.array(lux.at_mm, dtype=float)
    everywhere = np.ones(len(skin.area), dtype=bool)

    def met(at: FloatArray) -> FloatArray:
        if lux.facing:
            return meter_weights(skin, at, np.array(lux.facing, dtype=float))
        return _weights(skin, at, everywhere, lux.head_diameter_mm / 2)

    chosen, _ = nearest(skin, points)
    ways = tangents(skin.normal[chosen], np.array([0.0, 0.0, 1.0]))
    weights = met(points)
    measured, scale = np.log(np.array(lux.reading)), FREE
    if lux.absolute:
        measured = measured - np.log(per_m2(piece.flux_lm))
        scale = float(np.hypot(np.log(piece.flux_factor), lux.colour_error))
    # Places of their own: no smooth error between them.
    far = np.linspace(0.0, 1e3 * len(points), len(points))
    own = np.eye(len(points)) * lux.reading_error**2
    labels = tuple(f"at ({x:g}, {y:g}, {z:g})" for x, y, z in lux.at_mm)
    return SurfaceSeries(
        piece, name, labels, measured, weights, far, own, {}, lux.shift_mm,
        beside=tuple(met(points + SIDE_MM * way) for way in ways), scale=scale,
    )  # fmt: skip


def meter_weights(skin: Skin, points: FloatArray, facing: FloatArray) -> FloatArray:
    """Return illuminance at points in the air per exitance of each face, (m, k) float.

    E = sum of L cos cos' A / r^2 over the faces that the head sees, with L = M / pi times the
    angular law of light that leaves the material. Faces turned away see nothing; others are taken
    as unhidden. Raises ValueError for a head that sees none of the piece, or stands in it.
    """
    rows = []
    heading = facing / np.linalg.norm(facing, axis=1)[:, None]
    for point, ahead in zip(points, heading, strict=True):
        away = point - skin.centre
        apart = np.linalg.norm(away, axis=1)
        out = np.einsum("kd,kd->k", away, skin.normal) / apart
        into = -(away @ ahead) / apart
        seen = (out > 0) & (into > 0)
        place = ", ".join(f"{c:.3g}" for c in point)
        if not seen.any():
            raise ValueError(f"a meter at ({place}) mm that faces this way sees nothing of it")
        if apart.min() < np.sqrt(skin.area[apart.argmin()]):
            raise ValueError(
                f"the meter at ({place}) mm touches the piece; leave 'facing' out for a pressed one"
            )
        shape = luminance_shape(np.clip(out, 0.0, 1.0), n=skin.index)
        rows.append(np.where(seen, shape * out * into * skin.area / (np.pi * apart**2), 0.0))
    return np.array(rows)


def _weights(
    skin: Skin, points: FloatArray, seen: np.ndarray, radius_mm: float = 2.0
) -> FloatArray:
    """Return the weight of each face at each point, (m, k) float; each row adds up to 1."""
    chosen, gap = nearest(skin, points)
    if (worst := int(gap.argmax())) >= 0 and gap[worst] > 3.0:
        place = ", ".join(f"{c:.3g}" for c in points[worst])
        raise ValueError(f"the place ({place}) mm lies {gap[worst]:.2g} mm off the surface")
    distance = np.linalg.norm(skin.centre[chosen][:, None] - skin.centre[None], axis=2)
    near = seen & (distance <= np.maximum(radius_mm, 1.01 * np.sqrt(skin.area[chosen]))[:, None])
    if not near.any(axis=1).all():
        place = ", ".join(f"{c:.3g}" for c in points[int((~near.any(axis=1)).argmax())])
        raise ValueError(f"the camera does not see the surface at ({place}) mm; check 'toward'")
    # A straight line through the faces around the point, so that their places do not matter.
    rows = []
    for point, mine in zip(points, near, strict=True):
        rows.append(_line_through(skin, point, mine))
    return np.array(rows)


def _line_through(skin: Skin, point: FloatArray, mine: np.ndarray) -> FloatArray:
    """Return weights that give a plane through some faces' values, at a point."""
    faces = np.flatnonzero(mine)
    row = np.zeros(len(skin.area))
    area = skin.area[faces] / skin.area[faces].sum()
    row[faces] = area
    away = skin.centre[faces] - point
    centre = area @ away
    spread = (away - centre).T @ (area[:, None] * (away - centre))
    size = float(np.trace(spread))
    if len(faces) >= 6 and size > 0:
        ridge = spread + 0.05 * size * np.eye(3)
        row[faces] -= area * ((away - centre) @ np.linalg.solve(ridge, centre))
    return row
