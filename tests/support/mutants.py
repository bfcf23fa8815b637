"""Small wrongs put into the code one at a time, to see whether the quick tests notice.

    python -m tests.support.mutants --many 250          draw places by a fixed seed, try the new
    python -m tests.support.mutants --again             try once more those that survived
    python -m tests.support.mutants --only electrics/pack.py --many 20

Which test runs which line is recorded first (some minutes; later only for test files that changed)
and kept with the outcomes in a folder outside the tree. Wrongs live in memory alone: a forked
process compiles the wronged text in place of the file, so nothing in the tree is ever changed.
"""

from __future__ import annotations

import argparse
import ast
import importlib
import json
import os
import resource
import sys
import tempfile
import time
import traceback
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from hashlib import sha256
from importlib.machinery import SourceFileLoader
from pathlib import Path
from types import FrameType
from typing import Any

ROOT = Path(__file__).parents[2]
ROOMS = ("optics", "findings", "electrics")
DIMENSIONS = ("places", "seats", "jig", "template")
"""What of `buildsheet/` people cut and drill to."""
TESTS = (
    *(f"tests/{room}/test_*.py" for room in (*ROOMS, "buildsheet")),
    "tests/calibration/test_piles.py",  # optics/hole.py
    "tests/test_public_names.py",  # findings/shown.py
)
STORE = Path(tempfile.gettempdir()) / "glowsim-mutants"
SEED = 1
LONGEST_S = 120
"""Of processor time, for one wrong."""
QUICK_S, AGAIN_S = 12.0, 60.0
"""Of tests, as recorded: for a first try, and where that was survived."""
READY = (
    *("pytest", "hypothesis", "hypothesis.internal.conjecture.engine", "tomlkit", "numba"),
    *("scipy.sparse.linalg", "scipy.interpolate", "scipy.optimize", "scipy.spatial", "trimesh"),
    *("igl", "pydantic.networks", "pydantic.types", "rich.console", "reportlab.pdfgen.canvas"),
)
"""What is imported once, before forking."""
BROKEN = 99
"""Exit code of a try that went wrong by itself."""
SWAPPED: dict[type[ast.AST], tuple[str, str]] = {
    ast.Lt: ("<", "<="),
    ast.LtE: ("<=", "<"),
    ast.Gt: (">", ">="),
    ast.GtE: (">=", ">"),
    ast.Eq: ("==", "!="),
    ast.NotEq: ("!=", "=="),
    ast.Is: ("is", "is not"),
    ast.IsNot: ("is not", "is"),
    ast.In: ("in", "not in"),
    ast.NotIn: ("not in", "in"),
    ast.Add: ("+", "-"),
    ast.Sub: ("-", "+"),
    ast.Mult: ("*", "/"),
    ast.Div: ("/", "*"),
    ast.FloorDiv: ("//", "/"),
    ast.Mod: ("%", "*"),
    ast.Pow: ("**", "*"),
    ast.And: ("and", "or"),
    ast.Or: ("or", "and"),
}
NAMES = {"min": "max", "max": "min", "any": "all", "all": "any", "minimum": "maximum"}
NAMES |= {"maximum": "minimum", "floor": "ceil", "ceil": "floor", "sin": "cos", "cos": "sin"}
NAMES |= {"argmin": "argmax", "argmax": "argmin", "mean": "median"}


@dataclass(frozen=True, order=True)
class Mutant:
    """Characters `start` to `end` of a file, replaced."""

    file: str
    line: int
    start: int
    end: int
    new: str

    def text(self) -> str:
        """The file's text with the wrong in it."""
        source = (ROOT / self.file).read_text()
        return source[: self.start] + self.new + source[self.end :]

    def __str__(self) -> str:
        source = (ROOT / self.file).read_text()
        begin = source.rfind("\n", 0, self.start) + 1
        end = source.find("\n", self.end)
        before, old = source[begin : self.start].lstrip(), source[self.start : self.end]
        return f"{self.file}: {before}[{old} -> {self.new}]{source[self.end : end]}"


