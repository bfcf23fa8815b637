"""Findings as tables for a terminal."""

from __future__ import annotations

from rich.console import Console
from rich.table import Table

from glowsim.cli.common import table_of
from glowsim.findings import EnergyAccount, Findings


def print_findings(screen: Console, findings: Findings, verbose: bool) -> None:
    """Print everything a maker should read, in the order they need it."""
    room = findings.room
    screen.print(
        f"[bold]{findings.title}[/bold], seen from {room.viewing_distance_mm / 1000:g} m in "
        f"{room.illuminance_lx:g} lx ({findings.solver} solver)"
    )
    for note in findings.notes:
        screen.print(f"note: {note}", markup=False)
    if not findings.bodies:
        screen.print("No body of this scene has a light: there is nothing to judge.")
        return
    screen.print(_evenness(findings))
    screen.print(_lit(findings))
    if findings.found:
        screen.print(_found(findings))
        for numbers, advice in _advice(findings):
            screen.print(f"{numbers}. {advice}", markup=False)
        if findings.unlisted:
            screen.print(f"... and {findings.unlisted} lesser ones")
    else:
        screen.print("No hot spots and no dark gaps by these thresholds.")
    screen.print(_account(findings.account))
    for body, cautions in findings.trust.items():
        if cautions:
            screen.print(f"trust: {body}: quick is a rough guide here:", markup=False)
            for caution in cautions:
                screen.print(f"  - {caution}", markup=False)
        else:
            screen.print(f"trust: {body}: well inside what the quick solver holds for")
    for caution in findings.cautions:
        screen.print(f"caution: {caution}", markup=False)
    screen.print(
        "Brightness depends on LED bins and on estimated materials: trust it to a third either "
        "way, and ratios better than that."
    )
    if verbose:
        limits = ", ".join(f"{k} {v:g}" for k, v in findings.limits.model_dump().items())
        screen.print(f"thresholds: {limits}", markup=False)


def _advice(findings: Findings) -> list[tuple[str, str]]:
    """Return each different suggestion once, with the numbers of its findings."""
    numbers: dict[str, list[str]] = {}
    for finding in findings.found:
        numbers.setdefault(finding.suggestion, []).append(str(finding.number))
    return [(", ".join(mine), advice) for advice, mine in numbers.items()]


def _evenness(findings: Findings) -> Table:
    table = table_of(
        "Evenness (luminance in cd/m2; U0 is least over mean)",
        ("body",),
        ("mean", "least", "5 %", "95 %", "greatest", "U0", "5 %/mean", "spread"),
    )
    rows = list(findings.bodies)
    if findings.whole and len(rows) > 1:
        rows.append(findings.whole)
    for row in rows:
        table.add_row(
            row.body,
            *(
                _short(v)
                for v in (
                    row.mean_cd_m2,
                    row.least_cd_m2,
                    row.p5_cd_m2,
                    row.p95_cd_m2,
                    row.greatest_cd_m2,
                    row.u0,
                    row.p5_over_mean,
                    row.variation,
                )
            ),
        )
    target = findings.limits.evenness_target
    table.caption = f"one even glow from 5 %/mean of about {target:g} on"
    return table


def _lit(findings: Findings) -> Table:
    table = table_of(
        "Does it read as lit?",
        ("body", "verdict"),
        ("x white paper", "range", "on/off", "area lit", "needs cd/m2"),
    )
    for row in findings.lit:
        table.add_row(
            row.body,
            row.grade,
            f"{row.ratio:.3g}",
            f"{row.low:.2g} to {row.high:.2g}",
            f"{row.on_off:.3g}",
            f"{100 * row.lit_share:.0f} %",
            f"{row.needed_cd_m2:.3g}",
        )
    return table


def _found(findings: Findings) -> Table:
    table = table_of(
        "Findings (place and height in the body's own frame)",
        ("no", "kind", "body"),
        ("place mm", "height mm", "size mm", "x around", "x mean", "nearest light"),
    )
    for row in findings.found:
        table.add_row(
            str(row.number),
            row.kind,
            row.body,
            ", ".join(f"{c:.0f}" for c in row.body_place_mm),
            f"{row.from_mm:.0f} to {row.to_mm:.0f}",
            f"{row.size_mm:.0f}",
            f"{row.ratio:.2g}",
            f"{row.ratio_to_mean:.2g}",
            f"{row.light}, {row.light_mm:.0f} mm",
        )
    return table


def _account(account: EnergyAccount) -> Table:
    table = table_of("Where the light went (lm)", ("",), ("red", "green", "blue"))
    rows = {
        "emitted": account.emitted_lm,
        "let out": account.escaped_lm,
        "out of open holes": account.through_holes_lm,
        **{f"absorbed in {name}": lm for name, lm in account.absorbed_lm.items()},
        "absorbed in coats": account.in_coats_lm,
    }
    for name, lumens in rows.items():
        if name == "emitted" or lumens.any():
            table.add_row(name, *(_short(float(v)) for v in lumens))
    share = float(account.escaped_lm.sum() / max(account.emitted_lm.sum(), 1e-12))
    table.caption = (
        f"{100 * share:.0f} % let out; the account closes to {100 * account.error_share:.1g} %"
    )
    return table


def _short(value: float) -> str:
    return "0" if abs(value) < 5e-5 else f"{value:.3g}" if abs(value) < 1000 else f"{value:.0f}"
