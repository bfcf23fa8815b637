"""The PDF measured from its own pixels."""

from __future__ import annotations

import numpy as np
import pypdfium2
import pytest

from glowsim.buildsheet.blocks import BuildSheet, FullSize, Grid, Items, Para, Section
from glowsim.buildsheet.drawing import Drawing, Path, Round
from glowsim.buildsheet.paper import EDGE_MM, FOOT_MM, HEAD_MM, OVERLAP_MM, area_mm, pages_for
from glowsim.buildsheet.pdf import pdf, unprintable
from glowsim.buildsheet.places import bearing_deg, body_places
from glowsim.buildsheet.template import MARGIN_MM, figures_of
from glowsim.errors import SceneError
from glowsim.geometry.body import solid_of
from glowsim.scene import parse_scene
from glowsim.transport.plan import plan_of
from tests.support.sheets import PX_PER_MM, SPIKE, page_pixels, page_texts


def sheet_of(*drawings: Drawing) -> BuildSheet:
    return BuildSheet("test", (Section("Templates", (FullSize("piece", drawings),)),))


def template_page(folder_pdf) -> int:
    texts = page_texts(folder_pdf)
    return next(k for k, text in enumerate(texts) if "This bar must measure" in text)


def runs(dark: np.ndarray) -> list[tuple[int, int]]:
    """Return first and last index of each run of True."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], dark.astype(int), [0]])))
    return [(a, b - 1) for a, b in zip(edges[::2], edges[1::2], strict=True)]


@pytest.mark.parametrize(
    ("paper", "size_mm"), [("A4", (210.0, 297.0)), ("Letter", (215.9, 279.4)), ("a4", (210, 297))]
)
def test_paper_size(paper, size_mm):
    """ISO 216 and ANSI/ASME Y14.1; a PDF point is 1/72 inch."""
    document = pypdfium2.PdfDocument(pdf(sheet_of(Drawing(30, 30)), paper))
    for page in document:
        width, height = page.get_size()
        assert (width * 25.4 / 72, height * 25.4 / 72) == pytest.approx(size_mm, abs=0.05)


def test_unknown_paper():
    with pytest.raises(SceneError, match=r"there is no paper 'A3'.*A4"):
        pdf(sheet_of(Drawing(30, 30)), "A3")


def test_viewers_are_told_not_to_scale():
    assert b"/PrintScaling /None" in pdf(sheet_of(Drawing(30, 30)), "A4")


def test_same_sheet_same_bytes():
    blocks = (Para("text"), Items(("one", "two"), ticks=True), Grid(("a",), (("b",),), (1,)))
    sheet = BuildSheet("test", (Section("First", blocks),))
    assert pdf(sheet, "A4") == pdf(sheet, "A4")


def test_check_bar_measures_fifty_millimetres(made):
    _, folder = made
    page = page_pixels(folder / "sheet.pdf", template_page(folder / "sheet.pdf"))
    row = page.shape[0] - round((EDGE_MM + 6) * PX_PER_MM)
    band = page[row - 3 : row + 4, : round(80 * PX_PER_MM)].max(axis=0) > 0.5
    longest = max(runs(band), key=lambda run: run[1] - run[0])
    # Line caps of 0.15 mm at each end.
    length = (longest[1] - longest[0] + 1) / PX_PER_MM - 0.3
    assert length == pytest.approx(50.0, abs=0.2)


def test_a_page_tells_of_what_is_on_it_alone():
    card = BuildSheet("test", (Section("Card", (FullSize("card", (Drawing(50, 50),), ""),)),))
    (*_, last) = page_texts(pdf(card, "A4"))
    assert "This bar must measure 50 mm" in last
    assert "Orange" not in last
    assert "Orange" in page_texts(pdf(sheet_of(Drawing(50, 50)), "A4"))[-1]


def test_a_bearing_is_below_a_full_turn():
    # What is on the +x axis but for a rounding error lies at 0 degrees, not at 360.
    assert [bearing_deg(22.0, y) for y in (0.0, -1e-15, -0.1, 0.1)] == [0, 0, 0, 0]
    assert bearing_deg(-11.0, -19.0) == 240


def test_outline_of_the_base_is_true(made):
    """The circle of the view from above, 40 mm wide, measured across its middle both ways."""
    _, folder = made
    page = page_pixels(folder / "sheet.pdf", template_page(folder / "sheet.pdf"))
    left, top = EDGE_MM + MARGIN_MM, EDGE_MM + HEAD_MM + 6 + MARGIN_MM
    middle_x, middle_y = left + 20, top + 20
    across = page[round(middle_y * PX_PER_MM), round((left - 3) * PX_PER_MM) :]
    across = across[: round(46 * PX_PER_MM)] > 0.5
    down = page[round((top - 3) * PX_PER_MM) :, round(middle_x * PX_PER_MM)]
    down = down[: round(46 * PX_PER_MM)] > 0.5
    for line in (across, down):
        ends = np.flatnonzero(line)[[0, -1]]
        assert (ends[1] - ends[0] + 1) / PX_PER_MM - 0.45 == pytest.approx(40.0, abs=0.3)
        assert (ends[0] / PX_PER_MM) == pytest.approx(3.0, abs=0.4)


def test_a_square_is_square_and_where_it_should_be():
    drawing = Drawing(100, 60)
    corners = np.array([[10, 10], [60, 10], [60, 50], [10, 50]], dtype=float)
    drawing.add(Path(corners, closed=True, width_mm=0.2))
    page = page_pixels(pdf(sheet_of(drawing), "A4"), 1)
    _, tall = area_mm("A4")
    top = 297 - EDGE_MM - FOOT_MM - tall  # of the drawing area, from the paper's top
    down, right = np.nonzero(
        page[round((top + 5) * PX_PER_MM) : round((top + 60) * PX_PER_MM)] > 0.5
    )
    found = np.array([right.min(), right.max(), down.min(), down.max()]) / PX_PER_MM
    assert found == pytest.approx([EDGE_MM + 10, EDGE_MM + 60, 5, 45], abs=0.2)


def big_drawing() -> Drawing:
    drawing = Drawing(300, 400)
    drawing.add(Round((150, 200), 120, 0.4), Path(np.array([[5, 5], [295, 395]]), width_mm=0.4))
    return drawing


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_tiles_join(paper):
    """What two neighbours show of their common overlap is the same, to a pixel's rounding."""
    drawing = big_drawing()
    pages = pages_for("piece", [drawing], paper)
    wide, tall = area_mm(paper)
    columns, rows = 2, 2
    assert len(pages) == columns * rows
    made = pdf(sheet_of(drawing), paper)
    height_mm = {"A4": 297.0, "Letter": 279.4}[paper]
    views = []
    for number in range(len(pages)):
        page = page_pixels(made, number + 1)
        bottom = round((height_mm - EDGE_MM - FOOT_MM) * PX_PER_MM)
        top, left = bottom - round(tall * PX_PER_MM), round(EDGE_MM * PX_PER_MM)
        views.append(page[top:bottom, left : left + round(wide * PX_PER_MM)])
    step = round((wide - OVERLAP_MM) * PX_PER_MM)
    band = round(OVERLAP_MM * PX_PER_MM)
    assert _alike(views[0][:, step : step + band], views[1][:, :band])
    down = round((tall - OVERLAP_MM) * PX_PER_MM)
    assert _alike(views[0][down : down + band], views[2][:band])
    # The check would notice a tile that is off by half a millimetre.
    off = round(0.5 * PX_PER_MM)
    assert not _alike(views[0][:, step - off : step - off + band], views[1][:, :band])


