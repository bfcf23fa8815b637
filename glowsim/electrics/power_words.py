"""Battery, wires and fuse in sentences, for the terminal and for the build sheet."""

from __future__ import annotations

from glowsim.electrics.loads import LitBoard
from glowsim.electrics.pack import Choice, RunTime
from glowsim.electrics.power import FuseAdvice, WiringReport


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
    """Return what there is to say about the wires."""
    limit, worst = wiring.harness.drop_limit_v, float(wiring.held_drop_v.max())
    lines = [
        f"Lost in the wires: {wiring.drawn.wire_loss_w:.2g} W as drawn, "
        f"{wiring.white.wire_loss_w:.2g} W at full white. Voltages are averages over the quick "
        "switching of the LEDs: put 100 to 1000 uF across the supply at far boards (common "
        "practice)."
    ]
    if worst <= limit:
        lines.append(
            f"Full white loses {worst:.2f} V on the way to a board; the limit is {limit:g} V."
        )
        if wiring.thinnest:
            lines.append(f"The thinnest wire that does, used throughout: {wiring.thinnest}.")
        return lines
    one_end = wiring.harness.kind in ("bus", "chain") and wiring.harness.second is None
    far_too = ", or feed the far end too (second_feed_mm)" if one_end else ""
    words = f"Full white would lose {worst:.2f} V on the way; the limit is {limit:g} V. "
    if wiring.thinnest:
        words += f"The thinnest wire that keeps it, used throughout: {wiring.thinnest}."
    elif wiring.joints_v > limit:
        words += (
            f"No wire keeps it: the joints alone lose {wiring.joints_v:.2f} V. Feed the boards by "
            f"a bus or a tree{far_too}."
        )
    else:
        words += f"No wire of the catalogue keeps it: branch earlier{far_too}."
    if wiring.thinnest_drawn:
        words += f" As drawn, and never brighter, {wiring.thinnest_drawn} would do."
    return [*lines, words]


def fuse_words(fuse: FuseAdvice) -> str:
    """Return the fuse and the wire behind it, in words."""
    load = (
        "full white" if fuse.for_white else "the scene as drawn (the battery bears no full white)"
    )
    words = (
        f"Fuse: {fuse.fuse_a:g} A, for {fuse.load_ma / 1000:.2f} A at {load}; every wire behind it "
        f"must bear that: {fuse.wire or 'thicker than the catalogue knows'} or thicker."
    )
    if fuse.too_thin:
        words += (
            f" {', '.join(fuse.too_thin)} of this wiring is too thin for that fuse inside foam: "
            "take thicker wire, a fuse for each branch, or a smaller fuse with the brightness "
            "limited in the controller."
        )
    return words
