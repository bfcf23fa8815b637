"""What the reference says of the props drawn at random, kept so that quick is tried in minutes.

`python -m tests.support.promises` follows the photons anew (half an hour of one processor) and
writes the table; with numbers behind it, those props alone. `tests/transport/test_promises` holds
a dozen of them against fresh photons.
"""

from __future__ import annotations

import csv
import hashlib
import sys
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from glowsim.transport.problem import BodyProblem
from glowsim.transport.reference import Goal, solve_body
from tests.support.patchwise import Patches, beside, gathered, patches_of
from tests.support.random_props import random_prop, scene_text

TABLE = Path(__file__).parent / "promises.csv"
PROPS = range(90)
PHOTONS = 60_000
"""Of each prop; of 35, 65 and 67, where quick is close to its promise, 500 000."""
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


def kept() -> dict[int, Patches]:
    """Return the table: what the reference says of each prop's patches.

    Raises ValueError if it was made of other props.
    """
    table = {}
    with TABLE.open(encoding="utf-8", newline="") as lines:
        for number, made_of, *values in csv.reader(line for line in lines if line[0] != "#"):
            if made_of != stamp(int(number)):
                raise ValueError(f"prop {number} has changed: python -m tests.support.promises")
            mean, error = np.array(values, dtype=float).reshape(2, -1)
            table[int(number)] = Patches(mean, error)
    return table


def line_of(number: int, patches: Patches) -> str:
    """Return a line of the table: number, stamp, the means of all patches, then their errors."""
    assert patches.error is not None
    values = [f"{v:.4g}" for v in patches.mean] + [f"{v:.2g}" for v in patches.error]
    return ",".join([str(number), stamp(number), *values])


HEADER = """\
# Exitance of patches of props drawn at random, per lumen [1/mm2], by the reference solver.
# Number of the prop, digest of its scene, the means of its patches, their standard errors.
# Written by `python -m tests.support.promises`.
"""


def main(numbers: Sequence[int]) -> None:
    """Write the lines of some props anew."""
    lines = {}
    if TABLE.exists():
        kept_lines = TABLE.read_text(encoding="utf-8").splitlines()
        lines = {int(x.split(",", 1)[0]): x for x in kept_lines if x[0] != "#"}
    for number in numbers:
        problem = random_prop(number)
        patches = by_reference(problem, patches_of(problem), PHOTONS, 1)
        lines.pop(number, None)
        if len(beside(patches, (), patches).off) >= FEWEST:
            lines[number] = line_of(number, patches)
        whole = HEADER + "\n".join(lines[k] for k in sorted(lines)) + "\n"
        TABLE.write_text(whole, encoding="utf-8")
        print(f"prop {number}", flush=True)


if __name__ == "__main__":
    main([int(number) for number in sys.argv[1:]] or PROPS)