def _alike(one: np.ndarray, other: np.ndarray) -> bool:
    """Whether all that is dark in one is dark in the other, within two pixels."""
    from scipy import ndimage

    dark, wide = [v > 0.5 for v in (one, other)], np.ones((5, 5))
    spread = [ndimage.binary_dilation(v, wide) for v in dark]
    assert dark[0].any()
    missed = (dark[0] & ~spread[1]).sum() + (dark[1] & ~spread[0]).sum()
    return bool(missed < 0.01 * dark[0].sum())


def test_marks_lie_on_both_neighbours():
    pages = pages_for("piece", [big_drawing()], "A4")
    sheet = pages[0].pieces[0].drawing
    rings = [item for item in sheet.items if isinstance(item, Round) and item.radius_mm == 2.0]
    letters = [i.text for i in sheet.items if hasattr(i, "text") and len(i.text) == 1]
    assert len(rings) == len(letters) == len(set(letters)) == 8
    for ring in rings:
        seen = 0
        for page in pages:
            left, bottom, width, height = page.pieces[0].window
            x, y = ring.centre[0] - left, ring.centre[1] - bottom
            seen += 2 < x < width - 2 and 2 < y < height - 2
        assert seen >= 2


def test_pages_are_named_and_nothing_is_lost():
    pages = pages_for("piece", [big_drawing(), Drawing(60, 40)], "A4")
    assert [page.title for page in pages][-1] == "piece"
    assert pages[0].title == "piece, sheet 1 of 4 (row 1, column 1)"
    covered = np.zeros((400, 300), dtype=bool)
    for page in pages[:-1]:
        left, bottom, width, height = page.pieces[0].window
        covered[int(bottom) : round(bottom + height), int(left) : round(left + width)] = True
    assert covered.all()


