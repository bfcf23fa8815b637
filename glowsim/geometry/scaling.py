"""What unit the numbers of a file are in, where it does not say: a guess from the size, told."""

from __future__ import annotations

import numpy as np

from glowsim.geometry.notes import Doubt

PLAUSIBLE_MM = (3.0, 4000.0)
"""Largest extents a prop's body can sensibly have, least and greatest [mm]."""
POSSIBLE_MM = (0.2, 40_000.0)
"""Largest extents that are taken when the scene says the unit, least and greatest [mm]."""
USUAL_MM = (20.0, 1500.0)
"""Largest extents of most bodies: a guess outside is a doubt (common practice, no source)."""


def unit_by_size(
    largest: float, guesses: dict[str, float], name: str, confirm: str, usual_is_sure: bool
) -> tuple[str, Doubt | None]:
    """Return the likeliest unit of a file's numbers, and the doubt where another is as likely.

    largest : extent in the file's numbers;  guesses : mm per number, the likeliest first
    confirm : the key by which the scene says it
    usual_is_sure : nothing is doubted where the likeliest unit gives a usual size
    """
    usual = [u for u, mm in guesses.items() if USUAL_MM[0] <= largest * mm <= USUAL_MM[1]]
    first = next(iter(guesses))
    if usual_is_sure and usual[:1] == [first]:
        return first, None
    if PLAUSIBLE_MM[0] <= largest * guesses[first] <= PLAUSIBLE_MM[1]:
        taken = first
    else:
        middle = np.log(USUAL_MM).mean()
        size = np.log(max(largest, 1e-300))
        taken = min(guesses, key=lambda u: float(abs(size + np.log(guesses[u]) - middle)))
    likely = [taken, *(u for u in usual if u != taken)]
    sizes = ", ".join(f"{largest * guesses[u]:.3g} mm if {u}" for u in likely)
    which = ": which?" if len(likely) > 1 else ", which is unusual for a prop."
    return taken, Doubt(
        f"{name}: carries no unit; its largest size is {sizes}{which} {taken} is taken; say "
        f"{confirm} to settle it"
    )
