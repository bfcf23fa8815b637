"""Small bodies to place boards in, and what they need."""

from __future__ import annotations

from glowsim.decisions.effort import Effort
from glowsim.decisions.objective import Wish
from glowsim.decisions.placer import Placer, pattern_light
from glowsim.decisions.response import Responses
from glowsim.scene import Placing, SceneFile, parse_scene
from glowsim.transport.plan import Plan, plan_of

MATERIAL = """
[materials.cloud]
label = "cloud"
mu_a_per_mm = {mu_a}
mu_s_reduced_per_mm = {mu_s}
g = 0.0
refractive_index = 1.0
"""

SPARING = Effort(patches=100, candidates=120, sure_rays=4096)
"""A search that is soon over, on bodies so small that it finds no worse places."""

DOT = """
[boards.dot]
like = "rgb_5050_18ma"
diameter_mm = 1.0
thickness_mm = 0.5
led_window_mm = 0.5
"""
"""A board too small to throw a shadow, for closed forms that know of none."""


def scene(
    body: str, *, mu_a: float = 0.005, mu_s: float = 1.0, light: str = "", more: str = ""
) -> SceneFile:
    """Return a scene with one body of a plain material and one light.

    body : keys of the body;  light : keys of its light;  more : further tables
    """
    return parse_scene(text(body, mu_a=mu_a, mu_s=mu_s, light=light, more=more), "little.toml")


def text(
    body: str, *, mu_a: float = 0.005, mu_s: float = 1.0, light: str = "", more: str = ""
) -> str:
    """Return the text of such a scene."""
    light = light or 'board = "rgb_5050_18ma"\nposition_mm = [0, 0, 10]\n'
    return (
        'title = "little"\n[[bodies]]\nname = "body"\nmaterial = "cloud"\n'
        + body
        + "\n[[bodies.lights]]\n"
        + light
        + MATERIAL.format(mu_a=mu_a, mu_s=mu_s)
        + more
    )


def placer(
    scene_file: SceneFile,
    *,
    patches: int = 80,
    candidates: int = 250,
    wish: Wish | None = None,
    placing: Placing | None = None,
    responses: Responses | None = None,
) -> Placer:
    """Return what places boards in the only body of a scene."""
    plan: Plan = plan_of(scene_file)
    room = placing or scene_file.scene.bodies[0].placing or Placing()
    known = responses or Responses(plan, 0, Effort(patches=patches, candidates=candidates))
    return Placer(plan, 0, known, pattern_light(plan, 0, None), room, wish or Wish())
