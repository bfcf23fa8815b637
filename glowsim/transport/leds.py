"""The LEDs of a body: where they sit, what they emit, and what the room sees of them."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from glowsim.catalogue import Board, Catalogue
from glowsim.geometry.boards import board_frame
from glowsim.geometry.body import Solid, region_of
from glowsim.geometry.hollow import depth_mm, nearest_on
from glowsim.geometry.mesh import FloatArray, Mesh, at_mm
from glowsim.optics.colour import led_channel_xyz_per_lumen
from glowsim.optics.photometry import lambertian_order
from glowsim.scene import Body, Light, SceneFile
from glowsim.transport.problem import NO_EMITTERS, Emitters, Kind, LightSource, Medium

LIFT_MM = 0.05
"""A LED shines from this far in front of its board's plane, so that it is not on a wall."""


class BodyLeds:
    """The LEDs of one body of a scene."""

    def __init__(self, scene_file: SceneFile, number: int, catalogue: Catalogue) -> None:
        """Work out where the LEDs of body `number` are, in its own frame."""
        self._scene_file = scene_file
        self._number = number
        self._body = scene_file.scene.bodies[number]
        self._boards = [catalogue.board(light.board) for light in self._body.lights]
        frames = [self._frame(k) for k in range(len(self._boards))]
        self._axes = [frame[:3, 2] for frame in frames]
        self._spots = []
        for light, frame, board in zip(self._body.lights, frames, self._boards, strict=True):
            offsets = board.led_offsets_mm(light.led_count) + np.array([0.0, 0.0, LIFT_MM])
            self._spots.append(offsets @ frame[:3, :3].T + frame[:3, 3])
        self._owner = np.repeat(np.arange(len(self._spots)), [len(s) for s in self._spots])

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
            return NO_EMITTERS
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

    def _frame(self, light: int) -> FloatArray:
        """Return the (4, 4) frame of a light's board; raises SceneError if there is none."""
        frame = board_frame(self._body.lights[light])
        if frame is None:
            raise self._scene_file.fault(
                ("bodies", self._number, "lights", light, "along"),
                "points the way the board faces; a board runs across that",
            )
        return frame

    def _fault(self, led: int, message: str) -> Exception:
        keys = ("bodies", self._number, "lights", int(self._owner[led]), "position_mm")
        return self._scene_file.fault(keys, message)


def lights_of_copy(
    body: Body,
    name: str,
    transform: FloatArray,
    light_mm: FloatArray,
    catalogue: Catalogue,
    copy: int = 0,
) -> list[LightSource]:
    """Return the lights of copy number `copy` of a body, called `name`, at a (4, 4) transform.

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
            zone = light.zone_of(copy)
            sources.append(_source(light, board, zone, called, leds // groups, where))
    return sources


def _source(
    light: Light, board: Board, zone: str, name: str, leds: int, position_mm: FloatArray
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
        zone,
        light.board,
        leds * np.asarray(per_led),
        drive,
        np.array(xyz),
        board.flux_factor,
        position_mm,
        share * board.power_w(tuple(drive)),
        share * board.power_w(1.0),
    )
