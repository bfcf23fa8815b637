"""Quick keeps its promises: on props drawn at random, what it calls good is good.

36 patches of each body that are brighter than a hundredth of the mean and that the reference
knows, as exitance; three standard errors of the reference are allowed for: of 2000 patches.
"""

from __future__ import annotations

import pytest

from tests.support.patchwise import Beside, beside, by_quick, patches_of
from tests.support.promises import by_reference, kept
from tests.support.random_props import FAMILIES, random_prop

GOOD = 0.10
"""What quick calls good is nowhere further off."""
FINE = 0.05
"""A body that is nowhere further off, nor as a rule, needs no caution: one is a false alarm. Here
two standard errors are allowed for: noise must not make a body look fine."""
FALSE_ALARMS = 10
"""Of 88, at most; eight when this was last looked at: five of the 68 without boards, three of the
20 with boards, two of them as near the line as their noise."""
FRESH = (0, 8, 10, 27, 43, 46, 49, 77, 84)
PHOTONS = 30_000


def line(number: int, found: Beside) -> str:
    return (
        f"{number:3d} {FAMILIES[number % len(FAMILIES)]:13s} {len(found.off):2d} patches, "
        f"worst {100 * found.worst:5.1f} ({100 * found.most:+6.1f}), rms {100 * found.rms:4.1f}: "
        + ("; ".join(found.cautions) or "good")
    )


@pytest.mark.slow
def test_what_quick_calls_good_is_good():
    found = {}
    for number, truth in kept().items():
        problem = random_prop(number)
        assert truth.holds(number, problem), "python -m tests.support.promises changed"
        patches, cautions = by_quick(problem, patches_of(problem))
        found[number] = beside(patches, cautions, truth.patches)
        print(line(number, found[number]), flush=True)
    assert len(found) >= 80
    good = {k: b for k, b in found.items() if not b.cautions}
    assert len(good) >= 30
    assert {k: round(b.most, 3) for k, b in good.items() if b.surely(3) > GOOD} == {}
    alarms = [k for k, b in found.items() if b.cautions and b.worst <= FINE and b.rms <= FINE]
    assert len(alarms) <= FALSE_ALARMS, alarms


@pytest.mark.slow
@pytest.mark.parametrize("number", FRESH)
def test_fresh_photons_say_what_the_table_says(number):
    """Chi-square over the patches, each within six standard errors as well."""
    problem = random_prop(number)
    fresh = by_reference(problem, patches_of(problem), PHOTONS, seed=7)
    table = kept()[number].patches
    compared = beside(fresh, (), table)
    assert len(compared.off) > 5
    known = table.mean > 0
    off = (fresh.mean - table.mean)[known]
    error = (fresh.error**2 + table.error**2)[known] ** 0.5
    seen = fresh.error[known] < 0.2 * table.mean[known]
    assert (abs(off[seen]) < 5 * error[seen]).all()
    assert ((off[seen] / error[seen]) ** 2).mean() < 2.5
