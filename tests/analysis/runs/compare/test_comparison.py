"""The whole comparison of made-up panels."""

import numpy as np
import pytest

from analysis.runs.compare.comparison import compare_folders, compare_panels
from analysis.runs.compare.differences import SCATTER
from analysis.runs.compare.text import comparison_lines
from tests.made_up.facts import make_facts
from vision.errors import WetlineError


def text_of(found):
    """The screen as one line, so that where it wraps does not matter."""
    return " ".join(" ".join(comparison_lines(found)).split())


def test_a_clear_difference_is_real_and_a_small_one_is_not():
    found = compare_panels(
        [make_facts("a", 1e-10), make_facts("b", 3e-10), make_facts("c", 1.1e-10)]
    )
    real = {(d.first, d.second): d.real for d in found.differences["k"]}
    assert real == {("A", "B"): True, ("A", "C"): False, ("B", "C"): True}
    text = text_of(found)
    assert text.startswith("Most margin to gel: B (b), margin")
    assert "B 3.00 times A, REAL" in text
    assert "C 1.10 times A, not proven (noise makes up to" in text
    assert "advice with an interval" in text


def test_two_that_cannot_be_told_apart_have_no_winner():
    found = compare_panels([make_facts("a", 1e-10), make_facts("b", 1.1e-10)])
    assert found.ranking.best is None
    assert "not proven better than A" in text_of(found)


def test_a_calm_number_is_not_made_from_pen_marks():
    found = compare_panels([make_facts("a", pen=True), make_facts("b")])
    text = text_of(found)
    assert "not seen" in text
    assert "Front: A by pen; B by camera" in text


def test_own_repeats_that_scatter_more_widen_the_noise():
    ks = [1.0e-10, 1.6e-10, 0.8e-10, 2.0e-10]
    panels = [make_facts(str(i), k, fabric="glass") for i, k in enumerate(ks)]
    found = compare_panels([*panels, make_facts("other", 5e-10)])
    assert found.scatter_own
    assert found.scatter == pytest.approx(np.log(ks).std(ddof=1), rel=0.02)
    assert "as your own repeats scatter" in text_of(found)
    stated = compare_panels([*panels, make_facts("other", 5e-10)], scatter=0.10)
    assert stated.scatter == 0.10
    assert any("its like panels differ by" in note for note in stated.notes)


def test_repeats_alike_leave_the_usual_scatter():
    panels = [make_facts(str(i), 1e-10, fabric="glass") for i in range(4)]
    found = compare_panels([*panels, make_facts("other")])
    assert found.scatter == SCATTER
    assert not found.scatter_own


def test_a_length_far_past_what_was_measured_is_said():
    found = compare_panels([make_facts("a"), make_facts("b")], length_m=2.0)
    assert any("times as far as its front was measured" in note for note in found.notes)


def test_folders_are_checked(tmp_path):
    with pytest.raises(WetlineError, match="two panels or more"):
        compare_folders([tmp_path])
    with pytest.raises(WetlineError, match="named twice"):
        compare_folders([tmp_path, tmp_path / "." / ""])
