"""What a user reads is in the trade's plain words: home-made ones that were given up stay away."""

from __future__ import annotations

import ast
import re
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
BANNED = {
    r"\breads? as (one|lit)\b": "looks like one, looks lit",
    r"\bx around\b": "vs around",
    r"\bx mean\b": "vs mean",
    r"\baccount closes\b": "energy check",
    r"\bthrows? back\b": "reflects",
    r"\bsends? back\b": "reflects",
    r"\b(it|heat|not) bears?\b": "its limit is",
    r"\bas drawn\b": "at your settings, as it is",
    r"\bmoves? as one\b": "group",
    r"\bfeed the far end\b": "power injection at the far end",
    r"\bswallows?\b": "absorbs",
    r"5 %/mean": "5%/mean",
    r"\bfore(see\w*|tells?|told)\b": "predicted",
    r"\b(are borne|reckon)\b": "limits, work out",
    r"\bare lost on the way\b": "voltage drop",
    r"\bcarries the (show|level)\b": "can run",
    r"\bhangs? on\b": "depends on, is wired to",
    r"\bhangs? behind\b": "after it",
    r"\bby (this|our) sum\b|\ba sum on paper\b": "by this estimate, theoretical",
    r"\bat its end\b(?=;)": "clipped",
    r"\bnot belong together\b": "contradict each other",
    r"\bby turns\b": "alternate",
    r"\bis another:": "differs",
    r"\bbears (W|mA)\b": "limit W, limit mA",
    r"\bslip of the pen\b": "typo",
    r"\b(nothing|clearly|comes out|is) evener\b": "more even",
    r"\bby both ends\b": "dark and bright places together",
    r"\bquiescent (current|draw)\b": "idle current",
}
"""Words that were given up, and what stands in their place."""


def strings(file):
    """Yield the texts of a file that a user may read, with their lines: all but docstrings."""
    tree = ast.parse(file.read_text(encoding="utf-8"))
    silent = {
        id(node.value)
        for node in ast.walk(tree)
        if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant)
    }
    for node in ast.walk(tree):
        if (
            isinstance(node, ast.Constant)
            and isinstance(node.value, str)
            and id(node) not in silent
        ):
            yield node.lineno, node.value


def faults(texts):
    return [
        f"line {line}: {text.strip()[:60]!r}: say {instead}"
        for line, text in texts
        for word, instead in BANNED.items()
        if re.search(word, text)
    ]


@pytest.mark.parametrize(
    "room", sorted(path.name for path in (ROOT / "glowsim").iterdir() if path.is_dir())
)
def test_no_word_that_was_given_up(room):
    found = {
        str(file.relative_to(ROOT)): wrong
        for file in sorted((ROOT / "glowsim" / room).rglob("*.py"))
        if (wrong := faults(strings(file)))
    }
    assert not found


def test_nor_in_the_readme():
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    # What it shows of the program's answers is held to the program by tests/test_readme.py.
    own = re.sub(
        r"```\n\$ glowsim .*?```", lambda shown: "\n" * shown[0].count("\n"), text, flags=re.S
    )
    assert not faults(enumerate(own.splitlines(), 1))


def test_a_banned_word_is_found():
    assert faults([(3, "it reads as lit from there on")])
    assert not faults([(3, "an even fade, as the eye reads it")])
