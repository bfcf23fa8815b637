"""Findings as a notebook shows them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from glowsim.notebook import table_html

if TYPE_CHECKING:
    from glowsim.findings.report import Findings


def shown_html(findings: Findings) -> str:
    """Return findings as HTML: a table of the bodies, then every line of the text."""
    rows = [
        (even.body, lit.grade, even.mean_cd_m2, even.p5_over_mean)
        for even, lit in zip(findings.bodies, findings.lit, strict=True)
    ]
    heads = ("body", "looks", "mean, cd/m2", "darkest 5 % over mean")
    title, *lines = str(findings).splitlines()
    return table_html(title, heads, rows, lines[len(rows) :])
