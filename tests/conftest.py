"""What holds for all tests."""

from __future__ import annotations

import os

from hypothesis import settings

# The same examples every time: a change must not fail by the luck of the draw. Now and then, and
# after work on what they try, draw new ones: GLOWSIM_NEW_EXAMPLES=1 python -m pytest
settings.register_profile("same", derandomize=True, deadline=None)
settings.register_profile("new", deadline=None)
settings.load_profile("new" if os.environ.get("GLOWSIM_NEW_EXAMPLES") else "same")
