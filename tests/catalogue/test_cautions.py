"""The words of warning: they are there, they defer, and they never call anything safe."""

import re
from typing import get_args

import pytest

from glowsim.catalogue.cautions import Topic, all_cautions, caution

CALLS_SAFE = re.compile(r"\b(is|are|be|makes? it|perfectly|completely) safe\b|\bsafely\b", re.I)


def test_every_topic_has_its_words():
    assert list(all_cautions()) == list(get_args(Topic))


@pytest.mark.parametrize("topic", get_args(Topic))
def test_words_and_source(topic):
    entry = all_cautions()[topic]
    assert caution(topic) == f"{entry.title}: {entry.text}"
    assert len(entry.text) > 60
    assert entry.source
    assert not CALLS_SAFE.search(entry.text)


def test_the_sheet_defers():
    text = caution("sheet")
    for words in ("not an approval", "Local", "licensed", "outrank", "mains"):
        assert words in text


def test_the_check_would_notice():
    assert CALLS_SAFE.search("Used like this it is safe.")
