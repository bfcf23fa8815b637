"""Contrast of the page's words by day and by night, from its style sheet; faults in its scripts."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

LIVE = Path(__file__).parent.parent.parent / "glowsim" / "live"
STYLE = (LIVE / "style.css").read_text(encoding="utf-8")
SCRIPTS = sorted([*LIVE.glob("*.js"), *LIVE.glob("js/*.js")])
TEXT, LARGE = 4.5, 3.0
"""Least contrast of text, and of lines and controls: WCAG 2.2, criteria 1.4.3 and 1.4.11, AA."""


def variables(block):
    return dict(re.findall(r"--([\w-]+):\s*([^;]+);", block))


def schemes():
    day_block = STYLE.partition("prefers-color-scheme: light")[2]
    night = variables(STYLE.partition("@media")[0])
    return {"night": night, "day": night | variables(day_block.partition("}")[0])}


def rgba(colour):
    if colour.startswith("#"):
        return [int(colour[k : k + 2], 16) for k in (1, 3, 5)], 1.0
    *rgb, share = (float(v) for v in re.findall(r"[\d.]+", colour))
    return rgb, share / 100


def over(colour, behind):
    """Return an opaque colour, or a see-through one over what is behind it."""
    (rgb, share), back = rgba(colour), rgba(behind)[0]
    return [share * a + (1 - share) * b for a, b in zip(rgb, back, strict=True)]


def luminance(rgb):
    """Relative luminance as WCAG 2.2 defines it."""
    parts = [v / 255 for v in rgb]
    r, g, b = (v / 12.92 if v <= 0.04045 else ((v + 0.055) / 1.055) ** 2.4 for v in parts)
    return 0.2126 * r + 0.7152 * g + 0.0722 * b


def contrast(colour, paper, behind="#ffffff"):
    light = sorted(luminance(over(c, behind)) for c in (colour, paper))
    return (light[1] + 0.05) / (light[0] + 0.05)


def test_contrast_is_that_of_the_standard():
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)
    assert contrast("#777777", "#ffffff") == pytest.approx(4.48, abs=0.01)


@pytest.mark.parametrize("scheme", ["night", "day"])
def test_words_can_be_read(scheme):
    known = schemes()[scheme]
    pairs = [(ink, paper) for ink in ("ink", "dim", "strong", "hand")
             for paper in ("wall", "paper", "field")]  # fmt: skip
    pairs += [("wrong", "wrong-paper"), ("asked", "asked-paper"), ("wall", "hand")]
    low = {pair: contrast(known[pair[0]], known[pair[1]]) for pair in pairs}
    assert {pair: round(c, 2) for pair, c in low.items() if c < TEXT} == {}
    assert contrast(known["line"], known["wall"]) >= LARGE


def test_words_over_the_prop_can_be_read_whatever_glows_behind_them():
    night = schemes()["night"]
    for ink in ("ink", "dim", "strong", "hand"):
        assert contrast(night[ink], night["over"], behind="#ffffff") >= TEXT
    behind_the_sentence = re.search(r"transparent, (rgb\([^)]*\))", STYLE).group(1)
    assert contrast(night["ink"], behind_the_sentence, behind="#ffffff") >= TEXT


def test_focus_is_seen_wherever_it_is():
    assert re.search(r":focus-visible[^{]*\{[^}]*outline: 2px solid var\(--hand\)", STYLE)
    assert "outline: none" not in STYLE
    assert "outline: 0" not in STYLE


@pytest.mark.parametrize("script", SCRIPTS, ids=lambda s: s.name)
def test_scripts_are_clean(script):
    text = script.read_text(encoding="utf-8")
    code = re.sub(r"//[^\n]*", "", text)
    for wrong in (r"\bvar\s", r"[^=!]==[^=]", r"!=[^=]", r"console\.log", r"\beval\(", "innerHTML",
                  r"https?://", r"debugger"):  # fmt: skip
        assert not re.search(wrong, code), wrong
    assert max(map(len, text.splitlines())) <= 128
    for names in re.findall(r"import \{([^}]*)\}", code):
        for name in names.split(","):
            assert len(re.findall(rf"\b{name.strip()}\b", code)) > 1, f"{name} is never used"
    for name in re.findall(r"^(?:const|function|let) (\w+)", code, re.MULTILINE):
        assert len(re.findall(rf"\b{name}\b", code)) > 1, f"{name} is never used"