class _Places(ast.NodeVisitor):
    """Collects what can be wronged; leaves out texts, annotations, decorators and f-strings."""

    def __init__(self, file: Path) -> None:
        self.source = file.read_text()
        self.name = str(file.relative_to(ROOT))
        lines = self.source.splitlines(keepends=True)
        self.starts = [sum(map(len, lines[:k])) for k in range(len(lines))]
        self.lines = lines
        self.found: list[Mutant] = []
        self.visit(ast.parse(self.source))

    def at(self, line: int, column: int) -> int:
        """Offset in characters of a column in bytes."""
        return self.starts[line - 1] + len(self.lines[line - 1].encode()[:column].decode())

    def add(self, node: ast.expr, new: str) -> None:
        start, end = self.at(node.lineno, node.col_offset), self.at(*_end(node))
        self.found.append(Mutant(self.name, node.lineno, start, end, new))

    def between(self, left: ast.expr, operator: ast.AST, right: ast.expr) -> None:
        """The operator's own characters, between its operands."""
        old, new = SWAPPED.get(type(operator), ("", ""))
        start, end = self.at(*_end(left)), self.at(right.lineno, right.col_offset)
        at = self.source.find(old, start, end) if old else -1
        if at >= 0:
            line = self.source.count("\n", 0, at) + 1
            self.found.append(Mutant(self.name, line, at, at + len(old), new))

    def visit_JoinedStr(self, node: ast.JoinedStr) -> None:
        pass

    def visit_AnnAssign(self, node: ast.AnnAssign) -> None:
        if node.value is not None:
            self.visit(node.value)

    def visit_arg(self, node: ast.arg) -> None:
        pass

    def visit_ClassDef(self, node: ast.ClassDef) -> None:
        for part in node.body:
            self.visit(part)

    def visit_FunctionDef(self, node: ast.FunctionDef) -> None:
        for part in (node.args, *node.body):
            self.visit(part)

    def visit_BinOp(self, node: ast.BinOp) -> None:
        if not isinstance(node.left, ast.Constant) or not isinstance(node.left.value, str):
            self.between(node.left, node.op, node.right)
        self.generic_visit(node)

    def visit_AugAssign(self, node: ast.AugAssign) -> None:
        self.between(node.target, node.op, node.value)
        self.generic_visit(node)

    def visit_BoolOp(self, node: ast.BoolOp) -> None:
        for left, right in zip(node.values, node.values[1:], strict=False):
            self.between(left, node.op, right)
        self.generic_visit(node)

    def visit_Compare(self, node: ast.Compare) -> None:
        for left, op, right in zip(
            [node.left, *node.comparators], node.ops, node.comparators, strict=False
        ):
            self.between(left, op, right)
        self.generic_visit(node)

    def visit_UnaryOp(self, node: ast.UnaryOp) -> None:
        if isinstance(node.op, ast.Not | ast.USub):
            start = self.at(node.lineno, node.col_offset)
            end = self.at(node.operand.lineno, node.operand.col_offset)
            self.found.append(Mutant(self.name, node.lineno, start, end, " "))
        if not isinstance(node.operand, ast.Constant):  # -2 for -1 says the same to numpy
            self.visit(node.operand)

    def visit_Constant(self, node: ast.Constant) -> None:
        value = node.value
        if isinstance(value, bool):
            self.add(node, str(not value))
        elif isinstance(value, int):
            self.add(node, str(value + 1))
        elif isinstance(value, float):
            self.add(node, repr(2 * value if value else 1.0))

    def visit_Call(self, node: ast.Call) -> None:
        name = node.func
        old = name.id if isinstance(name, ast.Name) else getattr(name, "attr", "")
        if old in NAMES:
            end = self.at(*_end(name))
            self.found.append(Mutant(self.name, _end(name)[0], end - len(old), end, NAMES[old]))
        if old in ("round", "_listed"):
            self.visit(node.args[0])  # how many digits are printed is not held by tests,
        elif old in ("Path", "line"):  # nor how thick its lines are,
            for part in node.args:
                if not isinstance(part, ast.Constant):
                    self.visit(part)
        elif old != "words":  # nor where the words of a drawing stand
            self.generic_visit(node)


def _end(node: ast.expr) -> tuple[int, int]:
    assert node.end_lineno is not None
    assert node.end_col_offset is not None
    return node.end_lineno, node.end_col_offset


