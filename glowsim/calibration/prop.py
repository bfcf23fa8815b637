"""A lit test piece: brightness along its surface by the quick solver, with slopes.

The three bands of one solve carry (mu_a, mu_s'), (mu_a e^h, mu_s') and (mu_a, mu_s' e^h), so that
slopes cost nothing; everything else in the piece keeps the optics of the band that was read.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from glowsim.calibration.forward import INDEX_DOUBT, Optics
from glowsim.geometry.kept import Kept
from glowsim.geometry.mesh import FloatArray, IntArray
from glowsim.optics.emission import MATT
from glowsim.transport.prepared import PreparedProp
from glowsim.transport.problem import BARE, BodyProblem, Emitters, Kind, Medium, OpaqueBoard
from glowsim.transport.reference import Goal, Tallies, solve_body
from glowsim.transport.reference.tallies import work_of
from glowsim.transport.result import BodyGlow
from glowsim.transport.sizes import cell_for_mm

SLOPE = 0.1
"""Step h of a slope, in the logarithm."""
SAME = np.ones((2, 3))
LEAST_PHOTONS = 10_000
"""Of each light, where some are counted and their work allows."""
DEPTH_MM = 1.0
"""What lights may stand deeper or less deep than drawn."""
CELL_IN_LENGTHS = 0.8
"""Longer cells bias mu_s': by -0.43 in its logarithm at 2.5 mm where a length is 1.4 mm."""
FINER = 0.6
"""Of the edge of cells: that of the finer ones by which they are corrected."""
LIT = 1e-6
"""Of the brightest face, from which a face is corrected so."""
FINEST_CELLS = 120_000
"""A piece is not cut into more cells, whatever its material."""


@dataclass(frozen=True)
class Skin:
    """Faces seen from the room.

    centre, normal : (k, 3) float;  index : (k,) float, behind a bare face, or MATT
    """

    centre: FloatArray
    normal: FloatArray
    area: FloatArray
    index: FloatArray