def test_small_drawings_share_a_page():
    pages = pages_for("piece", [Drawing(80, 60)] * 4, "A4")
    assert len(pages) == 1
    boxes = [(*p.at, *p.window[2:]) for p in pages[0].pieces]
    assert len(boxes) == 2  # two rows of two
    assert boxes[0][1] >= boxes[1][1] + boxes[1][3]


def test_letters_without_a_font_are_known():
    assert unprintable("Lampe für Dörte: Ελλάδα, Україна, 3 × ½ Ω, ≤ 5 °C, ☐ →\n") == ""
    assert unprintable("提灯 lantern 提灯, 등불, ランタン") == "提灯등불ランタ"


def test_what_is_told_as_unprintable_comes_out_as_boxes():
    """All letters without a font look alike; those with one don't."""

    def look(text):
        page = pypdfium2.PdfDocument(pdf(BuildSheet(text, ()), "A4"))[0]
        return np.asarray(page.render(scale=2).to_pil().convert("L"))

    assert unprintable("提灯") == "提灯"
    assert (look("提") == look("灯")).all()
    assert (look("ä") != look("ö")).any()


# A body 170.6 mm across takes 189.6 of the 190 mm that A4 offers, its sizes included.
@pytest.mark.parametrize(
    ("shape", "most"),
    [
        ('{ kind = "orb", diameter_mm = 170.6 }', 2),
        ('{ kind = "dome", diameter_mm = 170.6, height_mm = 60 }', 3),
        ('{ kind = "orb", diameter_mm = 230 }', 4),
        ('{ kind = "slab", length_mm = 230, width_mm = 230, thickness_mm = 230 }', 4),
        ('{ kind = "spike", length_mm = 230, base_diameter_mm = 60 }', 2),
    ],
)
def test_a_mask_takes_few_pages(shape, most):
    text = SPIKE.replace('{ kind = "spike", length_mm = 90, base_diameter_mm = 40 }', shape)
    scene = parse_scene(text, "mask.toml")
    mask = body_places(plan_of(scene), 0, solid_of(scene, 0), 0.3)
    drawings = [figure.drawing for figure in figures_of(mask, area_mm("A4"))]
    assert len(pages_for("mask", drawings, "A4")) <= most


def test_a_wide_drawing_is_turned_and_stays_as_large():
    wide = Drawing(220, 90)
    wide.line((10, 20), (210, 20))
    wide.words(30, 40, "text")
    (page,) = pages_for("wide", [wide], "A4")
    (piece,) = page.pieces
    assert (piece.drawing.width_mm, piece.drawing.height_mm) == (90, 220)
    line, words = piece.drawing.items
    assert np.ptp(line.points, axis=0).tolist() == [0, 200]
    assert words.turned_deg == 90
    # A quarter turn to the left takes (30, 40) to (90 - 40, 30).
    assert words.at == (50, 30)


def test_a_view_without_room_around_it_is_as_large():
    """A spike of 230 mm fills its page: its sizes stand inside, and it measures what it should."""
    text = SPIKE.replace(
        "length_mm = 90, base_diameter_mm = 40", "length_mm = 230, base_diameter_mm = 60"
    )
    scene = parse_scene(text, "tall.toml")
    tall = body_places(plan_of(scene), 0, solid_of(scene, 0), 0.3)
    front = figures_of(tall, area_mm("A4"))[-1].drawing
    assert front.height_mm < 232
    page = page_pixels(pdf(sheet_of(front), "A4"), 1)
    top, left = EDGE_MM + HEAD_MM, EDGE_MM
    body = page[round(top * PX_PER_MM) : round((top + 233) * PX_PER_MM)] > 0.5
    foot = body[round(229 * PX_PER_MM) :].any(axis=0)
    ends = np.flatnonzero(foot)[[0, -1]]
    assert (ends[1] - ends[0]) / PX_PER_MM == pytest.approx(60.0, abs=0.5)
    assert ends[0] / PX_PER_MM == pytest.approx(left + 0.6, abs=0.4)
    down = np.flatnonzero(body.any(axis=1))[[0, -1]]
    assert (down[1] - down[0]) / PX_PER_MM == pytest.approx(230.0, abs=0.6)
