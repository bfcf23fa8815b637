"""Which bodies boards are placed in: one that is named, and all that are like it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from glowsim.decisions.placed_scene import with_lights
from glowsim.errors import SceneError, as_options, did_you_mean
from glowsim.scene import Light, SceneFile
from glowsim.transport.plan import Plan

NO_LIGHT = (
    "no body has a light to place; give it one, anywhere in it: its board, colour and direction "
    "are the pattern for what is placed"
)


def bodies_alike(plan: Plan, name: str | None) -> tuple[int, ...]:
    """Return the number of the body that is meant, first, and of all bodies like it.

    name : of a body ('spike') or of one of its copies ('spike 3'); None where one body is lit, or
           all lit bodies are alike
    Alike are bodies that answer light alike, with the same boards driven alike.
    Raises SceneError if it cannot be told, or has no light.
    """
    number = body_number(plan, name)
    mine = _looked_at(plan, number)
    bodies = range(len(plan.scene_file.scene.bodies))
    return (number, *(k for k in bodies if k != number and _looked_at(plan, k) == mine))


def body_number(plan: Plan, name: str | None) -> int:
    """Return the number of the body that is meant, the first of several alike.

    Raises SceneError as `bodies_alike` does.
    """
    bodies, file = plan.scene_file.scene.bodies, plan.scene_file.toml.name
    lit = [k for k, body in enumerate(bodies) if body.lights]
    if name is None:
        if not lit:
            raise SceneError(f"{file}: {NO_LIGHT}")
        if all(_looked_at(plan, k) == _looked_at(plan, lit[0]) for k in lit):
            return lit[0]
        choice = as_options("--body", (bodies[k].name for k in lit))
        raise SceneError(f"{file}: bodies that are not alike have lights; say which: {choice}")
    number = named_body(plan.scene_file, name)
    if not bodies[number].lights:
        raise plan.scene_file.fault(("bodies", number), NO_LIGHT)
    return number


def named_body(scene_file: SceneFile, name: str) -> int:
    """Return the number of a body by its own name or that of one of its copies.

    Raises SceneError if there is no such body.
    """
    bodies = scene_file.scene.bodies
    named = {copy: k for k, body in enumerate(bodies) for copy in body.copy_names}
    named |= scene_file.scene.numbers
    if name not in named:
        file = scene_file.toml.name
        raise SceneError(f"{file}: there is no body '{name}'{did_you_mean(name, list(named))}")
    return named[name]


def named_all(scene_file: SceneFile, numbers: Sequence[int]) -> str:
    """Return how to call all copies of bodies that are alike: "'gem'", "each of 9 'spike'"."""
    bodies = [scene_file.scene.bodies[k] for k in numbers]
    names = " and ".join(f"'{body.name}'" for body in bodies)
    count = sum(body.copy_count for body in bodies)
    return names if count == 1 else f"each of {count} {names}"


def _looked_at(plan: Plan, number: int) -> tuple[str, Any, list[Any]]:
    """Return all that counts when bodies are called alike."""
    body = plan.scene_file.scene.bodies[number]
    lights = [light.model_dump(exclude={"name", "zone"}) for light in body.lights]
    return plan.keys[number], body.placing, lights


def relit(
    scene_file: SceneFile, lights: dict[int, list[Light]], name: str
) -> tuple[str, SceneFile]:
    """Return the text of a scene with other lights in some bodies, by number, and that scene.

    name : what to call the new file in messages
    """
    text, new = scene_file.toml.text, scene_file
    for number, mine in lights.items():
        text, new = with_lights(new, text, number, mine, name)
    return text, new
