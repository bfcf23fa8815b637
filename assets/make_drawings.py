"""Make the demo drawings beside this file: python assets/make_drawings.py

The shapes are the project's own; the same script always makes the same files.
"""

from __future__ import annotations

from pathlib import Path

HERE = Path(__file__).parent

LEAF = (
    "M 44,285 C 30,270 8,235 8,190 C 8,150 26,130 24,105 C 22,75 38,40 44,5 "
    "C 50,40 66,75 64,105 C 62,130 80,150 80,190 C 80,235 58,270 44,285 Z"
)
"""A leaf 280 mm high with a waist, its stem below (y runs downward in an SVG)."""


def willow_leaf() -> str:
    """Return the drawing of a leaf blade with an eye, on a sheet with a guide line."""
    return f"""\
<svg xmlns="http://www.w3.org/2000/svg" width="88mm" height="290mm" viewBox="0 0 88 290">
  <title>Willow leaf, 280 mm from stem to tip</title>
  <g id="cut" fill="none" stroke="black" stroke-width="0.3">
    <path id="leaf" d="{LEAF}"/>
    <circle id="eye" cx="44" cy="105" r="11"/>
  </g>
  <g id="guides" stroke="gray" stroke-width="0.2">
    <path id="midrib" d="M 44,285 V 5"/>
  </g>
</svg>
"""


def main() -> None:
    (HERE / "willow_leaf.svg").write_text(willow_leaf(), encoding="utf-8", newline="\n")


if __name__ == "__main__":
    main()
