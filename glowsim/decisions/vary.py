"""What is varied of a body, and the scene that comes of each value.

wall   : the wall of a shell, or a print's solid skin over its infill; its outside and its lights
         stay
depth  : how deep each light lies behind the surface it faces; body and direction stay
around : the layer of material put on all round the body, on both skins of a printed shell; its
         lights stay
size   : the length of the body's longest side, all others in proportion, and the heights and places
         where its masks and such end; its lights stay
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from typing import Any, Literal

import numpy as np
from pydantic import BaseModel, ValidationError

from glowsim.decisions.alike import named_body
from glowsim.errors import MaterialError, SceneError, as_options
from glowsim.geometry.body import solid_of
from glowsim.geometry.hollow import depth_mm
from glowsim.geometry.mesh import FloatArray, Mesh, at_mm
from glowsim.geometry.rays import RayTarget
from glowsim.scene import Body, Crystal, FromDrawing, MeshFile, SceneFile, Shape, Spike
from glowsim.scene.bodies import Infill
from glowsim.tomlfile import shown
from glowsim.transport.plan import catalogue_of

Vary = Literal["wall", "depth", "around", "size"]

_GROWS: dict[str, dict[str, float]] = {
    "orb": {"diameter_mm": 2, "height_mm": 2},
    "rod": {"diameter_mm": 2, "top_diameter_mm": 2, "length_mm": 1},
    "slab": {"length_mm": 2, "width_mm": 2, "thickness_mm": 1},
    "blade": {"width_mm": 2, "thickness_mm": 2, "length_mm": 1},
    "ring": {"section_diameter_mm": 2},
    "dome": {"diameter_mm": 2, "height_mm": 1},
}
"""How many times a layer's thickness each size of a sketch shape gains. A flat base stays where
it is: the body stands or is fixed on it."""


@dataclass(frozen=True)
class Variation:
    """One quantity of one body of a scene.

    number : the body, by its place in the scene
    """

    scene_file: SceneFile
    number: int
    vary: Vary

    @property
    def body(self) -> Body:
        """The body as the scene has it."""
        return self.scene_file.scene.bodies[self.number]

    @property
    def quantity(self) -> str:
        """The quantity's name, for tables."""
        if self.vary == "wall" and self.body.infill is not None:
            return "skin"
        return {"around": "added"}.get(self.vary, self.vary)

    def said(self, value_mm: float) -> str:
        """Return a value of the quantity as part of a sentence."""
        return {
            "wall": f"a {self.quantity} of {value_mm:g} mm",
            "depth": f"a depth of {value_mm:g} mm",
            "around": f"a layer of {value_mm:g} mm "
            + ("on both skins" if self._both_skins else "all round"),
            "size": f"a longest side of {value_mm:g} mm",
        }[self.vary]

    @property
    def varied(self) -> str:
        """Say what is varied and what stays, in a sentence."""
        base = "" if self._scalable or self._kind in ("orb", "ring") else ", but not below its base"
        thins = ", and less toward a blade's edges" if self._kind == "blade" else ""
        hollowed = (
            "" if self.body.wall_mm else f" ('{self.body.name}' is solid: it is hollowed out)"
        )
        return {
            "wall": f"the wall of the shell{hollowed}; its outside and its lights stay"
            if self.body.infill is None
            else "the print's solid skin; its infill fills the rest as before, its outside and its "
            "lights stay",
            "depth": "how far the surface lies ahead of each light, along the way the light faces; "
            "the lights move on that line, all to the same depth; the body stays",
            "around": "a layer on both skins of the printed wall, outside and inside: 0.5 mm make "
            "the wall 1 mm thicker (0 is the file as it is); its lights stay, the wall comes nearer"
            if self._both_skins
            else f"material added all round the body{base}{thins} (0 is the body as it is); "
            "its lights and what is set into it stay",
            "size": "the length of the body's longest side, all its sizes in proportion about the "
            "origin of its own frame, its masks too; its wall, its lights and what is set into it "
            "stay",
        }[self.vary]

    @property
    def now_mm(self) -> float:
        """The quantity as the scene has it; of lights at several depths, the least."""
        return {
            "wall": lambda: (
                self.body.infill.skin_mm if self.body.infill else self.body.wall_mm or 0.0
            ),
            "depth": lambda: float(self._ahead_mm.min()),
            "around": lambda: 0.0,
            "size": lambda: self._longest_mm,
        }[self.vary]()

    def at(self, value_mm: float, material: str | None = None) -> SceneFile:
        """Return the scene with the quantity at a value, and of another material if given.

        Raises SceneError where the body cannot be made or a light finds no room in it.
        """
        changes: dict[str, Any] = {} if material is None else {"material": material}
        changes |= self._changes(value_mm)
        return self.scene_file.with_body(self.number, self.body.model_copy(update=changes))

    def edit(self, value_mm: float) -> str:
        """Return what to write into the scene file for a value of the quantity."""
        changed = self._changes(value_mm)
        if self.vary == "depth":
            places = [light.position_mm for light in changed["lights"]]
            return "; ".join(
                f"light {light.name or k + 1}: position_mm = {_toml(place)}"
                for k, (light, place) in enumerate(zip(changed["lights"], places, strict=True))
            )
        return ", ".join(f"{key} = {_toml(value)}" for key, value in changed.items())

    def _changes(self, value_mm: float) -> dict[str, Any]:
        if not (math.isfinite(value_mm) and value_mm >= 0):
            raise SceneError(f"{value_mm:g} mm is no thickness")
        if self.vary == "wall" and self.body.infill is not None:
            return {"infill": self._valid(Infill, {"skin_mm": value_mm}, self.body.infill)}
        if self.vary == "wall":
            return {"wall_mm": self._valid(Body, {"wall_mm": value_mm}, self.body).wall_mm}
        if self.vary == "depth":
            return {"lights": self._sunk(value_mm)}
        return self._grown(value_mm) if self.vary == "around" else self._scaled(value_mm)

    def _sunk(self, depth_wanted_mm: float) -> tuple[Any, ...]:
        """Return the lights, each moved to a depth along the way it faces."""
        for k, light in enumerate(self.body.lights):
            if light.path_key is not None:
                raise self.scene_file.fault(
                    (*self._at, "lights", k, light.path_key),
                    "what lies along a path is not moved as a whole; vary something else",
                )
        places = self._places + (self._ahead_mm - depth_wanted_mm)[:, None] * self._axes
        deep = depth_mm(self._outer, places)
        if deep.min() <= 0:
            k = int(deep.argmin())
            raise self.scene_file.fault(
                (*self._at, "lights", k, "position_mm"),
                f"{depth_wanted_mm:g} mm behind the surface it faces, the light would lie at "
                f"{at_mm(places[k])}, outside the body '{self.body.name}'; on that line the body "
                f"is {self._ahead_mm[k] + self._behind_mm[k]:.4g} mm deep",
            )
        return tuple(
            light.model_copy(update={"position_mm": tuple(round(float(c), 3) + 0.0 for c in place)})
            for light, place in zip(self.body.lights, places, strict=True)
        )

    def _grown(self, layer_mm: float) -> dict[str, Any]:
        if (scaled := self._scalable) is not None:
            key, source = scaled
            grow = {"grow_mm": source.grow_mm + layer_mm}
            return {key: self._valid(type(source), grow, source)}
        shape = self._shape
        gains = _GROWS.get(self._kind) or _gains_of_pointed(shape)
        grown = {
            name: getattr(shape, name) + gain * layer_mm
            for name, gain in gains.items()
            if getattr(shape, name) is not None
        }
        return {"shape": self._valid(type(shape), grown, shape)}

    def _scaled(self, longest_mm: float) -> dict[str, Any]:
        factor = longest_mm / self._longest_mm
        limits = self.body.limits_scaled(factor)
        if self.body.inner is not None:
            raise self.scene_file.fault(
                (*self._at, "inner"),
                "the inner surface is a file of its own; scale both files (scale) in its place",
            )
        if (scaled := self._scalable) is not None:
            key, source = scaled
            sizes = {"scale": factor * source.scale, "grow_mm": factor * source.grow_mm}
            return {key: self._valid(type(source), sizes, source)} | limits
        shape = self._shape
        sizes = {
            name: factor * value
            for name, value in shape
            if name.endswith("_mm") and value is not None
        }
        return {"shape": self._valid(type(shape), sizes, shape)} | limits

    def _valid(self, model: type[BaseModel], sizes: dict[str, float], base: BaseModel) -> Any:
        """Return `base` with other sizes; raise SceneError if they cannot be made."""
        rounded = {name: float(f"{value:.6g}") for name, value in sizes.items()}
        try:
            return model.model_validate(base.model_dump() | rounded)
        except ValidationError as problems:
            first = problems.errors()[0]
            keys = tuple(first["loc"])
            source = "mesh" if self.body.mesh else "shape"
            key = {Body: "", Infill: "infill"}.get(model, source)
            where = (*self._at, key) if key else self._at
            said = str(first["msg"]).removeprefix("Value error, ")
            raise self.scene_file.fault(
                (*where, *keys), f"{_toml(rounded)} cannot be made: {said}"
            ) from None

    @property
    def _at(self) -> tuple[str, int]:
        return ("bodies", self.number)

    @property
    def _scalable(self) -> tuple[str, MeshFile | FromDrawing] | None:
        """What of the body is scaled as a whole, with its key: a mesh, a shape from a drawing."""
        if self.body.mesh is not None:
            return "mesh", self.body.mesh
        shape = self.body.shape
        return ("shape", shape) if isinstance(shape, FromDrawing) else None

    @property
    def _shape(self) -> Shape:
        assert self.body.shape is not None, "the scene makes sure of a shape or a mesh"
        return self.body.shape

    @property
    def _kind(self) -> str:
        return self.body.shape.kind if self.body.shape else ""

    @cached_property
    def _outer(self) -> Mesh:
        bare = self.body.model_copy(update={"wall_mm": None, "inserts": ()})
        return solid_of(self.scene_file.with_body(self.number, bare), self.number).outer

    @cached_property
    def _both_skins(self) -> bool:
        """Whether the body is a print file with an inner skin of its own, lights in its hollow."""
        body = self.body
        if body.mesh is None or body.wall_mm or body.wall_by_height_mm or body.inner is not None:
            return False
        by_wall = any(light.on_inside_wall for light in body.lights)
        return by_wall or bool(solid_of(self.scene_file, self.number).openings)

    @cached_property
    def _longest_mm(self) -> float:
        if self.body.shape is None or self._scalable is not None:
            return float(self._outer.size_mm.max())
        sizes = dict(self.body.shape)
        longest = max(v or 0.0 for name, v in sizes.items() if name.endswith("_mm"))
        return float(longest + sizes.get("section_diameter_mm", 0.0))

    @cached_property
    def _places(self) -> FloatArray:
        return np.array([light.position_mm for light in self.body.lights])

    @cached_property
    def _axes(self) -> FloatArray:
        axes = np.array([light.direction for light in self.body.lights])
        return axes / np.linalg.norm(axes, axis=1, keepdims=True)

    @cached_property
    def _ahead_mm(self) -> FloatArray:
        return self._reach_mm(self._axes)

    @cached_property
    def _behind_mm(self) -> FloatArray:
        return self._reach_mm(-self._axes)

    def _reach_mm(self, directions: FloatArray) -> FloatArray:
        """Return how far the surface lies from each light along a direction, (lights,) [mm]."""
        deep = depth_mm(self._outer, self._places)
        if deep.min() <= 0:
            raise self.scene_file.fault(
                (*self._at, "lights", int(deep.argmin()), "position_mm"),
                f"the light lies outside the body '{self.body.name}'",
            )
        hits = RayTarget.of(self._outer).first_hits(self._places, directions)
        return np.round(hits.distance_mm, 3)  # the ray library counts in single precision


