"""What the reference says of the props drawn at random, kept so that quick is tried in minutes.

`python -m tests.support.promises` follows the photons anew (half an hour of one processor) and
writes the table, line by line; with numbers behind it, those props alone; with `changed`, those
whose scene or faces are no longer what the table was made of. `tests/transport/test_promises`
holds some of them against fresh photons.
"""

from __future__ import annotations

import csv
import hashlib
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from time import process_time

import numpy as np

from glowsim.transport.problem import BodyProblem
from glowsim.transport.reference import Goal, solve_body
from tests.support.patchwise import Patches, beside, gathered, patches_of
from tests.support.random_props import random_prop, scene_text

TABLE = Path(__file__).parent / "promises.csv"
PROPS = range(90)
PHOTONS = 60_000
"""Of each prop."""
MORE_PHOTONS = dict.fromkeys((13, 18, 23, 29, 35, 41, 48, 57, 58, 65, 67, 69, 75, 76, 86), 500_000)
"""Of those where quick is close to its promise, or may be called rough for nothing."""
FEWEST = 5
"""Props with fewer patches that the reference knows well are left out."""


def by_reference(problem: BodyProblem, patch: np.ndarray, photons: int, seed: int) -> Patches:
    """Return what the reference says of a body's patches after so many photons."""
    _, tallies = solve_body(problem, seed=seed, goal=Goal(noise=None, photons=photons))
    count = int(tallies.photons[0])
    out, square = tallies.out[0, :, 1] / count, tallies.square[0, :, 1] / count
    return gathered(problem, patch, out, square, count)


def stamp(number: int) -> str:
    """Return a digest of a prop's scene: a line of the table is true of no other."""
    return hashlib.sha256(scene_text(number).encode()).hexdigest()[:12]


@dataclass(frozen=True)
class Kept:
    """A line of the table: what the reference says of a prop's patches, and what it was made of.

    faces, area_mm2 : how many faces were meant to glow, and their area
    """

    made_of: str
    faces: int
    area_mm2: float
    patches: Patches

    def holds(self, number: int, problem: BodyProblem) -> bool:
        """Whether it is true of a prop as it is now."""
        faces, area_mm2 = _glowing(problem)
        alike = faces == self.faces and abs(area_mm2 / self.area_mm2 - 1) < 1e-5
        return alike and self.made_of == stamp(number)


def _glowing(problem: BodyProblem) -> tuple[int, float]:
    glows = problem.glows
    return int(glows.sum()), float(problem.walls.areas_mm2[glows].sum())


def kept() -> dict[int, Kept]:
    """Return the table by number of the prop."""
    table = {}
    with TABLE.open(encoding="utf-8", newline="") as lines:
        for number, made_of, faces, area, *values in csv.reader(x for x in lines if x[0] != "#"):
            mean, error = np.array(values, dtype=float).reshape(2, -1)
            table[int(number)] = Kept(made_of, int(faces), float(area), Patches(mean, error))
    return table


def line_of(number: int, problem: BodyProblem, patches: Patches) -> str:
    """Return a line of the table."""
    assert patches.error is not None
    faces, area_mm2 = _glowing(problem)
    values = [f"{v:.4g}" for v in patches.mean] + [f"{v:.2g}" for v in patches.error]
    return ",".join([str(number), stamp(number), str(faces), f"{area_mm2:.7g}", *values])


HEADER = """\
# Exitance of patches of props drawn at random, per lumen [1/mm2], by the reference solver.
# Number of the prop, digest of its scene, faces that are meant to glow and their area [mm2], the
# means of its patches, their standard errors. Written by `python -m tests.support.promises`.
"""


def main(numbers: Sequence[int], only_changed: bool = False) -> None:
    """Write the lines of some props anew."""
    lines = {}
    if TABLE.exists():
        kept_lines = TABLE.read_text(encoding="utf-8").splitlines()
        lines = {int(x.split(",", 1)[0]): x for x in kept_lines if x[0] != "#"}
    for number in numbers:
        problem = random_prop(number)
        if only_changed and number in lines and kept()[number].holds(number, problem):
            continue
        photons = MORE_PHOTONS.get(number, PHOTONS)
        patches = by_reference(problem, patches_of(problem), photons, 1)
        lines.pop(number, None)
        if len(beside(patches, (), patches).off) >= FEWEST:
            lines[number] = line_of(number, problem, patches)
        whole = HEADER + "\n".join(lines[k] for k in sorted(lines)) + "\n"
        TABLE.write_text(whole, encoding="utf-8")
        print(f"prop {number}: {process_time():.0f} s of processor time by now", flush=True)


if __name__ == "__main__":
    if sys.argv[1:] == ["changed"]:
        main(PROPS, only_changed=True)
    else:
        main([int(number) for number in sys.argv[1:]] or PROPS)
