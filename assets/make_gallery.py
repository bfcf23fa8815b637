"""Makes the small pictures of the README from the demo scenes: `python assets/make_gallery.py`.

Takes about three minutes; needs the project installed.
"""

from __future__ import annotations

from pathlib import Path

from PIL import Image

from glowsim import (
    Studio,
    bright_map,
    findings_of,
    parse_scene,
    place,
    read_scene,
    solve,
    write_turntable,
)
from glowsim.decisions.placing_pictures import before_after, mending
from glowsim.pictures import marks_of

HERE = Path(__file__).parent
SCENES = HERE.parent / "scenes"
PHOTO = (480, 360)
MAP = (1280, 960)
QUALITY = 88
FOIL = """
  [[bodies.masks]]
  name = "foil on the top edge"
  coat = "aluminium_foil_tape"
  where = { above_mm = 159.9 }
"""


def main() -> None:
    """Draw every picture anew."""
    for name in (
        "thistle_staff",
        "geode_shoulder",
        "moon_orb",
        "reed_blade",
        "willow_leaf",
        "moth_mask",
    ):
        prop = read_scene(SCENES / f"{name}.toml")
        glow = solve(prop)
        studio = Studio(glow, prop.scene)
        save(studio.photo((960, 720)).resize(PHOTO, Image.Resampling.LANCZOS), name)
        if name == "thistle_staff":
            marks = marks_of(findings_of(glow, prop.scene).found)
            page = bright_map(studio, prop.scene, marks, MAP)
            save(page.resize((720, 540), Image.Resampling.LANCZOS), f"{name}_brightness")
            write_turntable(
                studio,
                HERE / f"gallery_{name}_turning.webp",
                frame_count=36,
                seconds=6,
                size=(320, 240),
            )

    pane()
    placing()


def pane() -> None:
    """Draw the pane of clear acrylic as it is and with foil on its top edge, at one exposure."""
    text = (SCENES / "dew_pane.toml").read_text(encoding="utf-8")
    foil = text.replace("  [[bodies.lights]]", FOIL + "\n  [[bodies.lights]]", 1)
    names, studios = ("dew_pane", "dew_pane_foil"), []
    for name, scene in zip(names, (text, foil), strict=True):
        prop = parse_scene(scene, name)
        studios.append(Studio(solve(prop), prop.scene))
    white = max(studio.exposure_cd_m2 for studio in studios)
    for name, studio in zip(names, studios, strict=True):
        picture = studio.photo((960, 720), exposure_cd_m2=white)
        save(picture.resize(PHOTO, Image.Resampling.LANCZOS), name)


def placing() -> None:
    """Draw the placement of two boards in the README's first prop."""
    text = (HERE.parent / "README.md").read_text(encoding="utf-8")
    answer = place(parse_scene(text.split("```toml")[1].split("```")[0], "bud"), None, 2)
    save(before_after(answer, (360, 270)), "bud_placed")
    sections = mending(answer)
    sections.thumbnail((720, 540), Image.Resampling.LANCZOS)
    save(sections, "bud_mending")


def save(picture: Image.Image, name: str) -> None:
    """Write a picture small."""
    picture.convert("RGB").save(HERE / f"gallery_{name}.webp", quality=QUALITY, method=6)


if __name__ == "__main__":
    main()
