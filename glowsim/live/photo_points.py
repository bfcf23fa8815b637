"""The photos of a readings file under the hand: points of the piece clicked in them and the stretch
that is read, which go back into the file's own text.

Everything here may be called from any thread, and nothing knows of a browser.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from copy import deepcopy
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from glowsim.calibration.image import Frame, read_frame
from glowsim.calibration.lit import Mark, Photo
from glowsim.calibration.patches import patches_of
from glowsim.calibration.pose import Pose
from glowsim.calibration.readings import Bench, parse_readings
from glowsim.calibration.strip import Strip, camera_by_card, camera_of, strip_of
from glowsim.errors import GlowsimError, ReadingsError
from glowsim.geometry.body import unlit_solid_of
from glowsim.geometry.mesh import FloatArray, Mesh
from glowsim.live import keeping, points_text
from glowsim.live.history import History
from glowsim.live.landmarks import first_stretch, landmarks, normals_at, on_surface
from glowsim.live.points_text import Click, Clicks
from glowsim.scene import SceneFile, read_scene
from glowsim.tomlfile import TomlText, read_toml, validate

KINDS = ("piles", "cards", "photos", "lux", "levels")
LEARNT = "-learnt"
"""Ends the name of the folder that `calibrate` writes, after that of the readings."""
NEAR_MM = 3.0
"""A point of the file that lies so near to a landmark is called like it."""
LEAST = 2
"""Points that tell where the camera stood."""
MOST = 6
UNSET = [0.0, 0.0]


def is_readings(path: Path) -> bool:
    """Whether a file holds readings and no prop; raises ReadingsError for broken text."""
    if path.suffix.lower() != ".toml" or not path.is_file():
        return False
    data = read_toml(path, ReadingsError).data
    return "bodies" not in data and any(kind in data for kind in KINDS)


def readings_of(scene_file: SceneFile, material: str) -> Path | None:
    """Return the readings with photos that a scene's material was learnt from, where `calibrate`
    wrote it beside them; None where there are none."""
    for text in scene_file.material_files:
        folder = Path(text.name).resolve().parent
        if material in text.data["materials"] and folder.name.endswith(LEARNT):
            path = folder.with_name(f"{folder.name.removesuffix(LEARNT)}.toml")
            return path if is_readings(path) else None
    return None


@dataclass(frozen=True)
class Subject:
    """A photo, and the piece that is seen in it."""

    number: int
    photo: Photo
    body: Mesh

    @property
    def toward(self) -> FloatArray:
        """Roughly from the piece to the camera, (3,) float."""
        return np.array(self.photo.toward, dtype=float)

    def called(self, at_mm: tuple[float, float, float]) -> str:
        """Return what a point of the piece is called."""
        for mark in landmarks(self.body, self.toward):
            if np.linalg.norm(np.subtract(mark.at_mm, at_mm)) <= NEAR_MM:
                return mark.words
        return "a mark on it"


class PhotoPoints:
    """The photos of one readings file."""

    def __init__(self, path: Path, changed: Callable[[], None] = lambda: None) -> None:
        """Open a readings file, in which points and the stretch may still be missing.

        changed : called, from any thread, whenever there is something new to be seen
        Raises ReadingsError, or what the scene of a photo raises.
        """
        self.path = path
        self.changed = changed
        self.error = ""
        self._lock = threading.RLock()
        self._frames: dict[Path, tuple[int, Frame]] = {}
        self._read()

    def _read(self) -> None:
        toml = read_toml(self.path, ReadingsError)
        self._folder = self.path.resolve().parent
        filled, unset = _filled(toml, self._folder)
        bench = validate(Bench, replace(toml, data=filled), ReadingsError)
        self.subjects = [
            Subject(number, photo, _body_of(photo.scene, photo.body, self._folder))
            for number, photo in enumerate(bench.photos)
            if photo.images
        ]
        if not self.subjects:
            raise ReadingsError(
                f"{self.path}: holds no photo with images, so there is nothing to click; add "
                "[[photos]] with scene, band, toward and images"
            )
        self.text, self.name = toml.text, bench.label or bench.name
        first = tuple(_clicks(one.photo, unset.get(one.number, set())) for one in self.subjects)
        self.history: History[tuple[Clicks, ...]] = History(first)
        self._saved = None if filled != toml.data else first
        self._frames.clear()

    # What there is.

    @property
    def now(self) -> tuple[Clicks, ...]:
        """What is clicked in each photo, those of `subjects`."""
        return self.history.now

    @property
    def unsaved(self) -> bool:
        """Whether it differs from what the file holds."""
        return self.now != self._saved

    def called(self, k: int, n: int) -> str:
        """Return what a point is called, and where on the piece it is."""
        at = self.now[k].points[n].at_mm
        return f"{self.subjects[k].called(at)} ({', '.join(f'{v:g}' for v in at)} mm)"

    def shots(self, k: int) -> list[str]:
        """Return the image files of a photo: its exposures, then that of its marks card."""
        photo = self.subjects[k].photo
        card = photo.card.file if photo.card is not None else None
        return [shot.file for shot in photo.images] + ([card] if card else [])

    def frame(self, k: int, shot: int = 0) -> Frame:
        """Return an image of a photo, those of `shots`, upright; raises UnreadableError."""
        path = self._folder / self.shots(k)[shot]
        changed = path.stat().st_mtime_ns if path.is_file() else 0  # a photo may be taken again
        if path not in self._frames or self._frames[path][0] != changed:
            self._frames[path] = (changed, read_frame(path))
        return self._frames[path][1]

    def brightest(self, k: int) -> int:
        """Return the exposure of a photo that shows most: the longest."""
        shots = self.subjects[k].photo.images
        return max(range(len(shots)), key=lambda n: shots[n].exposure_s or 0.0)

    def pose(self, k: int) -> Pose | None:
        """Return where the camera of a photo stood, None before enough is clicked.

        Raises UnreadableError where points do not fit together.
        """
        photo = self.photo(k)
        if photo.card is not None:
            return camera_by_card(photo, self.frame(k), self._folder)
        return camera_of(photo, self.frame(k)) if len(photo.points) >= LEAST else None

    def photo(self, k: int) -> Photo:
        """Return a photo as clicked; points that were not are left out."""
        clicks = self.now[k]
        marks = tuple(Mark(pixel=p.pixel, at_mm=p.at_mm) for p in clicks.known if p.pixel)
        update = {"points": marks, "from_mm": clicks.from_mm, "to_mm": clicks.to_mm}
        return self.subjects[k].photo.model_copy(update=update)

    def read(self, k: int) -> Strip | None:
        """Read a photo's stretch or patches, None before enough is clicked.

        Raises UnreadableError saying what is wrong with the photo.
        """
        photo = self.photo(k)
        if not (photo.card or len(photo.points) >= LEAST):
            return None
        if photo.patches_mm and (pose := self.pose(k)) is not None:
            normals = normals_at(self.subjects[k].body, pose.eye_mm, np.array(photo.patches_mm))
            return patches_of(photo, self._folder, normals)
        return strip_of(photo, self._folder)

    # What the hand does.

    def put(self, k: int, n: int, pixel: tuple[float, float]) -> None:
        """Put a point where it is seen in the photo."""
        x, y = (
            round(min(max(v, 0.0), most), 1)
            for v, most in zip(pixel, self.frame(k).size, strict=True)
        )
        point = replace(self.now[k].points[n], pixel=(x, y))
        self._did(f"put {self.called(k, n)}", k, points=_with(self.now[k].points, n, point))

    def forget(self, k: int, n: int) -> None:
        """Take a point out of a photo."""
        points = self.now[k].points
        self._did(f"forget {self.called(k, n)}", k, points=(*points[:n], *points[n + 1 :]))

    def add(self, k: int, at_mm: tuple[float, float, float]) -> None:
        """Add a point of the piece that is to be clicked; raises ReadingsError for too many."""
        points = self.now[k].points
        if len(points) >= MOST:
            raise ReadingsError(f"{MOST} points are enough; take one out first")
        if any(point.at_mm == at_mm for point in points):
            raise ReadingsError("that point is there already")
        self._did("add a point", k, points=(*points, Click(at_mm)))

    def stretch(self, k: int, end: str, pixel: tuple[float, float]) -> None:
        """Put an end of the stretch, 'from' or 'to', on the piece where a pixel shows it.

        Raises ReadingsError where the piece is not seen there, or the camera's place is not known.
        """
        pose = self.pose(k)
        if pose is None:
            raise ReadingsError(f"click {LEAST} points of the piece first")
        found = on_surface(
            self.subjects[k].body, pose.eye_mm, pose.rays(np.array([pixel], float))[0]
        )
        if found is None:
            raise ReadingsError("the piece is not there; keep the stretch on its surface")
        x, y, z = (round(float(v), 2) + 0.0 for v in found)
        self._did("move the stretch", k, **{f"{end}_mm": (x, y, z)})

    def undo(self) -> None:
        """Take back the last step."""
        if self.history.undo():
            self.changed()

    def redo(self) -> None:
        """Do again what was taken back."""
        if self.history.redo():
            self.changed()

    def _did(self, words: str, k: int, **update: Any) -> None:
        with self._lock:
            clicks = replace(self.now[k], **update)
            self.history.did(words, _with(self.now, k, clicks))
        self.changed()

    # What is kept.

    def save(self) -> Path:
        """Write the readings file, whole or not at all, comments kept; return it.

        Raises SceneError or ReadingsError, and then nothing has been written.
        """
        with self._lock:
            clicks = {one.number: now for one, now in zip(self.subjects, self.now, strict=True)}
            for one in self.subjects:
                if not one.photo.card and len(clicks[one.number].known) < LEAST:
                    raise ReadingsError(
                        f"click {LEAST} points of the piece in {one.photo.images[0].file} first"
                    )
            text = points_text.text_with(self.text, clicks)
            parse_readings(text, self._folder, str(self.path))
            keeping.save_over(self.path, text, self.text)
            self.text, self._saved = text, self.now
        self.changed()
        return self.path

    def look_at_file(self) -> None:
        """Notice a file that was changed by an editor: read it again, or say so."""
        error = ""
        try:
            if keeping.now_in(self.path) != self.text:
                if self.unsaved and self.history.undo_words:
                    error = f"{self.path.name} was changed by another program; undo to read it"
                else:
                    self._read()
                    self.changed()
        except GlowsimError as problem:
            error = str(problem)
        if error != self.error:
            self.error = error
            self.changed()


def _with(values: tuple[Any, ...], k: int, value: Any) -> tuple[Any, ...]:
    return (*values[:k], value, *values[k + 1 :])


def _clicks(photo: Photo, unset: set[int]) -> Clicks:
    points = tuple(
        Click(mark.at_mm, None if n in unset else mark.pixel) for n, mark in enumerate(photo.points)
    )
    return Clicks(points, photo.from_mm, photo.to_mm)


def _body_of(scene: str, name: str | None, folder: Path) -> Mesh:
    """Return the outer surface of a photo's piece; raises what its scene raises."""
    scene_file = read_scene(folder / scene)
    return unlit_solid_of(scene_file, scene_file.scene.numbers.get(name or "", 0)).outer


