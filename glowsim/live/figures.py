"""The figures of a full answer: those that `glow`, `power` and `heat` print for the scene."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

from glowsim.decisions.heat import heat_caution
from glowsim.electrics.heat import HeatReport, heat_of
from glowsim.electrics.power import Electrics, PowerReport, power_report
from glowsim.electrics.power_words import hours_words
from glowsim.electrics.report_json import power_json
from glowsim.errors import GlowsimError
from glowsim.findings import Evenness, Finding, Findings, ReadsAsLit, findings_of
from glowsim.geometry.notes import Doubt, OpenHollow
from glowsim.scene import Scene, SceneFile
from glowsim.transport.result import SurfaceGlow


@dataclass(frozen=True)
class Figures:
    """What is known of a prop as it stands; None is not worked out yet, or not to be had.

    heat_unknown : why heat cannot be worked out, '' where it can
    """

    findings: Findings | None = None
    power: PowerReport | None = None
    heat: HeatReport | None = None
    heat_unknown: str = ""

    @property
    def watts(self) -> float | None:
        """Power of the lights as driven [W]: the sum over boards that `heat` prints."""
        if self.heat is None:
            return None
        return sum(board.power_w for board in self.heat.boards)

    @property
    def hours(self) -> str | None:
        """Hours of the scene's own battery, as `power` prints them."""
        choice = self.power.choice if self.power else None
        return None if choice is None else hours_words(choice.run)[0]

    @property
    def battery(self) -> str | None:
        """The scene's own battery in words."""
        choice = self.power.choice if self.power else None
        return None if choice is None else choice.pack.label

    @property
    def hottest_c(self) -> float | None:
        """Temperature of the hottest board once warm, as `heat` prints it [C]."""
        return self.heat.hottest.board_c if self.heat else None

    @property
    def cautions(self) -> tuple[str, ...]:
        """What could hurt, as `glow` prints it; heat is among it once that is worked out."""
        return self.findings.cautions if self.findings else ()

    def evenness(self, body: str) -> Evenness | None:
        """Return the evenness of a body of the scene, or of its copies together."""
        return _named(self.findings.bodies if self.findings else (), body)

    def lit(self, body: str) -> ReadsAsLit | None:
        """Return whether a body of the scene reads as lit."""
        return _named(self.findings.lit if self.findings else (), body)

    def rough(self, body: str) -> tuple[str, ...]:
        """Return why the quick solver is a rough guide for a body, as `glow` prints it; empty
        where it is none."""
        trust = self.findings.trust if self.findings else {}
        return next((tuple(why) for of, why in trust.items() if of.partition(" (x")[0] == body), ())

    def worst(self, body: str) -> Finding | None:
        """Return the first finding of a body, the worst."""
        return _named(self.findings.found if self.findings else (), body)

    @property
    def asked(self) -> tuple[str, ...]:
        """What was taken on a guess when mesh files were read: a unit, a hole that was closed.

        A hollow that lights stand in is open as the maker has it; of that nothing is asked here.
        """
        notes = self.findings.notes if self.findings else ()
        return tuple(n for n in notes if isinstance(n, Doubt) and not isinstance(n, OpenHollow))

    def as_json(self) -> dict[str, Any]:
        """Return plain data, each part as its command prints it; of heat not how soon."""
        return {
            "glow": self.findings.as_json() if self.findings else None,
            "power": power_json(self.power) if self.power else None,
            "heat": self.heat.as_json() if self.heat else None,
        }


def _named(rows: Any, body: str) -> Any:
    return next((row for row in rows if row.body.partition(" (x")[0] == body), None)


def judged(glow: SurfaceGlow, scene: Scene) -> Figures:
    """Return the findings of a full answer, which is as the scene's battery and wires let it be."""
    return Figures(findings=findings_of(glow, scene))


def with_power(figures: Figures, scene_file: SceneFile) -> Figures:
    """Return the figures with currents and battery."""
    return replace(figures, power=power_report(Electrics(scene_file)))


def with_heat(
    figures: Figures, glow: SurfaceGlow, scene_file: SceneFile, report: Callable[[str], None]
) -> Figures:
    """Return the figures with the temperatures of the boards, and what `glow` says of them among
    its cautions; without lights there are none.

    report : told what is being worked on; what it raises gives the work up
    """
    if not any(body.lights for body in scene_file.scene.bodies):
        return figures
    heat, unknown = None, ""
    try:
        heat = heat_of(scene_file, how_soon=False, report=report)
    except GlowsimError as problem:  # such as a material whose conductivity nobody knows
        unknown = str(problem)
    findings = figures.findings
    words = heat_caution(scene_file, glow.lights, report=report, found=heat).words
    if findings is not None and words:
        findings = replace(findings, cautions=(words, *findings.cautions))
    return replace(figures, findings=findings, heat=heat, heat_unknown=unknown)
