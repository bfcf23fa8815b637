"""What a notebook shows of a scene, a glow or findings: a small table."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from html import escape

from glowsim.errors import cut_short


def table_html(
    title: str, heads: Sequence[str], rows: Iterable[Sequence[object]], below: Iterable[str] = ()
) -> str:
    """Return a title, a table with one row of heads and lines of text below it, as HTML."""

    def cells(tag: str, row: Sequence[object]) -> str:
        return "".join(f"<{tag}>{_safe(cell)}</{tag}>" for cell in row)

    body = "".join(f"<tr>{cells('td', row)}</tr>" for row in rows)
    lines = "".join(f"<p>{_safe(line)}</p>" for line in below)
    table = f"<table><tr>{cells('th', heads)}</tr>{body}</table>"
    return f"<h4>{_safe(title)}</h4>{table}{lines}"


def _safe(value: object) -> str:
    return escape(cut_short(f"{value:.3g}" if isinstance(value, float) else str(value)))
