"""Makes the README's picture of the page of `glowsim live`: `python -m assets.make_live`.

Needs the project installed with its extras `live` and `dev`, Chromium and its driver. The scene is
the printed shell of the README with two boards, one of them in hand.
"""

from __future__ import annotations

import io
import tempfile
from pathlib import Path

from PIL import Image

from tests.support.browser import Page, browsing, serving

HERE = Path(__file__).parent
SIZE = (1280, 720)
SHOWN = (960, 540)
QUALITY = 84


def scene_text() -> str:
    """Return the README's first prop as a printed shell, with a second board up its axis."""
    text = (HERE.parent / "README.md").read_text(encoding="utf-8")
    text = text.split("```toml")[1].split("```")[0].strip()
    text = text.replace('"upholstery_foam_white"', '"pla_white"\nwall_mm = 1.2')
    board = "[[bodies.lights]]" + text.split("[[bodies.lights]]")[1]
    second = board.replace("round_7", "rgb_5050_18ma").replace("[0, 0, 12]", "[0, 0, 55]")
    return f"{text}\n\n  {second}\n"


def main() -> None:
    """Take the picture anew."""
    with tempfile.TemporaryDirectory() as folder:
        scene = Path(folder) / "shell.toml"
        scene.write_text(scene_text(), encoding="utf-8")
        size = f"--window-size={SIZE[0]},{SIZE[1] + 139}"
        with (
            serving(scene, cwd=folder) as (address, _),
            browsing(Path(folder) / "browser", size) as driver,
        ):
            driver.get(address)
            page = Page(driver)
            page.by(scheme="dark")
            page.until("return window.glowsimStage?.shown && glowsimStage.outlines.boards.length")
            page.rests()
            page.grab(1).click().perform()
            page.until("return document.querySelector('.carried').offsetParent && 1")
            picture = Image.open(io.BytesIO(driver.get_screenshot_as_png())).convert("RGB")
    picture.thumbnail(SHOWN, Image.Resampling.LANCZOS)
    picture.save(HERE / "gallery_live.webp", quality=QUALITY, method=6)


if __name__ == "__main__":
    main()
