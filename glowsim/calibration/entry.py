"""What was learnt as a catalogue file of the maker's own."""

from __future__ import annotations

import math

import numpy as np
import tomlkit

from glowsim.calibration.learn import Learnt
from glowsim.errors import ReadingsError
from glowsim.transport.problem import BANDS

LEAST_FACTOR = 1.02
"""No bench reading is better than that."""


def entry_toml(learnt: Learnt) -> str:
    """Return the entry as the text of a file that a scene names in `materials_from`.

    Raises ReadingsError while an alarm rings: such an entry is never written as measured.
    """
    if learnt.alarms:
        raise ReadingsError(
            f"{learnt.file.toml.name}: nothing is saved, since these readings "
            "contradict each other:\n" + "\n".join(learnt.alarms)
        )
    bench = learnt.file.bench
    mu_a, mu_s = list(learnt.base.mu_a_per_mm), list(learnt.base.mu_s_reduced_per_mm)
    for one in learnt.bands:
        number = BANDS.index(one.band)
        mu_a[number] = one.fitted.optics.mu_a_per_mm
        mu_s[number] = one.fitted.optics.mu_s_reduced_per_mm
    table = tomlkit.table()
    table["like"] = bench.material
    table["label"] = bench.label or bench.name.replace("_", " ")
    table["source"] = source_of(learnt)
    table["confidence"] = "estimate" if bench.made else "measured"
    table["notes"] = notes_of(learnt)
    table["mu_a_per_mm"] = [_digits(value) for value in mu_a]
    table["mu_a_factor"] = factor_of(learnt, 0)
    table["mu_s_reduced_per_mm"] = [_digits(value) for value in mu_s]
    table["mu_s_reduced_factor"] = factor_of(learnt, 1)
    table |= by_band(learnt)
    document = tomlkit.document()
    document.add(tomlkit.comment(f"Written by glowsim calibrate from {learnt.file.toml.name}."))
    document.add(tomlkit.comment('In a scene: materials_from = ["this file"], beside it.'))
    document["materials"] = {bench.name: table}
    return tomlkit.dumps(document)


def factor_of(learnt: Learnt, coefficient: int) -> float:
    """Return the one-sigma factor of mu_a (0) or mu_s' (1): that of the band known worst.

    A band that was not read keeps the catalogue's.
    """
    base = learnt.base
    widest = 1.0
    if len(learnt.bands) < len(BANDS):
        widest = (base.mu_a_factor, base.mu_s_reduced_factor)[coefficient]
    known = [math.exp(float(one.fitted.sd[coefficient])) for one in learnt.bands]
    return round(max(widest, LEAST_FACTOR, *known), 3)


def by_band(learnt: Learnt) -> dict[str, list[float]]:
    """Return what is known of each band; of one that was not read, what the catalogue believes."""
    base = learnt.base
    known = {one.band: one.fitted for one in learnt.bands}
    sd = [np.log([base.mu_a_factor, base.mu_s_reduced_factor]) for _ in BANDS]
    sd = [
        known[band].sd if band in known else before for band, before in zip(BANDS, sd, strict=True)
    ]
    together = [known[band].correlation if band in known else 0.0 for band in BANDS]
    factors = np.maximum(np.exp(np.array(sd)), LEAST_FACTOR)
    return {
        "mu_a_factor_by_band": [round(float(f), 3) for f in factors[:, 0]],
        "mu_s_reduced_factor_by_band": [round(float(f), 3) for f in factors[:, 1]],
        "correlation_by_band": [round(rho, 3) for rho in together],
    }


def source_of(learnt: Learnt) -> str:
    """Say where the numbers come from."""
    bench = learnt.file.bench
    how = "readings that were computed, not measured" if bench.made else "measured on a test piece"
    by = f", {bench.by}" if bench.by else ""
    return f"{how}, {bench.date.isoformat()}{by}"


def notes_of(learnt: Learnt) -> str:
    """Say what was read, and how well each band is known with what correlation."""
    bench = learnt.file.bench
    count = (
        (len(bench.piles), "series of piles"),
        (len(bench.cards), "pieces beside paper"),
        (len(bench.photos), "photos"),
        (len(bench.lux), "series of a pressed meter"),
    )
    read = ", ".join(f"{number} {words}" for number, words in count if number)
    bands = "; ".join(
        f"{one.band} mu_a x/÷ {math.exp(one.fitted.sd[0]):.2f}, mu_s' x/÷ "
        f"{math.exp(one.fitted.sd[1]):.2f}, correlation {one.fitted.correlation:.2f}"
        for one in learnt.bands
    )
    unread = [band for band in BANDS if band not in {one.band for one in learnt.bands}]
    rest = f" Not measured, taken from '{bench.material}': {', '.join(unread)}." if unread else ""
    doubts = "".join(f" Careful: {text}." for text in learnt.cautions)
    return f"Read: {read}. {bands}.{rest}{doubts}"


def _digits(value: float) -> float:
    return float(f"{value:.4g}")
