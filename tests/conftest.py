"""What holds for all tests."""

from __future__ import annotations

import os

from hypothesis import settings

# In CI the same examples every time: a change must not fail by the luck of the draw. Elsewhere
# new ones each time, which is how new faults are found.
settings.register_profile("ci", derandomize=True, deadline=None)
settings.register_profile("here", deadline=None)
settings.load_profile("ci" if os.environ.get("CI") else "here")
