"""Light boards cut out of a prepared body, driven by hand: matrices in, fields out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from glowsim.geometry.boards import BoardShape
from glowsim.geometry.mesh import FloatArray
from glowsim.transport.problem import BodyProblem, OpaqueBoard
from glowsim.transport.quick.cloud import WholeCloud
from glowsim.transport.quick.elements import shape_values
from glowsim.transport.quick.ground import Ground
from glowsim.transport.quick.multigrid import solve
from glowsim.transport.quick.parted import Parted
from glowsim.transport.quick.solve import QuickBody


@dataclass(frozen=True)
class Prepared:
    """A body ready for boards."""

    quick: QuickBody
    ground: Ground
    cloud: WholeCloud

    @property
    def problem(self) -> BodyProblem:
        """The body."""
        return self.quick.problem


def prepare(problem: BodyProblem) -> Prepared:
    """Make a body ready for boards to be cut out."""
    quick = QuickBody(problem)
    cloud = quick.bare.cloud
    assert quick.lattice is not None
    assert isinstance(cloud, WholeCloud)
    return Prepared(quick, quick.lattice.ground, cloud)


def disc(
    position: Sequence[float],
    facing: Sequence[float] = (0.0, 0.0, 1.0),
    *,
    diameter: float = 23.0,
    thickness: float = 1.6,
    front: float = 0.1,
    back: float = 0.1,
    bore: float = 0.0,
    size: tuple[float, float] | None = None,
) -> OpaqueBoard:
    """Return a round board, or a rectangle of a given size."""
    axis = np.asarray(facing, float) / np.linalg.norm(facing)
    across = np.cross(axis, [0.3, 0.5, -0.7])
    if size is not None and abs(axis[0]) < 0.99:
        across = np.array([1.0, 0, 0]) - axis[0] * axis
    across /= np.linalg.norm(across)
    frame = np.eye(4)
    frame[:3, :3] = np.column_stack([across, np.cross(axis, across), axis])
    frame[:3, 3] = position
    outline = (diameter, diameter) if size is None else size
    shape = BoardShape(frame, outline, thickness, size is None, bore)
    return OpaqueBoard("board", shape, np.full(3, front), np.full(3, back))


@dataclass(frozen=True)
class Answer:
    """What becomes of light put in at points, as shares: in boards, out of walls, absorbed.

    mean : (faces,) float, mean of phi^ on each wall face;  out : (faces,) float, flux through it
    """

    mean: FloatArray
    out: FloatArray
    boards: FloatArray
    absorbed: float


def answer(
    body: Prepared, boards: Sequence[OpaqueBoard], points: FloatArray, band: int = 1
) -> Answer:
    """Solve for one source, spread evenly over points, with boards cut out."""
    parted = Parted.of(body.ground, boards)
    assert parted is not None
    here, cycle = body.cloud.bands[band], body.cloud.multigrids[band]
    matrix = parted.matrix(here)
    nodes, local = parted.locate(points)
    load = np.bincount(nodes.ravel(), shape_values(local).ravel(), parted.size) / len(points)
    steps = matrix.preconditioner(cycle, parted.origin)
    field = solve(matrix.__matmul__, steps.cycle, load[:, None], tolerance=1e-11)[:, 0]
    count = body.ground.elements.node_count
    mean = body.cloud.lattice.face_mean @ field[:count] + parted.face_mean_change @ field
    absorbed = 0.0
    for r, amount in here.optics.absorption.items():
        whole = body.ground.elements.load(
            body.ground.moments[r] * body.ground.elements.grid.cell_mm**3
        )
        absorbed += amount * float(whole @ field[:count] + parted.volumes_change[r] @ field)
    out = here.optics.wall_b * mean * body.problem.walls.areas_mm2
    return Answer(mean, out, parted.into_boards(here.optics) @ field, absorbed)
