"""Variants of a scene, solved and judged on the faces and cells that all are compared on."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Protocol

from glowsim.decisions.step import Step, judged
from glowsim.scene import SceneFile
from glowsim.transport.build import Report
from glowsim.transport.plan import plan_of
from glowsim.transport.prepared import PreparedProp
from glowsim.transport.result import SurfaceGlow
from glowsim.transport.sizes import Sizes
from glowsim.transport.sure import Sure


class Ready(Protocol):
    """What is kept ready between variants, and what all of them are compared on."""

    @property
    def prop(self) -> PreparedProp:
        """Prepared bodies."""

    @property
    def sizes(self) -> dict[int, Sizes]:
        """Faces and cells, by the number of the body."""


def sizes_alike(responses: Ready, numbers: Sequence[int]) -> dict[int, Sizes]:
    """Return faces and cells of bodies that are alike, the first of them prepared: the same for
    all, so that they are solved once."""
    return dict.fromkeys(numbers, responses.sizes[numbers[0]])


class Trial:
    """Solves variants of a scene in which some bodies, all alike, differ; the others are solved
    once."""

    def __init__(
        self,
        responses: Ready,
        numbers: Sequence[int],
        report: Report,
        sure: Sure | None = None,
    ) -> None:
        """Solve on what `responses` keeps ready; numbers : of the bodies, that judged first.

        sure : solve that body by the reference where quick is a rough guide
        """
        self._responses, self._number, self._report = responses, numbers[0], report
        self._sure = sure
        self._sizes = sizes_alike(responses, numbers)
        self._first: SurfaceGlow | None = None

    def judged(self, scene_file: SceneFile, count: float) -> Step:
        """Return what comes of a variant, on the faces and cells that all are compared on."""
        plan = plan_of(scene_file, self._sizes)
        prop = self._responses.prop
        glow = prop.glow(plan, report=self._report)
        if self._sure is not None:
            glow = self._sure.judged(plan, self._number, glow, prop.seed, self._report)
        if self._first is not None and self._first.same_faces(glow):
            glow = self._first.relit(glow)
        material = scene_file.scene.bodies[self._number].material
        step = judged(glow, scene_file, self._number, count, material, plan.catalogue)
        self._first = self._first or step.glow
        return step
