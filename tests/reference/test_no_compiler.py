"""Where there is no compiler the quick solver works, and the reference says why it does not."""

from __future__ import annotations

import subprocess
import sys

CODE = """
import sys
sys.modules["numba"] = None  # importing it fails, as where it is not installed
import glowsim
prop = glowsim.parse_scene('''
[[bodies]]
name = "ball"
material = "upholstery_foam_white"
shape = { kind = "orb", diameter_mm = 20 }
cell_mm = 2
detail_mm = 4
  [[bodies.lights]]
  board = "rgb_5050_18ma"
  position_mm = [0, 0, 0]
''')
print(len(glowsim.solve(prop).bodies), "body by quick")
try:
    glowsim.solve(prop, method="reference")
except glowsim.SolveError as problem:
    print(problem)
"""


def test_quick_does_without_and_the_reference_says_what_is_missing():
    run = subprocess.run([sys.executable, "-c", CODE], capture_output=True, text=True, check=False)
    assert run.returncode == 0, run.stderr
    assert "1 body by quick" in run.stdout
    assert "needs the compiler numba, which is not installed" in run.stdout
