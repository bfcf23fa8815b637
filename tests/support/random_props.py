"""Props drawn at random, as makers build them: what quick promises is tried on them.

Each is a scene file, so that everything on the way to the solvers takes part: sizes of cells and
faces, coats, the choice of what glows. One number draws one prop, always the same.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np

from glowsim.catalogue import load_catalogue
from glowsim.geometry.boards import board_shape
from glowsim.geometry.body import region_of
from glowsim.geometry.hollow import depth_mm, nearest_on
from glowsim.geometry.mesh import FloatArray, Mesh, to_manifold
from glowsim.geometry.patterns import placed
from glowsim.geometry.shapes import shape_mesh
from glowsim.scene import Crystal, Dome, Light, Orb, Rod, Slab, Spike, parse_scene
from glowsim.transport.build import build_problem
from glowsim.transport.problem import BodyProblem

FAMILIES = (
    "solid", "deep", "dark", "shell", "shell near", "shell grazed",
    "pocket", "core", "sleeve", "mask",
)  # fmt: skip
"""What a prop is like: the number's last digit."""
FIRST_WITH_BOARD = 70
"""From this number on a board of the catalogue stands in the light's way."""
WIDER = 2.0
"""Bodies with boards are so many times as wide."""
BOARDS = (
    ("rgb_5050_18ma", ""), ("star_rgb_3w", ""), ("round_7", ""), ("ring_12", ""),
    ("strip_60", "led_count = 2"), ("strip_144", "led_count = 4"),
)  # fmt: skip
SHAPES: tuple[Any, ...] = (
    Orb(kind="orb", diameter_mm=28),
    Rod(kind="rod", length_mm=36, diameter_mm=22),
    Spike(kind="spike", length_mm=42, base_diameter_mm=26, tip_radius_mm=5),
    Slab(kind="slab", length_mm=36, width_mm=26, thickness_mm=18),
    Crystal(kind="crystal", length_mm=42, width_mm=24),
    Dome(kind="dome", diameter_mm=32, height_mm=20),
    Orb(kind="orb", diameter_mm=32, height_mm=22),
)


def random_prop(number: int) -> BodyProblem:
    """Return the problem of prop `number`."""
    (body,) = build_problem(parse_scene(scene_text(number), f"random {number}.toml")).bodies
    return body if number >= FIRST_WITH_BOARD else replace(body, boards=())


