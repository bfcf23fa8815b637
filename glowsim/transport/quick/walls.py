"""What the walls of a body do to diffuse light: coefficients for the field and the cavity."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from glowsim.geometry.mesh import FloatArray, IntArray
from glowsim.geometry.regions import ROOM
from glowsim.optics.boundary import boundary_coefficient
from glowsim.transport.problem import BARE, BodyProblem, Kind


@dataclass(frozen=True)
class Walls:
    """Per wall face and band; J = b (phi^ - E) is the flux out of the scattering material.

    field_b   : (faces, 3) float, b on the side of scattering material; 0 where there is none
    cavity_b  : (faces, 3) float, b as the cavity sees the face; 0 where it is not on one
    escape_fraction : (faces, 3) float, share of the flux J (or, from air, of b E) that gets out
    in_coat   : (faces, 3) float, share that stays in a coat
    index     : (faces,) float, refractive index of the scattering side (1 elsewhere)
    on_cavity : (faces,) bool, scattering material on one side and air on the other
    """

    field_b: FloatArray
    cavity_b: FloatArray
    escape_fraction: FloatArray
    in_coat: FloatArray
    index: FloatArray
    on_cavity: np.ndarray


def walls_of(problem: BodyProblem) -> Walls:
    """Work out the coefficients of every wall face of a body."""
    kind_in, kind_out = problem.kind_of(problem.inside), problem.kind_of(problem.outside)
    scatters_in, scatters_out = kind_in == Kind.SCATTERS, kind_out == Kind.SCATTERS
    one_side = scatters_in ^ scatters_out
    cloudy = np.where(scatters_in, problem.inside, problem.outside)
    beyond = np.where(scatters_in, problem.outside, problem.inside)
    indices = np.array([m.refractive_index for m in problem.media] + [1.0])
    index = np.where(one_side, indices[cloudy], 1.0)
    opaque = (kind_in == Kind.OPAQUE) | (kind_out == Kind.OPAQUE)
    core = np.where(kind_in == Kind.OPAQUE, problem.inside, problem.outside)
    hollow = (problem.kind_of(beyond) == Kind.AIR) & (beyond != ROOM)

    reflects, through = _surface(problem, np.where(opaque, core, ROOM))
    bare = (problem.coat == BARE) & ~opaque
    field_b = b_of_material(index, reflects, bare)
    field_b[~one_side] = 0.0

    on_cavity = one_side & hollow
    open_air = (kind_in == Kind.AIR) | ((kind_out == Kind.AIR) & (problem.outside != ROOM))
    cavity_b = np.where(on_cavity[:, None], field_b, 1 - reflects)
    # A bare hole reflects nothing: b = 1.
    cavity_b[~open_air] = 0.0

    to_room = problem.outside == ROOM
    kept = np.maximum(1 - reflects, 1e-12)
    escape_fraction = np.where(
        (to_room & bare)[:, None], 1.0, np.where(to_room[:, None], through / kept, 0.0)
    )
    in_coat = np.where((problem.coat != BARE)[:, None], 1 - escape_fraction, 0.0)
    return Walls(field_b, cavity_b, escape_fraction, in_coat, index, on_cavity)


def _surface(problem: BodyProblem, core: IntArray) -> tuple[FloatArray, FloatArray]:
    """Return diffuse reflectance and transmittance of each face's coat or core, (faces, 3)."""
    reflects, through = np.zeros((len(core), 3)), np.zeros((len(core), 3))
    for number, layer in enumerate(problem.layers):
        mine = problem.coat == number
        reflects[mine], through[mine] = layer.reflectance, layer.transmittance
    for number, medium in enumerate(problem.media):
        if medium.reflectance is not None:
            reflects[core == number] = medium.reflectance
    return reflects, through


def b_of_material(index: FloatArray, reflects: FloatArray, bare: np.ndarray) -> FloatArray:
    """Return b = 2 n^2 / A on the side of scattering material, (faces, 3).

    A coat or core touches the material, so its own reflectance R stands in place of Fresnel's:
    A = (1 + R) / (1 - R) for diffuse light (Haskell et al. 1994 with R_phi = R_j = R), plus
    what Milne's exact solution adds to the bare matched face.
    """
    smooth = boundary_coefficient(index)
    milne = float(boundary_coefficient(1.0)) - 1.0
    covered = (1 + reflects) / np.maximum(1 - reflects, 1e-9) + milne
    a = np.where(bare[:, None], smooth[:, None], covered)
    return 2 * index[:, None] ** 2 / a
