"""Sentences that the decisions on boards share."""

from __future__ import annotations

from glowsim.decisions.bound import Gap
from glowsim.decisions.objective import First, Wish
from glowsim.decisions.step import Step
from glowsim.findings.unevenness import off_of_ripple

NEAR_BOUND = 0.95
"""From this share of the bound on there is nothing left to gain by placing."""
_NOTHING = 0.005
"""Differences of evenness up to this are none."""


def named_boards(count: int, name: str) -> str:
    """Return '1 board round_7' or '3 boards round_7'."""
    return f"{_boards(count)} {name}"


def _boards(count: int) -> str:
    return f"{count} board{'s' if count != 1 else ''}"


def does(count: int, one: str, many: str) -> str:
    """Return the verb that goes with so many boards."""
    return one if count == 1 else many


def share(value: float) -> str:
    """Return a figure of evenness as people read it: two digits, and no dust."""
    return "below 0.01" if value < 0.005 else f"{value:.2f}"


def bound_words(gap: Gap, target: float, board: str, count: int, wish: Wish) -> str:
    """Say how far a result is from what no number of such boards can beat, and why."""
    percent = gap.bound.percent
    best = max(percent, 0.01)
    wanted = off_of_ripple(target)
    most = (
        f"No number of '{board}' boards in this space can beat 5%/mean {best:.2f} or be off by "
        f"less than x {gap.bound.off_by:.2f}"
    )
    if gap.bound.worse_end < target:
        said = (
            f"{most}, and {target:g} and x {wanted:.2f} are wanted: more lights won't help. "
            "Thicken the wall or the body, take a smaller board that gets nearer to the dark "
            "places, give it more room (less depth_mm or clearance_mm, other directions), or a "
            "clearer material."
        )
        near = percent < 0.005 or gap.even >= NEAR_BOUND * percent
        return said if near else f"{said} {_gap_words(gap, count, wish)}"
    if gap.even >= NEAR_BOUND * percent:
        comes = does(count, "comes", "come")
        return f"{most}: {count} {comes} so near that moving boards has nothing left to gain."
    return f"{most}. {_gap_words(gap, count, wish)}"


def _gap_words(gap: Gap, count: int, wish: Wish) -> str:
    """Say what the rest up to the bound is due to, each part as a number."""
    many, most = gap.mixture.even, gap.mixture.count
    first = "" if wish.first == "evenness" else f", placed for {wish.first} first,"
    equal = gap.freed - gap.even
    alike = "" if wish.free_levels or equal <= _NOTHING else f"{equal:.2f} (--levels free)"
    limit = "That limit need not be within reach:"
    if many > gap.freed + _NOTHING:
        said = (
            f"{limit} the best mixture found, {_boards(most)} each at its own level, room between "
            f"them aside, comes to about {many:.2f}. Having {count}{first} in place of {most} "
            f"costs {many - gap.freed:.2f}"
        )
        return f"{said}, driving them alike {alike}." if alike else f"{said}."
    said = (
        f"{limit} nothing found, of any number of boards each at its own level, comes above "
        f"{share(max(gap.freed, many))}. {_boards(count)}{first} "
        f"{does(count, 'reaches', 'reach')} that"
    )
    return f"{said}, but driving them alike costs {alike}." if alike else f"{said}."


def heat_words(step: Step, factor: float, first: First) -> list[str]:
    """Say what was done to the drive, and when the heat, not the optics, limits the glow."""
    heat = step.heat
    if heat is None:
        return []
    said = []
    short = step.lit.ratio < step.findings.limits.glow_ratio
    if factor < 1.0 and first != "power":
        said.append(
            "Heat, not optics, limits this glow: at your settings a board would draw more than "
            f"the {heat.limit_w:.2g} W that heat allows there. All were turned down to "
            f"{100 * factor:.0f} % of their drive; the evenness stays as it is."
        )
    elif factor != 1.0:
        said.append(
            f"All boards were turned {'up' if factor > 1 else 'down'} to {factor:.2g} times their "
            f"drive: {heat.power_w:.2g} W each, {heat.limit_w:.2g} W is what heat allows."
        )
    if short:
        most = heat.factor
        said.append(
            f"It does not look lit at {step.evenness.mean_cd_m2:.3g} cd/m2 ({step.lit.grade}; "
            f"{step.lit.needed_cd_m2:.3g} with the room's light is needed)."
            + (
                f" At most {most:.2g} times as much is possible, and then "
                + (
                    "heat, not optics, is the limit: more boards, each as dim, do help."
                    if heat.binds
                    else "the LEDs are at full drive."
                )
            )
        )
    if heat.exceeded or factor != 1.0 or (short and heat.binds):
        said.append(heat.source)
    return said


def too_hot_words(step: Step) -> list[str]:
    """Say that lights that stay as they are must be turned down, where heat does not bear them."""
    heat = step.heat
    if heat is None or not heat.exceeded:
        return []
    return [
        f"But it gets too hot as it is: {heat.light} draws {heat.power_w:.2g} W and may draw "
        f"{heat.limit_w:.2g} W. "
        + (
            f"Turn the lights down to {100 * heat.heat_factor:.0f} % of their drive."
            if heat.heat_factor > 0
            else "Take a board with fewer LEDs."
        ),
        heat.source,
    ]


def sentence(words: str) -> str:
    """Return words as one more sentence of a note, '' for none."""
    return f" {capital(words)}." if words else ""


def capital(words: str) -> str:
    """Return words that begin with a capital."""
    return words[:1].upper() + words[1:]
