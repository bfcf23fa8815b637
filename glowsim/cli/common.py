"""What commands share: options, the console, a progress line."""

from __future__ import annotations

import json
import os
import sys
import threading
import time
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, fields
from functools import cached_property, wraps
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click
from rich.console import Console
from rich.text import Text

if TYPE_CHECKING:
    from glowsim.electrics.power import Electrics
    from glowsim.scene import SceneFile
    from glowsim.transport.result import SurfaceGlow

from glowsim.cli.figure_table import FigureTable
from glowsim.errors import PictureError, SceneError
from glowsim.units import length_mm

PIPE_WIDTH = 118
"""Columns of what is printed into a pipe or a file, which have no width of their own."""
LEAST_WIDTH = 40
EVERY_S = 5.0
"""So often is said what is being worked on where there is no terminal to show it in place."""

scene_argument = click.argument(
    "scene", type=click.Path(exists=False, dir_okay=False, path_type=Path)
)
json_option = click.option(
    "--json", "as_json", is_flag=True, help="Print plain JSON for other programs."
)
verbose_option = click.option("--verbose", "-v", is_flag=True, help="Say more.")
seed_option = click.option(
    "--seed",
    type=click.IntRange(0, 2**31 - 1),
    default=0,
    show_default=True,
    help="Same seed, same numbers.",
)
out_option = click.option(
    "--out",
    type=click.Path(file_okay=False, path_type=Path),
    help="Folder for the results.  [default: SCENE-glow, here]",
)


backend_option = click.option(
    "--backend",
    type=click.Choice(("auto", "embree", "gl")),
    default="auto",
    show_default=True,
    help="How the faces in a picture are found; both give the same picture.",
)


RATIOS = "5%/mean: what the darkest 5 % stay below, over the mean; U0: least over mean"
"""What two headings of figures of evenness mean."""

_STATES = {"fresh": "fresh", "half": "half used", "low": "nearly empty"}


def battery_option(command: Callable[..., Any]) -> Callable[..., Any]:
    """Add the option for the state of the battery; the command gets it as `battery`."""

    @click.option(
        "--battery",
        type=click.Choice(tuple(_STATES)),
        default="half",
        show_default=True,
        help="State of the battery that voltages are for: low is nearly empty.",
    )
    @wraps(command)
    def asked(*args: Any, battery: str, **others: Any) -> Any:
        return command(*args, battery=_STATES[battery], **others)

    return asked


def supply_options(command: Callable[..., Any]) -> Callable[..., Any]:
    """Add the options that say on what battery a scene is shown; the command gets the state as
    `battery`, for `SceneFile.on_battery`."""

    @click.option(
        "--battery",
        type=click.Choice(tuple(_STATES)),
        help="As wired, with the battery in this state: low is nearly empty.  [default: half]",
    )
    @click.option(
        "--full-voltage", is_flag=True, help="Without what the battery and the wires lose."
    )
    @wraps(command)
    def asked(*args: Any, battery: str | None, full_voltage: bool, **others: Any) -> Any:
        if battery and full_voltage:
            raise click.UsageError(
                "--full-voltage leaves the battery out of it; give it or --battery, not both"
            )
        state = "full voltage" if full_voltage else _STATES[battery or "half"]
        return command(*args, battery=state, **others)

    return asked


@dataclass(frozen=True, kw_only=True)
class Asked:
    """What all commands that show a scene's light are asked.

    scene, out : paths as given;  battery : the state, for `SceneFile.on_battery`
    size       : of pictures, (0, 0) where none is asked for
    """

    scene: Path
    out: Path | None
    backend: str
    battery: str
    seed: int
    size: tuple[int, int] = (0, 0)
    pictures: bool = True
    as_json: bool = False

    @cached_property
    def scene_file(self) -> SceneFile:
        """The scene on its battery. Raises SceneError."""
        from glowsim.scene import read_scene

        return read_scene(self.scene).on_battery(self.battery)

    @cached_property
    def wires(self) -> Wires:
        """Its battery and wires. Raises SceneError."""
        return Wires(self.scene_file)

    @property
    def folder(self) -> Path:
        """Where results go."""
        return out_folder(self.out, self.scene_file.stem)

    @property
    def quick(self) -> Path:
        """The file of the quick solver's result."""
        return self.folder / "glow.npz"


