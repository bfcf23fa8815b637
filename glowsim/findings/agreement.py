"""Quick beside reference: how far apart they are, where, and how sure that is.

Both are taken as driven, on the faces that are meant to glow. The reference is noisy; whatever
is compared carries that noise as an error, and only what exceeds it counts as a difference.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

from glowsim.errors import SolveError
from glowsim.findings.luminance import Look, looks_of
from glowsim.findings.noise import OVERLAP, beyond_chance, shaken_often
from glowsim.findings.patches import eye_mm
from glowsim.findings.slices import SURE, Ratio, Rows, Slice, slicing
from glowsim.geometry.mesh import FloatArray, IntArray
from glowsim.geometry.patchwork import Patchwork
from glowsim.plain import picked
from glowsim.scene import Room
from glowsim.transport.likeness import Likeness
from glowsim.transport.problem import BANDS
from glowsim.transport.result import SurfaceGlow

OFF = 0.10
"""A difference larger than this share makes quick a rough guide."""
KNOWN = 0.2
"""Places are judged where the reference knows them better than this: 25 photons or more."""
WELL_KNOWN = 0.06
"""Patches are as wide as what the eye averages, as findings are, or wider until known to this."""
WIDEST = 4.0
"""The widest patches, in heights of a slice."""
LEAST_OF_MEAN = 0.01
"""Slices and places darker than this share of the body's mean are not judged."""


@dataclass(frozen=True)
class WorstPlace:
    """A place on a body's surface, in its own frame and on its first copy in the prop."""

    body_place_mm: tuple[float, ...]
    prop_place_mm: tuple[float, ...]
    ratio: Ratio


@dataclass(frozen=True, kw_only=True)
class BodyAgreement:
    """Quick beside reference on one body as lit.

    body, name : the look's name, with the number of copies, and the body's own
    axis     : the slices stand along it, 'x', 'y' or 'z' of the body's own frame
    let_out  : ratio of all light from the faces meant to glow;  bands : of each colour band
    usual    : root mean square difference over the surface, the noise's share taken out, or the
               least that could be told from it; usual_below : whether it is less than that;
               never above the worst place
    worst    : where they differ most, beyond the noise; None where they differ nowhere
    noise    : error of a typical place of `patch_mm`, the least difference that can be told
    trust    : what quick itself says to be careful about
    copies   : names of the copies that look so
    faces    : (k,) float, ratio over patches around each face of the body's surface, and its
               error; nan where the face is not meant to glow, or all but dark
    """

    body: str
    name: str
    axis: str
    slices: tuple[Slice, ...]
    let_out: Ratio
    bands: tuple[Ratio | None, ...]
    usual: float
    usual_below: bool
    worst: WorstPlace | None
    noise: float
    patch_mm: float
    trust: tuple[str, ...]
    likeness: Likeness | None
    copies: tuple[str, ...]
    faces: tuple[FloatArray, FloatArray]

    @property
    def judged(self) -> tuple[Slice, ...]:
        """The slices that are not all but dark."""
        area = sum(part.area_mm2 for part in self.slices)
        mean = sum(part.area_mm2 * part.reference_cd_m2 for part in self.slices) / area
        return tuple(part for part in self.slices if part.reference_cd_m2 > LEAST_OF_MEAN * mean)

    @property
    def worst_off(self) -> float:
        """The largest sure difference of the whole, of a slice, or of a place."""
        ratios = [self.let_out, *(part.luminance for part in self.judged)]
        if self.worst:
            ratios.append(self.worst.ratio)
        return max(ratio.surely_off for ratio in ratios)

    @property
    def misjudged(self) -> bool:
        """Whether quick is off although it finds nothing to be careful about."""
        return not self.trust and self.worst_off > OFF

    def as_json(self) -> dict[str, Any]:
        """Return plain data."""
        return {
            **picked(self, "body", "axis", "usual_below", "patch_mm", "trust", "misjudged"),
            **picked(self, usual=5, worst_off=5, noise=5),
            "let_out": _plain(self.let_out),
            "bands": _banded(self.bands),
            "worst": vars(self.worst) | {"ratio": _plain(self.worst.ratio)} if self.worst else None,
            "likeness": self.likeness.as_json() if self.likeness else None,
            "slices": [
                vars(s) | {"luminance": _plain(s.luminance), "bands": _banded(s.bands)}
                for s in self.slices
            ],
        }


