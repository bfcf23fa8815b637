"""The page of a readings file: points of the piece are clicked in its photos, the fit is seen."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import Any

import numpy as np
from nicegui import background_tasks, run, ui
from nicegui.element import Element

from glowsim.calibration.image import UnreadableError
from glowsim.calibration.lit import Photo
from glowsim.calibration.pose import Pose
from glowsim.calibration.strip import Strip, stretch_px
from glowsim.errors import ReadingsError
from glowsim.geometry.mesh import FloatArray
from glowsim.live.frame import Frame
from glowsim.live.landmarks import outline
from glowsim.live.photo_points import PhotoPoints
from glowsim.live.work_view import WorkLine
from glowsim.live.works import Works

LEARNING = "learn the material"


class PointsSheet(Element, component="points.js", default_classes="sheet"):
    """A photo with what is clicked on it."""

    def show(self, state: dict[str, Any]) -> None:
        """Show a photo and what is clicked."""
        self.run_method("show", state)


class PointsView(Frame):
    """The photos of a readings file in one browser."""

    def __init__(
        self, points: PhotoPoints, works: Works, back: Callable[[], None] | None = None
    ) -> None:
        """Build it inside the present client; back : to the prop they were opened from."""
        super().__init__()
        self._points, self._works = points, works
        self._k = 0
        self._shown: Any = None
        self._read: tuple[Photo, Strip | None, str] | None = None
        self._made = max(works.made, default=0)
        self._work = WorkLine(self, works, pictured=True)
        self._back = back
        with ui.element("main").classes("room clicking") as self.root:
            self._build_top()
            self.sheet = PointsSheet()
            told = {
                "ready": lambda _: self._again(),
                "put": lambda a: points.put(self._k, int(a["n"]), _pixel(a)),
                "stretch": lambda a: points.stretch(self._k, _end(a), _pixel(a)),
                "forget": lambda a: points.forget(self._k, int(a)),
                "add": lambda a: points.add(self._k, _place(a)),
            }
            for name, handler in told.items():
                self.sheet.on(name, self.guarded(handler))
            with ui.element("footer").classes("foot"):
                self._sentence = ui.label("").classes("sentence").props('role="status"')
        self.refresh()

    def _build_top(self) -> None:
        points = self._points
        with ui.element("header").classes("top"):
            ui.label(points.name).classes("title")
            if self._back is not None:
                self.button("back to the prop", self._back)
            if len(points.subjects) > 1:
                for k, one in enumerate(points.subjects):
                    self.button(one.photo.images[0].file, partial(self._take, k))
            ui.space()
            self.add_steps(points.undo, points.redo)
            self.button(LEARNING, lambda: works_on(self._works, points))
            self._save = self.button("save", self._saved)
        self.add_told()
        self._work.build()

    def _take(self, k: int) -> None:
        self._k, self._read = k, None

    def _again(self) -> None:
        self._shown = None

    def _saved(self) -> None:
        self.say(f"saved in {self._points.save().name}")

    # What is shown.

    def refresh(self) -> None:
        """Bring everything up to date; nothing is sent that has not changed."""
        points = self._points
        pose, wrong = self._pose()
        state = self._state(pose)
        if state != self._shown:
            self._shown = state
            self.sheet.show(state)
        self._sentence.set_text(self._words(pose))
        self.show_steps(points.history)
        self.set_button(self._save, "save", "the readings" if points.unsaved else "")
        self.show_told(points.error or wrong)
        self._work.refresh()
        if not self._works.busy and (newest := max(self._works.made, default=0)) != self._made:
            self._made = newest
            self._work.show(newest, self._works.made[newest])
        if pose is not None and (self._read is None or self._read[0] != points.photo(self._k)):
            background_tasks.create(self._reading(points.photo(self._k)))

    def _pose(self) -> tuple[Pose | None, str]:
        """Return where the camera stood, and what is wrong with the points or the photo."""
        points = self._points
        wrong = ""
        if self._read is not None and self._read[0] == points.photo(self._k):
            wrong = self._read[2]
        try:
            return points.pose(self._k), wrong
        except UnreadableError as problem:
            return None, str(problem)

    async def _reading(self, photo: Photo) -> None:
        """Read the stretch once points rest, away from the page."""
        if self._read is not None and self._read[0] == photo:
            return
        self._read = (photo, None, "")
        strip, wrong = await run.io_bound(_read, self._points, self._k) or (None, "")
        if self._read is not None and self._read[0] == photo:
            self._read = (photo, strip, wrong)
            self.refresh()

    def _state(self, pose: Pose | None) -> dict[str, Any]:
        points, k = self._points, self._k
        subject, clicks = points.subjects[k], points.now[k]
        shown: dict[str, Any] = {
            "photo": k,
            "shots": (shots := points.shots(k)),
            # Where the card is not found, that is what must be looked at.
            "brightest": len(shots) - 1 if subject.photo.card and not pose else points.brightest(k),
            "points": [
                {"words": points.called(k, n), "pixel": point.pixel}
                for n, point in enumerate(clicks.points if subject.photo.card is None else ())
            ],
            "by_card": subject.photo.card is not None,
            "outline": [], "seen": [], "strip": [], "ends": [], "profile": [], "patches": [],
        }  # fmt: skip
        try:
            shown["size"] = points.frame(k).size
        except UnreadableError:
            shown["size"] = (0, 0)
        if pose is None:
            return shown
        shown["outline"] = _flat(pose, outline(subject.body, pose.eye_mm))
        shown["seen"] = _flat(pose, np.array([p.at_mm for p in clicks.points]).reshape(-1, 3))
        if clicks.from_mm and clicks.to_mm:
            shown["strip"] = stretch_px(points.photo(k), pose).round(1).tolist()
            shown["ends"] = _flat(pose, np.array([clicks.from_mm, clicks.to_mm]))
        strip = self._strip()
        if strip is not None and points.photo(k).patches_mm:
            ends = np.nonzero(np.isnan(strip.outline[:, 0]))[0]
            rims = np.split(strip.outline.round(1), ends)
            shown["patches"] = [rim[~np.isnan(rim[:, 0])].tolist() for rim in rims if len(rim) > 1]
        elif strip is not None:
            light = np.log10(strip.values / strip.values.max())
            shown["profile"] = np.column_stack([strip.along_mm, light]).round(3).tolist()
        return shown

    def _strip(self) -> Strip | None:
        """Return what was read of the photo as it is, None before that."""
        read = self._read
        return read[1] if read is not None and read[0] == self._points.photo(self._k) else None

    def _words(self, pose: Pose | None) -> str:
        points, k = self._points, self._k
        unset = [n for n, point in enumerate(points.now[k].points) if point.pixel is None]
        if unset and points.subjects[k].photo.card is None:
            known = len(points.now[k].points) - len(unset)
            said = f"Click {points.called(k, unset[0])} in the photo."
            return f"{said} {known} of {len(points.now[k].points)} points are there."
        if pose is None and points.subjects[k].photo.card is not None:
            return (
                "The marks card does not say where the camera stood. Take its photo again, or give "
                "points in the file in place of the card: they are clicked here."
            )
        if pose is None:
            return "The points do not say where the camera stood yet."
        away = round(float(np.linalg.norm(pose.eye_mm - pose.focus_mm)), -1)
        said = f"The camera stood about {away:.0f} mm away; the thin line is the piece from there."
        strip = self._strip()
        if strip is None:
            return said
        falls = 100.0 * float(strip.values.min() / strip.values.max())
        said += (
            f" {len(strip.values)} patches are read; the darkest has {falls:.2g} % of the light of "
            "the brightest."
            if points.photo(k).patches_mm
            else f" Along {strip.along_mm.max() - strip.along_mm.min():.0f} mm the light falls to "
            f"{falls:.2g} %; {len(strip.values)} places are read."
        )
        left = strip.left_out
        return f"{said} {left[:1].upper()}{left[1:]}." if left else said


def works_on(works: Works, points: PhotoPoints) -> None:
    """Learn the material from the readings, in the background, as the command does."""
    works.run(points, LEARNING, "calibrate")


def _read(points: PhotoPoints, k: int) -> tuple[Strip | None, str]:
    try:
        return points.read(k), ""
    except UnreadableError as problem:
        return None, str(problem)


def _flat(pose: Pose, places: FloatArray) -> list[Any]:
    """Return where places appear, in the shape they have."""
    if not len(places):
        return []
    seen = pose.pixels(places.reshape(-1, 3)).round(1)
    return list(seen.reshape(*places.shape[:-1], 2).tolist())


def _pixel(told: Any) -> tuple[float, float]:
    x, y = (float(v) for v in told["pixel"])
    return x, y


def _place(told: Any) -> tuple[float, float, float]:
    x, y, z = (round(float(v), 2) for v in told)
    if not np.isfinite([x, y, z]).all():
        raise ReadingsError("give three numbers")
    return x, y, z


def _end(told: Any) -> str:
    if told["end"] not in ("from", "to"):
        raise ReadingsError("there is no such end")
    return str(told["end"])
