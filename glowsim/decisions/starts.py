"""Every start along the paths of a body's strips and chains, by the light read backwards."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from glowsim.decisions.objective import Aim
from glowsim.decisions.response import Responses
from glowsim.electrics.as_wired import kept_by
from glowsim.errors import GeometryError
from glowsim.geometry.boards import board_frame
from glowsim.geometry.body import region_of
from glowsim.geometry.mesh import FloatArray
from glowsim.geometry.strips import PathStrip
from glowsim.optics.photometry import lambertian_order, luminance_of_emitter_cd_m2
from glowsim.scene import Body, Light, StripPiece
from glowsim.transport.leds import LIFT_MM, lights_of_copy
from glowsim.transport.plan import Plan
from glowsim.transport.problem import Emitters

STEP_MM = 2.0
"""Between the starts that are looked at, at most: finer than a strip is stuck on by hand."""
MOST_SWEEPS = 6
"""Rounds over several strips, each slid in turn."""


class Starts:
    """The strips of a body at every start that is looked at, by the light read backwards.

    starts : of each strip, (n,) float [mm];  now : which of them it has
    rows   : of each strip, (n, patches) float, the luminance it brings;  rest : (patches,) that of
             lights that stay
    """

    def __init__(
        self, plan: Plan, number: int, strips: Sequence[PathStrip], responses: Responses
    ) -> None:
        """Follow the light of every start. Raises as `Responses` does."""
        self._responses, self.strips = responses, strips
        body = plan.scene_file.scene.bodies[number]
        self._flux = _fluxes_lm(plan, body, responses.problem.emitters)
        self._owner = [
            light.strip if isinstance(light, StripPiece) else -1
            for light, many in zip(body.lights, _sources_of(plan, body), strict=True)
            for _ in range(many)
        ]
        self.starts: list[FloatArray] = []
        self.rows: list[FloatArray] = []
        self.now: list[int] = []
        for strip in strips:
            starts, rows = self._looked_at(strip)
            self.starts.append(starts)
            self.rows.append(rows)
            self.now.append(int(np.abs(starts - strip.light.start_mm).argmin()))
        self.rest = self._rest([strip.number for strip in strips])

    def _luminance(self, seen: FloatArray, flux_lm: FloatArray) -> FloatArray:
        light = np.einsum("kb,kbp->p", flux_lm, seen)
        responses = self._responses
        return luminance_of_emitter_cd_m2(light / responses.area_mm2) / responses.wanted

    def _rest(self, sliding: Sequence[int]) -> FloatArray:
        """Return what lights that are not slid bring to each patch."""
        emitters = self._responses.problem.emitters
        stay = [k for k, owner in enumerate(self._owner) if owner not in sliding]
        if not stay:
            return np.zeros(len(self._responses.area_mm2))
        some = np.isin(emitters.light, stay)
        number = np.searchsorted(stay, emitters.light[some])
        alone = Emitters(
            emitters.position[some], emitters.direction[some], emitters.exponent[some],
            number, emitters.share[some], emitters.region[some],
        )  # fmt: skip
        return self._luminance(self._responses.seen_of(alone), self._flux[stay])

    def _looked_at(self, strip: PathStrip) -> tuple[FloatArray, FloatArray]:
        """Return the starts along a strip's path at which its LEDs stand where lights may, and
        what it brings from each to each patch. LEDs that starts share are followed once."""
        kept, places, ways = [], [], []
        problem = self._responses.problem
        kinds = problem.kind_of(problem.emitters.region)
        for start in _starts_mm(strip):
            try:
                pieces = strip.pieces(float(start))
            except GeometryError:
                continue
            place, way = _leds(strip, pieces)
            region = region_of(place, self._responses.problem.solids)
            if (region < 0).any() or not np.isin(
                self._responses.problem.kind_of(region), kinds
            ).all():
                continue
            kept.append(start)
            places.append(place)
            ways.append(way)
        both = np.concatenate([np.concatenate(places), np.concatenate(ways)], axis=1)
        once, which = np.unique(np.round(both, 3), axis=0, return_inverse=True)
        seen = self._responses.seen_of(self._emitters(strip, once))
        leds = which.reshape(len(kept), -1)
        flux = self._flux[[k for k, owner in enumerate(self._owner) if owner == strip.number]]
        # A board's LEDs share its light, unless they are lights of their own.
        each = leds.shape[1] // len(flux)
        flux = np.repeat(flux / each, each, axis=0)
        rows = [self._luminance(seen[row], flux) for row in leds]
        return np.array(kept), np.array(rows)

    def _emitters(self, strip: PathStrip, both: FloatArray) -> Emitters:
        count = len(both)
        order = float(lambertian_order(strip.board.half_intensity_full_angle_deg / 2))
        way = both[:, 3:] / np.linalg.norm(both[:, 3:], axis=1, keepdims=True)
        region = region_of(both[:, :3], self._responses.problem.solids)
        each = np.arange(count)
        return Emitters(both[:, :3], way, np.full(count, order), each, np.ones(count), region)

    def at_mm(self, chosen: Sequence[int]) -> FloatArray:
        """Return the starts that a choice is, (strips,) float [mm]."""
        return np.array([starts[k] for starts, k in zip(self.starts, chosen, strict=True)])

    def luminance(self, chosen: Sequence[int]) -> FloatArray:
        """Return what all lights bring to each patch for a start of each strip, (patches,)."""
        return self.rest + sum(row[k] for row, k in zip(self.rows, chosen, strict=True))

    def ranked(self, aim: Aim) -> list[tuple[int, ...]]:
        """Return choices of a start for each strip, the best first, as far as they promise more
        than where the strips are, but one at least: each strip slid in turn while that is
        better."""
        known: dict[tuple[int, ...], float] = {}
        chosen = tuple(self.now)
        for _ in range(MOST_SWEEPS):
            was = chosen
            for k in range(len(self.strips)):
                tries = [(*chosen[:k], n, *chosen[k + 1 :]) for n in range(len(self.starts[k]))]
                scores = aim.score(np.array([self.luminance(one) for one in tries]))
                known |= dict(zip(tries, map(float, scores), strict=True))
                chosen = tries[int(scores.argmax())]
            if chosen == was:
                break
        now = known.pop(tuple(self.now))
        best = sorted(known, key=lambda one: -known[one])
        return [one for k, one in enumerate(best) if k == 0 or known[one] > now]


def _leds(strip: PathStrip, pieces: Sequence[Light]) -> tuple[FloatArray, FloatArray]:
    """Return where the LEDs of a strip's pieces are and which way they face, (leds, 3) each."""
    offsets = strip.board.led_offsets_mm(pieces[0].led_count) + np.array([0.0, 0.0, LIFT_MM])
    frames = [frame for piece in pieces if (frame := board_frame(piece)) is not None]
    places = np.concatenate([offsets @ frame[:3, :3].T + frame[:3, 3] for frame in frames])
    return places, np.repeat([frame[:3, 2] for frame in frames], len(offsets), axis=0)


