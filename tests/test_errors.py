"""The help that goes into messages."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from glowsim import errors
from glowsim.errors import GlowsimError, as_options, did_you_mean


@pytest.mark.parametrize(
    ("name", "known", "help_text"),
    [
        ("upholstry_foam", ["upholstery_foam", "eva_foam"], "; did you mean 'upholstery_foam'?"),
        ("Black_Paint", ["black_paint", "wood"], "; did you mean 'black_paint'?"),
        ("ring16", ["RING_16", "ring_12"], "; did you mean 'RING_16'?"),
        ("zzz", ["b", "a"], "; known: a, b"),
        ("zzz", [], ""),
        ("", ["one"], "; known: one"),
    ],
)
def test_did_you_mean(name, known, help_text):
    assert did_you_mean(name, known) == help_text


def test_a_long_list_is_cut():
    known = [f"part{k:02d}" for k in range(30)]
    shown = did_you_mean("zzz", known)
    assert shown.endswith("part11, ...")
    assert "part12" not in shown


@pytest.mark.parametrize("length", [601, 100_000])
def test_what_a_message_echoes_is_cut(length):
    said = str(
        GlowsimError(f"prop.toml, line 3: '{'x' * length}' is unknown; did you mean 'wood'?")
    )
    assert len(said) < 620
    assert said.startswith("prop.toml, line 3: 'xx")
    assert said.endswith("xx' is unknown; did you mean 'wood'?")


def test_a_message_of_many_faults_says_how_many_more():
    said = str(GlowsimError("\n".join(f"line {k}" for k in range(5000)))).splitlines()
    assert len(said) == 41
    assert said[-1] == "... and 4960 more lines like these"
    few = "\n".join(f"line {k}" for k in range(41))
    assert str(GlowsimError(few)) == few


@given(st.text(), st.lists(st.text()))
def test_whatever_is_written_gets_an_answer(name, known):
    answer = did_you_mean(name, known)
    assert bool(answer) == bool(known)
    if "did you mean" in answer:
        assert any(answer == f"; did you mean '{candidate}'?" for candidate in known)


def test_every_error_of_the_project_is_one_of_a_family():
    own = [kind for kind in vars(errors).values() if isinstance(kind, type)]
    raised = [kind for kind in own if issubclass(kind, Exception)]
    assert len(raised) == 7
    assert all(issubclass(kind, GlowsimError) for kind in raised)


def test_a_choice_is_shown_as_it_is_typed():
    assert as_options("--body", ["spike 1"]) == '--body "spike 1"'
    assert as_options("--body", "abc") == '--body "a", --body "b" or --body "c"'
