"""A sheet made once for all tests of it."""

from __future__ import annotations

from pathlib import Path

import pytest

from glowsim.buildsheet.sheet import MadeSheet, make_sheet
from glowsim.scene import parse_scene
from glowsim.transport.solve import solve
from tests.support.sheets import SPIKE


@pytest.fixture(scope="session")
def made(tmp_path_factory) -> tuple[MadeSheet, Path]:
    folder = tmp_path_factory.mktemp("sheet")
    scene = parse_scene(SPIKE, "spike.toml")
    sheet = make_sheet(scene, solve(scene), folder, paper="A4", clearance_mm=0.3, backend="embree")
    return sheet, folder
