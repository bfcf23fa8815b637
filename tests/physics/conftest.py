"""Every exact scene is described once and run by both solvers.

quick must come as near as the test says it claims to; the reference must lie within three
standard errors, besides the digits of what it is compared with (see `Share.agrees`).
"""

from __future__ import annotations

import pytest

from tests.support.solvers import Solve, quick, reference

SOLVERS = {"quick": quick, "reference": reference}


@pytest.fixture(params=SOLVERS, scope="session")
def solve(request: pytest.FixtureRequest) -> Solve:
    return SOLVERS[request.param]


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Call a case slow that is marked `slow_for` the solver it is run by."""
    for item in items:
        for mark in item.iter_markers("slow_for"):
            if item.callspec.params["solve"] in mark.args:
                item.add_marker(pytest.mark.slow)