@dataclass(frozen=True)
class Agreement:
    """Quick beside reference on a whole prop."""

    title: str
    bodies: tuple[BodyAgreement, ...]

    def as_json(self) -> dict[str, Any]:
        """Return plain data for a JSON file."""
        return {"title": self.title, "bodies": [body.as_json() for body in self.bodies]}


def agreement_of(quick: SurfaceGlow, reference: SurfaceGlow, room: Room) -> Agreement:
    """Hold a quick result beside a reference result of the same scene.

    Raises SolveError if they are not of the same bodies.
    """
    pairs = list(_pairs(quick, reference, room))
    finest_mm = 4 * eye_mm(room)
    bodies = tuple(_body(quick, reference, one, other, finest_mm) for one, other in pairs)
    return Agreement(quick.title, bodies)


def ratio_of_faces(
    quick: Look, reference: Look, patch_mm: float
) -> tuple[Patchwork, FloatArray, FloatArray, FloatArray]:
    """Return the faces meant to glow, the ratio at each, its error, and how bright each is.

    Both luminances are averaged over patches `patch_mm` wide; the last is the reference's, as a
    share of the mean. (n,) float each.
    """
    work = Patchwork(reference.body.surface, reference.glows)
    # A Gaussian of deviation s weighs like a disc of diameter 4 s.
    radius = patch_mm / 4
    own, other = (k.luminance_cd_m2[work.faces].astype(float) for k in (quick, reference))
    if not other.any():
        raise SolveError(f"no photon has left '{reference.name}' yet: give the reference more time")
    noise = None if reference.noise_cd_m2 is None else reference.noise_cd_m2[work.faces]
    calm = work.smoothed(np.column_stack([own, other, shaken_often(other, noise)]), radius)
    mean = float(work.area @ other / work.area.sum())
    below = np.maximum(calm[:, 1], 1e-6 * mean)
    ratio = calm[:, 0] / below
    # Where photons were few by chance, so is their scatter: the error is what quick's own figure
    # would have.
    variance = work.smoothed(calm[:, 2:].var(axis=1, ddof=1), radius)
    known = np.sqrt(np.maximum(variance, 0.0)) / below
    return work, ratio, known * np.sqrt(np.maximum(ratio, 1.0)), calm[:, 1] / mean


def _pairs(quick: SurfaceGlow, reference: SurfaceGlow, room: Room) -> Iterator[tuple[Look, Look]]:
    """Yield each different look of the prop as both solvers see it."""
    known = {
        (look.body.key, look.copies[0].name): look for look in looks_of(reference, room, False)
    }
    for look in looks_of(quick, room, False):
        other = known.get((look.body.key, look.copies[0].name))
        if other is None or len(other.glows) != len(look.glows):
            raise SolveError(
                f"the two results hold different bodies ('{look.name}'): solve both again"
            )
        yield look, other


