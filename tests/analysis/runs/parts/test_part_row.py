"""When a part counts as seen full: not while much of it was not seen."""

import pytest

from analysis.runs.parts.part_row import seen_full


@pytest.mark.parametrize(
    ("share", "sd", "full"),
    [(1.0, 0.001, True), (1.0, 0.05, False), (0.98, 0.001, False), (None, None, False)],
)
def test_a_part_is_full_where_all_was_seen_wet_and_little_was_not_seen(share, sd, full):
    assert seen_full({"wetted_fraction": share, "wetted_sd": sd}) is full


def test_a_result_without_its_uncertainty_counts_by_its_share():
    assert seen_full({"wetted_fraction": 1.0})