class TestPiece:
    """One body of a scene, in one band, of a material whose coefficients are asked for.

    Not safe for several threads.
    """

    __test__ = False

    def __init__(
        self,
        problem: BodyProblem,
        material: str,
        band: int,
        weight: FloatArray,
        start: Optics,
        flux_factor: float = 1.0,
    ) -> None:
        """Keep `problem` ready.

        weight : (lights,) float, flux of each light in the band [lm];  start : sets the cells
        flux_factor : what the flux may be off by, one deviation
        """
        self.flux_lm, self.flux_factor = float(weight.sum()), flux_factor
        self.material, self.band, self.weight = material, band, weight
        self.problem = self._one_band(problem)
        self._finest = cell_for_mm([s for s in problem.solids if s is not None], FINEST_CELLS)
        self.cell_mm = self._cell_for(start)
        self.prepared = PreparedProp(most=2)
        self._kept: Kept[FloatArray] = Kept(64)
        self._photons: Kept[tuple[FloatArray, FloatArray]] = Kept(4)
        self._finer: FloatArray | float = 0.0

    def _cell_for(self, optics: Optics) -> float:
        """Return the cells for a material: a wall's own, or 0.8 transport lengths."""
        if self.problem.wall_mm is not None:
            return self.problem.cell_mm
        wanted = CELL_IN_LENGTHS / (optics.mu_a_per_mm + optics.mu_s_reduced_per_mm)
        return max(wanted, self._finest)

    def refine(self, optics: Optics) -> bool:
        """Take finer cells if a material needs them; return whether that changed anything."""
        if not self.too_coarse(optics) or self._cell_for(optics) >= 0.99 * self.cell_mm:
            return False
        self.cell_mm, self._finer = self._cell_for(optics), 0.0
        return True

    def too_coarse(self, optics: Optics) -> bool:
        """Whether a cell is longer than a transport length of the material."""
        return self.cell_mm * (optics.mu_a_per_mm + optics.mu_s_reduced_per_mm) > 1.0

    @property
    def skin(self) -> Skin:
        """Return the faces on the room."""
        p, walls = self.problem, self.problem.walls
        scatters = np.array([m.kind == Kind.SCATTERS for m in p.media])[p.inside]
        index = np.array([m.refractive_index for m in p.media])[p.inside]
        bare = scatters & (p.coat == BARE)
        faces = p.skin
        return Skin(
            walls.centroids[faces],
            walls.normals[faces],
            walls.areas_mm2[faces],
            np.where(bare, index, MATT)[faces],
        )

    def sharpen(self, optics: Optics) -> bool:
        """Take what finer cells change at some optics into every answer; return whether they do.

        What cells of edge h are off goes as h^2: light far off, which mu_s' hangs on most, is a few
        percent too dim on cells of 0.8 transport lengths.
        """
        finer = max(FINER * self.cell_mm, self._finest)
        if self.problem.wall_mm is not None or finer > 0.9 * self.cell_mm:
            return False
        coarse, fine = (self._on(cell, optics)[0] for cell in (self.cell_mm, finer))
        left = (finer / self.cell_mm) ** 2
        # Where next to no light comes cells tell nothing of it.
        lit = (coarse > LIT * coarse.max()) & (fine > LIT * fine.max())
        self._finer = np.where(lit, np.log(fine / coarse), 0.0) / (1.0 - left)
        return True

    def exitance(self, optics: Optics, deeper_mm: float = 0.0) -> FloatArray:
        """Return exitance of each face, for the optics and with either coefficient e^h larger.

        (3, k) float, per lumen of the lights in the band. Raises SolveError.
        """
        return np.asarray(self.as_cut(optics, deeper_mm) * np.exp(self._finer), dtype=float)

    def as_cut(self, optics: Optics, deeper_mm: float = 0.0) -> FloatArray:
        """Return `exitance` as the piece's own cells have it."""
        return self._on(self.cell_mm, optics, deeper_mm)

    def _on(self, cell_mm: float, optics: Optics, deeper_mm: float = 0.0) -> FloatArray:
        """Return `exitance` on cells of an edge as they have it, at least next to nothing."""
        key = f"{optics!r} {deeper_mm!r} {cell_mm!r}"
        made = self._kept.get(key, lambda: self._solved(cell_mm, optics, deeper_mm))
        return np.maximum(made, 1e-300)

    def _solved(self, cell_mm: float, optics: Optics, deeper_mm: float) -> FloatArray:
        problem = self._filled(optics, cell_mm, np.exp(SLOPE * np.eye(2, 3, 1)))
        emitters = problem.emitters
        moved = replace(emitters, position=emitters.position + deeper_mm * emitters.direction)
        weighted = np.einsum(
            "l,lbk->bk", self.weight / self.weight.sum(), self._leaving(problem, moved)
        )
        return np.asarray(weighted, dtype=float)

    def shone_by(
        self, optics: Optics, emitters: Emitters, boards: tuple[OpaqueBoard, ...] | None = None
    ) -> FloatArray:
        """Return exitance of each face per lumen of each light of some emitters, (lights, k).

        They may stand elsewhere than drawn, and so may boards. Raises SolveError.
        """
        kept = self.problem.boards if boards is None else boards
        problem = replace(self._filled(optics, self.cell_mm), boards=kept)
        return self._leaving(problem, emitters)[:, 0]

    def counted(self, optics: Optics, photons: int, work: float) -> tuple[FloatArray, FloatArray]:
        """Return exitance of each face by the reference solver and its variance, (k,) float each.

        photons : of all lights together, about;  work : that they may take (`work_of`), beyond
        which there are fewer; a limit in seconds would let them hang on how busy a machine is
        The same each time. Raises SolveError where there is no compiler.
        """
        key = f"{optics!r} {photons} {work}"
        return self._photons.get(key, lambda: self._counted(optics, photons, work))

    def _counted(self, optics: Optics, photons: int, work: float) -> tuple[FloatArray, FloatArray]:
        problem = self._filled(optics, self.cell_mm)
        _, first = _followed(problem, 1)  # a batch of each light, which tells the work of one
        most = work * first.photons.sum() / work_of(first.events, int(first.photons.sum()))
        each = min(max(photons, LEAST_PHOTONS * len(self.weight)), most) / len(self.weight)
        glow, _ = _followed(problem, int(each), first)
        assert glow.error is not None  # the reference solver always states it
        # Of a light that lets nothing out yet it is infinite; nothing is added by that one.
        error = np.where(np.isfinite(glow.error[:, 0]), glow.error[:, 0], 0.0)
        light = self.weight @ (glow.diffuse + glow.direct)[:, 0]
        return np.asarray(light), np.asarray(self.weight**2 @ error**2)

    def _filled(self, optics: Optics, cell_mm: float, more: FloatArray = SAME) -> BodyProblem:
        """Return the problem filled with a material, on cells of an edge.

        more : (2, 3) float, factors of mu_a and mu_s' in the three bands
        """
        mu_a, mu_s = np.exp(optics.logarithms)[:, None] * more

        def filled(medium: Medium) -> Medium:
            if medium.name != self.material:
                return medium
            return replace(
                medium,
                mu_a_per_mm=mu_a,
                mu_s_reduced_per_mm=mu_s,
                g=optics.g,
                refractive_index=optics.n,
            )

        media = tuple(map(filled, self.problem.media))
        return replace(self.problem, media=media, cell_mm=cell_mm)

    def apart(self) -> Emitters:
        """Return the LEDs, each a light by itself."""
        own = self.problem.emitters
        count = len(own.light)
        return replace(own, light=np.arange(count), share=np.ones(count))

    def with_board_moved(
        self, board: int, by_mm: FloatArray
    ) -> tuple[Emitters, tuple[OpaqueBoard, ...]]:
        """Return the LEDs, each by itself, and all boards, with one board moved and its LEDs.

        board : the light that it is;  by_mm : (3,) float
        """
        emitters, boards = self.apart(), list(self.problem.boards)
        mine = self.problem.emitters.light == board
        where = emitters.position[mine]
        away = [np.linalg.norm(one.shape.local(where), axis=1) for one in boards]
        for k in np.unique(np.argmin(away, axis=0)) if boards else ():
            frame = boards[k].shape.frame.copy()
            frame[:3, 3] += by_mm
            boards[k] = replace(boards[k], shape=replace(boards[k].shape, frame=frame))
        there = emitters.position + mine[:, None] * by_mm
        return replace(emitters, position=there), tuple(boards)

    def _leaving(self, problem: BodyProblem, emitters: Emitters) -> FloatArray:
        response = self.prepared.quick(problem).respond(emitters, problem.boards)
        leaving = response.diffuse + response.direct
        return np.asarray(leaving / problem.walls.areas_mm2[problem.skin], dtype=float)

    def _one_band(self, problem: BodyProblem) -> BodyProblem:
        """Return the problem with its band's optics in all three."""

        def spread(value: FloatArray) -> FloatArray:
            return np.full(3, value[self.band])

        def medium(one: Medium) -> Medium:
            back = None if one.reflectance is None else spread(one.reflectance)
            return replace(
                one,
                mu_a_per_mm=spread(one.mu_a_per_mm),
                mu_s_reduced_per_mm=spread(one.mu_s_reduced_per_mm),
                reflectance=back,
            )

        layers = tuple(
            replace(c, reflectance=spread(c.reflectance), transmittance=spread(c.transmittance))
            for c in problem.layers
        )
        boards = tuple(
            replace(b, front=spread(b.front), back=spread(b.back)) for b in problem.boards
        )
        media = tuple(map(medium, problem.media))
        return replace(problem, media=media, layers=layers, boards=boards)


