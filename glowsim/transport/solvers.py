"""What the solvers are called, and which of them a glow is by."""

from __future__ import annotations

from collections.abc import Iterable

from glowsim.transport.result import BodyGlow

QUICK = "quick"
REFERENCE = "reference"
BOTH = "quick and reference"
"""The solver of a glow of which some bodies are quick's and some are the reference's."""


def solver_of(bodies: Iterable[BodyGlow]) -> str:
    """Return by which solver the lit bodies of a glow were solved."""
    found = {body.by_reference for body in bodies if body.light_count}
    return BOTH if len(found) > 1 else REFERENCE if True in found else QUICK
