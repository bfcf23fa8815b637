"""Findings as a few lines of plain text, for a Python prompt or a notebook."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from glowsim.findings.report import Findings


def summary(findings: Findings) -> str:
    """Return the findings as text, a line each."""
    room = findings.room
    lines = [
        f"{findings.title}, seen from {room.viewing_distance_mm / 1000:g} m in "
        f"{room.illuminance_lx:g} lx ({findings.solver} solver)"
    ]
    for even, lit in zip(findings.bodies, findings.lit, strict=True):
        lines.append(
            f"{even.body}: {lit.grade}; mean {even.mean_cd_m2:.3g} cd/m2, "
            f"5 %/mean {even.p5_over_mean:.2g} (even from {findings.limits.evenness_target:g} on)"
        )
    for found in findings.found:
        place = ", ".join(f"{c:.0f}" for c in found.body_place_mm)
        lines.append(
            f"{found.number}. {found.kind} on {found.body} at ({place}) mm, "
            f"{found.size_mm:.0f} mm across, {found.ratio:.2g} x its surroundings: "
            f"{found.suggestion}"
        )
    if findings.unlisted:
        lines.append(f"... and {findings.unlisted} lesser ones")
    for body, reasons in findings.trust.items():
        lines += [f"trust: {body}: quick is a rough guide: {reason}" for reason in reasons]
    lines += [f"caution: {caution}" for caution in findings.cautions]
    return "\n".join(lines)
