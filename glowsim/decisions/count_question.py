"""How many boards a body needs, as a question about its material."""

from __future__ import annotations

from collections.abc import Callable, Collection

import numpy as np

from glowsim.decisions.linear import questions_of
from glowsim.decisions.modules import Modules, modules
from glowsim.errors import SceneError
from glowsim.geometry.mesh import FloatArray
from glowsim.scene import SceneFile

MOST = 6
LEAST_GAIN = 0.02
"""What one board more must do to ln of 5 %/mean for evenness to decide the number."""


def count_questions(
    scene_file: SceneFile,
    materials: Collection[str],
    report: Callable[[str], None] = lambda text: None,
) -> dict[tuple[str, str], FloatArray]:
    """Return, by body and its material, the slopes of the number of boards that is even enough by
    ln mu_a and ln mu_s' of each band, (3, 2) float [boards].

    materials : those that are asked about. Of bodies whose boards are to be placed: those with
    rules for it (`placing`). Left out are those where evenness does not decide the number. Raises
    what a solve may raise.
    """
    found = {}
    for body in scene_file.scene.bodies:
        if body.placing is None or body.material not in materials:
            continue
        most = min(MOST, max(2, len(body.lights) + 1))
        try:
            answer = modules(scene_file, body.name, most=most, report=report)
        except SceneError:
            continue  # no number of boards finds room: there is no count to ask about
        gain = evenness_per_board(answer)
        if gain < LEAST_GAIN:
            continue
        report(f"asking what the number of boards in {body.name} depends on")
        slopes = questions_of(answer.shown.step.scene_file).get((body.name, body.material))
        if slopes is not None:
            # A material by which evenness falls takes as many boards more as make up for it.
            found[body.name, body.material] = -slopes["evenness"] / gain
    return found


def evenness_per_board(answer: Modules) -> float:
    """Return by how much ln of 5 %/mean grows with one board more, about the number shown; 0 where
    there is no other number to tell it by."""
    near = [c for c in answer.of(answer.shown.board) if abs(c.count - answer.shown.count) <= 1]
    if len(near) < 2:
        return 0.0
    count = np.array([c.count for c in near], dtype=float)
    even = np.log([max(c.step.even, 1e-9) for c in near])
    return float(np.polyfit(count, even, 1)[0])
