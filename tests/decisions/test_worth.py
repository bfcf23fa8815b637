"""When a variant is worth it, and when to leave the prop as it is."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from glowsim.decisions.modules import Modules
from glowsim.decisions.objective import Wish
from glowsim.decisions.worth import (
    LEAST_GAIN,
    as_good_as_best,
    change,
    clearly_better,
    figures,
    verdict,
)
from glowsim.findings import evenness
from glowsim.scene import Thresholds


def step(off, *, mean=100.0, grade="patchy", even=0.3, not_carried=""):
    """A made-up step: how far off on the logarithmic scale, and what else counts."""
    return SimpleNamespace(
        even=even,
        grade=grade,
        enough=grade != "patchy",
        evenness=replace(
            evenness("made up", np.ones(3), np.ones(3)),
            off_by=float(np.exp(off)),
            mean_cd_m2=mean,
            p5_over_mean=even,
            seen_p5_over_mean=even + 0.2,
            grade=grade,
        ),
        findings=SimpleNamespace(limits=Thresholds()),
        not_carried=not_carried,
    )


@pytest.mark.parametrize(
    ("new", "old", "worth"),
    [
        (step(0.85), step(1.0), True),
        (step(0.95), step(1.0), False),
        (step(0.95, mean=1000.0), step(1.0), False),  # bright and patchy is not worth it
        (step(0.85, mean=80.0), step(1.0), False),  # patchy still, and has lost more than gained
        (step(0.85, mean=90.0), step(1.0), True),
        (step(0.25, mean=1.0, grade="fair"), step(0.3, grade="fair"), True),
        (step(0.4, grade="fair"), step(0.41), True),
        (step(0.30), step(0.4, grade="fair"), False),
        (step(0.2, grade="fair", mean=130.0), step(0.2, grade="fair"), True),
        (step(0.3, grade="fair", mean=130.0), step(0.2, grade="fair"), False),
        (step(1.0), step(1.0), False),
    ],
)
def test_a_gain_must_be_clear(new, old, worth):
    assert clearly_better(new, old) == worth


def test_no_two_steps_are_each_better_than_the_other():
    random = np.random.default_rng(3)
    grades = ("patchy", "fair", "even")
    steps = [
        step(off, mean=mean, grade=grades[kind])
        for off, mean, kind in zip(
            random.uniform(0.05, 2, 40), random.uniform(1, 500, 40), random.integers(0, 3, 40),
            strict=True,
        )
    ]  # fmt: skip
    for one in steps:
        assert not clearly_better(one, one)
        assert not any(clearly_better(a, one) and clearly_better(one, a) for a in steps)


def test_of_equally_even_ones_none_is_left_out():
    close, far = step(0.5 / (1 - LEAST_GAIN) - 1e-6), step(0.5 / (1 - LEAST_GAIN) + 1e-3)
    best = step(0.5)
    assert as_good_as_best([far, close, best]) == [close, best]


def test_words():
    assert figures(step(np.log(1.52), even=0.44)) == "5%/mean 0.44, off by x 1.52"
    assert figures(step(1.0, even=0.001)).startswith("5%/mean below 0.01")
    assert verdict(step(0.3, grade="fair", even=0.6)).endswith("with differences that show")
    assert verdict(step(0.3, grade="fair", even=0.4)).endswith(
        "(as the eye averages it from where it is seen, its 5%/mean is 0.60)"
    )
    assert verdict(step(1.0)) == (
        "patchy, it falls into bright and dark parts; 5%/mean 0.5 and off by at most x 1.45 are "
        "wanted"
    )
    assert verdict(step(0.2, grade="fair")).startswith("fair, it looks like one glow")
    said = change(step(0.2, mean=50), step(1.0, mean=200))
    assert said == "off by x 2.72 now, x 1.22 then; 200 cd/m2 now, 50 then"


def counts(*off_logs, grade="patchy", carried=99, before=""):
    """Made-up answers for one, two, three ... boards, of which the battery carries so many."""
    made = [
        SimpleNamespace(
            step=step(off, grade=grade, not_carried="too much" if k > carried else ""),
            count=k,
            joints=6 * k,
            power_w=float(k),
        )
        for k, off in enumerate(off_logs, start=1)
    ]
    answer = SimpleNamespace(
        counts=tuple(made),
        body=SimpleNamespace(lights=(None,)),
        before=step(1.0, not_carried=before),
        wish=Wish(),
    )
    for name in ("carried", "chosen", "best"):
        setattr(answer, name, getattr(Modules, name).func(answer))
    return answer


def test_one_board_more_must_bring_a_clear_gain():
    assert counts(1.0, 0.5, 0.48, 0.47).best.count == 2
    assert counts(1.0, 0.5, 0.3).best.count == 3


def test_only_what_the_battery_carries_is_chosen():
    assert counts(1.0, 0.5, 0.3, carried=2).best.count == 2
    assert counts(0.3, 0.2, 0.1, grade="fair", carried=1).chosen.count == 1
    # Where it runs none, or not the body as it is, the choice is by light; the verdict says so.
    assert counts(1.0, 0.5, 0.3, carried=0).best.count == 3
    assert counts(1.0, 0.5, 0.3, carried=2, before="too much").best.count == 3


@pytest.mark.parametrize("worth", [True, False])
def test_modules_advise_what_is_worth_doing_and_nothing_else(worth):
    shown = counts(0.95, 0.94).best
    answer = SimpleNamespace(shown=shown, verdict=SimpleNamespace(worth=worth))
    assert Modules.advised.fget(answer) is (shown if worth else None)
