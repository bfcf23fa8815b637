"""What the README shows is what the program prints."""

from __future__ import annotations

import pytest

from tests.support.readme import README, answer, blocks, parted, prepared, rewritten

TEXT = README.read_text()


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    place = tmp_path_factory.mktemp("readme")
    prepared(TEXT, place)
    return place


@pytest.mark.slow
@pytest.mark.parametrize("block", blocks(TEXT), ids=lambda block: block.command.replace("/", " "))
def test_what_is_shown_is_what_is_printed(block, folder):
    assert parted(block.shown, answer(block, folder)) == ""


def test_commands_are_found_with_their_answers():
    found = blocks(TEXT)
    assert [block.command.split()[1] for block in found[:3]] == ["check", "check", "glow"]
    assert all(block.shown for block in found)


PRINTED = ["head", " ────", "1 spot of 3.81", "", "2 gaps", "note", "Written:", "  a.png"]


def test_lines_left_out_and_last_digits_are_passed_over():
    assert parted(("head", "1 spot of 3.82", "...", "Written:", "..."), PRINTED) == ""
    assert parted(("head", "1 sp ...", "2 gaps", "..."), PRINTED) == ""


@pytest.mark.parametrize(
    "shown",
    [
        ("head", "1 spot of 3.81", "Written:", "..."),  # lines left out without saying so
        ("head", "1 spot of 4.21", "..."),  # another figure
        ("head", "1 spot of 3.81", "2 gaps", "note", "Written:"),  # there is more
        ("head", "...", "2 gap", "..."),  # another word
    ],
)
def test_what_parts_is_told(shown):
    assert parted(shown, PRINTED) != ""


def test_what_is_left_out_stays_left_out():
    old = ("head", "1 spot of 9.99", "...", "Written:", "...")
    new = ["head", " ────", "1 spot of 3.81", "...", "Written:", "..."]
    assert rewritten(old, PRINTED) == new
