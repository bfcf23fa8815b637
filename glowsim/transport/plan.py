"""What a scene asks for, before any geometry: which bodies differ, and where copies stand."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from glowsim.catalogue import Catalogue, load_catalogue
from glowsim.geometry.mesh import FloatArray
from glowsim.geometry.patterns import copies_of
from glowsim.geometry.strips import along_paths
from glowsim.scene import SceneFile
from glowsim.transport.leds import lights_of_copy
from glowsim.transport.names import body_key, check_names
from glowsim.transport.problem import Copy, LightSource
from glowsim.transport.sizes import Sizes


@dataclass(frozen=True)
class Plan:
    """A scene with its catalogue, its names checked.

    keys     : digest of each body of the scene; bodies with equal keys are solved once
    sizes    : faces and cells of bodies, by number, where the scene does not say
    distinct : the first body of the scene with each key, in order
    """

    scene_file: SceneFile
    catalogue: Catalogue
    keys: tuple[str, ...]
    sizes: Mapping[int, Sizes] = field(default_factory=dict)

    @property
    def distinct(self) -> dict[str, int]:
        """Number of the first body with each key."""
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
            named = zip(body.copy_names, copies_of(body), strict=True)
            for k, (name, transform) in enumerate(named):
                mine = lights_of_copy(body, name, transform, light_mm[number], self.catalogue, k)
                numbers = tuple(range(len(lights), len(lights) + len(mine)))
                copies.append(Copy(name, body.name, number, transform, numbers))
                lights += mine
        return tuple(copies), tuple(lights)


def catalogue_of(scene_file: SceneFile) -> Catalogue:
    """Return the catalogue with the entries of a scene, as the scene stands now.

    What the file says counts for messages alone. Raises MaterialError naming what is wrong.
    """
    for text in scene_file.material_files:
        load_catalogue(text)  # a fault is named in its own file
    scene = scene_file.scene
    own = {name: getattr(scene, name) for name in ("materials", "coats", "boards", "batteries")}
    return load_catalogue(scene_file.toml, own)


def plan_of(scene_file: SceneFile, sizes: Mapping[int, Sizes] | None = None) -> Plan:
    """Look up every name of a scene.

    sizes : faces and cells of bodies, by number, where the scene does not say
    Raises SceneError or MaterialError naming file, line and key of what is wrong.
    """
    catalogue = catalogue_of(scene_file)
    numbers = range(len(scene_file.scene.bodies))
    for number in numbers:
        check_names(scene_file, number, catalogue)
    scene_file = along_paths(scene_file, catalogue)
    given = dict(sizes or {})
    keys = tuple(body_key(scene_file, n, catalogue, given.get(n)) for n in numbers)
    return Plan(scene_file, catalogue, keys, given)
