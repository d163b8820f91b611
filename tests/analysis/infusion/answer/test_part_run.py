"""The answer of a run: resin from what was wet, and nothing compared that cannot be believed."""

from dataclasses import replace

import numpy as np
import pytest

from analysis.infusion.answer.part_run import answer_part_run
from tests.made_up.infusion_answers import even_run, unusable_run


def test_resin_in_is_pore_volume_that_is_wet_times_density(tmp_path):
    run = even_run(tmp_path)
    # 600 x 300 x 3 mm at porosity 0.5 hold 0.27 l; by definition.
    full = 0.6 * 0.3 * 0.003 * 0.5 * run.planned.density_kg_m3
    assert run.resin.resin_in_kg[-1] == pytest.approx(full, rel=1e-6)
    half = int(np.argmin(np.abs(run.seen.frame_s - run.seen.last_s / 4)))
    # The front goes with the root of time (Darcy's law with a sharp front).
    assert run.resin.resin_in_kg[half] / full == pytest.approx(0.5, abs=0.04)
    assert run.resin.resin_in_kg[0] == 0.0


def test_seen_and_planned_resin_agree_where_the_part_goes_as_planned(tmp_path):
    run = even_run(tmp_path)
    told = run.seen.frame_s > 100
    off = run.resin.resin_in_kg[told] - run.resin.planned_kg[told]
    assert np.abs(off).max() < 0.02 * run.planned.resin_kg


def test_the_uncertainty_of_the_resin_is_that_of_the_wet_share(tmp_path):
    run = even_run(tmp_path)
    seen = replace(run.seen, wetted_sd=np.full(len(run.seen.frames), 0.03))
    again = answer_part_run(run.job, run.planned, seen)
    assert again.resin.resin_in_sd_kg[-1] == pytest.approx(0.03 * run.planned.resin_kg, rel=0.01)


def test_nothing_is_compared_where_nothing_could_be_measured(tmp_path):
    run = unusable_run(tmp_path)
    assert run.beside is None
    assert run.resin is None
    assert np.isnan(run.wet_share)
