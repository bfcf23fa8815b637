"""A placement as pictures: before and after at one exposure, and what would mend the rest."""

from __future__ import annotations

from PIL import Image

from glowsim.decisions.relit import Relit
from glowsim.decisions.sensitivity import Sensitivity
from glowsim.decisions.step import Step
from glowsim.decisions.worth import figures
from glowsim.pictures import Studio, compared


def before_after(answer: Relit, size: tuple[int, int], backend: str = "auto") -> Image.Image:
    """Return photographs before and after, at one exposure."""
    steps = (answer.before, answer.after)
    studios = [Studio(step.glow, step.scene_file.scene, backend) for step in steps]
    labels = [f"before: {_figures(steps[0])}", f"{answer.label}: {_figures(steps[1])}"]
    return compared(studios, labels, size, columns=2)


def mending(answer: Relit, after: bool = False) -> Image.Image:
    """Return sections that show what would mend the worst place, before or after."""
    step = answer.after if after else answer.before
    return Sensitivity(answer.responses, step).picture(answer.poses)


def _figures(step: Step) -> str:
    return f"{figures(step)}, mean {step.evenness.mean_cd_m2:.3g} cd/m²"
