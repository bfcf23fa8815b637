"""The stage as an element of the page: what is told to its script, and what it tells."""

from __future__ import annotations

from typing import Any

import nicegui.elements.scene  # noqa: F401  (three.js comes with it)
from nicegui.element import Element


class Stage(Element, component="stage.js", esm={"glowsim-live": "js"}, default_classes="stage"):
    """The prop in a dark room. Numbers come and go as plain data; light is fetched as bytes."""

    def __init__(self, law: dict[str, Any], view: dict[str, float]) -> None:
        """Show a prop by a tone law, from azimuth, elevation [deg] and distance [mm]."""
        super().__init__()
        self._props["law"] = law
        self._props["view"] = view

    def light(self) -> None:
        """Have the newest light fetched."""
        self.run_method("light")

    def set_boards(self, boards: list[dict[str, Any]]) -> None:
        """Show these boards."""
        self.run_method("setBoards", boards)

    def set_held(self, held: dict[str, Any] | None) -> None:
        """Show the figures of the board that is held, None for none."""
        self.run_method("setHeld", held)

    def set_figures(self, on: bool) -> None:
        """Show the brightness map, or the prop as a photo has it."""
        self.run_method("setFigures", on)

    def set_clear(self, on: bool) -> None:
        """Let bodies be seen through."""
        self.run_method("setClear", on)

    def set_cut(self, on: bool) -> None:
        """Cut the half of the prop that is nearer to the viewer away."""
        self.run_method("setCut", on)

    def set_hints(self, marks: dict[str, Any] | None) -> None:
        """Show where light would help, None for nothing."""
        self.run_method("setHints", marks)

    def set_marks(self, marks: list[dict[str, Any]]) -> None:
        """Show these findings' numbered marks on the brightness map."""
        self.run_method("setMarks", marks)

    def play_pulse(self) -> None:
        """Have the zones' light fetched, and let them move."""
        self.run_method("playPulse")

    def stop_pulse(self) -> None:
        """Let the zones stand still."""
        self.run_method("stopPulse")

    def took(self) -> None:
        """Say that a drag was taken in: the next may be told."""
        self.run_method("took")

    def set_distance(self, distance_mm: float) -> None:
        """Look from another distance."""
        self.run_method("setDistance", distance_mm)

    def look(self, azimuth_deg: float, elevation_deg: float) -> None:
        """Look from another side."""
        self.run_method("look", azimuth_deg, elevation_deg)
