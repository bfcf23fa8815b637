"""The first page where there is no scene yet, and the mesh files that are dropped on it."""

from __future__ import annotations

import tempfile
from collections.abc import AsyncIterator, Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

from nicegui import run, ui
from nicegui.element import Element
from nicegui.events import GenericEventArguments

from glowsim.catalogue import load_catalogue
from glowsim.errors import GeometryError, GlowsimError
from glowsim.geometry.meshfile import FORMATS
from glowsim.live.beginning import (
    MOST_BYTES,
    SKETCHES,
    Choice,
    NoRoomError,
    begun,
    boards_to_choose,
    measured,
    mesh_name,
)
from glowsim.transport.prepared import PreparedProp

FIRST_BOARD = "round_7"
STYLE = Path(__file__).with_name("style.css")


class BeginForm(Element, component="begin.js"):
    """The sentence of choices."""

    def __init__(self, choices: dict[str, Any]) -> None:
        """Offer choices."""
        super().__init__()
        self._props["choices"] = choices

    def failed(self, words: str, fits: str | None = None) -> None:
        """Say why nothing was made; fits : a board that has room where the chosen one has none."""
        self.run_method("failed", words, fits)


class Beginning:
    """What is needed to begin: where to, and the mesh files that were given."""

    def __init__(
        self, folder: Path, mesh: Path | None, made: Callable[[Path, PreparedProp], None]
    ) -> None:
        """Write into a folder, beginning with a mesh file if one is given; tell `made` the scene
        and what is known of it already.

        Raises GeometryError for a mesh that cannot be read.
        """
        self.folder = folder
        self._made = made
        self._kept = PreparedProp()
        self._dropped = tempfile.TemporaryDirectory(prefix="glowsim-")
        self._meshes: dict[str, Path] = {}
        self._given = None
        if mesh is not None:
            found = measured(mesh)
            self._given, self._meshes[found.name] = found.as_plain(), mesh.resolve()

    def build(self) -> None:
        """Build the page in the browser that asks for it."""
        catalogue = load_catalogue()
        choices = {
            "shapes": {name: dict(measures) for name, measures in SKETCHES.items()},
            "materials": {
                name: material.label.partition(" (")[0]
                for name, material in catalogue.materials.items()
            },
            "boards": boards_to_choose(catalogue),
            "board": FIRST_BOARD,
            "kinds": ",".join(f".{kind}" for kind in FORMATS),
            "most_bytes": MOST_BYTES,
            "folder": self.folder.resolve().name,
            "mesh": self._given,
        }
        ui.add_css(STYLE.read_text(encoding="utf-8"))
        with ui.element("main").classes("room"):
            form = BeginForm(choices)

            async def make(event: GenericEventArguments) -> None:
                try:
                    choice = self.choice(event.args)
                    path = await run.io_bound(begun, choice, self.folder, self._kept)
                    if path is not None:  # None while the program ends
                        self._made(path, self._kept)
                except NoRoomError as problem:
                    form.failed(str(problem), problem.fits)
                except GlowsimError as problem:
                    form.failed(str(problem))
                except (KeyError, TypeError, ValueError, OSError) as problem:
                    form.failed(f"that cannot be made: {problem}")

            form.on("make", make)

    def choice(self, told: dict[str, Any]) -> Choice:
        """Return what the page told; raises KeyError, TypeError or ValueError for nonsense."""
        wall = told["wall_mm"]
        chosen = Choice(
            material=str(told["material"]),
            board=str(told["board"]),
            wall_mm=None if wall is None else float(wall),
        )
        if told["mesh"] is not None:
            return replace(chosen, mesh=self._meshes[told["mesh"]], unit=str(told["unit"]))
        shape = str(told["shape"])
        sizes = {key: float(told["sizes"][key]) for key in SKETCHES[shape]}
        return replace(chosen, shape=shape, sizes=sizes)

    async def take(self, given_name: str, pieces: AsyncIterator[bytes]) -> dict[str, Any]:
        """Take in a mesh file; return what the page asks of its size.

        Raises GeometryError for one that is too large, of another kind or broken.
        """
        path = Path(self._dropped.name) / mesh_name(given_name)
        size = 0
        with path.open("wb") as file:
            async for piece in pieces:
                size += len(piece)
                if size > MOST_BYTES:
                    raise GeometryError(
                        f"{path.name} is too large: at most {MOST_BYTES >> 20} MB; simplify the "
                        "mesh first"
                    )
                file.write(piece)
        found = await run.io_bound(measured, path)
        if found is None:
            raise GeometryError("the program is ending")
        self._meshes[found.name] = path
        return found.as_plain()

    def close(self) -> None:
        """Remove what was dropped."""
        self._dropped.cleanup()
