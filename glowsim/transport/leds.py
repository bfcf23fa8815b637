"""The LEDs of a body: where they sit, what they emit, and what the room sees of them."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from glowsim.catalogue import Board, Catalogue
from glowsim.geometry.body import Solid, region_of
from glowsim.geometry.hollow import depth_mm, nearest_on
from glowsim.geometry.mesh import FloatArray, Mesh, at_mm
from glowsim.optics.colour import led_channel_xyz_per_lumen
from glowsim.optics.photometry import lambertian_order
from glowsim.scene import Body, Light, SceneFile
from glowsim.transport.problem import Emitters, Kind, LightSource, Medium

_AHEAD_MM = 0.05
"""A LED shines from this far in front of its board's plane, so that it is not on a wall."""


class BodyLeds:
    """The LEDs of one body of a scene."""

    def __init__(self, scene_file: SceneFile, number: int, catalogue: Catalogue) -> None:
        """Work out where the LEDs of body `number` are, in its own frame."""
        self._scene_file = scene_file
        self._number = number
        self._body = scene_file.scene.bodies[number]
        self._boards = [catalogue.board(light.board) for light in self._body.lights]
        self._axes = [
            np.asarray(light.direction) / np.linalg.norm(light.direction)
            for light in self._body.lights
        ]
        self._spots = [
            _spots(light, axis, board)
            for light, axis, board in zip(self._body.lights, self._axes, self._boards, strict=True)
        ]
        self._owner = np.repeat(np.arange(len(self._spots)), [len(s) for s in self._spots])
        for k, (light, axis) in enumerate(zip(self._body.lights, self._axes, strict=True)):
            if light.along is not None and _across(np.asarray(light.along), axis) is None:
                raise scene_file.fault(
                    ("bodies", number, "lights", k, "along"),
                    "points the way the board faces; a board runs across that",
                )

    def depths_mm(self, solid: Solid) -> FloatArray:
        """Return how deep each LED lies below the outer surface, (n,) float [mm].

        Raises SceneError for an LED outside the body.
        """
        if not self._spots:
            return np.zeros(0)
        places = np.concatenate(self._spots)
        depth = depth_mm(solid.outer, places)
        if depth.min() <= 0:
            worst = int(depth.argmin())
            _, nearest, _ = nearest_on(solid.outer, places[worst : worst + 1])
            raise self._fault(
                worst,
                f"an LED at {at_mm(places[worst])} lies {-depth[worst]:.1f} mm outside the body "
                f"'{self._body.name}'; the nearest point of its surface is {at_mm(nearest[0])}",
            )
        return depth

    def emitters(self, solids: Sequence[Mesh | None], media: Sequence[Medium]) -> Emitters:
        """Return the emitters; raises SceneError for an LED inside an opaque core."""
        if not self._spots:
            nothing, none = np.zeros((0, 3)), np.zeros(0, dtype=np.int64)
            return Emitters(nothing, nothing, np.zeros(0), none, np.zeros(0), none)
        position = np.concatenate(self._spots)
        region = region_of(position, tuple(solids))
        for led, where in enumerate(region):
            if where < 0 or media[where].kind == Kind.OPAQUE:
                name = media[where].name if where >= 0 else "surface"
                raise self._fault(
                    led,
                    f"an LED at {at_mm(position[led])} lies inside the opaque '{name}', from where "
                    "no light gets out; move it clear of the core",
                )
        light, share, exponent = [], [], []
        number = 0
        for spec, board, spots in zip(self._body.lights, self._boards, self._spots, strict=True):
            count = len(spots)
            apart = spec.separate_leds
            light += [number + k if apart else number for k in range(count)]
            share += [1.0 if apart else 1.0 / count] * count
            exponent += [float(lambertian_order(board.half_intensity_full_angle_deg / 2))] * count
            number += count if apart else 1
        return Emitters(
            position,
            np.stack([self._axes[k] for k in self._owner]),
            np.array(exponent),
            np.array(light, dtype=np.int64),
            np.array(share),
            region,
        )

    def _fault(self, led: int, message: str) -> Exception:
        keys = ("bodies", self._number, "lights", int(self._owner[led]), "position_mm")
        return self._scene_file.fault(keys, message)


def lights_of_copy(
    body: Body,
    name: str,
    transform: FloatArray,
    light_mm: FloatArray,
    catalogue: Catalogue,
) -> list[LightSource]:
    """Return the lights of one copy of a body, called `name`, at a (4, 4) transform.

    light_mm : (lights, 3) float, their centres in the body's frame.
    """
    sources: list[LightSource] = []
    for index, light in enumerate(body.lights):
        board = catalogue.board(light.board)
        leds = len(board.led_offsets_mm(light.led_count))
        groups = leds if light.separate_leds else 1
        for led in range(groups):
            called = f"{name}: {light.name or f'light {index + 1}'}"
            if groups > 1:
                called += f", LED {led + 1}"
            where = transform[:3, :3] @ light_mm[len(sources)] + transform[:3, 3]
            sources.append(_source(light, board, called, leds // groups, where))
    return sources


def _source(
    light: Light, board: Board, name: str, leds: int, position_mm: FloatArray
) -> LightSource:
    current = light.channel_current_ma
    per_led = board.flux_lm if current is None else board.flux_at_current_lm(current)
    drive = np.array([light.drive.red, light.drive.green, light.drive.blue])
    if board.drive == "white":
        drive = np.full(3, light.drive.white)
    scale = 1.0 if current is None else current / float(np.mean(board.channel_current_ma))
    share = scale * leds / board.led_count
    xyz = [
        led_channel_xyz_per_lumen(dominant_nm=nm, fwhm_nm=width)
        for nm, width in zip(board.dominant_wavelength_nm, board.fwhm_nm, strict=True)
    ]
    return LightSource(
        name,
        light.zone,
        light.board,
        leds * np.asarray(per_led),
        drive,
        np.array(xyz),
        board.flux_factor,
        position_mm,
        share * board.power_w(tuple(drive)),
        share * board.power_w(1.0),
    )


def _spots(light: Light, axis: FloatArray, board: Board) -> FloatArray:
    """Return the LED centres of a light in the body's frame, (n, 3) float [mm]."""
    across = _board_x(light, axis)
    offsets = board.led_offsets_mm(light.led_count)
    centre = np.asarray(light.position_mm) + _AHEAD_MM * axis
    return centre + offsets @ np.stack([across, np.cross(axis, across), axis])


def _board_x(light: Light, axis: FloatArray) -> FloatArray:
    """Return the direction of the board's own x: where a strip runs. Along the body's z unless
    the scene says otherwise, or unless the board faces that way."""
    wanted = np.asarray(light.along if light.along is not None else (0.0, 0.0, 1.0))
    for way in (wanted, np.array([1.0, 0.0, 0.0]), np.array([0.0, 1.0, 0.0])):
        across = _across(way, axis)
        if across is not None:
            return across
    raise AssertionError("three axes cannot all be parallel to one direction")


def _across(way: FloatArray, axis: FloatArray) -> FloatArray | None:
    """Return the unit vector nearest to `way` across `axis`, or None if they are parallel."""
    across = way - (way @ axis) * axis
    size = float(np.linalg.norm(across))
    return across / size if size > 1e-3 * float(np.linalg.norm(way)) else None
