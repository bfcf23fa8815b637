"""Every key of a scene file is explained, in the file's own words."""

from __future__ import annotations

import tomllib

import pytest
from click.testing import CliRunner

from glowsim.cli import explain
from glowsim.cli.schema import whole_schema
from glowsim.errors import GlowsimError

SCHEMA = whole_schema()
KEYS = list(explain._keys(SCHEMA, SCHEMA, "", ()))


def said(key):
    return CliRunner().invoke(explain.command, [key], catch_exceptions=False).output


def test_every_key_has_a_description():
    lacking = [".".join(key.path) for key in KEYS if not key.field.get("description")]
    assert not lacking


def test_every_key_can_be_told():
    for alike in explain._alike(KEYS):
        told = explain._told(alike)
        assert told.splitlines()[0].startswith(alike[0].name)
        if "  as in " in told and "[[" not in told:
            line = told.split(".toml:  ")[1].splitlines()[0]
            assert alike[0].name in tomllib.loads(line), line


def test_unit_limits_default_and_an_example_are_said():
    told = said("tilt_deg")
    assert "where kind is 'around', in bodies.patterns" in told
    assert "a number in degrees" in told
    assert "left out: 0.0" in told
    assert "as in thistle_staff.toml:  tilt_deg = " in told


def test_a_name_before_it_picks_one():
    assert "diameter_mm where kind is 'orb'" in said("orb.diameter_mm")
    assert "rod" not in said("orb.diameter_mm")
    assert "in pulses" not in said("lights.zone")


@pytest.mark.parametrize(
    ("key", "told"),
    [
        ("bodies.wall_mm", "a number in mm, at least 0.05"),
        ("where.radius_mm", "a number in mm, above 0"),
        ("where.facing", "a list of 3 numbers"),
        ("path_mm", "a list of points of 3 numbers in mm"),
        ("bodies.drive_to", "a table"),
    ],
)
def test_what_may_be_left_out_is_told_by_what_it_is(key, told):
    assert told in said(key)


def test_a_kind_lists_what_it_takes():
    told = said("crystal")
    assert 'kind = "crystal", in bodies.inserts.shape, bodies.shape' in told
    assert "In crystal:" in told
    assert "  width_mm" in told
    assert "diameter_mm" not in told


def test_a_name_of_the_catalogue_is_sent_there():
    with pytest.raises(GlowsimError, match="glowsim catalogue pla_white"):
        said("pla_white")


def test_a_table_lists_what_may_stand_in_it():
    told = said("lights")
    assert "In lights:" in told
    assert "  position_mm" in told


def test_a_misspelled_key_is_told_the_nearest():
    with pytest.raises(GlowsimError, match="no key 'stager'; did you mean 'stagger'"):
        said("stager")
