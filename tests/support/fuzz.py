"""Damaged input by the thousand: every answer is one of the project's own, never a traceback.

    python -m tests.support.fuzz scenes 20000     read: scenes with lines, words, numbers damaged
    python -m tests.support.fuzz checks 2000      of them so many that `check` makes and takes
    python -m tests.support.fuzz meshes 1000      mesh files
    python -m tests.support.fuzz results 3000     saved results
    python -m tests.support.fuzz kills 100        five commands killed at random moments

Prints what was tried and each kind of fault, with an input that shows it, kept in `--folder`. The
same seed tries the same; the quick tests hold a few of each (`test_reading`, `test_meshfile`,
`test_store`, `test_files`).
"""

from __future__ import annotations

import argparse
import contextlib
import io
import os
import random
import re
import resource
import shutil
import signal
import sys
import tempfile
import time
import traceback
import warnings
from collections import Counter
from collections.abc import Callable
from hashlib import sha256
from pathlib import Path

import numpy as np

from glowsim.cli.main import INTERRUPTED
from glowsim.cli.main import main as glowsim
from glowsim.errors import GlowsimError
from glowsim.scene import parse_scene, read_scene
from glowsim.transport.solve import solve
from glowsim.transport.store import load_glow, load_tallies, save_glow
from tests.support.damage import DAMAGES, SIZE_MM
from tests.support.meshes import ball

ROOT = Path(__file__).parents[2]
NUMBER = re.compile(r"(?<![\w.\"])-?\d+(?:\.\d+)?(?:e-?\d+)?(?![\w.\"])")
QUOTED = re.compile(r'"[^"\n]*"')
ODD = ("0", "-1", "1e-9", "-1e-9", "1e9", "1e300", "nan", "inf", "-inf", "true", '"x"', "[]", "{}")
LONGEST_S = 300
TOLD_EVERY_S = 30
MOST_BYTES = 6 << 30

SMALL = """
[[bodies]]
name = "bud"
shape = { kind = "spike", length_mm = 60, base_diameter_mm = 44, tip_radius_mm = 2 }
material = "upholstery_foam_white"
detail_mm = 6
  [[bodies.inserts]]
  name = "peg"
  kind = "core"
  coat = "wood_dowel"
  shape = { kind = "rod", length_mm = 20, diameter_mm = 8 }
  [[bodies.lights]]
  name = "one"
  board = "round_7_12ma"
  position_mm = [0, 0, 24]
  zone = "buds"
  drive = { red = 0.5, green = 1.0, blue = 0.2 }
[[bodies]]
name = "shell"
shape = { kind = "orb", diameter_mm = 60 }
wall_mm = 2
material = "pla_white"
position_mm = [90, 0, 0]
rotation_deg = [0, 30, 0]
detail_mm = 6
  [[bodies.lights]]
  name = "two"
  board = "round_7_12ma"
  position_mm = [0, 0, 0]
  [[bodies.patterns]]
  kind = "along"
  count = 3
  step_mm = [0, 60, 0]
"""


FLAT = """
[room]
illuminance_lx = 30
[power]
battery = "lithium_18650"
[wiring]
kind = "bus"
gauge = 26
feed_mm = 200
spacing_mm = 90
[[pulses]]
zone = "all"
pattern = "swell"
period_s = 4
[[bodies]]
name = "gem"
shape = { kind = "crystal", length_mm = 60, width_mm = 34, sides = 5 }
material = "milky_resin_light"
detail_mm = 12
  [[bodies.masks]]
  coat = "opaque_primer"
  where = { below_mm = 8 }
  [[bodies.inserts]]
  name = "peg"
  kind = "core"
  coat = "wood_dowel"
  shape = { kind = "slab", length_mm = 6, width_mm = 6, thickness_mm = 12 }
  [[bodies.lights]]
  name = "low"
  board = "rgb_5050_18ma"
  position_mm = [0, 0, 24]
  [[bodies.lights]]
  name = "beads"
  board = "strip_60"
  led_count = 1
  position_mm = [0, 5, 40]
  along = [0, 0, 1]
  direction = [0, 1, 0]
  [[bodies.patterns]]
  kind = "around"
  count = 4
  radius_mm = 60
[[bodies]]
name = "box"
shape = { kind = "slab", length_mm = 60, width_mm = 40, thickness_mm = 30 }
wall_mm = 2
material = "pla_white"
position_mm = [0, 0, 90]
detail_mm = 12
  [[bodies.lights]]
  board = "round_7_12ma"
  position_mm = [0, 0, 14]
"""
"""Of few faces, for what is made thousands of times."""