def variation_of(
    scene_file: SceneFile, body: str | None = None, vary: Vary | None = None
) -> Variation:
    """Return what is varied: of the only lit body, and its most natural quantity, unless named.

    A shell's is its wall, a sparse print's its skin, a solid's the material all round it, a sheet
    lantern's the depth of its lights. Raises SceneError naming what is wrong.
    """
    number = lit_body(scene_file, body)
    chosen = scene_file.scene.bodies[number]
    coats = catalogue_of(scene_file).coats
    is_sheet = chosen.material in coats
    if is_sheet and vary == "wall":
        raise scene_file.fault(
            ("bodies", number, "material"),
            f"'{chosen.material}' is a thin sheet with its own thickness, so '{chosen.name}' has "
            "no wall to vary; vary depth, around or size",
        )
    if vary == "wall" and Variation(scene_file, number, "around")._both_skins:
        raise scene_file.fault(
            ("bodies", number, "mesh"),
            f"'{chosen.name}' has its wall from its print file; vary around, which puts a layer on "
            "both its skins, or size",
        )
    if vary == "wall" and chosen.infill is not None and chosen.infill.share == 1:
        raise scene_file.fault(
            ("bodies", number, "infill"),
            f"'{chosen.name}' prints solid (share = 1), so it has no skin to vary; give a share of "
            "at most 0.6, or vary around or size",
        )
    walled = chosen.wall_mm or (chosen.infill is not None and chosen.infill.share < 1)
    natural: Vary = "wall" if walled else "depth" if is_sheet else "around"
    return Variation(scene_file, number, vary or natural)


