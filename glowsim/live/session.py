"""The prop as edited, what is done to it by hand and what is kept of it: all but the page.

Everything here may be called from any thread, and nothing knows of a browser.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import replace
from pathlib import Path

from glowsim.catalogue import Catalogue
from glowsim.decisions.mending import Mended
from glowsim.errors import GlowsimError, SceneError
from glowsim.geometry.mesh import FloatArray
from glowsim.live import edits, keeping, photos, splitting
from glowsim.live.answers import Answers, Seen
from glowsim.live.boards import (
    Around,
    added_clear,
    beside,
    in_body,
    shape_of,
    stepped,
    toward,
    turned_clear,
    typed,
    up_the_middle,
)
from glowsim.live.edits import BoardAt, Prop
from glowsim.live.figures import Figures
from glowsim.live.history import History
from glowsim.live.strips import strip_at
from glowsim.live.tries import Tries, Try
from glowsim.scene import Light, SceneFile, read_scene
from glowsim.transport.plan import catalogue_of, plan_of
from glowsim.transport.prepared import PreparedProp
from glowsim.transport.problem import BodyProblem


class Session:
    """One scene file under the hand."""

    def __init__(
        self,
        path: Path,
        changed: Callable[[], None] = lambda: None,
        kept: PreparedProp | None = None,
        begun: bool = True,
    ) -> None:
        """Open a scene; raises SceneError or MaterialError.

        changed : called, from any thread, whenever there is something new to be seen
        kept    : what has been kept ready of this prop already
        begun   : begin to light it at once; otherwise `begin` does
        """
        self.path = path
        self.changed = changed
        self.origin = read_scene(path)
        plan_of(self.origin)
        self.tries = Tries(path)
        self._file_error = ""
        self.file_changed = False
        self._own_file = False
        self.history = History(Prop(self.origin.scene))
        self._held: Prop | None = None
        self._saved = self.origin.scene
        self._lock = threading.RLock()
        self.kept = kept or PreparedProp()
        self._answers = Answers(lambda: self.changed(), self.kept)
        self.left_over = self.tries.remembered()
        if begun:
            self.begin()

    def begin(self) -> None:
        """Begin to light the prop."""
        self._ask_full()

    # What there is.

    @property
    def now(self) -> Prop:
        """The prop as it is under the hand."""
        return self._held or self.history.now

    @property
    def error(self) -> str:
        """What is wrong with the prop as it is, or with its file, '' for nothing."""
        return self._answers.error or self._file_error

    @property
    def seen(self) -> Seen | None:
        """What is shown, None before the first answer."""
        return self._answers.seen

    @property
    def figures(self) -> Figures:
        """The figures of the last full answer; those of `now` once it `rests`."""
        return self._answers.figures

    @property
    def judged(self) -> Prop | None:
        """The prop that the findings among `figures` are of."""
        return self._answers.judged

    @property
    def mended(self) -> Mended | None:
        """What was tried against the findings among `figures`; None before it was asked for."""
        found = self._answers.mended
        return found[1] if found and found[0] is self.figures.findings else None

    @property
    def problems(self) -> dict[int, BodyProblem]:
        """The bodies of the last full answer, by number."""
        return self._answers.problems

    @property
    def doing(self) -> str:
        """What is being worked on, '' once the full answer and its figures are there."""
        return self._answers.doing

    @property
    def rests(self) -> bool:
        """Whether what is seen, and every figure, is the full answer to the prop as it is."""
        return bool(self.seen and self.seen.full and self.seen.prop == self.now and not self.doing)

    @property
    def unsaved(self) -> bool:
        """Whether the prop differs from what its file holds."""
        return self.history.now.scene != self._saved

    def file(self, prop: Prop | None = None) -> SceneFile:
        """Return a prop as a scene file, for the calls of the other rooms."""
        return replace(self.origin, scene=(prop or self.now).scene)

    def catalogue(self) -> Catalogue:
        """Return the catalogue with the scene's own entries."""
        return catalogue_of(self.file())

    def wait(self, seconds: float = 120.0) -> bool:
        """Wait until everything asked for is answered; return whether it was in time."""
        return self._answers.wait(seconds)

    def close(self, seconds: float = 10.0) -> bool:
        """End the work; return whether it came to its end in time. Nothing kept hangs on that."""
        return self._answers.close(seconds)

    # What the hand does.

    def drag(self, at: BoardAt, copy: int, point_mm: Sequence[float], piece: int = 0) -> None:
        """Move a board, or a piece of a strip, towards a point of the prop; it is let go by
        `release`."""
        with self._lock:
            wanted = in_body(self.now, at, copy, point_mm)
            self._hold(toward(self.now, at, wanted, self._around(at), piece))

    def hold(self, change: Callable[[Prop], Prop]) -> None:
        """Show a change in draft, as of a slider that is being moved; see `release`."""
        with self._lock:
            self._hold(change(self.now))

    def release(self, words: str = "move a board") -> None:
        """Let go of what is held: it counts as one step, and the full answer is worked out."""
        with self._lock:
            held, self._held = self._held, None
            if held is not None:
                self._did(words, held)

    def do(self, words: str, change: Callable[[Prop], Prop]) -> None:
        """Change the prop in one step; raises what `change` raises, and then nothing changed."""
        with self._lock:
            self.release()
            self._did(words, change(self.history.now))

    def instead(self, of: str, words: str, was: Prop, prop: Prop) -> bool:
        """Put a prop in place of the last step, which is forgotten, if that is called `of`, or
        after it if '' is given; return whether the prop still was what it was."""
        with self._lock:
            if self.now != was:
                return False
            self.release()
            if of and self.history.undo_words == of:
                self.history.drop()
            self._did(words, prop)
        return True

    def nudge(self, at: BoardAt, step_mm: Sequence[float]) -> None:
        """Move a board by a step in its body's frame, a strip by what of it lies along its path."""
        self.do("nudge a board", lambda p: stepped(p, at, step_mm, self._around(at)))

    def type_number(self, at: BoardAt, hand: str, value_mm: float) -> None:
        """Put a board where a typed number says, see `boards.HANDS`; a strip by `strips.HAND`."""
        self.do("type a number", lambda p: typed(p, at, hand, value_mm, self._around(at)))

    def turn(self, at: BoardAt, direction: Sequence[float]) -> None:
        """Turn a board to face a way of its body's frame, pushed clear if it has to be.

        Raises SceneError if it has no room that way near where it stands.
        """
        problem, catalogue = self.problem(at.body), self.catalogue()
        self.do("turn a board", lambda p: turned_clear(p, at, direction, problem, catalogue))

    def add(self, body: int, board: str) -> BoardAt:
        """Put one more board of the catalogue into a body, where there is room; return it."""
        problem, prop = self.problem(body), self.history.now
        tries = up_the_middle(problem)
        light = Light(board=board, position_mm=edits.tidy(tries[0]))
        if lights := prop.scene.bodies[body].lights:
            drive = prop.kept.get(BoardAt(body, 0), lights[0].drive)
            light = light.model_copy(update={"zone": lights[0].zone, "drive": drive})
        self._put(body, light, tries, "add a board")
        return BoardAt(body, len(self.now.scene.bodies[body].lights) - 1)

    def double(self, at: BoardAt) -> BoardAt:
        """Put a second board like one that is there beside it, where there is room; return it."""
        light = self.now.light(at)
        tries = beside(shape_of(light, self.catalogue()))
        update = {"name": None, "drive": self.now.kept.get(at, light.drive)}
        self._put(at.body, light.model_copy(update=update), tries, "double a board")
        return BoardAt(at.body, len(self.now.scene.bodies[at.body].lights) - 1)

    def split_off(self, at: BoardAt, copy: int) -> BoardAt:
        """Make the copy a board was taken at a body of its own; return the board in there.

        Raises SceneError where that cannot be, see `splitting.split_off`.
        """

        def split(prop: Prop) -> Prop:
            new = splitting.split_off(prop, at.body, copy, self.file(prop))
            keeping.text_of(self.origin, new.scene)
            return new

        self.do("split a copy off", split)
        new = BoardAt(len(self.now.scene.bodies) - 1, at.light)
        if at.body in self.problems:
            self.problems[new.body] = self.problems[at.body]
        return new

    def ask_mended(self) -> None:
        """Have what may mend the findings tried, once the prop rests; see `mended`."""
        self._answers.mend(self.file(), self.now)

    def undo(self) -> None:
        """Take back the last step."""
        self._step(self.history.undo)

    def redo(self) -> None:
        """Do again what was taken back."""
        self._step(self.history.redo)

    # What is kept.

    def save(self, over: bool = False) -> Path:
        """Save under a new name beside the scene; a file made so, or `over`, is written over.

        Raises SceneError, and then nothing has been written.
        """
        with self._lock:
            scene = self.history.now.scene
            text, _ = keeping.text_of(self.origin, scene)
            if over or self._own_file:
                keeping.save_over(self.path, text, self.origin.toml.text)
            else:
                self.path, self._own_file = keeping.save_beside(self.path, text), True
            self.origin = read_scene(self.path)
            self._saved, self.file_changed = scene, False
            self._remember()
        self.changed()
        return self.path

    def look_at_file(self) -> None:
        """Notice a scene file that was changed by an editor: read it again, or say so."""
        try:
            text = keeping.now_in(self.path)
        except SceneError as problem:
            self._say_of_file(str(problem))
            return
        if text == self.origin.toml.text:
            self._say_of_file("")
            return
        if self.unsaved:
            if not self.file_changed:
                self.file_changed = True
                self.changed()
        else:
            self.reload()

    def reload(self) -> None:
        """Read the scene file again; what is wrong with it is shown and the prop stays."""
        with self._lock:
            try:
                origin = read_scene(self.path)
                plan_of(origin)
            except GlowsimError as problem:
                self._say_of_file(str(problem))
                return
            self._file_error = ""
            self.origin, self._saved, self.file_changed = origin, origin.scene, False
            self._did("read the file again", Prop(origin.scene))

    def keep_both(self) -> None:
        """Leave a file that was changed meanwhile to its editor: what is saved from now on goes
        under a new name."""
        with self._lock:
            new = keeping.save_beside(self.path, self._text())
            self.path, self._own_file, self.file_changed = new, True, False
            self.origin, self._saved = read_scene(new), self.history.now.scene
        self.changed()

    def take_left_over(self, taken: bool) -> None:
        """Take back what the last run left unsaved, as one step, or forget it."""
        with self._lock:
            text, self.left_over = self.left_over, None
            if taken and text is not None:
                scene = keeping.scene_in(text, self.origin)
                self.do("take back what was not saved", lambda prop: Prop(scene))
            else:
                self._remember()
        self.changed()

    def keep_try(self, words: str, azimuth_deg: float, elevation_deg: float) -> Try:
        """Keep the prop as it is as a try, with a small photo from where it is seen."""
        text = self._text()
        picture = self.photo((480, 360), azimuth_deg, elevation_deg)
        kept = self.tries.keep(words, text, picture)
        self.changed()
        return kept

    def go_back(self, one: Try) -> None:
        """Make the prop what it was in a try, as one step that can be undone."""
        scene = keeping.scene_in(one.scene, self.origin)
        self.do(f"go back to try {one.number}", lambda prop: Prop(scene))

    def photo(self, size: tuple[int, int], azimuth_deg: float, elevation_deg: float) -> bytes:
        """Return a photo as `glow` takes it of this prop seen from there, as PNG."""
        return photos.photo_png(self.kept, self.file(), size, azimuth_deg, elevation_deg)

    def compared(self, one: Try, azimuth_deg: float, elevation_deg: float) -> bytes:
        """Return a try beside the prop as it is, at one exposure and from one side, as PNG."""
        other = replace(self.origin, scene=keeping.scene_in(one.scene, self.origin))
        names = (f"try {one.number}", "now")
        files = (other, self.file())
        return photos.side_by_side_png(self.kept, files, names, azimuth_deg, elevation_deg)

    # How it is answered.

    def _text(self) -> str:
        return keeping.text_of(self.origin, self.history.now.scene)[0]

    def _put(self, body: int, light: Light, tries: Sequence[FloatArray], words: str) -> None:
        problem, catalogue = self.problem(body), self.catalogue()
        self.do(words, lambda p: added_clear(p, body, light, tries, problem, catalogue))

    def problem(self, body: int) -> BodyProblem:
        """Return a body of the last full answer; raises SceneError if there is none yet."""
        if body not in self.problems:
            raise SceneError("the body is not ready yet; wait for its first light")
        return self.problems[body]

    def _around(self, at: BoardAt) -> Around:
        catalogue = self.catalogue()
        return Around(strip_at(self.file(), at, catalogue), self.problem(at.body), catalogue)

    def _hold(self, prop: Prop) -> None:
        if prop != self.now:
            self._held = prop
            self._answers.draft(self.file(prop), prop)

    def _step(self, step: Callable[[], bool]) -> None:
        with self._lock:
            self.release()
            if step():
                self._remember()
                self._ask_full()

    def _did(self, words: str, prop: Prop) -> None:
        self.history.did(words, prop)
        self._remember()
        self._ask_full()

    def _remember(self) -> None:
        """Keep what is not saved, so that a crash loses nothing."""
        if self.left_over is not None:
            return  # not over what the last crash left, until that is decided on
        with suppress(SceneError):
            self.tries.remember(self._text() if self.unsaved else None)

    def _ask_full(self) -> None:
        prop = self.history.now
        self._answers.full(self.file(prop), prop)

    def _say_of_file(self, error: str) -> None:
        if error != self._file_error:
            self._file_error = error
            self.changed()
