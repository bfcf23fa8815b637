"""The light boards that are placed: what they shine, how large they are, what they draw."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import trimesh

from glowsim.catalogue import Board, Catalogue
from glowsim.decisions.heat import PowerLimit, heat_limit
from glowsim.geometry.boards import board_frame, board_solid, outline_mm
from glowsim.geometry.mesh import FloatArray, IntArray
from glowsim.optics.photometry import lambertian_order, luminance_of_emitter_cd_m2
from glowsim.scene import Body, Light
from glowsim.transport.leds import LIFT_MM, lights_of_copy
from glowsim.transport.problem import Emitters, LightSource

OUTLINE_STEP_MM = 6.0
"""Points on a board's outline are no further apart than this, about."""


@dataclass(frozen=True)
class Poses:
    """Where boards sit and which way they face, in the body's frame.

    position : (n, 3) float [mm];  direction : (n, 3) float, unit
    """

    position: FloatArray
    direction: FloatArray

    def __len__(self) -> int:
        return len(self.position)

    def at(self, chosen: IntArray | np.ndarray | slice) -> Poses:
        """Return the poses picked by numbers or a mask."""
        return Poses(self.position[chosen], self.direction[chosen])

    @staticmethod
    def joined(parts: list[Poses]) -> Poses:
        """Return several sets of poses as one."""
        return Poses(
            np.concatenate([part.position for part in parts]),
            np.concatenate([part.direction for part in parts]),
        )

    def turned(self, angle_rad: float) -> Poses:
        """Return the poses turned about the z axis."""
        cos, sin = np.cos(angle_rad), np.sin(angle_rad)
        turn = np.array([[cos, -sin, 0.0], [sin, cos, 0.0], [0.0, 0.0, 1.0]])
        return Poses(self.position @ turn.T, self.direction @ turn.T)


