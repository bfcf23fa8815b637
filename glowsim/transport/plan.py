"""What a scene asks for, before any geometry: which bodies differ, and where copies stand."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from glowsim.catalogue import Catalogue, load_catalogue
from glowsim.geometry.mesh import FloatArray
from glowsim.geometry.patterns import copies_of
from glowsim.scene import SceneFile
from glowsim.transport.leds import lights_of_copy
from glowsim.transport.names import body_key, check_names
from glowsim.transport.problem import Copy, LightSource


@dataclass(frozen=True)
class Plan:
    """A scene with its catalogue, its names checked.

    keys     : digest of each body of the scene; bodies with equal keys are solved once
    distinct : the first body of the scene with each key, in order
    """

    scene_file: SceneFile
    catalogue: Catalogue
    keys: tuple[str, ...]

    @property
    def distinct(self) -> dict[str, int]:
        return {key: self.keys.index(key) for key in dict.fromkeys(self.keys)}

    def name_of(self, key: str) -> str:
        """Return the name of the first body of the scene with a key."""
        return self.scene_file.scene.bodies[self.keys.index(key)].name

    @property
    def title(self) -> str:
        """The scene's title, or its file's name."""
        return self.scene_file.scene.title or self.scene_file.stem

    def copies(
        self, light_mm: Sequence[FloatArray]
    ) -> tuple[tuple[Copy, ...], tuple[LightSource, ...]]:
        """Return all copies of all bodies, and their lights.

        light_mm : for each distinct body, (lights, 3) float, centres of its lights [mm].
        """
        order = list(self.distinct)
        copies: list[Copy] = []
        lights: list[LightSource] = []
        for body, key in zip(self.scene_file.scene.bodies, self.keys, strict=True):
            number = order.index(key)
            places = copies_of(body)
            for k, transform in enumerate(places):
                name = body.name if len(places) == 1 else f"{body.name} {k + 1}"
                mine = lights_of_copy(body, name, transform, light_mm[number], self.catalogue, k)
                numbers = tuple(range(len(lights), len(lights) + len(mine)))
                copies.append(Copy(name, body.name, number, transform, numbers))
                lights += mine
        return tuple(copies), tuple(lights)


def plan_of(scene_file: SceneFile) -> Plan:
    """Look up every name of a scene.

    Raises SceneError or MaterialError naming file, line and key of what is wrong.
    """
    catalogue = load_catalogue(scene_file.toml)
    numbers = range(len(scene_file.scene.bodies))
    for number in numbers:
        check_names(scene_file, number, catalogue)
    keys = tuple(body_key(scene_file, number, catalogue) for number in numbers)
    return Plan(scene_file, catalogue, keys)
