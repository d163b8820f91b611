from dataclasses import replace

import numpy as np
import pytest

from analysis.runs.compare.comparison import compare_folders
from analysis.runs.panels.same_run import same_run
from analysis.runs.repeat.job import judge_folders
from tests.made_up.curves import edge_front_mm, make_curve
from tests.made_up.run_folders import write_run
from vision.errors import WetlineError

TIME_S = np.array([0.0, 60.0, 120.0, 185.0, 240.0, 300.0, 360.0])


def curve(time_s=TIME_S, share=1.0):
    return make_curve(time_s, share * edge_front_mm(np.maximum(time_s - time_s[0], 0.0)))


def test_a_copy_is_the_same_run_whenever_its_clock_begins():
    assert same_run(curve(), curve())
    late = replace(curve(), time_s=TIME_S + 17.0)
    assert same_run(curve(), late)


@pytest.mark.parametrize("other", [
    curve(share=1.001),
    curve(TIME_S[:-1]),
    curve(TIME_S + np.array([0, 0, 1.0, 0, 0, 0, 0])),
])  # fmt: skip
def test_a_run_of_its_own_is_none(other):
    assert not same_run(curve(), other)


def test_a_few_marks_read_to_round_numbers_may_well_agree():
    few = curve(TIME_S[:5])
    assert not same_run(few, few)


def test_a_copied_folder_is_refused_by_name(tmp_path):
    places = [tmp_path / name for name in ("a", "b")]
    for place in places:
        write_run(place)
    with pytest.raises(WetlineError, match=r"b: holds the same run as .*a .*leave one out"):
        compare_folders(places)
    with pytest.raises(WetlineError, match="same run"):
        judge_folders(places[:1], places[1])