def scene_text(number: int) -> str:
    """Return the scene file of prop `number`."""
    rng = np.random.default_rng([number, 20])
    family = FAMILIES[number % len(FAMILIES)]
    boarded = number >= FIRST_WITH_BOARD
    wider = WIDER if boarded else 1.0
    shape = _scaled(SHAPES[rng.integers(len(SHAPES))], wider)
    outer = shape_mesh(shape)
    half_chord = 2 * outer.volume_mm3 / float(outer.areas_mm2.sum())
    wall = float(rng.uniform(1.5, 3.2)) if "shell" in family else None
    lengths = {"deep": (7, 20), "dark": (4, 14)}.get(family, (1.5, 12))
    thickness = _log(rng, *lengths) if wall is None else _log(rng, 0.7, 9)
    mu_t = thickness / (wall or half_chord)
    ratio = _log(rng, 0.02 if family == "dark" else 1e-4, 0.15)
    # From the middle to the surface light decays to exp(-4) at most.
    ratio = min(ratio, (4 / (float(outer.size_mm.min()) / 2 * mu_t)) ** 2 / 3)
    lines = ["[materials.first]", *_material(rng, mu_t, ratio)]
    inserts: list[str] = []
    hollow: Mesh | None = None
    middle = outer.bounds.mean(axis=0)
    if family == "pocket":
        ball = Orb(kind="orb", diameter_mm=wider * float(rng.uniform(8, 13)))
        inserts, hollow = _insert("pocket", ball, middle), _at(ball, middle)
    if family == "sleeve":
        ball = Orb(kind="orb", diameter_mm=wider * float(rng.uniform(8, 13)))
        lines += ["[materials.second]", *_material(rng, mu_t * _log(rng, 0.4, 3), 1e-3)]
        inserts = _insert("sleeve", ball, middle, 'material = "second"')
    core = None
    if family == "core":
        dowel = Rod(kind="rod", length_mm=float(outer.size_mm[2]), diameter_mm=wider * 6)
        foot = np.array([middle[0], middle[1], outer.bounds[0, 2] - 5])
        coat = rng.choice(["wood_dowel", "white_plastic_pipe", "aluminium_tube"])
        inserts, core = _insert("core", dowel, foot, f'coat = "{coat}"'), _at(dowel, foot)
    if wall is not None:
        gap = {"shell near": (1.5, 5), "shell grazed": (1.5, 3)}.get(family, (4, 14))
        wanted = wall + float(rng.uniform(*gap))
    else:
        wanted = _log(rng, 0.3, 10) / mu_t
    place = _place(rng, outer, wanted, hollow, core)
    way = rng.normal(size=3)
    if "shell " in family:
        # A board on the far side of its light's wall, or across it.
        _, _, face = nearest_on(outer, place[None])
        normal = outer.normals[face[0]]
        way = normal if family == "shell near" else normal + 0.7 * way / np.linalg.norm(way)
    lines += ["[[bodies]]", 'name = "prop"', 'material = "first"', f"shape = {_table(shape)}"]
    lines += [] if wall is None else [f"wall_mm = {wall:.3f}"]
    lines += inserts
    if family == "mask" or (number // 10) % 3 == 0:
        coat = rng.choice(["opaque_primer", "aluminium_foil_tape", "black_paint"])
        below = outer.bounds[0, 2] + float(rng.uniform(0.05, 0.4)) * float(outer.size_mm[2])
        lines += ["[[bodies.masks]]", f'coat = "{coat}"', f"where = {{ below_mm = {below:.3f} }}"]
    board, more = BOARDS[0]
    if boarded:
        clear = 0.5 if wall is None else wall + 0.5
        place, way, (board, more) = _with_room(rng, outer, clear, hollow, core)
    lines += ["[[bodies.lights]]", f'board = "{board}"', *([more] if more else [])]
    lines += [f"position_mm = {_row(place)}", f"direction = {_row(way)}"]
    return "\n".join(lines) + "\n"


def _log(rng: np.random.Generator, low: float, high: float) -> float:
    return float(np.exp(rng.uniform(np.log(low), np.log(high))))


def _material(rng: np.random.Generator, mu_t: float, ratio: float) -> list[str]:
    """Return a grey material of reduced attenuation `mu_t`, a share of it absorption."""
    mu_s = mu_t / (1 + ratio)
    return [
        'label = "grey"',
        f"mu_a_per_mm = {ratio * mu_s:.6g}",
        f"mu_s_reduced_per_mm = {mu_s:.6g}",
        f"g = {rng.choice([0.0, 0.3, 0.65, 0.8, 0.85])}",
        f"refractive_index = {rng.choice([1.0, 1.0, 1.03, 1.33, 1.41, 1.49, 1.58])}",
        "density_kg_m3 = 1000",
    ]


def _place(
    rng: np.random.Generator, outer: Mesh, wanted_mm: float, hollow: Mesh | None, core: Mesh | None
) -> FloatArray:
    """Return a place about `wanted_mm` below the surface; in the hollow if there is one."""
    low, high = outer.bounds if hollow is None else hollow.bounds
    points = rng.uniform(low, high, size=(4000, 3))
    points = points[region_of(points, (outer if hollow is None else hollow,)) == 0]
    if core is not None:
        points = points[nearest_on(core, points)[0] > 1.5]
        points = points[region_of(points, (core,)) != 0]
    if hollow is not None:
        depth = nearest_on(hollow, points)[0]
        return points[np.abs(depth - rng.uniform(1.5, 5)).argmin()]
    depth = nearest_on(outer, points)[0]
    return points[np.abs(depth - wanted_mm).argmin()]


def _with_room(
    rng: np.random.Generator,
    outer: Mesh,
    clear_mm: float,
    hollow: Mesh | None,
    core: Mesh | None,
) -> tuple[FloatArray, FloatArray, tuple[str, str]]:
    """Return a place, a direction and a board that has room there."""
    catalogue = load_catalogue()
    low, high = outer.bounds if hollow is None else hollow.bounds
    for _ in range(4000):
        name, more = BOARDS[rng.integers(len(BOARDS))]
        board, count = catalogue.board(name), int(more[-1]) if more else None
        place, way = rng.uniform(low, high), rng.normal(size=3)
        light = Light(board=name, position_mm=tuple(place), direction=tuple(way), led_count=count)
        shape = board_shape(light, board)
        assert shape is not None
        corners = np.vstack([shape.mesh().vertices, place])
        if depth_mm(outer, corners).min() < clear_mm:
            continue
        if hollow is not None and (region_of(corners, (hollow,)) != 0).any():
            continue
        if (
            core is not None
            and not (to_manifold(shape.mesh(), "") ^ to_manifold(core, "")).is_empty()
        ):
            continue
        return place, way, (name, more)
    raise AssertionError("no board has room")


def _scaled(shape: Any, factor: float) -> Any:
    """Return a sketch shape as many times its size."""
    sizes = {k: factor * v for k, v in shape.model_dump().items() if k.endswith("_mm") and v}
    return shape.model_copy(update=sizes)


def _at(shape: Any, place: FloatArray) -> Mesh:
    x, y, z = map(float, place)
    return shape_mesh(shape).moved(placed((x, y, z), (0, 0, 0)))


def _insert(kind: str, shape: Any, place: FloatArray, more: str = "") -> list[str]:
    lines = ["[[bodies.inserts]]", f'kind = "{kind}"', f"shape = {_table(shape)}"]
    return [*lines, f"position_mm = {_row(place)}", more]


def _table(shape: Any) -> str:
    given = shape.model_dump(exclude_none=True)
    return "{ " + ", ".join(f"{k} = {_value(v)}" for k, v in given.items()) + " }"


def _value(value: Any) -> str:
    return f'"{value}"' if isinstance(value, str) else f"{value:g}"


def _row(values: FloatArray) -> str:
    return "[" + ", ".join(f"{v:.4f}" for v in values) + "]"