def shown_options(
    *, size: str = "", of: str = "In pixels.", pictures: str = "", page: bool = False
) -> Callable[[Callable[..., Any]], Callable[..., Any]]:
    """Return what adds the scene and the options of `Asked`, which the command gets as `asked`.

    size, of : the usual size of pictures and what it is of;  page : with a brightness map
    pictures : what --pictures draws. Without a text there is no such option.
    """
    adds: list[Callable[..., Any]] = [scene_argument, out_option]
    if size:
        kind = SizeType(page)
        adds.append(click.option("--size", type=kind, default=size, show_default=True, help=of))
    if pictures:
        adds.append(click.option("--pictures/--no-pictures", default=True, help=pictures))
    adds += [backend_option, supply_options, seed_option]
    names = {field.name for field in fields(Asked)}

    def add(command: Callable[..., Any]) -> Callable[..., Any]:
        @wraps(command)
        def asked(**given: Any) -> Any:
            mine = {name: given.pop(name) for name in names & given.keys()}
            return command(asked=Asked(**mine), **given)

        made: Callable[..., Any] = asked
        for option in reversed(adds):
            made = option(made)
        return made

    return add


class SizeType(click.ParamType):  # type: ignore[type-arg]
    """A picture size such as 1280x960; a brightness map among the pictures asks for more."""

    name = "WxH"

    def __init__(self, with_map: bool = False) -> None:
        self.with_map = with_map

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> tuple[int, int]:
        """Return (width, height)."""
        if isinstance(value, tuple):
            return value
        width, cross, height = str(value).lower().partition("x")
        if not (cross and width.isdigit() and height.isdigit()):
            self.fail(f"'{value}' is not a size; write it as 1280x960", param, ctx)
        from glowsim.pictures.camera import LEAST_MAP_PX, LEAST_PX, checked_size

        try:
            least_px = LEAST_MAP_PX if self.with_map else LEAST_PX
            return checked_size((int(width), int(height)), least_px)
        except PictureError as fault:
            self.fail(str(fault), param, ctx)


class LengthType(click.ParamType):  # type: ignore[type-arg]
    """A length: a number of mm, or a text with its unit."""

    name = "MM"

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> float:
        """Return the length in mm."""
        try:
            return length_mm(float(value))
        except ValueError:
            pass
        try:
            return length_mm(str(value))
        except SceneError as problem:
            self.fail(str(problem), param, ctx)


def out_folder(out: Path | None, stem: str) -> Path:
    """Return the folder results go to."""
    return out if out is not None else Path(f"{stem}-glow")


def console() -> Console:
    """Return the console tables are printed on; it heeds NO_COLOR, COLUMNS and plain pipes."""
    screen = Console(highlight=False, markup=False)
    if screen.is_terminal:
        return screen
    asked = os.environ.get("COLUMNS", "")
    width = max(int(asked), LEAST_WIDTH) if asked.isdecimal() else PIPE_WIDTH
    return Console(highlight=False, markup=False, width=width)


def print_title(screen: Console, title: str, words: str) -> None:
    """Print the first line of an answer: the scene's title stands out."""
    screen.print(Text.assemble((title, "bold"), words))


def print_each(screen: Console, what: str, lines: Iterable[str]) -> None:
    """Print lines with a word before each that says what they are: a note, a caution."""
    for line in lines:
        screen.print(f"{what}: {line}")


def print_written(files: Iterable[Path]) -> None:
    """Print the files that were written, none of them wrapped."""
    console().print("Written:", *(f"\n  {file}" for file in files), sep="", soft_wrap=True)


def notice() -> Console:
    """Return the console for progress and notes, apart from the results."""
    return Console(stderr=True, highlight=False, markup=False)


def table_of(
    title: str, left: Iterable[str], right: Iterable[str] = (), *, names: int = 1
) -> FigureTable:
    """Return an empty table: text columns first, then columns of figures.

    names : how many of the first columns tell its rows apart
    """
    return FigureTable(title, tuple(left), tuple(right), names)


