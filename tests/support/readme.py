"""The README's commands and what it shows of their answers; run anew, held against, written anew.

    python -m tests.support.readme            run every command, print where README and program part
    python -m tests.support.readme --write    put what they print now into the README

A line '...' stands for lines left out, and ' ...' at the end of a line for the rest of it.
"""

from __future__ import annotations

import difflib
import re
import shutil
import sys
from dataclasses import dataclass
from pathlib import Path

from tests.support.commands import run

ROOT = Path(__file__).parents[2]
README = ROOT / "README.md"
COLUMNS = "118"
NEAR = 0.02
"""Figures may differ by this share, or by one in their last digit, from machine to machine."""
NUMBER = re.compile(r"\d+(?:\.\d+)?")
PROGRESS = re.compile(r".* \(\d+ s\)")
"""A line that says what is being worked on, and for how long: not part of an answer."""
MISSPELLED = "upholstry_foam_white"


@dataclass(frozen=True)
class Block:
    """A command in the README and the lines it shows, the first of them line `at` (from 0)."""

    command: str
    shown: tuple[str, ...]
    at: int


def blocks(text: str) -> list[Block]:
    """Return the commands of a README with their answers, from top to bottom."""
    found = []
    lines = text.splitlines()
    for at, line in enumerate(lines):
        if line.startswith("$ glowsim ") and lines[at - 1] == "```":
            end = lines.index("```", at)
            found.append(Block(line[2:], tuple(lines[at + 1 : end]), at + 1))
    return found


def prepared(text: str, folder: Path) -> None:
    """Put the files that the README's reader has by then into a folder."""
    bud = re.search(r"Save this as `bud.toml`.*?```toml\n(.*?)```", text, re.DOTALL)
    assert bud is not None, "the README's first scene is gone"
    (folder / "bud.toml").write_text(bud[1])
    foam = 'material = "upholstery_foam_white"'
    assert bud[1].count(foam) == 1
    shell = bud[1].replace(foam, 'material = "pla_white"\nwall_mm = 1.2')
    (folder / "shell.toml").write_text(shell)
    for room in ("scenes", "assets"):
        shutil.copytree(ROOT / room, folder / room, ignore=shutil.ignore_patterns("*-*", "*.webp"))


def answer(block: Block, folder: Path) -> list[str]:
    """Run a block's command; return the lines it prints."""
    scene = folder / "bud.toml"
    right = scene.read_text()
    if any(MISSPELLED in line for line in block.shown):
        scene.write_text(right.replace("upholstery_foam_white", MISSPELLED))
    ended = run(*block.command.split()[1:], folder=folder, COLUMNS=COLUMNS)
    scene.write_text(right)
    assert "Traceback" not in ended.stderr, ended.stderr
    said = [line for line in ended.stderr.splitlines() if not PROGRESS.fullmatch(line)]
    return [line.rstrip() for line in (*ended.stdout.splitlines(), *said)]


def told(line: str) -> bool:
    """Return whether a line says anything, or is empty or a rule under a table's head."""
    return bool(line.strip(" ─"))


def parted(shown: tuple[str, ...], printed: list[str]) -> str:
    """Say where the lines shown part from those printed, or nothing."""
    printed = list(filter(told, printed))
    at, free = 0, False
    for line in filter(told, shown):
        if line == "...":
            free = True
            continue
        there = (k for k in range(at, len(printed)) if same(line, printed[k]))
        found = next(there, None)
        if found is None or (found != at and not free):
            near = printed[at] if at < len(printed) and not free else "no such line"
            return f"README: {line}\nprinted: {near}"
        at, free = found + 1, False
    return "" if free or at == len(printed) else f"not in the README: {printed[at]}"


def same(shown: str, printed: str) -> bool:
    """Return whether two lines say the same, but for spaces and the last digits of figures."""
    if shown.endswith(" ..."):
        shown = shown.removesuffix(" ...")
        printed = printed[: len(shown)]
    ours, theirs = (" ".join(line.split()) for line in (shown, printed))
    if NUMBER.sub("#", ours) != NUMBER.sub("#", theirs):
        return False
    pairs = zip(NUMBER.findall(ours), NUMBER.findall(theirs), strict=True)
    return all(_close(mine, other) for mine, other in pairs)


def _close(mine: str, other: str) -> bool:
    digits = max(len(text.partition(".")[2]) for text in (mine, other))
    a, b = float(mine), float(other)
    return abs(a - b) <= max(NEAR * max(a, b), 1.001 * 10.0**-digits)


def rewritten(shown: tuple[str, ...], printed: list[str]) -> list[str]:
    """Return the lines to show now: what was left out stays left out, as near as can be told."""
    lines: list[str] = []
    at, free = 0, False
    kept = [line for line in shown if told(line)]
    for k, line in enumerate(kept):
        if line == "...":
            lines.append(line)
            free = True
            continue
        if free:
            rest = range(at, len(printed))
            at = max(rest, key=lambda i: (*_likeness(line, printed[i]), -i), default=at)
        while not free and at < len(printed) and not told(printed[at]):
            lines.append(printed[at])
            at += 1
        free = False
        if at < len(printed):
            cut = line.endswith(" ...")
            lines.append(_cut(printed[at], len(line)) if cut else printed[at])
            at += 1
        if k == len(kept) - 1:
            lines += printed[at:]
    return lines


def _likeness(a: str, b: str) -> tuple[float, float]:
    """Return how alike two lines are but for their figures, then with them."""
    bare = difflib.SequenceMatcher(None, NUMBER.sub("#", a), NUMBER.sub("#", b)).ratio()
    return bare, difflib.SequenceMatcher(None, a, b).ratio()


def _cut(line: str, width: int) -> str:
    words, more = line[: width - 4], line[width - 4 :]
    if more and not more.startswith(" "):
        words = words.rsplit(" ", 1)[0]
    return f"{words} ..."


def main(write: bool) -> int:
    """Run all commands in a new folder; return how many answers are not as shown."""
    import tempfile

    text = README.read_text()
    lines = text.splitlines()
    wrong = 0
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        prepared(text, folder)
        answers = [(block, answer(block, folder)) for block in blocks(text)]
    for block, printed in reversed(answers):
        if fault := parted(block.shown, printed):
            wrong += 1
            print(f"README.md, line {block.at}: $ {block.command}\n{fault}\n")
        if write:
            lines[block.at : block.at + len(block.shown)] = rewritten(block.shown, printed)
    if write:
        README.write_text("\n".join(lines) + "\n")
    return wrong


if __name__ == "__main__":
    sys.exit(min(main("--write" in sys.argv[1:]), 1))
