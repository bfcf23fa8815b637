"""Makes the demo readings of `glowsim calibrate`: `python assets/make_readings.py` (minutes).

Computed, not measured: the reference solver stands for the bench. Its foam is not the catalogue's,
and the errors are not those that the fit reckons with: the camera's response is a power that is
off, it sees stray light and darkens as the fourth power of a cosine, the points are off by a pixel
and most of a millimetre, the sheets are thicker than said, the paper is not as white as said.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
from PIL import Image

from glowsim import parse_scene, read_scene
from glowsim.files import write_whole
from glowsim.geometry.rays import RayTarget
from glowsim.optics.emission import luminance_shape
from glowsim.optics.srgb import encode
from glowsim.pictures.camera import Camera, framed
from glowsim.transport.build import body_problem
from glowsim.transport.plan import plan_of
from glowsim.transport.problem import BANDS, BodyProblem, Emitters
from glowsim.transport.reference import Goal, solve_body

FOLDER = Path(__file__).parent.parent / "scenes" / "readings"
ABSORBS, SCATTERS = 1.6, 0.7
"""The demo's foam over the catalogue's."""
THICKNESS = (10.0, 30.0, 50.0)
HOLE_MM, PAPER, PAPER_TRUE = 40.0, 0.85, 0.82
SIZE = (220, 420)
SHOTS = {"foam_short.jpg": 0.005, "foam_middle.jpg": 0.04, "foam_long.jpg": 0.32}
DARK = {"foam_dark.jpg": 0.32}
RESPONSE_OFF = 1.04
LEVELS = (255, 128, 64, 32)


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


def photos(rng: np.random.Generator) -> list[str]:
    """Write photos of the lit piece at three shutter times; return their table of the readings."""
    problem = true_foam(body_problem(plan_of(read_scene(FOLDER / "foam_piece.toml")), 0))
    triangles = problem.walls.triangles[problem.skin]
    camera = framed(
        triangles.reshape(-1, 3), azimuth_deg=88.0, elevation_deg=4.0, distance_mm=600.0,
        size=SIZE, fill=0.75,
    )  # fmt: skip
    light = seen_by(camera, problem, triangles)
    light /= light.max()
    for file, shutter in (SHOTS | DARK).items():
        # Light left on in the room, the corners of the frame darker, a response that is off.
        exposed = 0.9 * shutter / SHOTS["foam_short.jpg"] * ((file not in DARK) * light + 0.0005)
        exposed = exposed**RESPONSE_OFF * rng.normal(1.0, 0.01, light.shape)
        rgb = exposed[..., None] * np.array([0.06, 1.0, 0.15])
        rgb += rng.normal(0, 5e-4, rgb.shape)
        codes = np.round(255 * encode(np.clip(rgb, 0.0, 1.0))).astype(np.uint8)
        image = Image.fromarray(codes)
        write_whole(FOLDER / file, lambda place, image=image: image.save(place, "JPEG", quality=95))
    side = np.array([radius_at(triangles, 60.0), 0.0, 60.0])
    marks = np.array([[0.0, 0.0, 120.0], [0.0, 20.0, 0.0], [0.0, -20.0, 0.0], side])
    pixels = camera.project(marks)[0] + rng.uniform(-1.0, 1.0, (4, 2))
    ends = [np.array([radius_at(triangles, z), 0.0, z]) for z in (10.5, 55.5)]
    names = ", ".join(f'{{ file = "{f}", exposure_s = {t:g} }}' for f, t in SHOTS.items())
    points = [
        f"  {{ pixel = [{c:.0f}, {r:.0f}], at_mm = [{x:.1f}, {y:.1f}, {z:.1f}] }},"
        for (c, r), (x, y, z) in zip(pixels, marks, strict=True)
    ]
    return [
        "",
        "[[photos]]",
        'scene = "foam_piece.toml"',
        'band = "green"',
        f"images = [{names}]",
        *(f'dark = {{ file = "{f}", exposure_s = {t:g} }}' for f, t in DARK.items()),
        "points = [",
        *points,
        "]",
        *(f"{key} = [{', '.join(f'{c:.2f}' for c in end)}]"
          for key, end in zip(("from_mm", "to_mm"), ends, strict=True)),
        "toward = [1, 0, 0]",
        "",
    ]  # fmt: skip


def levels(rng: np.random.Generator) -> list[str]:
    """Return the table of the camera's response: one patch at four drive levels."""
    read = (np.array(LEVELS) / LEVELS[0]) ** RESPONSE_OFF * np.exp(rng.normal(0.0, 0.01, 4))
    return [
        "[[levels]]",
        f"level = [{', '.join(f'{level:g}' for level in LEVELS)}]",
        f"value = [{', '.join(f'{value:.4f}' for value in read)}]",
        "",
    ]


def radius_at(triangles: np.ndarray, height: float) -> float:
    """Return how far the piece reaches toward +x at a height [mm]."""
    start = np.array([[100.0, 0.0, height]])
    return float(RayTarget(triangles).first_hits(start, np.array([[-1.0, 0, 0]])).point[0, 0])


def seen_by(camera: Camera, problem: BodyProblem, triangles: np.ndarray) -> np.ndarray:
    """Return the luminance that each pixel shows in green, (h, w) float, by the reference solver.

    The piece is round: what noise leaves on single faces is averaged round its axis.
    """
    bright = exitance(problem, 3_000_000)[1]
    areas = problem.walls.areas_mm2[problem.skin]
    height = problem.walls.centroids[problem.skin][:, 2]
    side = np.abs(problem.walls.normals[problem.skin][:, 2]) < 0.5
    middles = np.arange(1.0, 119.0, 2.0)
    near = [side & (np.abs(height - z) < 1.5) for z in middles]
    level = np.array([bright[mine].sum() / areas[mine].sum() for mine in near])
    row, column = (g.ravel() for g in np.mgrid[: SIZE[1], : SIZE[0]])
    heading = camera.directions(column, row).astype(float)
    hits = RayTarget(triangles).first_hits(np.broadcast_to(camera.eye_mm, heading.shape), heading)
    seen = hits.face >= 0
    # Points are off by 0.7 mm; the surface is drawn round, not by its flat faces.
    place = hits.point[seen]
    normal = problem.walls.normals[problem.skin][hits.face[seen]]
    out = place[:, :2] / np.linalg.norm(place[:, :2], axis=1)[:, None]
    flat = np.linalg.norm(normal[:, :2], axis=1)
    round_ = np.column_stack([out * flat[:, None], normal[:, 2]])
    cosine = -np.einsum("nd,nd->n", round_, heading[seen])
    dark = np.maximum(np.interp(place[:, 2] + 0.7, middles, np.log(np.maximum(level, 1e-12))), -30)
    light = np.zeros(len(seen))
    ahead = heading[seen] @ camera.forward
    light[seen] = np.exp(dark) * luminance_shape(np.clip(cosine, 0.0, 1.0), n=1.0) * ahead**4
    return light.reshape(SIZE[1], SIZE[0])


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
    lines += photos(np.random.default_rng(12))
    lines += levels(np.random.default_rng(13))
    write_whole(FOLDER / "white_foam.toml", "\n".join(lines).encode())


if __name__ == "__main__":
    main()
