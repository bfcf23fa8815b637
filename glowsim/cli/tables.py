"""Findings as tables for a terminal."""

from __future__ import annotations

from collections.abc import Iterator

from rich.console import Console

from glowsim.cli.common import RATIOS, off_text, print_each, print_title, short, table_of, titled
from glowsim.cli.figure_table import FigureTable
from glowsim.findings import EnergyAccount, Findings
from glowsim.findings.unevenness import off_of_ripple
from glowsim.findings.wording import untold_words
from glowsim.transport.solvers import BOTH


def print_findings(screen: Console, findings: Findings, verbose: bool) -> None:
    """Print everything a maker should read, in the order they need it."""
    room = findings.room
    print_title(
        screen,
        findings.title,
        f", seen from {room.viewing_distance_mm / 1000:g} m in "
        f"{room.illuminance_lx:g} lx ({findings.solver} solver)"
        + (f", {findings.supply}" if findings.supply else ""),
    )
    print_each(screen, "note", findings.notes)
    if not findings.bodies:
        screen.print("No body of this scene has a light: there is nothing to judge.")
        return
    screen.print(_evenness(findings))
    screen.print(_lit(findings))
    if findings.found:
        screen.print(_found(findings))
        for numbers, advice in _advice(findings):
            screen.print(f"{numbers}. {advice}")
        for words in findings.also:
            screen.print(f"also: {words}")
        if findings.unlisted:
            screen.print(f"... and {findings.unlisted} lesser ones")
    else:
        screen.print("No hot spots, dark gaps or light leaks by these thresholds.")
    if findings.openings:
        screen.print(_openings(findings))
    screen.print(_account(findings.account, findings.supply))
    for line in _trust(findings):
        screen.print(line)
    print_each(screen, "caution", findings.cautions)
    screen.print(
        "Brightness depends on LED bins and on estimated materials: trust it to a third either "
        "way, and ratios better than that."
    )
    if verbose:
        limits = ", ".join(f"{k} {v:g}" for k, v in findings.limits.model_dump().items())
        screen.print(f"thresholds: {limits}")


def _trust(findings: Findings) -> Iterator[str]:
    """Yield how far the figures can be trusted, body by body."""
    for body, reasons in findings.trust.items():
        known = findings.compared.get(body)
        if body not in findings.by_reference:
            if reasons:
                yield f"trust: {body}: quick is a rough guide here:"
            elif known and known.rough:
                yield f"trust: {body}: quick is a rough guide here, as a comparison showed:"
            else:
                yield f"trust: {body}: well inside what the quick solver holds for"
        else:
            if findings.solver == BOTH:
                yield f"trust: {body}: solved by the reference, since quick is a rough guide here"
            if reasons:
                yield f"trust: {body}: be careful:"
        yield from (f"  - {reason}" for reason in reasons)
        if known:
            yield f"  - {known}"
    for body, share in findings.noise.items():
        yield (
            f"trust: {body}: single bright faces are known to {100 * share:.2g} % (one standard "
            "error); sums over many faces much better, single dark faces worse"
        )
    for body, share in findings.untold.items():
        yield f"trust: {body}: {untold_words(share)}"


def _advice(findings: Findings) -> list[tuple[str, str]]:
    """Return each different suggestion once, with the numbers of its findings."""
    numbers: dict[str, list[str]] = {}
    for finding in findings.found:
        numbers.setdefault(finding.suggestion, []).append(str(finding.number))
    return [(", ".join(mine), advice) for advice, mine in numbers.items()]