def files(only: str | None = None) -> list[Path]:
    """Return the files whose wrongs are drawn."""
    code = ROOT / "glowsim"
    if only:
        return [code / only]
    found = [file for room in ROOMS for file in sorted((code / room).glob("*.py"))]
    return found + [code / "buildsheet" / f"{name}.py" for name in DIMENSIONS]


def drawn(many: int, seed: int, only: str | None = None) -> list[Mutant]:
    """Return so many, spread over the files by how much of each can be wronged.

    By a hash of what they say: work on one line leaves the draw of all others as it was.
    """
    every = [mutant for file in files(only) for mutant in _Places(file).found]
    return sorted(sorted(every, key=lambda m: sha256(f"{seed} {m}".encode()).digest())[:many])


class Recorder:
    """A plugin of pytest: which lines of the files each test runs, and what processor time it
    takes, that of programs it starts included."""

    def __init__(self) -> None:
        self.began_s = 0.0
        self.watched = {str(file): str(file.relative_to(ROOT)) for file in files()}
        self.now: set[tuple[str, int]] = set()
        self.tests: dict[str, dict[str, Any]] = {}

    def trace(self, frame: FrameType, event: str, _: object) -> Callable[..., Any] | None:
        file = self.watched.get(frame.f_code.co_filename)
        if file is None:
            return None

        def line(frame: FrameType, event: str, _: object) -> Callable[..., Any]:
            self.now.add((file, frame.f_lineno))
            return line

        return line(frame, event, None)

    def pytest_runtest_logstart(self, nodeid: str) -> None:
        self.now, self.began_s = set(), sum(os.times()[:4])
        sys.settrace(self.trace)

    def pytest_runtest_logreport(self, report: Any) -> None:
        if report.when == "teardown":
            sys.settrace(None)
            seconds = sum(os.times()[:4]) - self.began_s
            self.tests[report.nodeid] = {"s": seconds, "lines": sorted(self.now)}


def forked(work: Callable[[], int], longest_s: int, log: Path) -> int | None:
    """Run a call in a forked process; return its exit code, None where time ran out."""
    process = os.fork()
    if process == 0:
        os.setsid()
        resource.setrlimit(resource.RLIMIT_CPU, (longest_s, longest_s))
        to = os.open(log, os.O_CREAT | os.O_WRONLY | os.O_TRUNC)
        os.dup2(to, 1)
        os.dup2(to, 2)
        code = BROKEN
        try:
            code = work()
        except BaseException:
            traceback.print_exc()
        sys.stdout.flush()
        os._exit(code)
    status = os.waitpid(process, 0)[1]
    return None if os.WIFSIGNALED(status) else os.WEXITSTATUS(status)


def tested(tests: list[str], *plugins: object) -> int:
    """Run tests in this process."""
    import pytest

    quiet = ["-x", "-q", "--tb=line", "-p", "no:cacheprovider", "-p", "pytest_timeout"]
    quiet += ["-W", "ignore:Module already imported:pytest.PytestAssertRewriteWarning"]
    return int(pytest.main([*quiet, *tests], plugins=list(plugins)))


def wronged(mutant: Mutant, tests: list[str]) -> int:
    """Run tests with the wrong in place of the file."""
    path, text = str(ROOT / mutant.file), mutant.text()
    honest = SourceFileLoader.get_code

    def get_code(self: SourceFileLoader, fullname: str) -> Any:
        if str(self.path) == path:
            return compile(text, path, "exec", dont_inherit=True)
        return honest(self, fullname)

    SourceFileLoader.get_code = get_code  # type: ignore[assignment,method-assign]
    return tested(tests)


def recorded(folder: Path) -> dict[str, dict[str, Any]]:
    """Return the lines that each test runs; test files that changed since are run again."""
    kept = folder / "lines.json"
    known: dict[str, dict[str, Any]] = json.loads(kept.read_text()) if kept.exists() else {}
    for file in sorted(file for pattern in TESTS for file in ROOT.glob(pattern)):
        name, mark = str(file.relative_to(ROOT)), sha256(file.read_bytes()).hexdigest()
        if known.get(name, {}).get("mark") != mark:
            print(f"recording {name}", flush=True)
            known[name] = {"mark": mark, "tests": _recorded(name, folder)}
            kept.write_text(json.dumps(known))
    return {test: entry for file in known.values() for test, entry in file["tests"].items()}


