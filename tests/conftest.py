"""What holds for all tests."""

from __future__ import annotations

import os
import signal
import threading

import pytest
from hypothesis import settings

# One thread of linear algebra a process, set before numpy reads it: as many as there are cores
# spin against each other where several workers run tests.
for _variable in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_variable, "1")

# The same examples every time: a change must not fail by the luck of the draw. Now and then, and
# after work on what they try, draw new ones: GLOWSIM_NEW_EXAMPLES=1 python -m pytest
settings.register_profile("same", derandomize=True, deadline=None)
settings.register_profile("new", deadline=None)
settings.load_profile("new" if os.environ.get("GLOWSIM_NEW_EXAMPLES") else "same")

# A shell starts background jobs with Ctrl-C ignored, and their children inherit that: tests that
# press it would wait for ever.
if threading.current_thread() is threading.main_thread():
    signal.signal(signal.SIGINT, signal.default_int_handler)


@pytest.fixture(scope="module")
def small_batches():
    """Photons are followed in whole batches: a tenth of the usual ones, for tests of what becomes
    of them and not of what they tell."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("glowsim.transport.reference.run.BATCH_WORK", 3e5)
        yield


@pytest.fixture(autouse=True, scope="session")
def _progress_goes_unsaid():
    """What a command prints must not hang on how busy the machine is."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("glowsim.cli.common.EVERY_S", 3600.0)
        yield
