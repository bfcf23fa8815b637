"""What a report of findings says, in words."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

from glowsim.findings.luminance import Look
from glowsim.findings.wanted import fade_of
from glowsim.scene import Scene
from glowsim.transport.exchange import MATTERS

if TYPE_CHECKING:
    from glowsim.findings.report import Findings

WITHIN_NOISE = "within the noise of this run: more photons will tell whether it is there"


def text_of(findings: Findings) -> str:
    """Return findings as lines of text: each body, each finding, how far to trust them."""
    room = findings.room
    lines = [
        f"{findings.title}, seen from {room.viewing_distance_mm / 1000:g} m in "
        f"{room.illuminance_lx:g} lx ({findings.solver} solver)"
        + (f", {findings.supply}" if findings.supply else "")
    ]
    for even, lit in zip(findings.bodies, findings.lit, strict=True):
        lines.append(
            f"{even.body}: {lit.grade}; mean {even.mean_cd_m2:.3g} cd/m2, "
            f"5%/mean {even.p5_over_mean:.2g}, off by x {even.off_by:.3g}: {even.grade}"
        )
    for found in findings.found:
        place = ", ".join(f"{c:z.0f}" for c in found.body_place_mm)
        lines.append(
            f"{found.number}. {found.kind} on {found.body} at ({place}) mm, {found.label}: "
            f"{found.suggestion}"
        )
    if findings.unlisted:
        lines.append(f"... and {findings.unlisted} lesser ones")
    lines += [f"also: {words}" for words in findings.also]
    for body, reasons in findings.trust.items():
        rough = "be careful" if body in findings.by_reference else "quick is a rough guide"
        lines += [f"trust: {body}: {rough}: {reason}" for reason in reasons]
    lines += [f"trust: {body}: {known}" for body, known in findings.compared.items()]
    lines += [
        f"trust: {body}: single bright faces are known to {100 * share:.2g} %"
        for body, share in findings.noise.items()
    ]
    lines += [f"trust: {body}: {untold_words(share)}" for body, share in findings.untold.items()]
    lines += [f"caution: {caution}" for caution in findings.cautions]
    return "\n".join(lines)


def fade_notes(names: Iterable[str], scene: Scene) -> list[str]:
    """Say which bodies are held against a fade."""
    fades = [(name, fade) for name in dict.fromkeys(names) if (fade := fade_of(scene, name))]
    return [
        f"{name}: held against the fade wanted of it, {fade.fade}, to {fade.to:g} of its bright end"
        for name, fade in fades
    ]


def untold_words(share: float) -> str:
    """Return what it means that noise hides a share of a surface."""
    return (
        f"too few photons to tell hot spots and dark gaps from noise on {100 * share:.0f} % of it: "
        "follow more"
    )


def across_notes(looks: Sequence[Look]) -> list[str]:
    """Say how far light between faces matters, where it does, and what falls into hollows."""
    notes, shares = [], []
    for look in looks:
        weight = look.body.surface.areas_mm2 * look.glows
        share = float(weight @ look.across_cd_m2) / max(float(weight @ look.luminance_cd_m2), 1e-12)
        if share >= MATTERS:
            shares.append(f"{100 * share:.0f} % of what {look.name} shows")
        if look.fallen_share >= MATTERS:
            what = "what comes out again counts"
            if look.body.entering is None:
                what = "is left out: it is somewhat brighter than said"
            notes.append(
                f"light falls into the open hollow of {look.name}, {100 * look.fallen_share:.0f} % "
                f"of what it lets out itself; {what}"
            )
    if shares:
        shown = ", ".join(shares)
        notes.insert(0, f"faces light each other: {shown} is the prop's own light that falls on it")
    return notes
