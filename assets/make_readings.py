"""Makes the demo readings of `glowsim calibrate`: `python assets/make_readings.py` (minutes).

Computed, not measured: the reference solver stands for the bench. Its foam is not the catalogue's,
and the errors are not those that the fit reckons with: the camera's response is a power that is
off, it sees stray light and darkens as the fourth power of a cosine, the points are off by most of
a millimetre, the sheets are thicker than said, the paper is not as white as said.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np

from glowsim import parse_scene, read_scene
from glowsim.files import write_whole
from glowsim.optics.emission import luminance_shape
from glowsim.transport.build import body_problem
from glowsim.transport.plan import plan_of
from glowsim.transport.problem import BANDS, BodyProblem, Emitters
from glowsim.transport.reference import Goal, solve_body

FOLDER = Path(__file__).parent.parent / "scenes" / "readings"
ABSORBS, SCATTERS = 1.6, 0.7
"""The demo's foam over the catalogue's."""
THICKNESS = (10.0, 30.0, 50.0)
HOLE_MM, PAPER, PAPER_TRUE = 40.0, 0.85, 0.82
HEIGHT = np.arange(12.0, 55.0, 3.0)


def true_foam(problem: BodyProblem) -> BodyProblem:
    """Return a problem of the demo's foam."""
    foam = problem.media[0]
    other = replace(
        foam,
        mu_a_per_mm=ABSORBS * foam.mu_a_per_mm,
        mu_s_reduced_per_mm=SCATTERS * foam.mu_s_reduced_per_mm,
    )
    return replace(problem, media=(other, *problem.media[1:]))


def exitance(problem: BodyProblem, photons: int) -> np.ndarray:
    """Return the share of the light that leaves each face, (3, k) float."""
    glow, _ = solve_body(problem, seed=7, goal=Goal(noise=None, photons=photons))
    areas = problem.walls.areas_mm2[problem.skin]
    return (glow.diffuse + glow.direct)[0].astype(float) * areas


def beam_on_slab(thickness_mm: float, width_mm: float) -> BodyProblem:
    """Return a wide slab of foam with a thin beam that comes in at the middle of its top."""
    scene = f"""
[[bodies]]
name = "slab"
material = "upholstery_foam_white"
detail_mm = 4
  [bodies.shape]
  kind = "slab"
  length_mm = {width_mm}
  width_mm = {width_mm}
  thickness_mm = {thickness_mm}
  [[bodies.lights]]
  board = "round_7"
  position_mm = [0, 0, 5]
"""
    problem = true_foam(body_problem(plan_of(parse_scene(scene)), 0))
    top = problem.walls.bounds[1, 2]
    one = np.array([[0.013, 0.007, top - 1e-4]])
    zero = np.zeros(1, dtype=np.int64)
    beam = Emitters(one, np.array([[0.0, 0.0, -1.0]]), np.array([1e12]), zero, np.ones(1), zero)
    return replace(problem, emitters=beam, boards=())


def through(thickness_mm: float) -> np.ndarray:
    """Return what the middle of a hole shows through a pile over the bare hole, (3,) float.

    What a thin beam sends out within the hole's radius of it is what the middle gets of an even
    beam through the hole.
    """
    problem = beam_on_slab(thickness_mm, 5 * HOLE_MM)
    centre = problem.walls.centroids[problem.skin]
    low = problem.walls.bounds[0, 2]
    middle = (centre[:, 2] < low + 1e-6) & (np.hypot(*centre[:, :2].T) < HOLE_MM / 2)
    return exitance(problem, 300_000)[:, middle].sum(axis=1)


def reflectance() -> np.ndarray:
    """Return what a thick piece sends back, (3,) float."""
    problem = beam_on_slab(100.0, 400.0)
    top = problem.walls.centroids[problem.skin][:, 2] > problem.walls.bounds[1, 2] - 1e-6
    return exitance(problem, 100_000)[:, top].sum(axis=1)


def profile() -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return luminance at heights in green, and both ends of the stretch on the surface."""
    problem = true_foam(body_problem(plan_of(read_scene(FOLDER / "foam_piece.toml")), 0))
    areas = problem.walls.areas_mm2[problem.skin]
    bright = exitance(problem, 3_000_000)[1]
    centre = problem.walls.centroids[problem.skin]
    normal = problem.walls.normals[problem.skin]
    side = np.abs(normal[:, 2]) < 0.5
    values, radius = [], []
    for height in HEIGHT:
        mine = side & (np.abs(centre[:, 2] - height - 0.7) < 1.5)  # points off by 0.7 mm
        facing = np.hypot(*normal[mine, :2].T).mean()
        shape = float(luminance_shape(facing, n=1.0))
        values.append(shape * bright[mine].sum() / areas[mine].sum())
        radius.append(np.hypot(*centre[mine, :2].T).max())
    ends = [np.array([radius[k], 0.0, HEIGHT[k]]) for k in (0, -1)]
    return np.array(values), ends[0], ends[1]


def main() -> None:
    """Write the readings file."""
    rng = np.random.default_rng(11)
    lines = [
        "# Computed by assets/make_readings.py, not measured: an example of a readings file.",
        "",
        'name = "my_foam"',
        'label = "The demo\'s foam"',
        'material = "upholstery_foam_white"',
        "date = 2026-03-14",
        "made = true",
    ]
    # The sheets are 2 % thicker than said.
    piles = np.array([through(1.02 * d) for d in THICKNESS])
    back = reflectance()
    for band, name in enumerate(BANDS):
        read = 1000.0 * piles[:, band] * np.exp(rng.normal(0.0, 0.03, len(THICKNESS)))
        lines += [
            "",
            "[[piles]]",
            f'band = "{name}"',
            f"hole_diameter_mm = {HOLE_MM:g}",
            f"thickness_mm = [{', '.join(f'{d:g}' for d in THICKNESS)}]",
            f"reading = [{', '.join(f'{r:.3g}' for r in read)}]   # lx",
            f"bare = {1000.0 * np.exp(rng.normal(0.0, 0.05)):.0f}",
            "",
            "[[cards]]",
            f'band = "{name}"',
            "thickness_mm = 100",
            f"piece = [{', '.join(f'{back[band] * f:.3f}' for f in (1.02, 0.97))}]"
            "   # and with both swapped",
            f"paper = [{PAPER_TRUE:.3f}, {PAPER_TRUE:.3f}]",
            f"paper_reflectance = {PAPER:g}",
        ]
    values, start, end = profile()
    away = np.radians(np.linspace(-3.0, 3.0, len(values)))
    seen = values / values.max() * np.cos(away) ** 4 * np.exp(rng.normal(0, 0.03, len(values)))
    seen = (seen + 0.001) ** 1.04
    lines += [
        "",
        "[[photos]]",
        'scene = "foam_piece.toml"',
        'band = "green"',
        f"from_mm = [{', '.join(f'{c:.2f}' for c in start)}]",
        f"to_mm = [{', '.join(f'{c:.2f}' for c in end)}]",
        "toward = [1, 0, 0]",
        f"values = [{', '.join(f'{v:.4g}' for v in seen)}]",
        "",
    ]
    write_whole(FOLDER / "white_foam.toml", "\n".join(lines).encode())


if __name__ == "__main__":
    main()
