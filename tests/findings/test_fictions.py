"""What is said once of materials that are no one material."""

from __future__ import annotations

import pytest

from glowsim.findings.fictions import fictions
from glowsim.findings.inspection import inspect
from glowsim.scene import parse_scene
from glowsim.transport.plan import plan_of

BODY = """
[[bodies]]
name = "{name}"
shape = {{ kind = "orb", diameter_mm = 40 }}
material = "{material}"
cell_mm = 5
detail_mm = 12
"""


def scene(*materials, more=""):
    bodies = (BODY.format(name=f"body {k}", material=m) for k, m in enumerate(materials))
    return parse_scene(more + "".join(bodies))


def test_it_is_said_once_of_each_material():
    said = fictions(scene("pla_white", "pla_white", "epoxy_clear", "eva_foam_white").scene)
    assert list(said) == ["body 0", "body 3"]
    assert said["body 0"].startswith("pla_white: A print is a stack of lines")
    assert "skin" in said["body 3"]


@pytest.mark.parametrize(
    ("entry", "warned"),
    [
        ('[materials.mine]\nlike = "pla_white"\ng = 0.7\n', True),
        ('[materials.mine]\nlike = "pla_white"\nbeware = "spray\\n it"\n', True),
        (
            '[materials.mine]\nlike = "pla_white"\nmeasured_transmittance = 0.3\n'
            "measured_thickness_mm = 1.2\n",
            False,
        ),
    ],
)
def test_own_entries_are_warned_of_until_they_are_measured(entry, warned):
    file = scene("mine", more=entry)
    said = fictions(file.scene)
    assert bool(said) is warned
    entry_beware = plan_of(file).catalogue.material("mine").beware
    assert list(said.values()) == ([f"mine: {entry_beware}"] if warned else [])


def test_an_own_entry_of_a_shipped_name():
    file = scene("pla_white", more='[materials.pla_white]\nlike = "pla_white"\ng = 0.5\n')
    assert "stack of lines" in fictions(file.scene)["body 0"]


def test_check_tells_it():
    first, second = inspect(plan_of(scene("pla_white", "pla_white")))
    assert any("stack of lines" in note for note in first.notes)
    assert second.notes == ()
