"""All findings of a glow in one frozen report."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from glowsim.findings.account import EnergyAccount, energy_account
from glowsim.findings.cautions import cautions_of
from glowsim.findings.compared import Comparison, compared_with
from glowsim.findings.evenness import Evenness, evenness_of, evenness_of_all
from glowsim.findings.fictions import fictions
from glowsim.findings.leaks import light_leaks, stopped
from glowsim.findings.lit import ReadsAsLit, reads_as_lit
from glowsim.findings.luminance import Look, bright_noise, looks_of
from glowsim.findings.openings import OpeningLight, opening_lights
from glowsim.findings.patches import SLENDER, Eye, Patch
from glowsim.findings.ranges import material_range
from glowsim.findings.shown import shown_html
from glowsim.findings.suggest import Idea, Suggestion, suggestion
from glowsim.findings.unevenness import grade
from glowsim.findings.wanted import fade_of
from glowsim.findings.wording import WITHIN_NOISE, across_notes, fade_notes, text_of
from glowsim.geometry.mesh import FloatArray, IntArray
from glowsim.scene import Room, Scene, Thresholds
from glowsim.transport.result import SurfaceGlow

MOST_PER_BODY = 8
"""Findings listed for one body, worst first; the rest is counted."""
WORTH_SAYING = 0.005
"""A smaller share of a surface is not worth a word."""


@dataclass(frozen=True, kw_only=True)
class Finding:
    """A numbered hot spot, dark gap or light leak (what must stay dark and is lit).

    ratio : to its surroundings; of a light leak, to the mean of what is meant to glow

    body_place_mm : in the body's own frame;  prop_place_mm : on its first copy, in the prop
    from_mm, to_mm : heights (z) it reaches in the body's own frame
    size_mm : diameter of a disc of its area;  length_mm, width_mm : how far it reaches
    ring    : whether it runs all round; then its length is its diameter
    noise, noise_to_mean : one-sigma errors of the ratios, 0 for a solver without noise
    within_noise   : noise alone could make such a patch
    elsewhere_mm   : the same place on the other copies that look alike, in the prop
    suggested_mm   : where the suggestion wants a light, in the body's own frame, if anywhere
    ideas          : what the suggestion comes to, to be tried; faces : (n,) int, of its body
    """

    number: int
    kind: str
    body: str
    copy: str
    body_place_mm: tuple[float, ...]
    prop_place_mm: tuple[float, ...]
    from_mm: float
    to_mm: float
    size_mm: float
    length_mm: float
    width_mm: float
    ring: bool
    area_mm2: float
    ratio: float
    ratio_to_mean: float
    light: str
    light_mm: float
    direct_share: float
    suggestion: str
    noise: float = 0.0
    noise_to_mean: float = 0.0
    within_noise: bool = False
    elsewhere_mm: tuple[tuple[float, ...], ...] = ()
    suggested_mm: tuple[float, ...] | None = None
    ideas: tuple[Idea, ...] = ()
    faces: IntArray | None = field(default=None, compare=False, repr=False)

    @property
    def size(self) -> str:
        """How large it is [mm]: '19', '370 x 46' or 'ring 40'."""
        if self.ring:
            return f"ring {self.length_mm:.0f}"
        slender = self.length_mm >= SLENDER * self.width_mm
        return f"{self.length_mm:.0f}" + (f" x {self.width_mm:.0f}" if slender else "")

    @property
    def what(self) -> str:
        """Its kind and shape: 'hot spot', 'hot ring', 'dark gap', 'dark ring', 'light leak'."""
        return f"{self.kind.split()[0]} ring" if self.ring else self.kind

    @property
    def label(self) -> str:
        """How large and how strong it is, in a few words."""
        of = "the glow's mean" if self.kind == "light leak" else "its surroundings"
        words = f"{self.size} mm" if " x " in self.size else f"{self.size} mm wide"
        if self.ring:
            reach = f"{self.from_mm:z.0f} to {self.to_mm:z.0f}"
            words = f"ring at height {reach}, {self.length_mm:.0f} mm across"
        words += f", {self.ratio:.2g} x {of}"
        return f"{words}, within noise" if self.within_noise else words


@dataclass(frozen=True, kw_only=True)
class Findings:
    """What a glow amounts to.

    bodies  : evenness of each different look;  whole : of all glowing faces together
    found   : light leaks, hot spots and dark gaps, numbered;  unlisted : how many more there are
    trust   : what makes the solver a rough guide, by body
    compared : how far quick was off on bodies like these, by body, where that is known
    supply  : what feeds the lights: 'as wired, battery half used', '' for as driven
    noise   : relative error of the bright faces as lit, by body, for a solver with noise
    by_reference : names of the bodies that the reference solver solved; the others are quick's
    openings : light out of the openings of shells, as on the wearer's side
    untold  : share of the glowing surface of which noise lets nothing be said, where it is any
    also    : what else was tried on it, as `decisions.mending` says; empty where nothing was
    """

    title: str
    solver: str
    room: Room
    limits: Thresholds
    bodies: tuple[Evenness, ...]
    whole: Evenness | None
    lit: tuple[ReadsAsLit, ...]
    found: tuple[Finding, ...]
    unlisted: int
    account: EnergyAccount
    trust: dict[str, tuple[str, ...]]
    cautions: tuple[str, ...]
    notes: tuple[str, ...]
    compared: dict[str, Comparison] = field(default_factory=dict)
    noise: dict[str, float] = field(default_factory=dict)
    untold: dict[str, float] = field(default_factory=dict)
    by_reference: tuple[str, ...] = ()
    supply: str = ""
    also: tuple[str, ...] = ()
    openings: tuple[OpeningLight, ...] = ()

    def __str__(self) -> str:
        return text_of(self)

    def _repr_html_(self) -> str:
        return shown_html(self)

    def as_json(self) -> dict[str, Any]:
        """Return plain data for a JSON file."""
        return {
            "title": self.title,
            "solver": self.solver,
            "solved_by_reference": list(self.by_reference),
            "supply": self.supply,
            "room": self.room.model_dump(),
            "thresholds": self.limits.model_dump(),
            "evenness": [_plain(e) for e in self.bodies],
            "whole": _plain(self.whole) if self.whole else None,
            "reads_as_lit": [_plain(v) for v in self.lit],
            "openings": [_plain(v) for v in self.openings],
            "findings": [_plain(f, "ideas", "faces") for f in self.found],
            "unlisted_findings": self.unlisted,
            "energy": _account_json(self.account),
            "trust": {name: list(cautions) for name, cautions in self.trust.items()},
            "compared": {
                name: vars(known) | {"likeness": known.likeness.as_json(), "text": str(known)}
                for name, known in self.compared.items()
            },
            "noise": {name: round(share, 5) for name, share in self.noise.items()},
            "untold": {name: round(share, 5) for name, share in self.untold.items()},
            "cautions": list(self.cautions),
            "notes": list(self.notes),
        }


def findings_of(
    glow: SurfaceGlow,
    scene: Scene,
    comparisons: Sequence[Comparison] = (),
    *,
    of: str | None = None,
    estimates: bool = True,
) -> Findings:
    """Judge a glow for a scene's room, viewing distance and thresholds.

    How warm boards get is no matter of the glow, and not among its findings: `glowsim.heat_of`
    works that out from the scene.

    comparisons : of quick with the reference, made earlier; what they tell is said with quick
    of          : judge the body of this name alone, in the light of all
    estimates   : say of each hot spot and dark gap what may mend it, as far as that can be told
                  without trying; that takes longer than all else
    """
    looks = looks_of(glow, scene.room, of=of)
    if of is not None:
        glow = replace(glow, copies=tuple(copy for copy in glow.copies if copy.of == of))
    eyes = [_eye(look, scene) for look in looks]
    found: list[Finding] = []
    bodies: list[Evenness] = []
    unlisted = spots = 0
    untold: dict[str, float] = {}
    for eye in eyes:
        if (hidden := eye.told.untold(eye.patchwork.area)) >= WORTH_SAYING:
            untold[eye.look.name] = hidden
        standing_out = eye.patches()
        bodies.append(_graded(evenness_of(eye), len(standing_out), scene.findings))
        spots += len(standing_out)
        patches = [*light_leaks(eye), *standing_out]
        unlisted += max(0, len(patches) - MOST_PER_BODY)
        for patch in patches[:MOST_PER_BODY]:
            found.append(_finding(len(found) + 1, patch, eye, glow, estimates))
    return Findings(
        title=glow.title,
        solver=glow.solver,
        room=scene.room,
        limits=scene.findings,
        bodies=tuple(bodies),
        whole=_whole(eyes, spots),
        lit=tuple(_lit(look, glow, scene) for look in looks),
        found=tuple(found),
        unlisted=unlisted,
        account=energy_account(glow),
        trust={body.name: body.trust for body in glow.bodies if body.light_count},
        cautions=cautions_of(looks),
        notes=(
            *glow.notes,
            *fade_notes((eye.look.copies[0].of for eye in eyes), scene),
            *across_notes(looks),
            *(f"{body}: {text}" for body, text in fictions(scene).items()),
        ),
        compared=compared_with(glow.bodies, comparisons),
        by_reference=tuple(b.name for b in glow.bodies if b.light_count and b.by_reference),
        noise={look.name: share for look in looks if (share := bright_noise(look)) is not None},
        untold=untold,
        supply=glow.supply,
        openings=opening_lights(glow),
    )


def _eye(look: Look, scene: Scene) -> Eye:
    return Eye(look, scene.room, scene.findings, fade_of(scene, look.copies[0].of))


def _graded(figures: Evenness, spots: int, limits: Thresholds) -> Evenness:
    return replace(figures, grade=grade(figures.worse_end, spots, limits))


def _lit(look: Look, glow: SurfaceGlow, scene: Scene) -> ReadsAsLit:
    material = material_range(look.body.account, glow.flux_lm(look.copies[0]), scene)
    return reads_as_lit(look, glow, scene.room, scene.findings, material)


def _suggestion(patch: Patch, eye: Eye, estimates: bool) -> Suggestion:
    if patch.within_noise:
        return Suggestion(WITHIN_NOISE)
    if patch.kind == "light leak":
        return Suggestion(stopped(patch, eye))
    return suggestion(patch, eye) if estimates else Suggestion("")


def _finding(number: int, patch: Patch, eye: Eye, glow: SurfaceGlow, estimates: bool) -> Finding:
    copy, advice = eye.look.copies[0], _suggestion(patch, eye, estimates)
    world, *elsewhere = (
        _rounded(c.transform[:3, :3] @ patch.place_mm + c.transform[:3, 3]) for c in eye.look.copies
    )
    return Finding(
        number=number,
        kind=patch.kind,
        body=eye.look.name,
        copy=copy.name,
        body_place_mm=_rounded(patch.place_mm),
        prop_place_mm=world,
        from_mm=patch.from_mm,
        to_mm=patch.to_mm,
        size_mm=patch.size_mm,
        length_mm=patch.length_mm,
        width_mm=patch.width_mm,
        ring=patch.ring,
        area_mm2=patch.area_mm2,
        ratio=patch.ratio,
        ratio_to_mean=patch.ratio_to_mean,
        light=glow.lights[copy.lights[patch.light]].name,
        light_mm=patch.light_mm,
        direct_share=patch.direct_share,
        suggestion=advice.words,
        noise=patch.noise,
        noise_to_mean=patch.noise_to_mean,
        within_noise=patch.within_noise,
        elsewhere_mm=tuple(elsewhere),
        suggested_mm=None if advice.place_mm is None else _rounded(advice.place_mm),
        ideas=advice.ideas,
        faces=patch.faces,
    )


def _whole(eyes: Sequence[Eye], spots: int) -> Evenness | None:
    if not eyes:
        return None
    figures = evenness_of_all("whole prop", eyes, [len(eye.look.copies) for eye in eyes])
    return _graded(figures, spots, eyes[0].limits)


def _rounded(point: FloatArray) -> tuple[float, ...]:
    return tuple(round(float(v), 1) for v in point)


def _plain(item: Any, *without: str) -> dict[str, Any]:
    # Adding nothing turns -0.0 into 0.0.
    kept = {k: v for k, v in vars(item).items() if k not in without}
    return {k: round(v, 5) + 0.0 if isinstance(v, float) else v for k, v in kept.items()}


def _account_json(account: EnergyAccount) -> dict[str, Any]:
    def bands(values: FloatArray) -> list[float]:
        return [round(float(v), 6) for v in values]

    return {
        "emitted_lm": bands(account.emitted_lm),
        "escaped_lm": bands(account.escaped_lm),
        "through_holes_lm": bands(account.through_holes_lm),
        "absorbed_lm": {name: bands(v) for name, v in account.absorbed_lm.items()},
        "in_coats_lm": bands(account.in_coats_lm),
        "error_share": account.error_share,
    }
