"""What lies ahead, in words."""

import pytest

from analysis.infusion.outlook.words import cut_off_text, left_text, where_text
from tests.made_up.part_board import cut_off

WHERE = "120 cm2, its air ends at x 400, y 250 mm"


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ({}, f"will be cut off in 5.0 min (4.0 to 6.5): {WHERE}"),
        ({"likely": False}, f"may be cut off in 5.0 min (4.0 to 6.5): {WHERE}"),
        ({"closed": True}, f"cut off already: {WHERE}"),
        ({"closed": True, "likely": False}, f"may be cut off already: {WHERE}"),
        ({"hidden": True}, f"will be cut off in 5.0 min (4.0 to 6.5): {WHERE}; most of it hidden"),
    ],
)
def test_a_cut_off(more, said):
    assert cut_off_text(cut_off(**more)) == said


def test_minutes_are_rounded_to_the_early_side():
    assert left_text(cut_off(minutes_left=4.99)) == "4.9 min (4.0 to 6.5)"
    assert where_text(cut_off()) == WHERE
