"""Memory of the reference solver at 100 000 faces and 64 lights: under 1.5 GB.

Run with: python -m pytest -m benchmark -s tests/benchmarks
"""

from __future__ import annotations

import subprocess
import sys

import pytest

CODE = """
import resource
import numpy as np
from glowsim.geometry.shapes import shape_mesh
from glowsim.scene import Orb
from glowsim.transport.reference import Goal, solve_body
from tests.support.bodies import body, emitters, medium

places = np.random.default_rng(0).uniform(-25, 25, (64, 3))
ball = shape_mesh(Orb(kind="orb", diameter_mm=100))
material = medium(0.02, 0.2, 0.5, 1.3)
problem = body(ball, [material], emitters(places), cell_mm=2.0, face_mm=0.9)
glow, tallies = solve_body(problem, goal=Goal(noise=None, photons=1))
assert np.isfinite(glow.error).all()
peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6
stored = sum(table.nbytes for table in tallies.arrays().values()) / 1e9
print(len(problem.skin), glow.light_count, stored, peak)
"""


@pytest.mark.benchmark
def test_many_faces_and_lights():
    run = subprocess.run([sys.executable, "-c", CODE], capture_output=True, text=True, check=True)
    faces, lights, stored, peak = map(float, run.stdout.split())
    print(f"\n{faces:.0f} faces, {lights:.0f} lights: tallies {stored:.2f} GB, peak {peak:.2f} GB")
    assert faces * lights > 90_000 * 64
    assert peak < 1.5