@dataclass(frozen=True)
class Signal:
    """What weights on faces read: ln of it, its slopes, what depth and index do to it."""

    value: FloatArray
    slope: FloatArray


def _followed(
    problem: BodyProblem, photons: int, earlier: Tallies | None = None
) -> tuple[BodyGlow, Tallies]:
    """Return what so many photons of each light tell. Raises SolveError."""
    goal = Goal(noise=None, photons=photons)
    glow, tallies = solve_body(problem, goal=goal, earlier=earlier)
    if tallies.stopped:
        raise KeyboardInterrupt
    return glow, tallies


def read_by(piece: TestPiece, weights: FloatArray, optics: Optics) -> Signal:
    """Return the signals of places, each a sum over faces.

    weights : (m, k) float
    """
    read = np.log(np.maximum(piece.exitance(optics) @ weights.T, 1e-300))
    return Signal(read[0], (read[1:] - read[0]).T / SLOPE)


def sharpened_by(piece: TestPiece, weights: FloatArray, optics: Optics) -> FloatArray:
    """Return what finer cells changed in signals (`TestPiece.sharpen`), (m,) float."""
    as_cut = np.log(np.maximum(piece.as_cut(optics)[0] @ weights.T, 1e-300))
    return np.asarray(read_by(piece, weights, optics).value - as_cut, dtype=float)


def moved_by(piece: TestPiece, weights: FloatArray, optics: Optics) -> dict[str, FloatArray]:
    """Return what lights deeper by DEPTH_MM and another index do to signals, (m,) float each."""
    here = read_by(piece, weights, optics).value
    other = replace(optics, n=optics.n + INDEX_DOUBT)
    deeper = piece.exitance(optics, DEPTH_MM)[0] @ weights.T
    return {
        f"depth {piece.problem.name}": np.log(np.maximum(deeper, 1e-300)) - here,
        "index": read_by(piece, weights, other).value - here,
    }


def nearest(skin: Skin, points: FloatArray) -> tuple[IntArray, FloatArray]:
    """Return the face nearest to each point and its distance, (m,) int and (m,) float."""
    gap = np.linalg.norm(points[:, None] - skin.centre[None], axis=2)
    # A large face's centre may be far from a point on it: its half width is let off.
    gap = np.maximum(gap - 0.6 * np.sqrt(skin.area), 0.0)
    chosen = gap.argmin(axis=1)
    return chosen, gap[np.arange(len(points)), chosen]
