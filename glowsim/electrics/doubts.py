"""What a maker must know of a scene's electrics before anything is cut, in sentences."""

from __future__ import annotations

from glowsim.electrics.as_wired import colour_words, pack_words, spent_words
from glowsim.electrics.power import Electrics, PowerReport, power_report
from glowsim.electrics.power_words import gauge_words


def electric_doubts(electrics: Electrics) -> tuple[str, ...]:
    """Return what is wrong or surprising: a battery that cannot run the prop or not for long
    enough, wires that must not be built as drawn, a colour that turns. Empty for a scene without
    [power] and [wiring]."""
    scene = electrics.plan.scene_file.scene
    if not electrics.boards or (scene.power is None and scene.wiring is None):
        return ()
    report = power_report(electrics)
    cannot = pack_words(electrics)
    found = [cannot or _too_short(report) or spent_words(electrics)]
    if report.wiring is not None and report.wiring.gauge.faults:
        found.append(" ".join(gauge_words(report.wiring, report.fuse)))
    if not cannot:
        found.append(colour_words(electrics))
    return tuple(text for text in found if text)


def _too_short(report: PowerReport) -> str:
    """Return that the scene's battery does not last as long as wanted, '' if it does."""
    choice, wanted = report.choice, report.wanted_hours
    if choice is None or wanted is None or choice.run.hours >= wanted:
        return ""
    return (
        f"{choice.pack.label} lasts {choice.run.hours:.1f} h, until {choice.run.ends_by}; "
        f"{wanted:g} h are wanted. `glowsim power` with --hours {wanted:g} says which battery "
        "can run it, and at which level this one does."
    )
