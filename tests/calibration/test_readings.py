"""Bad readings get one clear message each, with line and key."""

from __future__ import annotations

import pytest

from glowsim.calibration.learn import learn
from glowsim.errors import ReadingsError
from tests.support.readings import HEAD, card, file_of, piles

PHOTO = """
[[photos]]
scene = "piece.toml"
band = "green"
from_mm = [20, 0, 10]
to_mm = [5, 0, 90]
toward = [1, 0, 0]
values = {values}
"""


@pytest.mark.parametrize(
    ("tables", "place", "words"),
    [
        ([piles([10, 30], [0.2, 0.3])], "piles[0].reading[1]", "lets less through"),
        ([piles([10, 0], [0.3, 0.2])], "piles[0].thickness_mm[1]", "more than 0"),
        ([piles([30, 10], [0.3, 0.2])], "piles[0].thickness_mm[1]", "from thin to thick"),
        ([piles([10, 30], [0.3])], "piles[0].reading", "1 readings for 2 thicknesses"),
        ([piles([10, 30], [1.3, 0.2])], "piles[0].bare", "a pile adds no light"),
        ([piles([10], [0.3], bare=None)], "piles[0].reading", "one pile alone"),
        ([card(1.2)], "cards[0].piece", "swapped"),
        ([PHOTO.format(values=[9, 9, 9, 5, 3, 2])], "photos[0].values", "clipped"),
        ([PHOTO.format(values=[9, 5])], "photos[0].values", "5 needed"),
        (
            [PHOTO.format(values=[9, 8, 7, 5, 3]).replace("[5, 0, 90]", "[20, 0, 12]")],
            "photos[0].to_mm",
            "longer stretch",
        ),
        ([], "", "no readings"),
    ],
)
def test_one_message_each(tables, place, words):
    with pytest.raises(ReadingsError) as fault:
        file_of(*tables)
    assert str(fault.value).count("\n") == 0
    assert place in str(fault.value)
    assert words in str(fault.value)
    assert not tables or ", line " in str(fault.value)


def test_an_unknown_material_is_answered_with_the_nearest():
    head = HEAD.replace("upholstery_foam_white", "upholstry_foam_white")
    with pytest.raises(ReadingsError, match=r"line 3: material: .*did you mean"):
        learn(file_of(piles([10, 30], [0.3, 0.05]), head=head))


def test_a_scene_that_is_not_there_is_named():
    with pytest.raises(ReadingsError, match=r"photos\[0\]\.scene: .*no such file"):
        learn(file_of(PHOTO.format(values=[9, 8, 7, 5, 3])))