def _recorded(name: str, folder: Path) -> dict[str, Any]:
    made = folder / "recorded.json"

    def record() -> int:
        recorder = Recorder()
        code = tested([name], recorder)
        made.write_text(json.dumps(recorder.tests))
        return code

    code = forked(record, 3600, folder / "record.log")
    assert code in (0, 5), f"{name} fails as it is: see {folder / 'record.log'}"
    found: dict[str, Any] = json.loads(made.read_text())
    return found


def chosen(mutant: Mutant, tests: dict[str, dict[str, Any]], longest_s: float) -> list[str]:
    """Return the tests that may notice, the quickest first, as many as there is time for.

    Those named after the file first (what is cached runs in the first of them alone), then those
    that run the line, or any of the file where the line runs at import.
    """
    name = f"test_{Path(mutant.file).stem}"
    lines = {
        test: [n for file, n in it["lines"] if file == mutant.file] for test, it in tests.items()
    }
    there = [test for test, at in lines.items() if mutant.line in at or name in test]
    if not any(mutant.line in at for at in lines.values()):
        there = [test for test, at in lines.items() if at or name in test]
    taken, spent = [], 0.0
    for test in sorted(there, key=lambda test: (name not in test, tests[test]["s"], test)):
        spent += tests[test]["s"]
        if spent > longest_s and taken:
            break
        taken.append(test)
    return taken


def tried(
    mutants: list[Mutant], folder: Path, tests: dict[str, Any], longest_s: float
) -> Iterator[tuple[Mutant, str]]:
    """Try each in turn; yield it with its fate."""
    honest = min(tests, key=lambda test: (tests[test]["s"], test))
    assert forked(lambda: tested([honest]), LONGEST_S, folder / "mutant.log") == 0, "see its log"
    ready = {mutant: chosen(mutant, tests, longest_s) for mutant in mutants}
    for mutant, names in sorted(ready.items(), key=lambda it: sum(tests[t]["s"] for t in it[1])):
        if not names:
            yield mutant, "SURVIVED, no test"
            continue
        code = forked(lambda m=mutant, n=names: wronged(m, n), LONGEST_S, folder / "mutant.log")  # type: ignore[misc]
        assert code != BROKEN, f"see {folder / 'mutant.log'}"
        yield mutant, {None: "out of time", 0: "SURVIVED"}.get(code, "killed")


def main() -> None:
    """Read the command line and run."""
    reader = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawTextHelpFormatter
    )
    reader.add_argument("--many", type=int, default=250)
    reader.add_argument("--seed", type=int, default=SEED)
    reader.add_argument("--only", help="one file, below glowsim/")
    reader.add_argument("--again", action="store_true", help="those that survived last time")
    reader.add_argument("--folder", type=Path, default=STORE)
    asked = reader.parse_args()
    folder = asked.folder
    folder.mkdir(parents=True, exist_ok=True)
    os.chdir(ROOT)
    os.environ["PYTEST_DISABLE_PLUGIN_AUTOLOAD"] = "1"
    for module in READY:
        importlib.import_module(module)
    tests = recorded(folder)
    kept = folder / "fates.json"
    fates: dict[str, str] = json.loads(kept.read_text()) if kept.exists() else {}
    mutants = drawn(asked.many, asked.seed, asked.only)
    if asked.again:
        mutants = [mutant for mutant in mutants if fates.get(str(mutant), "").startswith("S")]
    else:
        mutants = [mutant for mutant in mutants if str(mutant) not in fates]
    longest_s = AGAIN_S if asked.again else QUICK_S
    began = time.monotonic()
    for count, (mutant, fate) in enumerate(tried(mutants, folder, tests, longest_s), 1):
        fates[str(mutant)] = fate
        kept.write_text(json.dumps(fates, indent=1))
        print(f"{count:4d} {time.monotonic() - began:5.0f} s  {fate:9s} {mutant}", flush=True)
    every = [fates.get(str(mutant), "") for mutant in drawn(asked.many, asked.seed, asked.only)]
    print(f"{len(every)} drawn, {sum(fate.startswith('S') for fate in every)} survived")


if __name__ == "__main__":
    main()