class Tried:
    """What was tried and how it went."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.answers: Counter[str] = Counter()
        self.faults: Counter[str] = Counter()
        self.told = time.monotonic()

    def __call__(self, call: Callable[[], str], shows: bytes, kind: str) -> str:
        """Make a call; count what it answers, keep the input of a new kind of fault."""
        signal.alarm(LONGEST_S)
        try:
            with warnings.catch_warnings(record=True) as told:
                warnings.simplefilter("always")
                answer = call()
            if told:
                self.fault(
                    f"warning: {told[0].message} at {told[0].filename}:{told[0].lineno}",
                    shows,
                    kind,
                )
        except GlowsimError:
            answer = "refused"
        except KeyboardInterrupt:
            raise
        except BaseException as problem:
            frames = traceback.extract_tb(problem.__traceback__)
            ours = [frame for frame in frames if "glowsim" in frame.filename] or frames
            at = f"{Path(ours[-1].filename).name}:{ours[-1].lineno}"
            self.fault(f"{type(problem).__name__} at {at}: {str(problem)[:80]}", shows, kind)
            answer = "FAULT"
        finally:
            signal.alarm(0)
        self.answers[answer] += 1
        if time.monotonic() > self.told + TOLD_EVERY_S:
            self.told = time.monotonic()
            print(dict(self.answers), f"{sum(self.faults.values())} faults", flush=True)
        return answer

    def fault(self, words: str, shows: bytes, kind: str) -> None:
        """Count a fault; keep what shows it."""
        words = NUMBER.sub("#", words) if "at " not in words else words
        if words not in self.faults:
            (self.folder / f"fault-{len(self.faults)}.{kind}").write_bytes(shows)
            print(f"fault-{len(self.faults)}.{kind}: {words}", flush=True)
        self.faults[words] += 1


def mistyped(text: str, draw: random.Random) -> str:
    """Return a scene with one to three slips or wild values in it."""
    for _ in range(draw.randint(1, 3)):
        lines = text.splitlines(keepends=True) or [""]
        at = draw.randrange(len(lines))
        way = draw.randrange(8)
        numbers, words = list(NUMBER.finditer(text)), list(QUOTED.finditer(text))
        if way < 3 and numbers:
            found = draw.choice(numbers)
            times = draw.choice((0.01, 0.3, 0.9, 1.1, 3, 100, -1))
            new = draw.choice(ODD) if draw.random() < 0.5 else f"{float(found[0]) * times:g}"
            text = text[: found.start()] + new + text[found.end() :]
        elif way == 3 and words:
            found = draw.choice(words)
            text = text[: found.start()] + draw.choice(words)[0] + text[found.end() :]
        elif way == 4:
            text = "".join(lines[:at] + lines[at + 1 :])
        elif way == 5:
            text = "".join([*lines[:at], lines[at], *lines[at:]])
        elif way == 6:
            other = draw.randrange(len(lines))
            lines[at], lines[other] = lines[other], lines[at]
            text = "".join(lines)
        else:
            cut = draw.randrange(len(text) + 1)
            extra = "".join(draw.choices("[]{}='\"\n.#-eE0 aß", k=draw.randrange(4)))
            text = text[:cut] + extra + text[cut + draw.randrange(12) :]
    return text


def damaged(content: bytes, draw: random.Random) -> bytes:
    """Return bytes turned over, cut off, cut out or put in."""
    bad = bytearray(content)
    for _ in range(draw.randint(1, 8)):
        at = draw.choice((draw.randrange(300), draw.randrange(len(bad)), -draw.randint(1, 300)))
        bad[at % len(bad)] = draw.randrange(256)
    way = draw.randrange(6)
    cut = draw.randrange(len(bad))
    if way == 0:
        del bad[cut:]
    elif way == 1:
        del bad[cut : cut + draw.randrange(64)]
    elif way == 2:
        bad[cut:cut] = draw.randbytes(draw.randrange(64))
    return bytes(bad)


def typed(*arguments: object) -> str:
    """Run a command in this process; return how it ended."""
    out = io.StringIO()
    sys.argv = ["glowsim", *map(str, arguments)]
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(out):
        try:
            glowsim()
        except SystemExit as end:
            code = end.code
    if code == INTERRUPTED:  # this script was told to end while the command ran
        raise KeyboardInterrupt
    if code not in (0, 2):
        raise RuntimeError(f"exit code {code}")
    return "taken" if code == 0 else "refused"


def seeds() -> list[str]:
    """Return the scenes that get damaged: those of the demo and a small one."""
    texts = [path.read_text() for path in sorted((ROOT / "scenes").glob("*.toml"))]
    return [SMALL, *(text.replace("../assets", str(ROOT / "assets")) for text in texts)]


def scenes(count: int, tried: Tried, draw: random.Random) -> None:
    """Read damaged scenes."""
    texts = seeds()
    for _ in range(count):
        text = mistyped(draw.choice(texts), draw)
        tried(lambda text=text: parse_scene(text, "x.toml") and "read", text.encode(), "toml")


def checks(count: int, tried: Tried, draw: random.Random) -> None:
    """Check damaged scenes that can be read, until so many were made and taken."""
    texts = [FLAT] * 40 + [SMALL] * 4 + seeds()
    file = tried.folder / "x.toml"
    while count:
        text = mistyped(draw.choice(texts), draw)
        file.write_text(text)
        with contextlib.suppress(GlowsimError):
            read_scene(file)
            count -= tried(lambda: typed("check", file), text.encode(), "toml") == "taken"


def meshes(count: int, tried: Tried, draw: random.Random) -> None:
    """Check a scene of a mesh whose file is damaged, or whose surface is: one in fifty is fine."""
    balls = [ball(SIZE_MM / 2, finer) for finer in (1, 1, 2, 3)]
    whole = {kind: balls[0].export(file_type=kind) for kind in ("stl", "ply", "glb", "3mf", "obj")}
    whole["svg"] = (ROOT / "assets" / "willow_leaf.svg").read_bytes()
    drawing = (
        'shape = { kind = "cut", thickness_mm = 6, outline = { file = "x.svg", path = "cut" } }'
    )
    file = tried.folder / "x.toml"
    for _ in range(count):
        kind = draw.choice(sorted(whole))
        text = whole[kind].encode() if isinstance(whole[kind], str) else whole[kind]
        content = damaged(text, draw)
        if kind in ("obj", "svg") and draw.random() < 0.5:
            content = mistyped(text.decode(), draw).encode(errors="replace")
        if kind != "svg" and draw.random() < 0.5:
            mesh = balls[draw.randrange(3)] if draw.random() < 0.98 else balls[3]
            rng = np.random.default_rng(draw.randrange(1 << 32))
            for hurt in draw.sample(DAMAGES, draw.randint(1, 2)):
                mesh = hurt(mesh, rng)
            made = mesh.export(file_type=kind)
            content = made.encode() if isinstance(made, str) else made
        (tried.folder / f"x.{kind}").write_bytes(content)
        source = f'mesh = {{ file = "x.{kind}" }}' if kind != "svg" else drawing
        file.write_text(f'[[bodies]]\nname = "b"\nmaterial = "pla_white"\n{source}\n')
        tried(lambda: typed("check", file), content, kind)


def results(count: int, tried: Tried, draw: random.Random) -> None:
    """Read damaged results."""
    file = tried.folder / "glow.npz"
    save_glow(solve(parse_scene(SMALL)), file)
    whole = file.read_bytes()
    for _ in range(count):
        content = damaged(whole, draw)
        file.write_bytes(content)
        for read in (load_glow, load_tallies):
            tried(lambda read=read: read(file) is not None and "read", content, "npz")


KILLED = {
    "glow": ("--size", "320x240", "--no-suggest"),
    "turntable": ("--frames", "4", "--size", "160x120"),
    "sheet": (),
    "reference": ("--photons", "2000", "--size", "320x240", "--no-suggest"),
    "heat": (),
}


def kills(count: int, tried: Tried, draw: random.Random) -> None:
    """Kill commands at random moments: results stay readable, sets of files of one run."""
    folder = tried.folder / "kills"
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir()
    file = folder / "bud.toml"
    ways = [SMALL, SMALL.replace("[0, 0, 24]", "[0, 0, 20]").replace('"bud"', '"bloom"')]
    whole = {name: [_of_a_whole_run(name, text, file) for text in ways] for name in KILLED}
    for k in range(count):
        name = list(KILLED)[k % len(KILLED)]
        file.write_text(ways[draw.randrange(2)])
        seconds = max(run[0] for run in whole[name])
        tried(lambda n=name, s=seconds: _killed(n, file, draw.uniform(0, 1.1 * s)), b"", "txt")
        mixed = _mixed(file, *(run[1] for run in whole[name]))
        if mixed:
            tried.fault(f"{name}: mixed folder: {mixed} at", b"", "txt")


def _command(name: str) -> list[str]:
    if name == "reference":
        return ["glow", "--reference", *KILLED[name]]
    return [name, *KILLED[name]]


def _of_a_whole_run(name: str, text: str, file: Path) -> tuple[float, dict[str, str]]:
    """Return how long a run takes, and the digests of what it leaves."""
    shutil.rmtree(file.parent / "bud-glow", ignore_errors=True)
    file.write_text(text)
    began = time.monotonic()
    assert _forked(name, file, 600.0) == "ended first"
    seconds = time.monotonic() - began
    found = _digests(file)
    shutil.rmtree(file.parent / "bud-glow")
    return seconds, found


def _digests(file: Path) -> dict[str, str]:
    folder = file.parent / "bud-glow"
    return {
        str(path.relative_to(folder)): sha256(path.read_bytes()).hexdigest()
        for path in folder.rglob("*")
        if path.is_file() and path.suffix != ".npz" and not path.name.startswith(".")
    }


def _forked(name: str, file: Path, longest_s: float) -> str:
    """Run a command in a forked process, which has its imports done, and kill it if it is late."""
    process = os.fork()
    if process == 0:
        os.setsid()  # what `timeout` sends to all of a group is for this script alone
        os.chdir(file.parent)
        code = 1
        with contextlib.suppress(BaseException):
            code = 0 if typed(*_command(name), file.name) == "taken" else 2
        os._exit(code)
    late, ended = time.monotonic() + longest_s, (0, 0)
    try:
        while (ended := os.waitpid(process, os.WNOHANG))[0] == 0 and time.monotonic() < late:
            time.sleep(0.005)
    finally:
        if ended[0] == 0:
            os.kill(process, signal.SIGKILL)
            os.waitpid(process, 0)
    if ended[0] == 0:
        return "killed"
    if ended[1]:
        raise RuntimeError(f"{name} ended with {os.waitstatus_to_exitcode(ended[1])}")
    return "ended first"


def _killed(name: str, file: Path, after_s: float) -> str:
    """Kill a run; then every result there was is there and whole."""
    there = sorted((file.parent / "bud-glow").glob("*.npz"))
    answer = _forked(name, file, after_s)
    for path in {*there, *(file.parent / "bud-glow").glob("*.npz")}:
        try:
            load_glow(path)
        except GlowsimError as fault:
            raise RuntimeError(f"{name}: a result is lost: {fault}") from fault
    return answer


def _mixed(file: Path, one: dict[str, str], other: dict[str, str]) -> str:
    """Return which files of a set are of one scene beside others of the other; '' if none are."""
    now = _digests(file)
    differ = [name for name in one if name in now and one[name] != other.get(name)]
    first = [name for name in differ if now[name] == one[name]]
    second = [name for name in differ if now[name] == other.get(name)]
    return f"{first} beside {second}" if first and second else ""


def main() -> None:
    """Read the command line and run."""
    reader = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    reader.add_argument("what", choices=("scenes", "checks", "meshes", "results", "kills"))
    reader.add_argument("count", type=int)
    reader.add_argument("--seed", type=int, default=1)
    reader.add_argument("--folder", type=Path, help="for what shows a fault; a new one otherwise")
    asked = reader.parse_args()
    folder = asked.folder or Path(tempfile.mkdtemp(prefix="glowsim-fuzz-"))
    folder.mkdir(parents=True, exist_ok=True)
    resource.setrlimit(resource.RLIMIT_DATA, (MOST_BYTES, MOST_BYTES))

    def too_long(*_: object) -> None:
        raise TimeoutError(f"longer than {LONGEST_S} s")

    signal.signal(signal.SIGALRM, too_long)
    signal.signal(signal.SIGTERM, signal.default_int_handler)  # `timeout` asks for what there is
    tried = Tried(folder)
    campaigns = {
        "scenes": scenes,
        "checks": checks,
        "meshes": meshes,
        "results": results,
        "kills": kills,
    }
    with contextlib.suppress(KeyboardInterrupt):
        campaigns[asked.what](asked.count, tried, random.Random(asked.seed))
    print(dict(tried.answers), f"{sum(tried.faults.values())} faults", f"in {folder}")
    for words, times in tried.faults.most_common():
        print(f"{times:5d} x {words}")
    sys.exit(bool(tried.faults))


if __name__ == "__main__":
    main()
