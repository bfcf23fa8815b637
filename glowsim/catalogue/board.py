"""Light boards: where their LEDs sit, how much light they give, what they draw."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any, ClassVar, Literal, Self

import numpy as np
from numpy.typing import NDArray
from pydantic import Field, ValidationInfo, field_validator, model_validator

from glowsim.catalogue.entry import (
    Confidence,
    Entry,
    Factor,
    Fraction,
    FractionBands,
    NonNegative,
    Positive,
    PositiveBands,
    Prose,
)
from glowsim.catalogue.mask import SOURCE, UNCERTAINTY, back_of_mask, front_of_mask, share_of_leds
from glowsim.errors import MaterialError

SIZE_KEYS: dict[str, tuple[str, ...]] = {
    "single": ("diameter_mm",),
    "round": ("ring_diameter_mm", "diameter_mm"),
    "ring": ("ring_diameter_mm", "diameter_mm"),
    "strip": ("pitch_mm", "width_mm"),
}
"""The sizes each kind of board is described by."""

_ALL_SIZE_KEYS = tuple(dict.fromkeys(key for keys in SIZE_KEYS.values() for key in keys))

_OPTICS_KEYS = (
    "front_reflectance",
    "back_reflectance",
    "reflectance_uncertainty",
    "reflectance_source",
    "reflectance_confidence",
)


def flux_from_axial_intensity_lm(
    axial_intensity_cd: float, half_intensity_full_angle_deg: float
) -> float:
    """Return the flux (lm) of an LED from its intensity on the axis and its full beam angle.

    For I(theta) = I0 cos^m(theta) with I = I0 / 2 at half the full angle,
    m = ln 0.5 / ln cos(half angle) and flux = 2 pi I0 / (m + 1) (integral over the front
    half space; m = 1 at 120 degrees is the Lambertian emitter, flux = pi I0).
    """
    half_angle = math.radians(half_intensity_full_angle_deg / 2)
    exponent = math.log(0.5) / math.log(math.cos(half_angle))
    return 2 * math.pi * axial_intensity_cd / (exponent + 1)


class Board(Entry):
    """One light board; the electrical and optical figures are those of one LED on it.

    Board frame: millimetres, emission along +z from z = 0, the board itself behind it down
    to z = -thickness_mm; a strip runs along +x, centred on 0.
    """

    voided_by: ClassVar[dict[str, tuple[str, ...]]] = {
        "kind": ("led_count", *_ALL_SIZE_KEYS),
        "axial_intensity_cd": ("flux_lm",),
        "flux_lm": ("axial_intensity_cd",),
        "forward_v": ("dark_v", "full_v"),
        "mask": _OPTICS_KEYS,
        **dict.fromkeys(_OPTICS_KEYS[:2], _OPTICS_KEYS[3:]),
    }

    kind: Literal["single", "round", "ring", "strip"]
    """One LED; a ring with one in its centre; a ring; a row."""
    led_count: int = Field(ge=1)
    """LEDs on the board; on a strip, those of the length usually bought (1 m)."""
    ring_diameter_mm: Positive | None = None
    """Circle through the LED centres."""
    pitch_mm: Positive | None = None
    """Distance between neighbouring LED centres on a strip."""
    diameter_mm: Positive | None = None
    """Outline of a single, round or ring board."""
    width_mm: Positive | None = None
    """Outline of a strip."""
    thickness_mm: Positive
    """Board and LED together."""
    led_window_mm: Positive
    """Diameter of the bright window of one LED."""
    mask: Literal["white", "black", "green"] = "white"
    """Colour of the lacquer the board is covered with, from which what follows is reckoned."""
    front_reflectance: FractionBands = Field(default=None, validate_default=True)
    """Share of light that the side with the LEDs reflects, LEDs and mask together. This and the
    next, where they are given, count in place of what `mask` tells."""
    back_reflectance: FractionBands = Field(default=None, validate_default=True)
    """The same of its back and rim."""
    reflectance_uncertainty: Fraction = Field(default=None, validate_default=True)
    """One standard deviation of these two, plus or minus, in each band."""
    reflectance_source: Prose = SOURCE
    """Where these two come from."""
    reflectance_confidence: Confidence = "estimate"
    """How far to trust these two."""

    drive: Literal["rgb", "white"] = "rgb"
    """Three channels of their own, or one channel whose lumens are split over the bands."""
    channel_current_ma: PositiveBands
    """Current at full drive in red, green, blue; for white three times the same current."""
    quiescent_ma: NonNegative
    """What one LED's own chip draws while dark."""
    dominant_wavelength_nm: PositiveBands
    """Colour of the light of red, green and blue."""
    fwhm_nm: PositiveBands
    """Full width of the spectrum at half its height."""
    half_intensity_full_angle_deg: float = Field(ge=1, lt=180)
    """Full angle of the beam between its half-bright directions: 120 for most LEDs."""
    forward_v: PositiveBands
    """Voltage that a chip needs to light, for red, green and blue."""
    supply_v: Positive
    """Voltage the board is made for."""
    supply_min_v: Positive
    """Least voltage at which its chips still work as meant."""
    supply_max_v: Positive
    """Most it bears."""
    dark_v: PositiveBands | None = None
    """Supply voltage below which a channel stays dark, for red, green and blue."""
    full_v: PositiveBands | None = None
    """Supply voltages between which a channel's current rises from nothing to its full value;
    left out, 0.5 V below and 0.6 V above the forward voltage."""
    data_bits: int = Field(ge=0, le=64, default=24)
    """Bits sent for each LED; 0 for boards that are dimmed by a driver of their own."""
    reset_us: NonNegative = 300.0
    """Pause after a frame by which the LEDs take it over."""
    ambient_max_c: float | None = None
    """Warmest surroundings the LEDs are made for."""
    junction_max_c: float | None = None
    """Hottest that the chip itself may get."""
    junction_k_w: PositiveBands | None = None
    """How much hotter the red, green and blue chip of an LED is than the board, per watt of its
    own, lit alone or not."""
    package_k_w: NonNegative = 0.0
    """How much hotter all of them are on top of that, per watt of the whole LED."""
    thermal_source: Prose = ""
    """Where the figures above come from."""
    flux_factor: Factor = 1.5
    """Uncertainty of the flux between bins and makers, as a factor of one standard deviation."""
    axial_intensity_cd: PositiveBands | None = None
    """Intensity on the axis as data sheets print it, from which `flux_lm` then follows."""
    flux_lm: PositiveBands = Field(default=None, validate_default=True)
    """Luminous flux of one LED at full drive in red, green, blue."""

    @field_validator("flux_lm", mode="before")
    @classmethod
    def _flux_from_intensity(cls, value: Any, info: ValidationInfo) -> Any:
        if value is not None:
            if info.data.get("axial_intensity_cd") is not None:
                raise ValueError("give either this key or axial_intensity_cd, not both")
            return value
        # Fields are validated in order: one that is absent from info.data is wrong by itself.
        if info.data.get("axial_intensity_cd", "wrong") is None:
            raise ValueError("this key is needed but missing; or give axial_intensity_cd")
        needed = ("axial_intensity_cd", "half_intensity_full_angle_deg")
        if wrong := [key for key in needed if key not in info.data]:
            raise ValueError(f"cannot be found without a right {' and '.join(wrong)}")
        intensity_cd, angle_deg = (info.data[key] for key in needed)
        return tuple(flux_from_axial_intensity_lm(one, angle_deg) for one in intensity_cd)

    @model_validator(mode="before")
    @classmethod
    def _own_reflectance_has_its_own_source(cls, data: Any) -> Any:
        if isinstance(data, dict) and not set(_OPTICS_KEYS[:2]).isdisjoint(data):
            return {"reflectance_source": "user", "reflectance_confidence": "user"} | data
        return data

    @field_validator("front_reflectance", mode="before")
    @classmethod
    def _front_of_mask(cls, value: Any, info: ValidationInfo) -> Any:
        if value is not None:
            return value
        return front_of_mask(info.data.get("mask", "white"), share_of_leds(info.data))

    @field_validator("back_reflectance", mode="before")
    @classmethod
    def _back_of_mask(cls, value: Any, info: ValidationInfo) -> Any:
        return back_of_mask(info.data.get("mask", "white")) if value is None else value

    @field_validator("reflectance_uncertainty", mode="before")
    @classmethod
    def _uncertainty_of_mask(cls, value: Any, info: ValidationInfo) -> Any:
        return UNCERTAINTY[info.data.get("mask", "white")] if value is None else value

    @model_validator(mode="after")
    def _sizes_fit_the_kind(self) -> Self:
        wanted = SIZE_KEYS[self.kind]
        given = [key for key in _ALL_SIZE_KEYS if getattr(self, key) is not None]
        if set(given) != set(wanted):
            raise ValueError(
                f"a board of kind '{self.kind}' is described by {' and '.join(wanted)}, "
                f"not by {' and '.join(given) or 'no size at all'}"
            )
        smallest = {"single": 1, "round": 3, "ring": 2, "strip": 1}[self.kind]
        if self.led_count < smallest or (self.kind == "single" and self.led_count > 1):
            raise ValueError(f"led_count {self.led_count} does not fit the kind '{self.kind}'")
        return self

    @model_validator(mode="after")
    def _electrics_agree(self) -> Self:
        if not self.supply_min_v <= self.supply_v <= self.supply_max_v:
            raise ValueError("supply_v must lie between supply_min_v and supply_max_v")
        if max(self.forward_v) > self.supply_v:
            raise ValueError("supply_v is below the forward voltage of an LED")
        if np.any(np.greater_equal(*self.fading_v)):
            raise ValueError("dark_v must lie below full_v in every channel")
        if self.drive == "white" and len(set(self.channel_current_ma)) > 1:
            raise ValueError("a white board has one channel: give one channel_current_ma")
        return self

    @property
    def fading_v(self) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Supply voltages below which each channel is dark and from which it is full, (3,) each."""
        low = np.array(self.dark_v or [v - 0.5 for v in self.forward_v])
        high = np.array(self.full_v or [v + 0.6 for v in self.forward_v])
        return low, high

    def channel_share(self, supply_v: float | NDArray[np.float64]) -> NDArray[np.float64]:
        """Return the share of its full current each channel holds, (..., 3), at supply voltages.

        A straight rise between the two `fading_v`: a model of the current sink that runs out of
        headroom (assumption; with sinks of 12 mA and 3.8 V it gives 27.4 mA for one LED at full
        white on 3.3 V, where a builder measured 28.8 mA).
        """
        low, high = self.fading_v
        volts = np.asarray(supply_v, dtype=float)[..., None]
        return np.clip((volts - low) / (high - low), 0.0, 1.0)

    def led_offsets_mm(self, led_count: int | None = None) -> NDArray[np.float64]:
        """Return the LED centres in the board frame, `(n, 3) float`, mm.

        A ring starts on +x and runs towards +y; a round board has its centre LED first.
        Only a strip can be cut: for other kinds a `led_count` of its own raises
        MaterialError.
        """
        count = self._count(led_count)
        if self.kind == "strip":
            along = (np.arange(count) - (count - 1) / 2) * (self.pitch_mm or 0.0)
            return np.column_stack([along, np.zeros((count, 2))])
        if self.kind == "single":
            return np.zeros((1, 3))
        on_ring = count - 1 if self.kind == "round" else count
        angle = 2 * np.pi * np.arange(on_ring) / on_ring
        circle = np.column_stack([np.cos(angle), np.sin(angle), np.zeros(on_ring)])
        circle *= (self.ring_diameter_mm or 0.0) / 2
        return np.vstack([np.zeros((count - on_ring, 3)), circle])

    def flux_at_current_lm(
        self, channel_current_ma: float | Sequence[float]
    ) -> NDArray[np.float64]:
        """Return the flux of one LED at other channel currents, `(3,) float`, lm.

        Parts sold under one number differ by 1.6 times in current. Flux is taken as
        proportional to current; real LEDs gain a little less, some 10 % less than that at
        twice the current (from memory). Raises MaterialError for a negative current.
        """
        current_ma = np.broadcast_to(np.asarray(channel_current_ma, dtype=float), (3,))
        if not np.all(current_ma >= 0):
            raise MaterialError(f"a channel current of {current_ma.min():g} mA is below 0")
        return np.array(self.flux_lm) * current_ma / np.array(self.channel_current_ma)

    def supply_current_ma(
        self, drive_level: float | Sequence[float] = 1.0, led_count: int | None = None
    ) -> float:
        """Return what the board draws (mA) at drive levels 0 to 1 in red, green, blue.

        A white board has one channel and takes one level. Raises MaterialError for a level
        outside 0 to 1, or a `led_count` that the board cannot have.
        """
        level = np.broadcast_to(np.asarray(drive_level, dtype=float), (3,))
        if not np.all((level >= 0) & (level <= 1)):
            raise MaterialError(f"drive levels {level.tolist()} must lie between 0 and 1")
        per_channel_ma = level * np.array(self.channel_current_ma)
        if self.drive == "white":
            if np.ptp(level) > 0:
                raise MaterialError("a white board has one channel and takes one drive level")
            per_channel_ma = per_channel_ma[:1]
        return self._count(led_count) * float(self.quiescent_ma + per_channel_ma.sum())

    def power_w(
        self, drive_level: float | Sequence[float] = 1.0, led_count: int | None = None
    ) -> float:
        """Return the power (W) the board takes from its supply: P = V I at `supply_v`.

        The channels are constant-current sinks, so the whole supply voltage counts, not the
        forward voltage. Raises MaterialError as `supply_current_ma` does.
        """
        return self.supply_v * self.supply_current_ma(drive_level, led_count) / 1000

    def _count(self, led_count: int | None) -> int:
        if led_count is None:
            return self.led_count
        if led_count < 1 or (self.kind != "strip" and led_count != self.led_count):
            fixed = f"has {self.led_count} LEDs" if self.kind != "strip" else "has at least 1 LED"
            raise MaterialError(f"{led_count} LEDs were asked of a board that {fixed}")
        return led_count
