"""Commands run on the saved scene in the background of the page, just as they are typed.

They run as programs of their own: results land where the commands put them, the page stays quick,
and giving one up is the Ctrl-C that every command heeds.
"""

from __future__ import annotations

import os
import re
import signal
import subprocess
import sys
import threading
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from glowsim.errors import GlowsimError
from glowsim.live.lane import SupersededError

SHOWN = (".pdf", ".html", ".png", ".webp", ".gif", ".csv", ".toml", ".json", ".md", ".txt")
"""Kinds of results that a browser can show."""
_SIGNS = re.compile(r"\x1b\[[0-9;?]*[A-Za-z]")
_DRAWN = re.compile("[\u2800-\u28ff\u2500-\u257f]+| 0:00:00$|-:--:--$")
"""Spinners and bars."""
_PATIENCE_S = 20.0
_WIDE = 400
"""Columns of the terminal that commands believe in: no path is broken over two lines."""


@dataclass(frozen=True)
class Made:
    """What a command made.

    words : what a maker calls it;  text : what it printed;  files : what it wrote
    """

    words: str
    text: str
    files: tuple[Path, ...] = ()

    @property
    def to_open(self) -> tuple[Path, ...]:
        """The files that a browser can show."""
        return tuple(file for file in self.files if file.suffix.lower() in SHOWN)


class FailedError(GlowsimError):
    """A command that failed, and what it made all the same."""

    def __init__(self, message: str, made: Made) -> None:
        """Say why."""
        super().__init__(message)
        self.made = made


class Command:
    """One command at work."""

    def __init__(self, words: str, arguments: list[str]) -> None:
        """Set up `glowsim ARGUMENTS`; `words` is what a maker calls it."""
        self.words = words
        self._arguments = arguments
        self._process: subprocess.Popen[bytes] | None = None
        self._given_up = False

    def run(self, report: Callable[[str], None]) -> Made:
        """Run it to its end; return what it made.

        report : told what it says it is doing
        Raises SupersededError once it was given up, FailedError with its words if it fails.
        """
        environment = os.environ | {"FORCE_COLOR": "1", "COLUMNS": str(_WIDE), "PYTHONUTF8": "1"}
        with subprocess.Popen(
            [sys.executable, "-m", "glowsim.cli", *self._arguments],
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            env=environment,
        ) as process:
            self._process = process
            if self._given_up:
                self.give_up()
            printed: list[bytes] = []
            assert process.stdout is not None
            reading = threading.Thread(target=lambda: printed.append(process.stdout.read()))  # type: ignore[union-attr]
            reading.start()
            last = self._follow(process, report)
            status = process.wait()
            reading.join()
        if self._given_up:
            raise SupersededError
        made = made_of(self.words, b"".join(printed).decode("utf-8", "replace"))
        if status != 0:
            raise FailedError(f"{self.words}: {last}", made)
        return made

    def give_up(self) -> None:
        """Press Ctrl-C for it; one that doesn't heed that is ended."""
        self._given_up = True
        process = self._process
        if process is None or process.poll() is not None:
            return
        if os.name == "nt":
            process.terminate()
            return
        process.send_signal(signal.SIGINT)
        threading.Timer(_PATIENCE_S, process.kill).start()

    def end(self) -> None:
        """End it at once."""
        if self._process is not None:
            self._process.kill()

    def _follow(self, process: subprocess.Popen[bytes], report: Callable[[str], None]) -> str:
        """Report what is said as it is said; return the last words, an error's all."""
        last, error = "", ""
        assert process.stderr is not None
        while piece := process.stderr.read1(4096):  # type: ignore[attr-defined]
            for line in said(piece).splitlines():
                if not line or line == last:
                    continue
                last = line
                error = line if line.startswith("glowsim:") else error and f"{error}\n{line}"
                if not self._given_up:
                    report(line)
        return error.removeprefix("glowsim:").strip() or last


def said(piece: bytes) -> str:
    """Return what a progress line says, without what moves the cursor."""
    lines = _SIGNS.sub("", piece.decode("utf-8", "replace")).splitlines()
    return "\n".join(" ".join(_DRAWN.sub(" ", line).split()) for line in lines).strip()


def made_of(words: str, printed: str) -> Made:
    """Return what a command says that it made: its files stand after 'Written:'."""
    text, _, listed = _SIGNS.sub("", printed).partition("Written:")
    files = tuple(Path(line.strip()).resolve() for line in listed.splitlines() if line.strip())
    return Made(words, "\n".join(line.rstrip() for line in text.splitlines()).strip("\n"), files)
