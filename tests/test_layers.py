"""The shape of the code: imports run one way, files and functions stay short."""

from __future__ import annotations

import ast
import subprocess
import sys
from functools import cache
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent / "glowsim"
FILES = sorted(ROOT.rglob("*.py"))

ROOMS = {
    **dict.fromkeys(
        ("errors", "units", "tomlfile", "tomllines", "described", "files", "notebook", "plain"), 0
    ),
    **dict.fromkeys(("optics", "scene", "catalogue"), 1),
    "geometry": 2,
    "transport": 3,
    **dict.fromkeys(("findings", "pictures", "electrics"), 4),
    **dict.fromkeys(("calibration", "decisions"), 5),
    "buildsheet": 6,
    "live": 7,
    "cli": 8,
}
"""Number of each room: a room imports from lower numbers only. Those of 0 are single files of
one room, which may import each other."""
TOP = ("__init__", "__main__")
"""Files above all rooms; `start` is one that imports the standard library alone."""

MOST_LINES = 400
MOST_BODY_LINES = 60
"""The aim is 40; this is where it stops being a matter of taste."""
HEAVY = ("trimesh", "numba", "matplotlib", "pyrender", "scipy")
"""Modules that take so long to import that a command which does without must not wait."""


def room_of(file: Path) -> str:
    """Return the room a file belongs to: its folder, or its own name at the top."""
    inner = file.relative_to(ROOT).parts
    return inner[0] if len(inner) > 1 else file.stem


@cache
def tree_of(file: Path) -> ast.Module:
    """Return what a file says, parsed."""
    return ast.parse(file.read_text(encoding="utf-8"))


@cache
def imported_by(file: Path) -> list[tuple[str, int]]:
    """Return every module a file imports, wherever in it, with the line."""
    return imports_in(tree_of(file), ["glowsim", *file.relative_to(ROOT).parts[:-1]])


def imports_in(tree: ast.Module, package: list[str]) -> list[tuple[str, int]]:
    """Return the modules that a text of `package` imports, with the line."""
    found = []
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            found += [(alias.name, node.lineno) for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            base = package[: len(package) - node.level + 1] if node.level else []
            module = ".".join([*base, *([node.module] if node.module else [])])
            # `from glowsim import scene` imports a room just as well.
            found += [(f"{module}.{alias.name}", node.lineno) for alias in node.names]
        elif _imports_by_name(node):
            found.append((ast.literal_eval(node.args[0]), node.lineno))
    return found


def _imports_by_name(node: ast.AST) -> bool:
    if (
        not isinstance(node, ast.Call)
        or not node.args
        or not isinstance(node.args[0], ast.Constant)
    ):
        return False
    name = node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")
    return name in ("import_module", "__import__")


def own_imports(file: Path) -> list[tuple[str, int]]:
    """Return the rooms of the project a file imports, with the line."""
    parts = [(module.split("."), line) for module, line in imported_by(file)]
    return [(names[1], line) for names, line in parts if names[0] == "glowsim" and len(names) > 1]


def test_imports_are_found_wherever_they_stand():
    text = """
import glowsim.units as units
from . import sibling
from ..optics.phase import g_star
if TYPE_CHECKING:
    from glowsim import scene
def late():
    importlib.import_module("glowsim.cli")
"""
    assert imports_in(ast.parse(text), ["glowsim", "findings"]) == [
        ("glowsim.units", 2),
        ("glowsim.findings.sibling", 3),
        ("glowsim.optics.phase.g_star", 4),
        ("glowsim.scene", 6),
        ("glowsim.cli", 8),
    ]


def test_every_file_belongs_to_a_room():
    rooms = {room_of(file) for file in FILES}
    assert rooms - set(ROOMS) - set(TOP) - {"start"} == set()
    assert set(ROOMS) - rooms == set(), "rooms that do not exist"


def test_the_start_needs_the_standard_library_alone():
    others = {module.split(".")[0] for module, _ in imported_by(ROOT / "start.py")}
    lazy = {"glowsim"}  # what it starts, once it knows that it can
    assert others - lazy <= set(sys.stdlib_module_names)


def test_imports_run_one_way():
    wrong = [
        f"{file}, line {line}: {room} ({ROOMS[room]}) imports {other} ({ROOMS[other]})"
        for file, room in ((file, room_of(file)) for file in FILES)
        if room not in (*TOP, "start")
        for other, line in own_imports(file)
        if other != room
        and other != "__version__"
        and not (ROOMS[other] < ROOMS[room] or ROOMS[other] == ROOMS[room] == 0)
    ]
    assert wrong == []


def test_one_file_knows_the_renderer():
    users = {
        str(file.relative_to(ROOT))
        for file in FILES
        for module, _ in imported_by(file)
        if module.split(".")[0] in ("pyrender", "OpenGL", "pyglet")
    }
    assert users <= {"pictures/visibility.py"}


def test_no_copyleft_module():
    wrong = [
        (str(file), module)
        for file in FILES
        for module, _ in imported_by(file)
        if module.startswith("igl.copyleft")
    ]
    assert wrong == []


def test_files_and_functions_are_short():
    # Compiled loops and tables are as long as they are.
    short = [file for file in FILES if not file.stem.endswith("kernels")]
    lines = {str(file): len(file.read_text(encoding="utf-8").splitlines()) for file in short}
    assert {file: count for file, count in lines.items() if count > MOST_LINES} == {}
    long = [
        f"{file}, {node.name}: {_body_lines(node)} lines"
        for file in short
        for node in ast.walk(tree_of(file))
        if isinstance(node, ast.FunctionDef) and _body_lines(node) > MOST_BODY_LINES
    ]
    assert long == []


def _body_lines(function: ast.FunctionDef) -> int:
    """Return the length of a function's body without its docstring."""
    body = function.body
    if isinstance(body[0], ast.Expr) and isinstance(body[0].value, ast.Constant):
        body = body[1:]
    return (body[-1].end_lineno or 0) - body[0].lineno + 1 if body else 0


@pytest.mark.parametrize("module", ["glowsim", "glowsim.cli.main", "glowsim.cli.group"])
def test_nothing_heavy_at_the_start(module):
    code = f"import sys, {module}; print(*sorted(m for m in {HEAVY!r} if m in sys.modules))"
    result = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
    assert result.returncode == 0, result.stderr
    assert result.stdout.split() == []
