"""What a call complains of, if it does."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from glowsim.errors import GlowsimError


def fault_of(call: Callable[..., Any], *arguments: Any) -> str | None:
    """Return the message of the project's error that `call` raises, or None if it raises none.

    Any other exception passes: it is a fault of the project.
    """
    try:
        call(*arguments)
    except GlowsimError as fault:
        return str(fault)
    return None
