"""A change to a body that was tried: figures before and after, whether it helps, and in words."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from glowsim.decisions.remedies import Remedy, short
from glowsim.decisions.worth import LEAST_GAIN

CLEARLY = 1 - LEAST_GAIN
"""A change helps that brings the logarithm of `off_by` to this share, or, no less even, the mean to
one over it."""
MENDS = 1.25
"""A change mends a finding that brings it so much nearer to the mean, as a factor."""


@dataclass(frozen=True)
class Seen:
    """A body as it shines, in figures. Luminances in cd/m2.

    places : of each finding's faces the mean over the mean of all that glows, by its number
    """

    off_by: float
    within: float
    mean: float
    least: float
    greatest: float
    places: dict[int, float]

    def times(self, drawn: Seen, tried: Seen) -> Seen:
        """Return this, as drawn, changed as a try was against the try as drawn."""
        power = np.log(self.off_by) / max(np.log(drawn.off_by), 1e-9)
        mean, least, greatest = (
            getattr(self, name) * getattr(tried, name) / max(getattr(drawn, name), 1e-9)
            for name in ("mean", "least", "greatest")
        )
        return Seen(
            float(np.exp(np.log(tried.off_by) * power)),
            float(np.clip(self.within + tried.within - drawn.within, 0.0, 1.0)),
            mean,
            least,
            greatest,
            {k: v * tried.places[k] / max(drawn.places[k], 1e-9) for k, v in self.places.items()},
        )


@dataclass(frozen=True)
class Tried:
    """A change and the body with it."""

    remedy: Remedy
    before: Seen
    after: Seen

    @property
    def evener(self) -> bool:
        """Whether the body is clearly more even with it."""
        return bool(np.log(self.after.off_by) <= CLEARLY * np.log(self.before.off_by))

    @property
    def helps(self) -> bool:
        """Whether it is clearly more even, or clearly brighter and no less even."""
        brighter = self.after.mean >= self.before.mean / CLEARLY
        return self.evener or (brighter and self.after.off_by <= 1.005 * self.before.off_by)

    @property
    def mended(self) -> list[int]:
        """Numbers of the findings that come clearly nearer to the mean."""
        return [
            number
            for number, was in self.before.places.items()
            if abs(np.log(max(self.after.places[number], 1e-6)))
            <= abs(np.log(max(was, 1e-6))) - np.log(MENDS)
        ]

    @property
    def words(self) -> str:
        """What it does, whole."""
        was, now = self.before, self.after
        share = now.mean / was.mean
        mean = f"mean {was.mean:.3g} -> {now.mean:.3g} cd/m2"
        if share < CLEARLY:
            mean = (
                f"but the mean falls to {100 * share:.0f} %, {was.mean:.3g} -> {now.mean:.3g} cd/m2"
            )
        said = [
            f"{self.remedy.words}: off by x {was.off_by:.3g} -> x {now.off_by:.3g}, {mean}",
            f"within {100 * was.within:.0f} -> {100 * now.within:.0f} %",
            f"darkest {short(was.least)} -> {short(now.least)}, brightest "
            f"{short(was.greatest)} -> {short(now.greatest)} cd/m2",
        ]
        mended = self.mended
        if mended:
            places = "; ".join(
                f"place {k} on average from {was.places[k]:.2g} to {now.places[k]:.2g} of the mean"
                for k in mended
            )
            said.append(places)
        return "; ".join(said)
