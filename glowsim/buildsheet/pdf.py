"""The sheet as a PDF: text that flows, and template pages that are true to size."""

from __future__ import annotations

import io
from typing import Any
from xml.sax.saxutils import escape

from reportlab.lib import colors
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFError, TTFont
from reportlab.platypus import (
    CondPageBreak,
    Flowable,
    Image,
    KeepTogether,
    ListFlowable,
    ListItem,
    PageBreak,
    Paragraph,
    SimpleDocTemplate,
    Spacer,
    Table,
    TableStyle,
)

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
from glowsim.buildsheet.drawing import GREY, Colour, Drawing, Path, Round
from glowsim.buildsheet.paper import (
    BAR_MM,
    EDGE_MM,
    FOOT_MM,
    Page,
    pages_for,
    paper_size_mm,
)
from glowsim.pictures.text import font_file

MARGIN_MM = 16.0
PICTURE_MM = 124.0
HEADING_MM = 24.0
"""Of a heading and a caption: they stay with the picture between them."""


def pdf(sheet: BuildSheet, paper: str) -> bytes:
    """Return the sheet as a PDF for a paper; the same sheet gives the same bytes.

    Raises SceneError for an unknown paper.
    """
    width, height = paper_size_mm(paper)
    regular, bold = _fonts()
    styles = _Styles(regular, bold)
    target = io.BytesIO()
    document = SimpleDocTemplate(
        target,
        pagesize=(width * mm, height * mm),
        leftMargin=MARGIN_MM * mm,
        rightMargin=MARGIN_MM * mm,
        topMargin=MARGIN_MM * mm,
        bottomMargin=MARGIN_MM * mm,
        title=f"{sheet.kind}: {sheet.title}",
        author="",
        invariant=1,
    )
    story: list[Any] = [Paragraph(escape(f"{sheet.kind}: {sheet.title}"), styles.title)]
    usable = width - 2 * MARGIN_MM
    for section in sheet.sections:
        blocks: list[Any] = []
        for block in section.blocks:
            blocks += _flowables(block, styles, usable, paper)
        heading = Paragraph(escape(section.title), styles.heading)
        if section.blocks and isinstance(section.blocks[0], FullSize):
            story += blocks  # its pages carry their own titles
        else:
            if isinstance(section.blocks[0], Shown):
                story.append(CondPageBreak((PICTURE_MM + HEADING_MM) * mm))
            story += [heading, *blocks]

    def furnish(canvas: Any, doc: Any) -> None:
        canvas.setViewerPreference("PrintScaling", "None")
        canvas.setFont(regular, 8)
        canvas.setFillGray(0.45)
        canvas.drawRightString((width - 8) * mm, 6 * mm, f"page {doc.page}")

    document.build(story, onFirstPage=furnish, onLaterPages=furnish)
    return target.getvalue()


class _Styles:
    """How text looks."""

    def __init__(self, regular: str, bold: str) -> None:
        base: dict[str, Any] = {"fontName": regular, "fontSize": 9, "leading": 12.5}
        self.regular, self.bold = regular, bold
        self.text = ParagraphStyle("text", spaceAfter=5, **base)
        strong = base | {"fontName": bold}
        self.strong = ParagraphStyle(
            "strong",
            spaceBefore=2,
            spaceAfter=8,
            borderWidth=0.8,
            borderColor=colors.black,
            borderPadding=5,
            leftIndent=6,
            rightIndent=6,
            **strong,
        )
        self.caption = ParagraphStyle(
            "caption",
            **(base | {"fontSize": 8, "leading": 10.5}),
            textColor=colors.Color(0.35, 0.35, 0.38),
        )
        small = base | {"fontSize": 7.8, "leading": 9.8}
        self.cell = ParagraphStyle("cell", **small)
        self.head = ParagraphStyle("head", **(small | {"fontName": bold}))
        heading = base | {"fontName": bold, "fontSize": 13, "leading": 17}
        self.heading = ParagraphStyle(
            "heading", spaceBefore=13, spaceAfter=6, keepWithNext=1, **heading
        )
        self.subheading = ParagraphStyle(
            "subheading",
            spaceBefore=7,
            spaceAfter=3,
            keepWithNext=1,
            **(base | {"fontName": bold, "fontSize": 10}),
        )
        self.title = ParagraphStyle(
            "title", spaceAfter=8, **(base | {"fontName": bold, "fontSize": 19, "leading": 24})
        )


