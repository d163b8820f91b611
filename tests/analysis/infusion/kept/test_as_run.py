"""A run that was read back draws the pictures that it drew."""

import numpy as np
import pytest

from analysis.infusion.answer.run_files import write_run
from analysis.infusion.kept.as_run import as_run
from analysis.infusion.kept.kept_run import read_kept
from tests.made_up.infusion_answers import late_run


def test_places_and_resin_are_those_of_the_run(tmp_path):
    run = late_run(tmp_path)
    write_run(run, tmp_path / "results", None)
    again = as_run(read_kept(tmp_path), run.planned)
    assert np.array_equal(again.beside.late.late_s, run.beside.late.late_s, equal_nan=True)
    assert len(run.beside.patches) >= 1
    told = [(one.where, one.late_s, one.at_least) for one in again.beside.patches]
    assert told == [(one.where, one.late_s, one.at_least) for one in run.beside.patches]
    now, then = again.resin, run.resin
    assert now.resin_in_kg == pytest.approx(then.resin_in_kg, rel=0.01, abs=1e-3)
    assert now.resin_in_sd_kg == pytest.approx(then.resin_in_sd_kg, rel=0.02, abs=1e-3)
    assert again.seen.frames == run.seen.frames
