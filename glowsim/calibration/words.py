"""What is known after the readings, in plain words."""

from __future__ import annotations

import math

import numpy as np

from glowsim.calibration.learn import Learnt, LearntBand


def tenth_mm(one: LearntBand) -> tuple[float, float, float]:
    """Return the length in which light falls to a tenth deep inside, and its 68 % range [mm].

    ln 10 / k with k^2 = 3 mu_a (mu_a + mu_s'); the range follows the correlation.
    """
    optics = one.fitted.optics
    share = optics.mu_a_per_mm / (optics.mu_a_per_mm + optics.mu_s_reduced_per_mm)
    slope = np.array([0.5 * (1.0 + share), 0.5 * (1.0 - share)])
    sd = math.sqrt(float(slope @ one.fitted.covariance @ slope))
    value = math.log(10.0) / optics.decay_per_mm
    return value, value * math.exp(-sd), value * math.exp(sd)


def lines_of(learnt: Learnt) -> list[str]:
    """Return what is known of each band and what is not, one sentence or two each."""
    lines = [_band_words(one) for one in learnt.bands]
    read = [t for p in learnt.file.bench.piles for t in p.thickness_mm]
    if read:
        lines.append(
            f"Piles of {min(read):g} to {max(read):g} mm were read: walls far outside that "
            "remain a guess."
        )
    every = ((one.band, strip) for one in learnt.bands for strip in one.strips)
    lines += [f"{band}: {strip.left_out}." for band, strip in every if strip.left_out]
    wants = next((text for one in learnt.bands if (text := _next(one, learnt))), "")
    return [*lines, wants] if wants else lines


def _band_words(one: LearntBand) -> str:
    _, low, high = tenth_mm(one)
    scatter = math.exp(one.fitted.sd[1])
    absorb = math.exp(one.fitted.sd[0])
    told = f"{one.band}: deep inside, light falls to a tenth in {low:.2g} to {high:.2g} mm"
    if high / low > 2.0:
        told = f"{one.band}: light reaches {low:.2g} to {high:.2g} mm, which is only roughly known"
    known = []
    for coefficient, what, factor in ((1, "cloudiness", scatter), (0, "absorption", absorb)):
        if one.knows(coefficient):
            known.append(f"its {what} is known to x/÷ {factor:.2f}")
        else:
            known.append(f"its {what} is known little better than before (x/÷ {factor:.2f})")
    return f"{told}; {', '.join(known)}."


def _next(one: LearntBand, learnt: Learnt) -> str:
    """Return which kind of reading would tell what is not known, or ''."""
    bench = learnt.file.bench
    bare = any(p.bare is not None for p in bench.piles if p.band == one.band)
    card = any(c.band == one.band for c in bench.cards)
    if one.knows(0) and one.knows(1):
        return ""
    if not card:
        return "A thick piece photographed beside white paper would tell absorption in two minutes."
    if not bare:
        return "A thin and a thick pile over a hole, and the bare hole, would tell the rest."
    return "A thicker pile would tell more about absorption, a thinner one about cloudiness."