def _starts_mm(strip: PathStrip) -> FloatArray:
    """Return the starts that are looked at: in steps that go into the pitch, so that LEDs of one
    stand where those of another do; the middle and the far end; and where it is."""
    last = strip.last_start_mm
    step = strip.pitch_mm / np.ceil(strip.pitch_mm / STEP_MM)
    ends = np.array([last / 2, last])
    starts = np.concatenate([np.arange(0.0, last, step), ends])
    # Rounded down, so that none runs past the end.
    tenths = np.floor(starts * 10 + 1e-6) / 10
    return np.unique(np.append(tenths, strip.light.start_mm))


def _sources_of(plan: Plan, body: Body) -> list[int]:
    """Return how many lights of the solved body each light of a scene's body is."""
    return [
        len(plan.catalogue.board(light.board).led_offsets_mm(light.led_count))
        if light.separate_leds
        else 1
        for light in body.lights
    ]


def _fluxes_lm(plan: Plan, body: Body, emitters: Emitters) -> FloatArray:
    """Return the flux of each light of a body per band, as driven and wired, (lights, 3) float."""
    nowhere = np.zeros((emitters.light_count, 3))
    sources = lights_of_copy(body, "", np.eye(4), nowhere, plan.catalogue)
    kept = kept_by(plan.scene_file, body.name)
    return np.array([source.flux_lm * source.drive * kept for source in sources])
