"""Tries kept beside the scene: a picture, the key figures and the scene of each.

Each is written whole as soon as it is kept, so that a crash or a restart loses none.
"""

from __future__ import annotations

import json
from contextlib import suppress
from dataclasses import asdict, dataclass
from pathlib import Path

from glowsim.errors import SceneError
from glowsim.files import write_whole


@dataclass(frozen=True)
class Try:
    """One try: its number, what is said of it, and the text of its scene."""

    number: int
    words: str
    scene: str


class Tries:
    """The tries of one scene, in a folder beside it."""

    def __init__(self, scene: Path) -> None:
        """Look at what has been kept; files that are not tries are left alone."""
        self.folder = scene.with_name(f"{scene.stem}-tries")
        self.kept = sorted(self._read(), key=lambda one: one.number)

    def picture(self, number: int) -> Path:
        """Return the file of a try's picture."""
        return self.folder / f"try-{number}.png"

    def keep(self, words: str, scene: str, picture: bytes) -> Try:
        """Keep a try; raises SceneError if it cannot be written."""
        one = Try(max((t.number for t in self.kept), default=0) + 1, words, scene)
        try:
            # The picture first: a try counts from when its own file is there.
            write_whole(self.picture(one.number), picture)
            text = json.dumps(asdict(one), ensure_ascii=False, indent=1)
            write_whole(self._file(one.number), text.encode())
        except OSError as problem:
            raise SceneError(
                f"{self.folder}: a try cannot be kept there: {problem.strerror or problem}"
            ) from None
        self.kept.append(one)
        return one

    @property
    def _last(self) -> Path:
        return self.folder / "unsaved.toml"

    def remember(self, scene: str | None) -> None:
        """Keep the text of a scene with changes that are not saved yet, None once they are.

        A disk that cannot be written is no reason to stop moving boards: nothing is raised.
        """
        with suppress(OSError):
            if scene is not None:
                write_whole(self._last, scene.encode())
            else:
                self._last.unlink(missing_ok=True)
                self.folder.rmdir()  # refused while there are tries in it

    def remembered(self) -> str | None:
        """Return the text that was kept when the program ended without its being saved."""
        try:
            return self._last.read_text(encoding="utf-8")
        except (OSError, UnicodeDecodeError):
            return None

    def drop(self, number: int) -> None:
        """Forget a try and remove its files."""
        self.kept = [one for one in self.kept if one.number != number]
        self._file(number).unlink(missing_ok=True)
        self.picture(number).unlink(missing_ok=True)

    def _file(self, number: int) -> Path:
        return self.folder / f"try-{number}.json"

    def _read(self) -> list[Try]:
        found = []
        for file in self.folder.glob("try-*.json"):
            try:
                data = json.loads(file.read_text(encoding="utf-8"))
                found.append(Try(int(data["number"]), str(data["words"]), str(data["scene"])))
            except (OSError, ValueError, KeyError, TypeError):
                continue
        return found
