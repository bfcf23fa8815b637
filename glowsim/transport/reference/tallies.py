"""What the photons of each light have added up to so far: all that is needed to go on later."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields
from typing import Any

import numpy as np
from numpy.typing import NDArray

from glowsim.errors import SolveError
from glowsim.geometry.mesh import FloatArray, IntArray
from glowsim.transport.boards import region_count
from glowsim.transport.problem import BodyProblem
from glowsim.transport.reference.packing import Run

Float32 = NDArray[np.float32]


def work_of(events: IntArray, photons: int) -> float:
    """Return what following photons takes, in scatterings, about: the same on any machine.

    events : (..., 5) int, as in `Tallies`;  photons : of all lights
    """
    scatterings, searches, _, jumps, _ = events.reshape(-1, 5).sum(axis=0)
    return float(scatterings + 5.0 * searches + 5.0 * jumps + 20.0 * photons)


@dataclass(frozen=True)
class Tallies:
    """Sums over photons, light by light; k faces on the room, three bands.

    photons  : (lights,) int, followed so far; their numbers are 0 to photons - 1
    out      : (lights, k, 3) float, weight that left by each face;  square : its squares
    direct   : (lights, k, 3) float32, the part of `out` that never scattered
    direct_moment : (lights, k, 3) float32, sum over bands of direct weight times direction
    absorbed : (lights, regions, 3);  escaped, coats, lost : (lights, 3), weight that ended so
    roulette : (lights, 3), weight that chance took or (negative) gave; 0 on average
    events   : (lights, 5) int, scatterings, searches for a wall, photons lost, jumps,
               photons that circled without end
    seed, jumps, batch : how photons are followed; batch : photons added up at a time
    seconds  : spent so far;  stopped : whether the last run was stopped before its goal
    """

    photons: IntArray
    out: FloatArray
    square: Float32
    direct: Float32
    direct_moment: Float32
    absorbed: FloatArray
    escaped: FloatArray
    coats: FloatArray
    lost: FloatArray
    roulette: FloatArray
    events: IntArray
    seed: int
    jumps: bool
    batch: int
    seconds: float = 0.0
    stopped: bool = False

    @classmethod
    def empty(cls, problem: BodyProblem, *, seed: int, jumps: bool, batch: int) -> Tallies:
        """Return the tallies of no photons."""
        lights, faces = problem.emitters.light_count, len(problem.skin)
        shape = (lights, faces, 3)
        return cls(
            photons=np.zeros(lights, dtype=np.int64),
            out=np.zeros(shape),
            square=np.zeros(shape, dtype=np.float32),
            direct=np.zeros(shape, dtype=np.float32),
            direct_moment=np.zeros(shape, dtype=np.float32),
            absorbed=np.zeros((lights, region_count(problem), 3)),
            escaped=np.zeros((lights, 3)),
            coats=np.zeros((lights, 3)),
            lost=np.zeros((lights, 3)),
            roulette=np.zeros((lights, 3)),
            events=np.zeros((lights, 5), dtype=np.int64),
            seed=seed,
            jumps=jumps,
            batch=batch,
        )

    def arrays(self) -> dict[str, NDArray[Any]]:
        """Return everything as named arrays, for a file."""
        return {field.name: np.asarray(getattr(self, field.name)) for field in fields(self)}

    @classmethod
    def from_arrays(cls, arrays: Mapping[str, NDArray[Any]]) -> Tallies:
        """Return the tallies that `arrays` gave. Raises SolveError if something is missing."""
        missing = [field.name for field in fields(cls) if field.name not in arrays]
        if missing:
            raise SolveError(f"the saved photons lack {', '.join(missing)}; start without them")
        plain: dict[str, Any] = {field.name: arrays[field.name] for field in fields(cls)}
        for name in ("seed", "jumps", "batch", "seconds", "stopped"):
            plain[name] = arrays[name].item()
        return cls(**plain)

    def check_fits(self, problem: BodyProblem, *, seed: int, jumps: bool) -> None:
        """Raise SolveError unless these are photons of this body, seed and way of walking."""
        shape = (problem.emitters.light_count, len(problem.skin), 3)
        if self.out.shape != shape or self.absorbed.shape[1] != region_count(problem):
            raise SolveError(
                f"{problem.name}: the saved photons belong to another body; start without them"
            )
        if self.seed != seed or self.jumps != jumps:
            raise SolveError(
                f"{problem.name}: the saved photons were followed with seed {self.seed}, "
                f"{'with' if self.jumps else 'without'} jumps; go on with the same, or start again"
            )

    def add(self, light: int, run: Run) -> None:
        """Add the next batch of a light's photons."""
        for name, more in run._asdict().items():
            mine = getattr(self, name)[light]
            mine += more
        self.photons[light] += self.batch

    def balance(self) -> FloatArray:
        """Return the share of the launched weight not accounted for, (lights, 3): rounding."""
        ended = self.absorbed.sum(axis=1) + self.escaped + self.coats + self.lost + self.roulette
        return 1.0 - ended / np.maximum(self.photons, 1)[:, None]