def _body(
    quick: SurfaceGlow, reference: SurfaceGlow, one: Look, other: Look, finest_mm: float
) -> BodyAgreement:
    surface = one.body.surface
    axis, step, edges = slicing(surface.vertices)
    rows = Rows(quick, reference, one, other)
    height = surface.centroids[:, axis]
    slices = [
        part
        for low, high in itertools.pairwise(edges)
        if (part := rows.slice(one.glows & (height >= low) & (height < high), low, high))
    ]
    for patch_mm in _widths(finest_mm, WIDEST * step):
        work, ratio, noise, bright = ratio_of_faces(one, other, patch_mm)
        share = work.area * ((bright > LEAST_OF_MEAN) & (noise < KNOWN))
        share = share / max(float(share.sum()), 1e-30)
        typical = float(np.sqrt(share @ noise**2))
        if 0 < typical < WELL_KNOWN:
            break
    worst = _worst(one, work, ratio, noise, share, _patches(work, patch_mm))
    usual, below = _usual(ratio, noise, share, _patches(work, patch_mm))
    # No root mean square is above its greatest: past the worst place, what is left is noise.
    most = worst.ratio.off if worst else SURE * typical
    return BodyAgreement(
        body=one.name,
        name=one.body.name,
        axis="xyz"[axis],
        slices=tuple(slices),
        let_out=rows.luminance(one.glows),
        bands=rows.bands(one.glows),
        usual=min(usual, most),
        usual_below=below,
        worst=worst,
        noise=typical,
        patch_mm=patch_mm,
        trust=one.body.trust,
        likeness=one.body.likeness,
        copies=tuple(copy.name for copy in one.copies),
        faces=(
            _on_all(one, work.faces, np.where(bright > LEAST_OF_MEAN, ratio, np.nan)),
            _on_all(one, work.faces, noise),
        ),
    )


def _on_all(look: Look, faces: IntArray, values: FloatArray) -> FloatArray:
    """Return values of some faces on all faces of the surface, nan on the others."""
    everywhere = np.full(len(look.glows), np.nan)
    everywhere[faces] = values
    return everywhere


def _widths(finest_mm: float, widest_mm: float) -> Iterator[float]:
    """Yield the widths of patches to try, from what the eye averages up."""
    width = min(finest_mm, widest_mm)
    while width < widest_mm:
        yield width
        width *= 2
    yield widest_mm


def _patches(work: Patchwork, patch_mm: float) -> float:
    """Return how many patches of that width a surface has, side by side."""
    return float(work.area.sum()) / (np.pi / 4 * patch_mm**2)


def _usual(
    ratio: FloatArray, noise: FloatArray, share: FloatArray, patches: float
) -> tuple[float, bool]:
    """Return the root mean square difference, or what it is below and True."""
    # A ratio over a noisy figure is too great on average, by its relative variance.
    relative = noise / np.sqrt(np.maximum(ratio, 1.0))
    variance = float(share @ (relative * ratio) ** 2)
    square = float(share @ (ratio / (1 + relative**2) - 1) ** 2) - variance
    # The mean square of n normal numbers is known to sqrt(2 / n) of their variance; these are not
    # quite normal and not quite alike, so three times that.
    least = 3 * variance * np.sqrt(2 / max(patches, 1.0))
    return (float(np.sqrt(least)), True) if square < least else (float(np.sqrt(square)), False)


def _worst(
    look: Look,
    work: Patchwork,
    ratio: FloatArray,
    noise: FloatArray,
    share: FloatArray,
    patches: float,
) -> WorstPlace | None:
    """Return where the results differ most, if by more than chance brings among so many places."""
    sure = beyond_chance(min(len(ratio), int(np.ceil(OVERLAP * patches))))
    off = np.abs(ratio - 1) - sure * noise
    off[share <= 0] = -1.0
    k = int(off.argmax())
    if off[k] <= 0:
        return None
    place = look.body.surface.centroids[work.faces[k]]
    transform = look.copies[0].transform
    world = transform[:3, :3] @ place + transform[:3, 3]
    return WorstPlace(
        _rounded(place), _rounded(world), Ratio(float(ratio[k]), float(noise[k]), sure)
    )


def _rounded(point: FloatArray) -> tuple[float, ...]:
    return tuple(round(float(v), 1) + 0.0 for v in point)


def _plain(ratio: Ratio) -> dict[str, float]:
    return picked(ratio, value=5, noise=5)


def _banded(ratios: tuple[Ratio | None, ...]) -> dict[str, dict[str, float] | None]:
    return {
        band: _plain(ratio) if ratio else None for band, ratio in zip(BANDS, ratios, strict=True)
    }
