"""Bodies with their lights elsewhere: what commands that move lights answer."""

from __future__ import annotations

from abc import ABC, abstractmethod
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from glowsim.decisions.alike import named_all
from glowsim.decisions.boards import Poses
from glowsim.decisions.objective import Wish
from glowsim.decisions.placed_scene import write_beside
from glowsim.decisions.response import Responses
from glowsim.decisions.step import Step
from glowsim.decisions.worth import Verdict
from glowsim.scene import Body
from glowsim.transport.plan import Plan


@dataclass(frozen=True, kw_only=True)
class Relit(ABC):
    """Bodies that are alike with their lights elsewhere, solved and weighed.

    numbers       : these bodies of the scene, that which is judged first
    before, after : the body as the scene has it, and as it was found to be better
    drive_factor  : what the drive of the lights was multiplied with, for heat or the wish
    verdict       : whether it is worth doing;  text_of_scene : the new scene
    responses, poses : the body read backwards, and places in it, for a picture of what mends the
                    rest
    """

    plan: Plan
    numbers: tuple[int, ...]
    wish: Wish
    before: Step
    after: Step
    drive_factor: float
    verdict: Verdict
    text_of_scene: str
    responses: Responses
    poses: Poses

    @property
    @abstractmethod
    def label(self) -> str:
        """What was done, in a few words."""

    @property
    @abstractmethod
    def text(self) -> tuple[str, ...]:
        """What a maker should know, in sentences."""

    @property
    def body(self) -> Body:
        """The body that is judged, as the scene has it."""
        return self.plan.scene_file.scene.bodies[self.numbers[0]]

    @property
    def bodies(self) -> str:
        """How to call all copies that get it."""
        return named_all(self.plan.scene_file, self.numbers)

    @property
    def worth(self) -> bool:
        """Whether it is worth doing; otherwise what is there should stay."""
        return self.verdict.worth

    def write(self) -> Path:
        """Write the new scene beside the old one, under a free name; return its path.

        Whether that is worth doing, `worth` says.
        """
        return write_beside(Path(self.plan.scene_file.toml.name), "placed", self.text_of_scene)

    def as_json(self) -> dict[str, Any]:
        """Return plain data."""
        return {
            "body": self.body.name,
            "bodies": [self.plan.scene_file.scene.bodies[k].name for k in self.numbers],
            "worth_doing": self.worth,
            "first": self.wish.first,
            "meets_target": self.after.enough,
            "drive_factor": round(self.drive_factor, 5),
            "before": self.before.as_json(),
            "after": self.after.as_json(),
            "text": list(self.text),
        }