class BoardKind:
    """Boards of one kind, driven as one light of the scene is."""

    def __init__(self, light: Light, catalogue: Catalogue, limit_w: float, body: Body) -> None:
        """Take `light` as the pattern. limit_w : average power that one board may have."""
        self.kept: FloatArray = np.ones(3)
        """Share of each band's light that battery and wires leave."""
        self.light = light.model_copy(update={"separate_leds": False})
        self.board: Board = catalogue.board(light.board)
        self._catalogue = catalogue
        self._limit_w = limit_w
        self._body = body
        alone = body.model_copy(update={"lights": (self.light,)})
        self.source: LightSource = lights_of_copy(
            alone, "", np.eye(4), np.zeros((1, 3)), catalogue
        )[0]
        self._offsets = self.board.led_offsets_mm(light.led_count) + np.array([0, 0, LIFT_MM])
        self._turns: dict[bytes, FloatArray] = {}

    @property
    def name(self) -> str:
        """The board's name in the catalogue."""
        return self.light.board

    @property
    def led_count(self) -> int:
        """LEDs on one board."""
        return len(self._offsets)

    def smaller(self) -> list[BoardKind]:
        """Return the round and single boards of the catalogue that are smaller than this one, the
        largest first, driven alike."""
        kinds = []
        for name, board in self._catalogue.boards.items():
            if board.kind != "strip" and board.drive == self.board.drive:
                light = self.light.model_copy(update={"board": name, "led_count": None})
                kinds.append(BoardKind(light, self._catalogue, self._limit_w, self._body))
        smaller = [kind for kind in kinds if max(kind.size_mm) < max(self.size_mm)]
        return sorted(smaller, key=lambda kind: -max(kind.size_mm))

    @cached_property
    def heat(self) -> PowerLimit | None:
        """What the power limit means for this board as driven; None if it is turned off."""
        return heat_limit([replace(self.source, name=self.name)], self._catalogue, self._limit_w)

    def power_w(self, factor: float = 1.0) -> float:
        """Return what one board draws with its drive turned up by a factor [W]."""
        dark = self.source.full_power_w * self.board.power_w(0.0) / self.board.power_w(1.0)
        return dark + factor * (self.source.power_w - dark)

    def supply_ma(self, factor: float = 1.0) -> float:
        """Return the current one board draws with its drive turned up by a factor [mA]."""
        return 1000 * self.power_w(factor) / self.board.supply_v

    def frames(self, poses: Poses) -> FloatArray:
        """Return the rotations from the board's frame to the body's, (n, 3, 3)."""
        if len(poses) and (poses.direction == poses.direction[0]).all():
            return np.broadcast_to(self._turn(poses.direction[0]), (len(poses), 3, 3))
        return np.stack([self._turn(way) for way in poses.direction]).reshape(-1, 3, 3)

    def fits_strip(self, direction: FloatArray) -> bool:
        """Whether a board that runs as the scene says can face this way."""
        return board_frame(self._facing(direction)) is not None

    def _turn(self, direction: FloatArray) -> FloatArray:
        key = direction.tobytes()
        if key not in self._turns:
            frame = board_frame(self._facing(direction))
            if frame is None:
                frame = board_frame(self._facing(direction).model_copy(update={"along": None}))
            assert frame is not None
            self._turns[key] = frame[:3, :3]
        return self._turns[key]

    def _facing(self, direction: FloatArray) -> Light:
        way = tuple(float(c) for c in direction)
        return self.light.model_copy(update={"direction": way, "position_mm": (0.0, 0.0, 0.0)})

    def leds_mm(self, poses: Poses) -> FloatArray:
        """Return where the LEDs are, (n, leds, 3) float [mm]."""
        turned = np.einsum("nij,kj->nki", self.frames(poses), self._offsets)
        return poses.position[:, None] + turned

    def outline_mm(self, poses: Poses, clearance_mm: float, scale: float = 1.0) -> FloatArray:
        """Return points all over the boards' outsides, (n, m, 3) float [mm].

        clearance_mm : room added on every side;  scale : of the board's width and length
        """
        solid = board_solid(self.board, self.light.led_count, clearance_mm)
        vertices, _ = trimesh.remesh.subdivide_to_size(
            solid.vertices, solid.faces, OUTLINE_STEP_MM, max_iter=20
        )
        points = np.unique(np.round(vertices, 6), axis=0) * np.array([scale, scale, 1.0])
        if len(points) > 200:
            points = points[:: -(-len(points) // 200)]
        return poses.position[:, None] + np.einsum("nij,kj->nki", self.frames(poses), points)

    @property
    def size_mm(self) -> tuple[float, float, float]:
        """Length, width and thickness of the board [mm]."""
        return (*outline_mm(self.board, self.light.led_count), self.board.thickness_mm)

    def emitters(self, poses: Poses, region: IntArray) -> Emitters:
        """Return the emitters of boards, one light each; region : (n, leds) int."""
        count, leds = len(poses), self.led_count
        order = float(lambertian_order(self.board.half_intensity_full_angle_deg / 2))
        return Emitters(
            self.leds_mm(poses).reshape(-1, 3),
            np.repeat(poses.direction, leds, axis=0),
            np.full(count * leds, order),
            np.repeat(np.arange(count), leds),
            np.full(count * leds, 1.0 / leds),
            region.reshape(-1),
        )

    def luminance_cd_m2(self, share: FloatArray, area_mm2: FloatArray) -> FloatArray:
        """Return the luminance of patches that get shares of the flux, as driven and wired.

        share : (..., 3, patches) float.  Returns (..., patches) float.
        """
        light = np.einsum("b,...bp->...p", self.flux_lm, share)
        return luminance_of_emitter_cd_m2(light / area_mm2)

    @property
    def flux_lm(self) -> FloatArray:
        """Flux of one board per band, as driven and wired, (3,) float."""
        return np.asarray(self.source.flux_lm * self.source.drive * self.kept)
