"""What the commands that place boards share: options, and how they are read."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, fields
from functools import wraps
from pathlib import Path
from typing import Any, Protocol

import click

from glowsim.cli.common import LengthType, table_of
from glowsim.cli.figure_table import FigureTable
from glowsim.decisions.objective import Wish
from glowsim.errors import SceneError
from glowsim.files import written_together
from glowsim.pictures.writing import write_file
from glowsim.scene import Body, Light, Placing, SceneFile


class Answer(Protocol):
    """What a command that places boards found."""

    def as_json(self) -> dict[str, Any]:
        """Return plain data."""

    def write(self) -> Path:
        """Write the new scene; return its path."""


_OPTIONS = (
    click.option(
        "--body",
        help="Whose boards: a body, or any of its copies; all that are like it get the same.  "
        "[default: all that have lights, where they are alike]",
    ),
    click.option(
        "--first",
        type=click.Choice(("evenness", "brightness", "power")),
        default="evenness",
        show_default=True,
        help="What comes first. power: the least for an even glow that looks lit.",
    ),
    click.option(
        "--directions",
        type=click.Choice(("keep", "any")),
        default="keep",
        show_default=True,
        help="Where boards may face: as they do now, or any way.",
    ),
    click.option(
        "--levels",
        type=click.Choice(("same", "free")),
        default="same",
        show_default=True,
        help="free: each board becomes a zone of its own with its own drive.",
    ),
    click.option("--depth", type=LengthType(), help="LEDs lie at least so deep.  [default: 3 mm]"),
    click.option(
        "--clearance", type=LengthType(), help="Room on every side of a board.  [default: 1 mm]"
    ),
    click.option(
        "--symmetry",
        type=click.IntRange(1, 60),
        help="Boards in sets of so many, evenly around the z axis.  [default: 1]",
    ),
)


@dataclass(frozen=True)
class PlacingAsked:
    """Where boards may go and what is wanted, as the command line says it."""

    body: str | None
    first: Any
    directions: Any
    levels: str
    depth: float | None
    clearance: float | None
    symmetry: int | None

    @property
    def wish(self) -> Wish:
        """What is asked for."""
        return Wish(self.first, self.directions, self.levels == "free")

    def placing(self, body: Body) -> Placing:
        """Return a body's own `placing` with what the command line says instead."""
        own = body.placing or Placing()
        for name, value in (("depth", self.depth), ("clearance", self.clearance)):
            if value is not None and value < 0:
                raise SceneError(f"--{name} {value:g} mm: must be at least 0")
        given = {"depth_mm": self.depth, "clearance_mm": self.clearance, "symmetry": self.symmetry}
        return own.model_copy(update={key: v for key, v in given.items() if v is not None})


def placing_options(command: Callable[..., Any]) -> Callable[..., Any]:
    """Add the options that say where boards may go; the command gets them as `where`."""

    @wraps(command)
    def asked(**given: Any) -> Any:
        mine = {field.name: given.pop(field.name) for field in fields(PlacingAsked)}
        return command(where=PlacingAsked(**mine), **given)

    made: Callable[..., Any] = asked
    for option in reversed(_OPTIONS):
        made = option(made)
    return made


def refuse_for_paths(
    scene_file: SceneFile, number: int, where: PlacingAsked, **options: float | str | None
) -> None:
    """Raise SceneError for options that mean nothing to lights that stay on their paths."""
    options |= {"depth": where.depth, "clearance": where.clearance, "symmetry": where.symmetry}
    given = [f"--{name}" for name, value in options.items() if value is not None]
    given += ["--directions any"] if where.directions == "any" else []
    given += ["--levels free"] if where.levels == "free" else []
    if given:
        raise scene_file.fault(
            ("bodies", number, "lights"),
            f"'{scene_file.scene.bodies[number].name}' has lights along paths, and there they "
            f"stay: leave out {' and '.join(given)}, or give them position_mm in place of the path",
        )


def written_set(
    folder: Path,
    name: str,
    answer: Answer,
    write: bool,
    more: Mapping[str, Any],
    draw: Callable[[Path], list[Path]],
) -> tuple[dict[str, Any], list[Path]]:
    """Write an answer and its pictures to a folder, and its new scene beside the old one, all or
    nothing; return the answer as plain data, and the files.

    name : of the answer's file;  write : whether there is a new scene;  more : plain data besides
    draw : draws into a folder and returns the pictures
    """
    with written_together(folder) as part:
        drawn = draw(part)
        # The new scene last: it is a file of its own, and the set names it.
        scenes = [answer.write()] if write else []
        plain = answer.as_json() | {**more, "new_scene": str(scenes[0]) if scenes else None}
        names = [f"{name}.json", *(path.name for path in drawn)]
        write_file(part / names[0], json.dumps(plain, indent=2, ensure_ascii=False).encode())
    return plain, [*scenes, *(folder / file for file in names)]


def boards_table(
    lights: Sequence[Light], extra: Mapping[str, Sequence[str]] | None = None
) -> FigureTable:
    """Return where boards go, rounded to 0.1 mm, with further columns by their heading."""
    more = extra or {}
    table = table_of(
        "Boards, in the body's own frame", ("board",), ("x mm", "y mm", "z mm", "faces", *more)
    )
    for k, light in enumerate(lights):
        table.add_row(
            light.name or f"board {k + 1}",
            *(f"{c:z.1f}" for c in light.position_mm),
            ", ".join(f"{c:.2g}" for c in light.direction),
            *(column[k] for column in more.values()),
        )
    return table
