"""Battery, wires and fuse in sentences, for the terminal and for the build sheet."""

from __future__ import annotations

from glowsim.electrics.fuse import STANDARDS, FuseAdvice, Rule
from glowsim.electrics.loads import LitBoard
from glowsim.electrics.pack import Choice, RunTime
from glowsim.electrics.power import WiringReport


def hours_words(run: RunTime) -> tuple[str, str]:
    """Return hours, and the range to expect, in words."""
    return f"{run.hours:.1f}", f"{run.low_hours:.1f} to {run.high_hours:.1f}"


def battery_words(choice: Choice) -> str:
    """Return what there is to say about the prop's own battery."""
    run = choice.run
    hours, span = hours_words(run)
    words = f"Its battery: {choice.pack.label}. "
    if run.hours > 0:
        words += f"{hours} h at the average ({span} h), until {run.ends_by}"
        words += f"; {100 * run.used:.0f} % of its charge is used by then. "
    if choice.pack.converter is None:
        rest_v = choice.pack.feed(0.5).rest_v
        words += (
            f"Half used it has {rest_v:.2f} V at rest, {choice.half.supply_v:.2f} V at the average "
            f"and {choice.white.supply_v:.2f} V at full white. "
        )
    words += f"Fit: {choice.verdict}" + (f": {choice.why}." if choice.why else ".")
    cold = choice.pack.battery.share_at_0_c
    if cold is not None:
        words += f" At 0 °C it gives about {100 * cold:.0f} % of that."
    elif choice.pack.battery.kind != "bank":
        words += " In the cold it gives less; how much could not be looked up."
    return words + (f" ({run.note}.)" if run.note else "")


def limits_words(boards: tuple[LitBoard, ...]) -> list[str]:
    """Return the voltages each kind of board needs and bears, and which colours fail first."""
    lines = []
    for kind, board in {lit.kind: lit.board for lit in boards}.items():
        full = board.fading_v[1]
        fading: dict[float, list[str]] = {}
        for name, volts in zip(("red", "green", "blue"), full.tolist(), strict=True):
            fading.setdefault(volts, []).append(name)
        words = (
            f"{' and '.join(names)} below {volts:g} V"
            for volts, names in sorted(fading.items(), reverse=True)
        )
        lines.append(
            f"{kind} takes {board.supply_min_v:g} to {board.supply_max_v:g} V. As its supply sags, "
            f"first to lose light: {', then '.join(words) if board.drive == 'rgb' else 'all'}"
            + (f" below {full[0]:g} V." if board.drive != "rgb" else ".")
        )
    return lines


def wiring_words(wiring: WiringReport) -> list[str]:
    """Return what there is to say about the loss in the wires."""
    return [
        f"Lost in the wires: {wiring.drawn.wire_loss_w:.2g} W at your settings, "
        f"{wiring.white.wire_loss_w:.2g} W at full white. Voltages are averages over the quick "
        "switching of the LEDs: put 100 to 1000 uF across the supply at far boards (common "
        "practice)."
    ]


def gauge_words(wiring: WiringReport, fuse: FuseAdvice | None) -> list[str]:
    """Return the one decision on the gauge with its reasons; first what must not be built."""
    gauge, harness = wiring.gauge, wiring.harness
    what = "full white" if fuse is None or fuse.for_white else "your settings"
    reasons = (
        f"a voltage drop of {gauge.limit_v:g} V at most asks for "
        f"{gauge.for_drop or 'more than any'}, the current of {gauge.load_ma / 1000:.2f} A inside "
        f"foam for {gauge.for_current or 'more than any'}, the fuse of {gauge.fuse_a:g} A before "
        f"it for {gauge.for_fuse or 'more than any'}"
    )
    if not gauge.faults:
        return [
            f"Wire: as in the scene. At {what} the voltage drop is {gauge.drop_v:.2f} V at most "
            f"(limit {gauge.limit_v:g} V); it carries its current inside foam and is thick enough "
            f"for its fuse. The thinnest that would do throughout: {gauge.gauge or 'none'} "
            f"({reasons})."
        ]
    lines = [f"Do not build it as it is: for {what}, {'; '.join(gauge.faults)}."]
    one_end = harness.kind in ("bus", "chain") and harness.second is None
    far_too = ", or add power injection at the far end (second_feed_mm)" if one_end else ""
    if gauge.gauge is not None:
        lines.append(f"Wire: {gauge.gauge} or thicker throughout: {reasons}.")
    elif gauge.joints_v > gauge.limit_v:
        lines.append(
            f"No wire helps: the joints alone drop {gauge.joints_v:.2f} V. Feed the boards by "
            f"a bus or a tree{far_too}."
        )
    else:
        lines.append(f"No wire of the catalogue is enough ({reasons}): branch earlier{far_too}.")
    return lines


def fuse_words(fuse: FuseAdvice) -> str:
    """Return the fuse in words: rating, rule, type."""
    load = (
        "full white"
        if fuse.for_white
        else "your settings (full white is above the battery's limit)"
    )
    carries = {
        "IEC": "which carries its rating all day",
        "UL": "which carries three quarters of its rating all day",
    }
    other: Rule = "UL" if fuse.rule == "IEC" else "IEC"
    rule = f"{STANDARDS[fuse.rule]}, {carries[fuse.rule]}"
    words = (
        f"Fuse: {fuse.fuse_a:g} A time-lag (T) by {rule}, for {fuse.load_ma / 1000:.2f} A at "
        f"{load}. Time-lag, as the capacitors at the boards draw a surge at switching on; marked "
        "for direct current."
    )
    if fuse.other_a is not None:
        words += f" By {STANDARDS[other]}, {carries[other]}, it would be {fuse.other_a:g} A."
    return words