def _evenness(findings: Findings) -> FigureTable:
    limits = findings.limits
    table = table_of(
        titled("Evenness (luminance in cd/m2)", findings.supply),
        ("body", "verdict"),
        ("off by", "within", "too dark", "too bright", "5%/mean", "U0", *_LUMINANCES),
    )
    rows = list(findings.bodies)
    if findings.whole and len(rows) > 1:
        rows.append(findings.whole)
    shares = ("within_share", "too_dark_share", "too_bright_share")
    columns = ("off_by", *shares, "p5_over_mean", "u0", *_LUMINANCES.values())
    for row in rows:
        values = (
            _figure(name, getattr(row, name)) + ("*" if name in row.shifted else "")
            for name in columns
        )
        table.add_row(row.body, row.grade or "", *values)
        if row.noise:
            errors = (_figure_error(name, row.noise[name]) for name in columns)
            table.add_row("  noise, ±", "", *errors, style="dim")
    table.caption = (
        "off by: factor by which a typical place is off, 1 is even; within: share of the surface "
        f"within {limits.even_factor:g} x of the middle, which half of the light comes from above; "
        f"{RATIOS}\nfair from 5%/mean {limits.evenness_target:g} and off by x "
        f"{off_of_ripple(limits.evenness_target):.2f} on; even from {limits.even_from:g} and x "
        f"{off_of_ripple(limits.even_from):.2f}, if nothing stands out"
    )
    for row in rows:
        if row.eye_decides(limits):
            table.caption += (
                f"\n{row.body}: the verdict goes by 5%/mean as the eye averages it from "
                f"{findings.room.viewing_distance_mm / 1000:g} m, "
                f"{_figure('seen_p5_over_mean', row.seen_p5_over_mean)}"
            )
    if any(row.shifted for row in rows):
        table.caption += (
            "\n* the noise of single faces shifts this figure (a least reads too low, a greatest "
            "and what is off too high): go by the percentiles, or follow more photons"
        )
    return table


_LUMINANCES = {
    "mean": "mean_cd_m2",
    "least": "least_cd_m2",
    "greatest": "greatest_cd_m2",
}


def _figure(name: str, value: float) -> str:
    if name.endswith("share"):
        return f"{100 * value:.0f} %"
    return off_text(value) if name == "off_by" else short(value)


def _figure_error(name: str, value: float) -> str:
    return f"{100 * value:.1g} %" if name.endswith("share") else _error(value)


def _lit(findings: Findings) -> FigureTable:
    table = table_of(
        titled("Does it look lit?", findings.supply),
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
    table.caption = (
        "range: one standard deviation of the LEDs' bins and of what is known of the materials"
    )
    return table


def _found(findings: Findings) -> FigureTable:
    table = table_of(
        titled("Findings (place and height in the body's own frame)", findings.supply),
        ("no", "kind", "body"),
        ("place mm", "height mm", "size mm", "vs around", "vs mean", "nearest light"),
    )
    for row in findings.found:
        table.add_row(
            str(row.number),
            f"{row.what}, within noise" if row.within_noise else row.what,
            row.body,
            ", ".join(f"{c:z.0f}" for c in row.body_place_mm),
            f"{row.from_mm:z.0f} to {row.to_mm:z.0f}",
            row.size,
            "-" if row.kind == "light leak" else _with_error(row.ratio, row.noise),
            _with_error(row.ratio_to_mean, row.noise_to_mean),
            f"{row.light}, {row.light_mm:.0f} mm",
        )
    return table


def _openings(findings: Findings) -> FigureTable:
    table = table_of(
        "Light out of its openings, as on the wearer's side",
        ("body", "opening"),
        ("place mm", "cm2", "lm", "lx on a face there", "at most lx"),
        names=2,
    )
    for light in findings.openings:
        place = ", ".join(f"{c:z.0f}" for c in light.place_mm)
        table.add_row(
            light.body,
            light.opening,
            place,
            f"{light.area_mm2 / 100:.3g}",
            f"{light.flux_lm:.2g}",
            short(light.mean_lx),
            short(light.most_lx),
        )
    table.caption = (
        f"the room gives {findings.room.illuminance_lx:g} lx; what the face reflects is not counted"
    )
    return table


def _account(account: EnergyAccount, supply: str) -> FigureTable:
    title = titled("Where the light went (lm)", supply)
    table = table_of(title, ("",), ("red", "green", "blue"))
    rows = {
        "emitted": account.emitted_lm,
        "light out": account.escaped_lm,
        "out of open holes": account.through_holes_lm,
        **{f"absorbed in {name}": lm for name, lm in account.absorbed_lm.items()},
        "absorbed in coats": account.in_coats_lm,
    }
    for name, lumens in rows.items():
        if name == "emitted" or lumens.any():
            table.add_row(name, *(short(float(v)) for v in lumens))
    share = float(account.escaped_lm.sum() / max(account.emitted_lm.sum(), 1e-12))
    table.caption = (
        f"{100 * share:.0f} % of the light comes out; "
        f"energy check: {100 * account.error_share:.1g} % off"
    )
    return table


def _with_error(value: float, error: float) -> str:
    return f"{value:.2g} ± {_error(error)}" if error else f"{value:.2g}"


def _error(value: float) -> str:
    return f"{value:.1g}" if value < 0.95 else f"{value:.0f}"
