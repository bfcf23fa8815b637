"""The sheet as one HTML file that needs nothing beside it."""

from __future__ import annotations

import base64
import io
from html import escape

from PIL import Image

from glowsim.buildsheet.blocks import (
    Block,
    BuildSheet,
    Drawn,
    FullSize,
    Grid,
    Items,
    Para,
    Shown,
)
from glowsim.buildsheet.drawing import Drawing
from glowsim.buildsheet.paper import BAR_MM
from glowsim.buildsheet.svg import svg

JPEG_QUALITY = 88
STYLE = """
:root { color-scheme: light; }
body { font: 16px/1.5 "DejaVu Sans", Verdana, sans-serif; color: #1a1a1e; background: #fff;
  max-width: 60rem; margin: 2rem auto; padding: 0 1rem; }
h1 { font-size: 1.9rem; } h2 { margin-top: 2.2rem; border-bottom: 2px solid #1a1a1e; }
.strong { border: 2px solid #1a1a1e; padding: .6rem .9rem; font-weight: bold; }
.wide { overflow-x: auto; }
table { border-collapse: collapse; width: 100%; font-size: .88rem; }
th, td { text-align: left; vertical-align: top; padding: .25rem .5rem .25rem 0;
  border-bottom: 1px solid #8c8c94; white-space: pre-line; }
th { border-bottom: 2px solid #1a1a1e; }
figure { margin: 1rem 0; } figcaption { font-size: .85rem; color: #55555c; }
img, svg.fits { max-width: 100%; height: auto; }
svg text { font-family: "DejaVu Sans", Verdana, sans-serif; }
ul.ticks { list-style: none; padding-left: 0; }
ul.ticks li { margin: .5rem 0; padding-left: 2rem; position: relative; }
ul.ticks input { position: absolute; left: 0; top: .2rem; width: 1.1rem; height: 1.1rem; }
@media print { body { max-width: none; margin: 0; } figure, tr, li { break-inside: avoid; } }
"""


def html(sheet: BuildSheet) -> bytes:
    """Return the sheet as HTML."""
    title = escape(f"{sheet.kind}: {sheet.title}")
    parts = [
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">',
        '<meta name="viewport" content="width=device-width, initial-scale=1">',
        f"<title>{title}</title>\n<style>{STYLE}</style>\n</head>\n<body>\n<h1>{title}</h1>",
    ]
    for section in sheet.sections:
        parts.append(f"<section>\n<h2>{escape(section.title)}</h2>")
        if any(isinstance(block, FullSize) for block in section.blocks):
            parts.append(_how_to_print())
        parts += [_block(block) for block in section.blocks]
        parts.append("</section>")
    return "\n".join([*parts, "</body>\n</html>\n"]).encode()


def _block(block: Block) -> str:
    match block:
        case Para():
            kind = ' class="strong"' if block.strong else ""
            return f"<p{kind}>{escape(block.text)}</p>"
        case Items():
            box = '<input type="checkbox" aria-label="done">' if block.ticks else ""
            rows = "\n".join(f"<li>{box}{escape(text)}</li>" for text in block.items)
            kind = ' class="ticks"' if block.ticks else ""
            return f"<ul{kind}>\n{rows}\n</ul>"
        case Grid():
            return _table(block)
        case Shown():
            source = _data_url(block.picture)
            caption = escape(block.caption)
            return (
                f'<figure><img src="{source}" alt="{caption}"><figcaption>{caption}</figcaption>'
                "</figure>"
            )
        case Drawn():
            drawn = svg(block.drawing, block.caption, full_size=False)
            return f"<figure>{drawn}<figcaption>{escape(block.caption)}</figcaption></figure>"
        case FullSize():
            drawn = "\n".join(
                f'<figure class="wide">{svg(d, block.title)}</figure>' for d in block.drawings
            )
            return f"<h3>{escape(block.title)}</h3>\n{drawn}"


def _table(grid: Grid) -> str:
    head = "".join(f"<th>{escape(text)}</th>" for text in grid.headings)
    rows = "\n".join(
        "<tr>" + "".join(f"<td>{escape(text)}</td>" for text in row) + "</tr>" for row in grid.rows
    )
    title = f"<h3>{escape(grid.title)}</h3>\n" if grid.title else ""
    return (
        f'{title}<div class="wide"><table>\n<thead><tr>{head}</tr></thead>\n<tbody>{rows}</tbody>'
        "\n</table></div>"
    )


def _how_to_print() -> str:
    bar = Drawing(BAR_MM + 2, 6)
    bar.line((1, 3), (1 + BAR_MM, 3), width_mm=0.3)
    for x in (1.0, 1 + BAR_MM):
        bar.line((x, 0.5), (x, 5.5), width_mm=0.3)
    return (
        "<p>Print the PDF beside this page: its templates are cut to the paper and carry marks to "
        "join them by. On a screen sizes are only nominal. On paper this bar must measure "
        f"{BAR_MM:.0f} mm:</p>\n<figure>{svg(bar, 'check bar')}</figure>"
    )


def _data_url(picture: Image.Image) -> str:
    data = io.BytesIO()
    picture.convert("RGB").save(data, "JPEG", quality=JPEG_QUALITY)
    return "data:image/jpeg;base64," + base64.b64encode(data.getvalue()).decode()