def _flowables(block: Block, styles: _Styles, usable_mm: float, paper: str) -> list[Any]:
    match block:
        case Para():
            style = styles.strong if block.strong else styles.text
            return [Paragraph(escape(block.text), style)]
        case Items():
            return [_items(block, styles), Spacer(1, 5)]
        case Grid():
            return _grid(block, styles, usable_mm)
        case Shown():
            return [KeepTogether(_picture(block, styles, usable_mm))]
        case Drawn():
            scale = min(1.0, usable_mm / block.drawing.width_mm)
            caption = Paragraph(escape(block.caption), styles.caption)
            drawn = _DrawingFlow(block.drawing, scale, styles.regular)
            return [KeepTogether([drawn, caption]), Spacer(1, 6)]
        case FullSize():
            pages = pages_for(block.title, block.drawings, paper)
            turned: list[Any] = []
            for page in pages:
                turned += [PageBreak(), _TemplatePage(page, block.key, paper, styles)]
            return turned


def _items(block: Items, styles: _Styles) -> ListFlowable:
    rows = [ListItem(Paragraph(escape(text), styles.text)) for text in block.items]
    if block.ticks:
        return ListFlowable(
            rows, bulletType="bullet", start="☐", bulletFontName=styles.regular, bulletFontSize=11
        )
    return ListFlowable(
        rows, bulletType="bullet", start="•", bulletFontName=styles.regular, bulletFontSize=9
    )


def _grid(block: Grid, styles: _Styles, usable_mm: float) -> list[Any]:
    def cells(row: tuple[str, ...], style: ParagraphStyle) -> list[Paragraph]:
        return [Paragraph(escape(text).replace("\n", "<br/>"), style) for text in row]

    share = usable_mm * mm / sum(block.widths)
    table = Table(
        [cells(block.headings, styles.head), *(cells(row, styles.cell) for row in block.rows)],
        colWidths=[share * width for width in block.widths],
        repeatRows=1,
    )
    table.setStyle(
        TableStyle(
            [
                ("VALIGN", (0, 0), (-1, -1), "TOP"),
                ("LINEBELOW", (0, 0), (-1, 0), 0.8, colors.black),
                ("LINEBELOW", (0, 1), (-1, -1), 0.3, colors.Color(*GREY)),
                ("LEFTPADDING", (0, 0), (-1, -1), 2),
                ("RIGHTPADDING", (0, 0), (-1, -1), 4),
                ("TOPPADDING", (0, 0), (-1, -1), 2.5),
                ("BOTTOMPADDING", (0, 0), (-1, -1), 2.5),
            ]
        )
    )
    title = [Paragraph(escape(block.title), styles.subheading)] if block.title else []
    return [*title, table, Spacer(1, 7)]


def _picture(block: Shown, styles: _Styles, usable_mm: float) -> list[Any]:
    across, down = block.picture.size
    width = min(usable_mm, PICTURE_MM * across / max(across, down))
    image = Image(io.BytesIO(block.jpeg()), width=width * mm, height=width * down / across * mm)
    return [image, Paragraph(escape(block.caption), styles.caption), Spacer(1, 6)]


class _DrawingFlow(Flowable):  # type: ignore[misc]
    """A drawing in the flow of text, perhaps made smaller."""

    def __init__(self, drawing: Drawing, scale: float, font: str) -> None:
        super().__init__()
        self._drawing, self._scale, self._font = drawing, scale, font
        self.width = scale * drawing.width_mm * mm
        self.height = scale * drawing.height_mm * mm

    def draw(self) -> None:
        """Draw it."""
        self.canv.scale(self._scale, self._scale)
        _draw(self.canv, self._drawing, self._font)