def _filled(toml: TomlText, folder: Path) -> tuple[dict[str, Any], dict[int, set[int]]]:
    """Return the data with what is still to be clicked filled in, and which points of which photo
    those are: its own points without a pixel, or the piece's landmarks where it names too few."""
    data, unset = deepcopy(toml.data), dict[int, set[int]]()
    tables = data.get("photos")
    for number, table in enumerate(tables if isinstance(tables, list) else ()):
        if not isinstance(table, dict) or not table.get("images"):
            continue
        if "card" not in table:
            points = table.setdefault("points", [])
            if len(points) < LEAST:
                points += [{"at_mm": list(mark.at_mm)} for mark in _marks_of(table, folder)]
            without = [n for n, p in enumerate(points) if isinstance(p, dict) and "pixel" not in p]
            for n in without:
                points[n]["pixel"] = list(UNSET)
            if without:
                unset[number] = set(without)
        if not {"from_mm", "to_mm", "patches_mm"} & table.keys():
            ends = first_stretch(*_seen(table, folder)) if _told(table) else None
            if ends is not None:
                table["from_mm"], table["to_mm"] = (end.round(2).tolist() for end in ends)
    return data, unset


def _told(table: dict[str, Any]) -> bool:
    """Whether a photo says what it is of and from where; if not, reading it will say so."""
    toward = table.get("toward")
    if not (isinstance(table.get("scene"), str) and isinstance(toward, list) and len(toward) == 3):
        return False
    return all(isinstance(v, int | float) for v in toward) and any(toward)


def _seen(table: dict[str, Any], folder: Path) -> tuple[Mesh, FloatArray]:
    body = _body_of(table["scene"], table.get("body"), folder)
    return body, np.array(table["toward"], dtype=float)


def _marks_of(table: dict[str, Any], folder: Path) -> list[Any]:
    return landmarks(*_seen(table, folder)) if _told(table) else []
