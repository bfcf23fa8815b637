"""A pulse as tables for a terminal, and as plain data."""

from __future__ import annotations

from typing import Any

from rich.console import Console

from glowsim.catalogue.cautions import caution
from glowsim.cli.common import print_title, table_of
from glowsim.electrics.flashes import LEAST_AREA_SR, MOST_PER_SECOND, FlashCount, FlashReport
from glowsim.electrics.pulse_report import PulseReport

STEADY = 0.005
"""Light that changes by a smaller share is called steady."""
NOT_COUNTED = (
    "Counted on one view by a rule made for screens; the LEDs' own fast switching, other props and "
    "the room's lights are not in it. It is no medical clearance."
)


def print_pulse(
    screen: Console,
    report: PulseReport,
    flashes: dict[str, FlashReport],
    nearest_mm: float,
    note: str,
) -> None:
    """Print levels, currents and flashes."""
    table = table_of(
        f"Levels over {report.seconds:g} s (share of light)",
        ("group", "pattern"),
        ("lights", "period s", "least", "mean", "greatest"),
    )
    for k, member in enumerate(report.course.members):
        pulse = member.pulse
        table.add_row(
            member.name,
            pulse.pattern if pulse else "still",
            str(len(member.lights)),
            f"{pulse.period_s:g}" if pulse else "-",
            f"{report.levels[:, k].min():.2f}",
            f"{report.mean_levels[k]:.2f}",
            f"{report.levels[:, k].max():.2f}",
        )
    table.caption = "group: lights that move together; mean: over the pattern's whole round"
    screen.print(table)
    share = report.average_ma / report.drawn_ma if report.drawn_ma else 0.0
    screen.print(
        f"Average current: {report.average_ma:.0f} mA, {100 * share:.0f} % of the "
        f"{report.drawn_ma:.0f} mA of a steady glow at your settings; {report.idle_ma:.0f} mA of "
        "it flow in the dark."
    )
    for line in _moments(report):
        screen.print(line)
    screen.print(_seam(report))
    if note:
        screen.print(f"note: {note}")
    _print_flashes(screen, report.seconds, flashes, nearest_mm)


def _moments(report: PulseReport) -> list[str]:
    moments = report.moments
    (dark_s, dark), (bright_s, bright) = moments["darkest"], moments["brightest"]
    peak_s, peak_ma = moments["most current"]
    lines = [
        f"Darkest moment: at {dark_s:.1f} s, {100 * dark:.0f} % of the light at your settings. "
        f"Brightest: at {bright_s:.1f} s, {100 * bright:.0f} %."
        if bright - dark > STEADY
        else f"The light of the whole prop stays at {100 * bright:.0f} % of that at your settings: "
        "no moment is darker or brighter."
    ]
    peak = f"Peak current: {peak_ma:.0f} mA, at {peak_s:.1f} s"
    if report.limit_ma is None:
        lines.append(f"{peak}.")
    elif peak_ma <= report.limit_ma:
        lines.append(f"{peak}; the battery's continuous limit is {report.limit_ma:.0f} mA.")
    else:
        lines.append(
            f"{peak}: MORE than the {report.limit_ma:.0f} mA of the battery's continuous limit. "
            "Lower the level, let the zones take turns (stagger), or take a larger pack."
        )
    return lines


def _seam(report: PulseReport) -> str:
    if report.seamless:
        return "Animation and tables repeat without a seam."
    cycle = report.course.cycle_s
    if cycle is None:
        return "The pulses take more than an hour to repeat: the tables end with a jump."
    return f"The tables end with a jump; they repeat without a seam at --seconds {cycle:g}."


def _print_flashes(
    screen: Console, seconds: float, flashes: dict[str, FlashReport], nearest_mm: float
) -> None:
    worst = max(c.per_second for f in flashes.values() for c in (f.general, f.red))
    if any(f.too_many for f in flashes.values()):
        print_title(
            screen,
            f"WARNING: it flashes {worst:g} times within a second",
            f", more than the {MOST_PER_SECOND:g} that WCAG 2.x allows. Make it slower or softer, "
            "or a smaller part of it at a time; do not show it as it is.",
        )
    for name, found in flashes.items():
        screen.print(
            f"Flashes within a second, {name}: {_words(found.general, nearest_mm)}; strong red "
            f"{_words(found.red, nearest_mm)}."
        )
    counted_s = min(found.seconds for found in flashes.values())
    if counted_s < seconds - 0.01:
        screen.print(f"Only the first {counted_s:g} s were looked at for flashes.")
    area_cm2 = LEAST_AREA_SR * nearest_mm**2 / 100
    screen.print(
        f"Counted over areas above {LEAST_AREA_SR:g} sr, which is {area_cm2:.0f} cm2 for a viewer "
        f"{nearest_mm / 10:.0f} cm away. {NOT_COUNTED}"
    )
    screen.print(f"caution: {caution('flashing')}")


def _words(count: FlashCount, nearest_mm: float) -> str:
    if count.per_second == 0:
        return "none" + (f" ({count.anywhere:g} on a small area)" if count.anywhere else "")
    area_cm2 = count.area_sr * nearest_mm**2 / 100
    return f"{count.per_second:g} (over {area_cm2:.0f} cm2, from {count.at_s:.1f} s)"


def pulse_json(
    report: PulseReport, flashes: dict[str, FlashReport], nearest_mm: float
) -> dict[str, Any]:
    """Return the same as plain data."""
    return {
        "seconds": report.seconds,
        "frames_per_second": report.frames_per_second,
        "members": [
            {
                "name": member.name,
                "zone": member.zone,
                "pattern": member.pulse.pattern if member.pulse else "still",
                "lights": list(member.lights),
                "least": round(float(report.levels[:, k].min()), 4),
                "mean": round(float(report.mean_levels[k]), 4),
                "greatest": round(float(report.levels[:, k].max()), 4),
            }
            for k, member in enumerate(report.course.members)
        ],
        "moments": {
            name: {"at_s": round(at, 3), "value": round(value, 4)}
            for name, (at, value) in report.moments.items()
        },
        "battery_bears_ma": report.limit_ma,
        "average_ma": round(report.average_ma, 2),
        "drawn_ma": round(report.drawn_ma, 2),
        "seamless": report.seamless,
        "repeats_after_s": report.course.cycle_s,
        "nearest_viewer_mm": nearest_mm,
        "flashes": {
            name: {
                "too_many": found.too_many,
                "counted_s": found.seconds,
                **{
                    kind: {
                        "per_second": count.per_second,
                        "from_s": round(count.at_s, 3),
                        "area_sr": round(count.area_sr, 6),
                        "anywhere_per_second": count.anywhere,
                    }
                    for kind, count in (("general", found.general), ("red", found.red))
                },
            }
            for name, found in flashes.items()
        },
        "cautions": [NOT_COUNTED, caution("flashing")],
    }