class _TemplatePage(Flowable):  # type: ignore[misc]
    """A whole page at full size."""

    def __init__(self, page: Page, key: str, paper: str, styles: _Styles) -> None:
        super().__init__()
        self._page, self._key, self._styles = page, key, styles
        self._width, self._height = paper_size_mm(paper)

    def wrap(self, width: float, height: float) -> tuple[float, float]:
        """Take up all of the page there is."""
        return width, height - 1

    def draw(self) -> None:
        """Draw the title, the pieces, the check bar."""
        canvas = self.canv
        x, y = canvas.absolutePosition(0, 0)
        canvas.translate(-x, -y)
        canvas.setFillColorRGB(0, 0, 0)
        canvas.setFont(self._styles.bold, 12)
        canvas.drawString(EDGE_MM * mm, (self._height - EDGE_MM - 5) * mm, self._page.title)
        canvas.setFont(self._styles.regular, 7.5)
        canvas.drawString(EDGE_MM * mm, (self._height - EDGE_MM - 9.5) * mm, self._page.note)
        for piece in self._page.pieces:
            left, bottom, width, height = piece.window
            canvas.saveState()
            canvas.translate((EDGE_MM + piece.at[0]) * mm, (EDGE_MM + FOOT_MM + piece.at[1]) * mm)
            clip = canvas.beginPath()
            clip.rect(0, 0, width * mm, height * mm)
            canvas.clipPath(clip, stroke=0, fill=0)
            canvas.translate(-left * mm, -bottom * mm)
            _draw(canvas, piece.drawing, self._styles.regular)
            canvas.restoreState()
        self._bar(canvas)

    def _bar(self, canvas: Any) -> None:
        left, base = EDGE_MM * mm, (EDGE_MM + 6) * mm
        canvas.setStrokeColorRGB(0, 0, 0)
        canvas.setLineWidth(0.3 * mm)
        canvas.line(left, base, left + BAR_MM * mm, base)
        for k in range(6):
            tick = (2.5 if k in (0, 5) else 1.2) * mm
            canvas.line(left + 10 * k * mm, base - tick, left + 10 * k * mm, base + tick)
        canvas.setFont(self._styles.regular, 8)
        canvas.drawString(
            left + (BAR_MM + 4) * mm,
            base - 1 * mm,
            f"This bar must measure {BAR_MM:.0f} mm. If it does not, print at 100 % (actual size).",
        )
        canvas.drawString(left, base - 6 * mm, self._key)


def _draw(canvas: Any, drawing: Drawing, font: str) -> None:
    for item in drawing.items:
        if isinstance(item, Path):
            _pen(canvas, item.width_mm, item.colour, item.dash_mm, item.fill)
            path = canvas.beginPath()
            points = [(float(x) * mm, float(y) * mm) for x, y in item.points]
            path.moveTo(*points[0])
            for point in points[1:]:
                path.lineTo(*point)
            if item.closed:
                path.close()
            canvas.drawPath(path, stroke=1, fill=0 if item.fill is None else 1)
        elif isinstance(item, Round):
            _pen(canvas, item.width_mm, item.colour, item.dash_mm, item.fill)
            x, y = item.centre
            fill = 0 if item.fill is None else 1
            canvas.circle(x * mm, y * mm, item.radius_mm * mm, stroke=1, fill=fill)
        else:
            canvas.saveState()
            canvas.setFillColorRGB(*item.colour)
            canvas.setFont(font, item.size_mm * mm)
            canvas.translate(item.at[0] * mm, item.at[1] * mm)
            canvas.rotate(item.turned_deg)
            draw = {
                "start": canvas.drawString,
                "middle": canvas.drawCentredString,
                "end": canvas.drawRightString,
            }[item.anchor]
            draw(0, 0, item.text)
            canvas.restoreState()


def _pen(
    canvas: Any, width_mm: float, colour: Colour, dash_mm: tuple[float, ...], fill: Colour | None
) -> None:
    canvas.setLineWidth(width_mm * mm)
    canvas.setStrokeColorRGB(*colour)
    canvas.setDash([d * mm for d in dash_mm])
    if fill is not None:
        canvas.setFillColorRGB(*fill)


def _fonts() -> tuple[str, str]:
    """Return names of a plain and a bold font that know the letters of most languages.

    They come with matplotlib, which is not imported for them; without it, those of every PDF
    reader, which know Latin letters only.
    """
    names = ("DejaVuSans", "DejaVuSans-Bold")
    try:
        for name in names:
            pdfmetrics.registerFont(TTFont(name, str(font_file(name))))
    except (TTFError, OSError):
        return "Helvetica", "Helvetica-Bold"
    return names


def unprintable(text: str) -> str:
    """Return the letters of a text that the PDF's fonts lack, each once: they come out as boxes.

    So do those of East Asian scripts. Fonts that a PDF names without holding them, as its viewer
    may have its own, are no way out: where it has none, the letters vanish.
    """
    faces = [pdfmetrics.getFont(name).face for name in _fonts()]
    known = [getattr(face, "charToGlyph", range(256)) for face in faces]
    letters = (letter for letter in dict.fromkeys(text) if letter.isprintable())
    return "".join(c for c in letters if not all(ord(c) in face for face in known))
