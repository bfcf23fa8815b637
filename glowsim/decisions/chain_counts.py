"""How many boards of a chain? Each number spread evenly along its path, solved."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from glowsim.catalogue import Catalogue
from glowsim.decisions.alike import relit
from glowsim.decisions.lights import drive_factor, turned
from glowsim.decisions.modules_count import Count, joints_of
from glowsim.decisions.objective import Wish
from glowsim.decisions.response import as_drawn
from glowsim.decisions.step import Step, warmed
from glowsim.decisions.trial import Trial
from glowsim.errors import GlowsimError, SceneError
from glowsim.geometry.strips import path_strips
from glowsim.scene import Body, Light, SceneFile
from glowsim.transport.build import Report, body_problem
from glowsim.transport.clear import refuse_guide
from glowsim.transport.fit import misfits
from glowsim.transport.plan import Plan, plan_of
from glowsim.transport.prepared import PreparedProp
from glowsim.transport.sizes import Sizes
from glowsim.transport.sure import Sure


@dataclass(frozen=True)
class AsDrawn:
    """What is kept ready between variants, on the faces and cells of the body as it is drawn."""

    prop: PreparedProp
    sizes: dict[int, Sizes]


def chain_of(body: Body) -> int | None:
    """Return the number of a body's chain of boards along a path; None without one, or with
    several, or beside strips along paths."""
    along = [k for k, light in enumerate(body.lights) if light.runs_along]
    return along[0] if len(along) == 1 and body.lights[along[0]].is_chain else None


def chain_counts(
    plan: Plan,
    scene_file: SceneFile,
    numbers: tuple[int, ...],
    most: int,
    boards: Sequence[str],
    wish: Wish,
    seed: int,
    sure: Sure | None,
    report: Report,
) -> tuple[Step, list[Count], list[str]]:
    """Solve 1 to `most` boards of the chain of bodies that are alike, of each of some kinds.

    scene_file : as written;  numbers : of the bodies, that judged first
    Returns the scene as it is, the counts, and why numbers were left out. Raises SceneError where
    none is left.
    """
    number, prop = numbers[0], PreparedProp(seed)
    drawn = prop.problem(plan, number)
    refuse_guide(drawn, "how many boards it needs")
    trial = Trial(AsDrawn(prop, {number: as_drawn(drawn)}), numbers, report, sure)
    report("solving the scene as it is")
    before = warmed(trial.judged(scene_file, 0), plan.catalogue)
    counts: list[Count] = []
    missing: list[str] = []
    for board in boards:
        for k in range(1, most + 1):
            report(f"solving {k} boards '{board}' along the path")
            try:
                text, new = _spread(scene_file, numbers, board, k, plan.catalogue)
                if blocked := _blocked(new, number):
                    missing.append(f"{k} boards '{board}': {blocked}")
                    continue
                counts.append(_count(trial, text, new, plan, numbers, k, board, wish, before))
            except SceneError as fault:
                missing.append(str(fault))
    if not counts:
        raise SceneError("\n".join(missing))
    return before, counts, missing


def _spread(
    scene_file: SceneFile,
    numbers: Sequence[int],
    board: str,
    count: int,
    catalogue: Catalogue,
    factor: float = 1.0,
) -> tuple[str, SceneFile]:
    """Return the text of a scene with so many boards along the paths of some bodies, spread evenly,
    one alone in the middle, and that scene.

    factor : what the drive of all lights of these bodies is multiplied with
    """
    lights: dict[int, list[Light]] = {}
    for number in numbers:
        mine = list(scene_file.scene.bodies[number].lights)
        k = chain_of(scene_file.scene.bodies[number])
        assert k is not None, "bodies that are alike have such a chain, as the first has"
        (strip,) = path_strips(scene_file, number, catalogue)
        track, start = strip.track, mine[k].start_mm
        if not track.closed:
            start = round(track.length_mm / 2, 1) if count == 1 else 0.0
        changes = {"board_count": count, "pitch_mm": None, "start_mm": start, "board": board}
        if board != mine[k].board:
            changes["channel_current_ma"] = None
        mine[k] = mine[k].model_copy(update=changes)
        lights[number] = [turned(light, factor, catalogue.board(light.board)) for light in mine]
    return relit(scene_file, lights, f"{scene_file.stem}-placed.toml")


def _blocked(scene_file: SceneFile, number: int) -> str:
    """Return what stands in the way of the boards of a body, '' for nothing."""
    try:
        found = misfits(body_problem(plan_of(scene_file), number, fitted=False))
    except GlowsimError as fault:
        return str(fault)
    return next((misfit.what for misfit in found if misfit.blocks), "")


def _count(
    trial: Trial,
    text: str,
    new: SceneFile,
    plan: Plan,
    numbers: tuple[int, ...],
    count: int,
    board: str,
    wish: Wish,
    before: Step,
) -> Count:
    """Return one number of boards, solved, turned to what the wish and heat have it at."""
    catalogue, number = plan.catalogue, numbers[0]
    step, factor = warmed(trial.judged(new, count), catalogue), 1.0
    if step.heat is not None:
        factor = drive_factor(wish, before, step.heat, step.evenness.mean_cd_m2)
    if factor != 1.0 and step.heat is not None:
        heat = step.heat.turned(factor, new.scene.heat.room_c)
        text, new = _spread(new, numbers, board, count, catalogue, factor)
        step = replace(trial.judged(new, count), heat=heat)
    lights = [step.glow.lights[k] for k in step.copies[0].lights]
    pieces = plan_of(new).scene_file.scene.bodies[number].lights
    kinds = [catalogue.board(light.board) for light in pieces]
    return Count(
        board,
        count,
        step,
        None,
        factor,
        sum(1000 * one.power_w / catalogue.board(one.board).supply_v for one in lights),
        sum(one.power_w for one in lights),
        sum(
            len(kind.led_offsets_mm(light.led_count))
            for kind, light in zip(kinds, pieces, strict=True)
        ),
        sum(joints_of(kind) for kind in kinds),
        tuple(pieces),
        text,
        None,
    )
