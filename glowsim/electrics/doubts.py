"""What a maker must know of a scene's electrics before anything is cut, in sentences."""

from __future__ import annotations

from glowsim.electrics.as_wired import colour_words, pack_words
from glowsim.electrics.power import Electrics, power_report
from glowsim.electrics.power_words import gauge_words


def electric_doubts(electrics: Electrics) -> tuple[str, ...]:
    """Return what is wrong or surprising: a battery that cannot run the prop, wires that must not
    be built as drawn, a colour that turns. Empty for a scene without [power] and [wiring]."""
    scene = electrics.plan.scene_file.scene
    if not electrics.boards or (scene.power is None and scene.wiring is None):
        return ()
    found = [pack_words(electrics)]
    if electrics.harness is not None:
        report = power_report(electrics)
        if report.wiring is not None and report.wiring.gauge.faults:
            found.append(" ".join(gauge_words(report.wiring, report.fuse)))
    if not found[0]:
        found.append(colour_words(electrics))
    return tuple(text for text in found if text)