def lit_body(scene_file: SceneFile, name: str | None) -> int:
    """Return the number of a body with lights: the named one, or the only one there is.

    name : of the body ('spike') or of one of its copies ('spike 3')
    Raises SceneError if there is no such body, or if no light shines in it.
    """
    bodies = scene_file.scene.bodies
    lit = [body.name for body in bodies if body.lights]
    if name is None:
        if len(lit) != 1:
            which = as_options("--body", lit) if lit else "none of its bodies has a light"
            raise SceneError(f"{scene_file.toml.name}: which body? {which}")
        name = lit[0]
    number = named_body(scene_file, name)
    if not bodies[number].lights:
        raise scene_file.fault(
            ("bodies", number), f"'{bodies[number].name}' has no light: there is no glow to judge"
        )
    if not any(drive for light in bodies[number].lights for _, drive in light.drive):
        raise scene_file.fault(
            ("bodies", number, "lights", 0, "drive"), f"all lights of '{name}' are turned off"
        )
    return number


def checked_materials(variation: Variation, materials: tuple[str, ...]) -> tuple[str, ...]:
    """Return the materials to compare, each once; the body's own if none is named.

    Raises MaterialError for a name that the catalogue lacks, or of the wrong kind: a volume
    material can only be compared with others, a sheet with sheets.
    """
    own = variation.body.material
    catalogue = catalogue_of(variation.scene_file)
    is_sheet = own in catalogue.coats
    for name in materials:
        reason = catalogue.fault("coat" if is_sheet else "material", name)
        if reason and not is_sheet and name in catalogue.coats:
            reason = f"'{name}' is a thin sheet or coat: it has no thickness to vary"
        if reason:
            raise MaterialError(reason)
    return tuple(dict.fromkeys(materials)) or (own,)


def _gains_of_pointed(shape: Shape) -> dict[str, float]:
    """Return the gains of a spike or crystal: its slanting sides move out by the layer."""
    if isinstance(shape, Spike):
        base, tip = shape.base_diameter_mm / 2, shape.tip_radius_mm
        centre = shape.length_mm - tip
        slope = math.acos(tip / math.hypot(base, centre)) - math.atan2(centre, base)
        return {"base_diameter_mm": 2 / math.cos(slope), "tip_radius_mm": 1, "length_mm": 1}
    assert isinstance(shape, Crystal), "all other shapes stand in the table"
    return {"width_mm": 2 / math.cos(math.pi / shape.sides), "length_mm": 1}


def _toml(value: Any) -> str:
    """Return a value as a scene file writes it, without what is left at its default."""
    if isinstance(value, BaseModel):
        value = value.model_dump(exclude_defaults=True)
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{k} = {_toml(v)}" for k, v in value.items()) + " }"
    if isinstance(value, (list, tuple)):
        return "[" + ", ".join(_toml(v) for v in value) + "]"
    return f"{value:.6g}" if isinstance(value, float) else shown(value).replace("'", '"')
