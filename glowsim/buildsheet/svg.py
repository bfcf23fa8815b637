"""Drawings as SVG, at full size where a browser prints at 100 %."""

from __future__ import annotations

from html import escape

from glowsim.buildsheet.drawing import Colour, Drawing, Path, Round, Words


def svg(drawing: Drawing, title: str, full_size: bool = True) -> str:
    """Return a drawing as an SVG element; one that need not be at full size fits its column."""
    width, height = drawing.width_mm, drawing.height_mm
    size = f'width="{width:.3f}mm" height="{height:.3f}mm"' if full_size else 'class="fits"'
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" {size} '
        f'viewBox="0 0 {width:.3f} {height:.3f}" role="img" aria-label="{escape(title)}">'
    ]
    for item in drawing.items:
        if isinstance(item, Path):
            parts.append(_path(item, height))
        elif isinstance(item, Round):
            x, y = item.centre
            parts.append(
                f'<circle cx="{x:.3f}" cy="{height - y:.3f}" r="{item.radius_mm:.3f}" '
                f"{_stroke(item.width_mm, item.colour, item.dash_mm, item.fill)}/>"
            )
        else:
            parts.append(_words(item, height))
    return "\n".join([*parts, "</svg>"])


def _path(item: Path, height: float) -> str:
    steps = " L".join(f"{x:.3f} {height - y:.3f}" for x, y in item.points)
    end = " Z" if item.closed else ""
    style = _stroke(item.width_mm, item.colour, item.dash_mm, item.fill)
    return f'<path d="M{steps}{end}" {style}/>'


def _words(item: Words, height: float) -> str:
    x, y = item.at[0], height - item.at[1]
    turn = f' transform="rotate({-item.turned_deg:g} {x:.3f} {y:.3f})"' if item.turned_deg else ""
    return (
        f'<text x="{x:.3f}" y="{y:.3f}" font-size="{item.size_mm:g}" text-anchor="{item.anchor}" '
        f'fill="{_hex(item.colour)}"{turn}>{escape(item.text)}</text>'
    )


def _stroke(
    width_mm: float, colour: Colour, dash_mm: tuple[float, ...], fill: Colour | None
) -> str:
    dash = f' stroke-dasharray="{" ".join(f"{d:g}" for d in dash_mm)}"' if dash_mm else ""
    inside = "none" if fill is None else _hex(fill)
    return f'stroke="{_hex(colour)}" stroke-width="{width_mm:g}" fill="{inside}"{dash}'


def _hex(colour: Colour) -> str:
    return "#" + "".join(f"{round(255 * c):02x}" for c in colour)
