"""Made-up photos of four finished props, as their scenes have them and with known faults.

What a prop lets out comes from the reference solver; what its maker did a little differently and
what is wrong with it changes that by the ratio that quick foretells. The camera's errors are not
those that the check reckons with. `python -m tests.support.checked_photos SEED [PROP ...]` draws
photos of them and prints how often each fault was seen and named.
"""

from __future__ import annotations

import sys
from collections import Counter
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
from scipy.spatial import cKDTree

from glowsim.calibration.check import Checked, checked
from glowsim.calibration.forward import Optics
from glowsim.calibration.lit import Photo
from glowsim.calibration.prop import SLOPE, TestPiece, nearest
from glowsim.geometry.kept import Kept
from glowsim.optics.emission import luminance_shape
from glowsim.scene import parse_scene
from glowsim.transport.build import body_problem
from glowsim.transport.plan import plan_of
from glowsim.transport.reference import Goal, solve_body
from tests.support.photos import Picture, save, taken_of

LIGHT = '  [[bodies.lights]]\n  board = "rgb_5050_18ma"\n  position_mm = [{}, {}, {}]\n'
BODY = """
[[bodies]]
name = "prop"
shape = {{ {} }}
material = "{}"
detail_mm = {}
{}
"""


@dataclass(frozen=True)
class Sort:
    """A prop to be photographed.

    lights, marks : (n, 3) places;  wall_mm : of a shell
    """

    shape: str
    material: str
    lights: tuple[tuple[float, float, float], ...]
    marks: tuple[tuple[float, float, float], ...]
    wall_mm: float | None = None
    detail_mm: float = 6.0

    def scene(self, wall_mm: float | None) -> str:
        """Return its scene, with a wall."""
        wall = "" if wall_mm is None else f"wall_mm = {wall_mm:g}"
        return BODY.format(self.shape, self.material, self.detail_mm, wall) + "".join(
            LIGHT.format(*place) for place in self.lights
        )


PROPS = {
    "rod": Sort(
        'kind = "rod", length_mm = 90, diameter_mm = 34', "upholstery_foam_white",
        ((0, 0, 20), (0, 0, 60)), ((0, 0, 90), (0, 17, 0), (0, -17, 0), (17, 0, 45)),
    ),
    "spike": Sort(
        'kind = "spike", length_mm = 100, base_diameter_mm = 40', "upholstery_foam_white",
        ((0, 0, 14),), ((0, 0, 100), (0, 20, 0), (0, -20, 0), (10, 0, 50)),
    ),
    "shell": Sort(
        'kind = "rod", length_mm = 80, diameter_mm = 36', "eva_foam_white",
        ((0, 0, 22), (0, 0, 58)), ((0, 0, 80), (0, 18, 0), (0, -18, 0), (18, 0, 40)), 4.0, 10.0,
    ),
    "ball": Sort(
        'kind = "orb", diameter_mm = 50', "milky_resin_medium",
        ((-10, 0, -12), (12, 0, -2), (0, 0, 14)),
        ((0, 0, 25), (0, 25, 0), (0, -25, 0), (25, 0, 0)),
    ),
}  # fmt: skip

KNOWN = np.diag([0.2, 0.1]) ** 2
"""Covariance of the material's logarithms: as readings leave it."""
OTHER_G = 0.1
"""What the real material's g is off."""
BUILT_MM = 0.5
"""What boards of a sound prop are off by in each direction, at most."""
PHOTONS = 1_000_000
"""Of all lights: a photo has little noise, and what is left of it counts as the camera's."""
SMOOTH_MM = 1.5
"""Width over which photons are gathered into light, beside what quick says: less than a face, or
the photo would show quick's own grid."""
MOVES_MM = (2.0, 4.0, 8.0)
FAULTS = ("none", "dark", *(f"moved {far:g}" for far in MOVES_MM), "thinner", "material")


def logged(light: np.ndarray) -> np.ndarray:
    """Return ln of light, of none at all that of next to none."""
    return np.log(np.maximum(light, 1e-12 * light.max()))


class Tabled(TestPiece):
    """A test piece solved on a grid of 0.4 in the logarithms and straight between its points;
    what was asked before is kept."""

    _shone: Kept[np.ndarray]

    def _on(self, cell_mm: float, optics: Optics, deeper_mm: float = 0.0) -> np.ndarray:
        node = self.start + 0.4 * np.round((optics.logarithms - self.start) / 0.4)
        light = logged(super()._on(cell_mm, optics.at(node), deeper_mm))
        slope = (light[1:] - light[0]) / SLOPE
        here = light[0] + (optics.logarithms - node) @ slope
        return np.exp(np.array([here, *(here + SLOPE * slope)]))

    def shone_by(self, optics: Optics, emitters, boards=None) -> np.ndarray:
        key = f"{optics!r} {emitters.position.tobytes()!r} {emitters.light.tobytes()!r}"
        return self._shone.get(key, lambda: super(Tabled, self).shone_by(optics, emitters, boards))