def short(value: float) -> str:
    """Return a figure for a table: three digits, no dust, no exponent."""
    if abs(value) < 0.001:
        return "0" if abs(value) < 1e-9 else "<0.001"
    return f"{value:.3g}" if abs(value) < 999.5 else f"{value:.0f}"


def short_share(value: float) -> str:
    """Return a share for a table: two digits after the point."""
    return "<0.01" if value < 0.005 else f"{value:.2f}"


def off_text(off_by: float) -> str:
    """Return the factor by which a glow is off, for a table."""
    return f"x {off_by:.2f}" if off_by < 9.95 else f"x {off_by:.0f}"


def print_json(data: Any) -> None:
    """Print data as JSON, letters escaped where the output cannot hold them."""
    plain = "utf" not in (getattr(sys.stdout, "encoding", None) or "utf-8").lower()
    click.echo(json.dumps(data, indent=2, ensure_ascii=plain))


@contextmanager
def progress_line(shown: bool = True) -> Iterator[Callable[[str], None]]:
    """Show what is being worked on while it lasts: on a terminal in place, elsewhere line by line,
    every few seconds, on the standard error."""
    err = notice()
    if not shown:
        yield lambda text: None
    elif err.is_terminal:
        with err.status("starting") as status:
            yield lambda text: status.update(text)
    else:
        with _said_now_and_then(err) as tell:
            yield tell


@contextmanager
def _said_now_and_then(err: Console) -> Iterator[Callable[[str], None]]:
    """Print what was last told of, and how long it has been going on in all, while it lasts."""
    words, over, started = ["starting"], threading.Event(), time.monotonic()

    def tell() -> None:
        while not over.wait(EVERY_S):
            seconds = time.monotonic() - started
            with suppress(OSError):  # nobody reads it any more: the work goes on
                err.print(f"{words[0]} ({seconds:.0f} s)", soft_wrap=True)

    teller = threading.Thread(target=tell, name="progress", daemon=True)
    teller.start()
    try:
        yield lambda text: words.__setitem__(0, text)
    finally:
        over.set()
        teller.join()


def titled(title: str, supply: str) -> str:
    """Return a table's title with what feeds the lights: 'Evenness (as wired, battery fresh)'."""
    if not supply:
        return title
    return f"{title[:-1]}; {supply})" if title.endswith(")") else f"{title} ({supply})"


class Wires:
    """A scene's battery and wires, checked before the work; nothing for a scene without."""

    def __init__(self, scene_file: SceneFile) -> None:
        """Look everything up; raises SceneError."""
        self.electrics: Electrics | None = None
        if scene_file.scene.power is not None or scene_file.scene.wiring is not None:
            from glowsim.electrics.power import Electrics

            self.electrics = Electrics(scene_file)

    def show(self, glow: SurfaceGlow) -> SurfaceGlow:
        """Return a glow of the scene as the wires let it be."""
        if self.electrics is None:
            return glow
        from glowsim.electrics.as_wired import wired

        return wired(glow, self.electrics)

    @cached_property
    def headline(self) -> tuple[str, ...]:
        """What must be said before any figure."""
        if self.electrics is None:
            return ()
        from glowsim.electrics.as_wired import headline

        return headline(self.electrics)

    @property
    def loss(self) -> str:
        """What reaches the best and the worst board, '' where nothing is lost."""
        if self.electrics is None:
            return ""
        from glowsim.electrics.as_wired import loss_words

        return loss_words(self.electrics)

    def print_headline(self, screen: Console) -> None:
        """Print what must be said before any figure."""
        for words in self.headline:
            screen.print(words, style="bold")

    def print_change(self, screen: Console, new: Wires) -> None:
        """Print what must be said of a new scene of the same prop, where it is something else."""
        if new.headline != self.headline:
            for words in new.headline or ("this no longer holds.",):
                screen.print(f"With the new boards: {words}", style="bold")

    def as_json(self) -> dict[str, Any]:
        """Return plain data."""
        return {"headline": list(self.headline), "loss": self.loss}

    def as_json_with(self, new: Wires) -> dict[str, Any]:
        """Return plain data of this scene and of a new one of the same prop."""
        return {"wiring": self.as_json(), "new_wiring": new.as_json()}