def piece_of(sort: Sort, wall_mm: float | None) -> Tabled:
    """Return a prop as the check knows it, in green."""
    plan = plan_of(parse_scene(sort.scene(wall_mm)))
    entry = plan.catalogue.material(sort.material)
    optics = Optics(
        entry.mu_a_per_mm[1], entry.mu_s_reduced_per_mm[1], entry.g, entry.refractive_index
    )
    made = Tabled(body_problem(plan, 0), sort.material, 1, np.ones(len(sort.lights)), optics)
    made._kept, made._shone = Kept(1000), Kept(1000)
    made.start, made.optics = optics.logarithms, optics
    return made


@dataclass
class Prop:
    """A prop with the light that it lets out."""

    sort: Sort

    @cached_property
    def piece(self) -> Tabled:
        """As drawn."""
        return piece_of(self.sort, self.sort.wall_mm)

    def shone(
        self,
        optics: Optics,
        board: int = 0,
        by_mm: np.ndarray = np.zeros(3),  # noqa: B008
        flux: np.ndarray | float = 1.0,
    ) -> np.ndarray:
        """Return ln of exitance by quick with a board moved, and lights of some flux."""
        shone = self.piece.shone_by(optics, *self.piece.with_board_moved(board, by_mm))
        return logged((np.broadcast_to(flux, len(shone))[:, None] * shone).sum(axis=0))

    @cached_property
    def drawn(self) -> np.ndarray:
        """Ln of exitance by quick, all as drawn."""
        return self.shone(self.piece.optics)

    @cached_property
    def built(self) -> np.ndarray:
        """Ln of exitance by the reference, of a material of another g."""
        problem = self.piece.problem
        media = tuple(
            replace(one, g=one.g + OTHER_G) if one.name == self.piece.material else one
            for one in problem.media
        )
        goal = Goal(noise=None, photons=PHOTONS // len(self.sort.lights))
        light, _ = solve_body(replace(problem, media=media), seed=11, goal=goal)
        counted = (light.diffuse + light.direct)[:, 1].sum(axis=0)
        skin = self.piece.skin
        near = cKDTree(skin.centre).sparse_distance_matrix(
            cKDTree(skin.centre), 3 * SMOOTH_MM, output_type="coo_matrix"
        )
        alike = np.einsum("nd,nd->n", skin.normal[near.row], skin.normal[near.col]) > 0.5
        weight = np.exp(-0.5 * (near.data / SMOOTH_MM) ** 2) * skin.area[near.col] * alike
        gathered, expected = (
            np.bincount(near.row, weight * light[near.col], len(skin.area)) + skin.area * light
            for light in (counted, np.exp(self.drawn))
        )
        return self.drawn + logged(gathered / expected)

    @cached_property
    def slopes(self) -> tuple[np.ndarray, np.ndarray]:
        """What the material and places of lights do to ln of exitance, (2, k) and (3 lights, k)."""
        moved = logged(self.piece.exitance(self.piece.optics))
        rows = [
            self.shone(self.piece.optics, k, BUILT_MM * axis) - self.drawn
            for k in range(len(self.sort.lights))
            for axis in np.eye(3)
        ]
        return (moved[1:] - moved[0]) / SLOPE, np.array(rows) / BUILT_MM

    @cached_property
    def thin(self) -> np.ndarray:
        """What a wall thinner by a fifth does to ln of exitance."""
        other = piece_of(self.sort, 0.8 * self.sort.wall_mm)
        near, _ = nearest(other.skin, self.piece.skin.centre)
        light = other.shone_by(self.piece.optics, other.problem.emitters).sum(axis=0)
        return logged(light[near]) - self.drawn

    @cached_property
    def tried(self) -> Tabled:
        """As `check` tries it with a thinner wall."""
        assert self.sort.wall_mm is not None
        return piece_of(self.sort, 0.85 * self.sort.wall_mm)

    def fault(self, name: str, rng: np.random.Generator) -> tuple[np.ndarray, str]:
        """Return what a fault does to ln of exitance, and how the check's words for it begin."""
        optics, lights = self.piece.optics, len(self.sort.lights)
        mine = int(rng.integers(lights))
        place = "({:.0f}, {:.0f}, {:.0f}) mm".format(
            *self.piece.problem.emitters.position[self.piece.problem.emitters.light == mine][0]
        )
        if name == "dark":
            flux = np.ones(lights)
            flux[mine] = 1e-6
            return self.shone(optics, flux=flux) - self.drawn, f"the LED at {place}"
        if name.startswith("moved"):
            far = float(name.split()[1]) * rng.choice([-1.0, 1.0])
            there = self.shone(optics, mine, far * np.eye(3)[rng.integers(3)])
            return there - self.drawn, f"the board drawn at {place}"
        if name == "thinner":
            return self.thin, "the wall is"
        if name == "material":
            other = optics.at(optics.logarithms + np.log(1.5) * rng.choice([-1.0, 1.0], 2))
            return self.shone(other) - self.drawn, "the material differs"
        return np.zeros(len(self.drawn)), ""

    @cached_property
    def view(self) -> tuple[Picture, np.ndarray, np.ndarray]:
        """A camera's picture, the face behind each pixel or -1, and how that looks from there."""
        skin = self.piece.skin
        seen: list[np.ndarray] = []

        def light(face, heading, point):
            cosine = -np.einsum("nd,nd->n", heading, skin.normal[face])
            seen.extend([face, luminance_shape(np.clip(cosine, 0.0, 1.0), n=skin.index[face])])
            return np.ones(len(face))

        triangles = self.piece.problem.walls.triangles[self.piece.problem.skin]
        picture = taken_of(triangles, light)
        return picture, *seen

    def picture(self, fault: np.ndarray, rng: np.random.Generator) -> Picture:
        """Return what the camera sees, the maker's liberties taken."""
        material, places = self.slopes
        root = np.sqrt(3.0 * np.diag(KNOWN))
        there = self.built + fault + rng.uniform(-root, root) @ material
        there += rng.uniform(-BUILT_MM, BUILT_MM, len(places)) @ places
        picture, face, shape = self.view
        light = picture.light.copy()
        light[picture.light > 0] = np.exp(there - there.max())[face] * shape
        return replace(picture, light=light / light.max())


def by_hand(prop: Prop, picture: Picture, folder: Path, rng: np.random.Generator) -> Photo:
    """Return a photo with errors that are not the check's own: corners darker, light left on, a
    response that is off, points off by most of a millimetre and a pixel, distance by 7 %."""
    height, width = picture.light.shape
    row, column = np.mgrid[:height, :width]
    far = np.hypot(row - height / 2, column - width / 2) / np.hypot(height / 2, width / 2)
    light = picture.light * (1.0 - rng.uniform(0.0, 0.2) * far**2) + rng.uniform(0.0, 0.003)
    taken = replace(picture, light=light ** rng.uniform(0.93, 1.07))
    save(taken, folder / "prop.png", deep=True, seed=int(rng.integers(1_000_000)))
    points = [
        {"pixel": picture.pixel(tuple(np.array(mark) + rng.uniform(-1.0, 1.0, 3))), "at_mm": mark}
        for mark in prop.sort.marks
    ]
    top = prop.sort.marks[0][2]
    return Photo(
        scene="prop.toml", band="green", images=[{"file": "prop.png"}], points=points,
        from_mm=[0, 0, 0.3 * top], to_mm=[0, 0, 0.7 * top], toward=[1, 0, 0],
        distance_mm=600 * rng.uniform(0.93, 1.07),
    )  # fmt: skip


SOUND, FAULTY = 14, 5
"""Photos of each prop as its scene has it, and with each fault."""


def drawn(prop: Prop, fault: str, seed: list[int], folder: Path) -> tuple[Checked, str]:
    """Return a photo of a prop, checked, and how the words for its fault begin."""
    rng = np.random.default_rng(seed)
    change, words = prop.fault(fault, rng)
    photo = by_hand(prop, prop.picture(change, rng), folder, rng)
    thinner = None
    if prop.sort.wall_mm is not None:
        thinner = 0.15 * prop.sort.wall_mm, lambda: prop.tried
    piece = prop.piece
    return checked(photo, folder, piece, piece.optics, KNOWN, thinner), words


def main(seed: int, names: list[str]) -> None:
    """Print how many photos of each fault parted, named it alone, or named another alone."""
    for name in names:
        prop = Prop(PROPS[name])
        for number, fault in enumerate(FAULTS):
            sort = prop.sort
            if (fault == "thinner" and sort.wall_mm is None) or (
                fault == "dark" and len(sort.lights) < 2
            ):
                continue
            counts: Counter[str] = Counter()
            draws = SOUND if fault == "none" else FAULTY
            with TemporaryDirectory() as folder:
                for draw in range(draws):
                    seeds = [seed, list(PROPS).index(name), number, draw]
                    found, words = drawn(prop, fault, seeds, Path(folder))
                    counts["parted"] += found.parts
                    if len(found.fitting) == 1:
                        right = bool(words) and found.fitting[0].words.startswith(words)
                        counts["named" if right else "named another"] += 1
            print(f"{name}, {fault}: of {draws} {dict(counts)}", flush=True)


if __name__ == "__main__":
    main(int(sys.argv[1]), sys.argv[2:] or list(PROPS))
