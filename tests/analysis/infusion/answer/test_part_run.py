"""The answer of a run: resin from what was wet, and nothing compared that cannot be believed."""

from dataclasses import replace

import numpy as np
import pytest

from analysis.infusion.answer.part_run import answer_part_run
from analysis.infusion.answer.run_text import answer_words
from tests.made_up.infusion_answers import even_run, unusable_run
from vision.parts.uncertainty import wet_share


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


STACK_SD = np.hypot(0.02, 0.03 / 0.5)  # porosity, and thickness that goes into the pores alone


def test_the_uncertainty_of_the_resin_holds_wet_share_thickness_and_porosity(tmp_path):
    run = even_run(tmp_path)
    seen = replace(run.seen, wetted_sd=np.full(len(run.seen.frames), 0.03))
    again = answer_part_run(run.job, run.planned, seen)
    # Independent doubts add in squares (JCGM 100:2008, 5.1.2).
    both = np.hypot(0.03, STACK_SD) * run.planned.resin_kg
    assert again.resin.resin_in_sd_kg[-1] == pytest.approx(both, rel=0.01)
    exact = replace(run.seen, wetted_sd=np.zeros(len(run.seen.frames)))
    alone = answer_part_run(run.job, run.planned, exact)
    assert alone.resin.resin_in_sd_kg == pytest.approx(STACK_SD * alone.resin.resin_in_kg)


def test_what_was_not_seen_widens_the_resin_while_the_front_is_there(tmp_path):
    run = even_run(tmp_path, hidden=lambda x, y: (x > 200) & (x < 400))
    exact = replace(run.seen, wetted_sd=np.zeros(len(run.seen.frames)))
    resin = answer_part_run(run.job, run.planned, exact).resin
    more = np.sqrt(np.maximum(resin.resin_in_sd_kg**2 - (STACK_SD * resin.resin_in_kg) ** 2, 0.0))
    full = run.planned.resin_kg
    under = np.abs(resin.resin_in_kg / full - 0.5) < 0.1  # the front lies under what is hidden
    assert more[under].min() > 0.02 * full
    assert more[under].max() < full / 3
    assert more[resin.resin_in_kg == 0.0].max() < 1e-6 * full
    late = run.seen.frame_s > 0.9 * run.seen.last_s
    assert more[late].max() < 0.01 * full


def test_filled_cloth_with_the_front_under_it_counts_once(tmp_path):
    run = even_run(tmp_path, hidden=lambda x, y: (x > 200) & (x < 400))
    seen = replace(run.seen, sd_s=np.where(run.seen.seen, run.seen.sd_s, 100.0))
    share, sd = wet_share(seen.time_s, seen.sd_s, seen.seen, seen.inside, seen.frame_s)
    assert sd.max() > 0.02
    found, none = (
        answer_part_run(run.job, run.planned, replace(seen, wetted_share=share, wetted_sd=each))
        for each in (sd, np.zeros(len(sd)))
    )
    # The cells say of filled cloth what the wet share's doubt says of it: with it and without it
    # is the same.
    assert found.resin.resin_in_sd_kg == pytest.approx(none.resin.resin_in_sd_kg)


def test_hidden_cloth_that_never_showed_wet_holds_as_much_as_the_rest_on_average(tmp_path):
    run = even_run(tmp_path)
    x, _ = np.meshgrid(run.seen.x_mm, run.seen.y_mm)
    hidden = run.seen.inside & (x > 400) & (x < 500)
    lost = float(hidden.sum() / run.seen.inside.sum())
    time_s = np.where(hidden, np.inf, run.seen.time_s)
    share, sd = wet_share(time_s, run.seen.sd_s, ~hidden, run.seen.inside, run.seen.frame_s)
    seen = replace(
        run.seen, time_s=time_s, seen=run.seen.seen & ~hidden, wetted_share=share, wetted_sd=sd
    )
    found = answer_part_run(run.job, run.planned, seen)
    full = run.planned.resin_kg
    assert found.wet_share == pytest.approx(1.0)
    assert found.resin.resin_in_kg[-1] == pytest.approx(full, rel=0.01)
    low = found.resin.resin_in_kg[-1] - 1.96 * found.resin.resin_in_sd_kg[-1]
    assert low < full * (1 - lost)  # it may all be dry
    word, text = answer_words(found)
    assert "100 % of what was seen wet (of the whole part " in text, word


def test_nothing_is_compared_where_nothing_could_be_measured(tmp_path):
    run = unusable_run(tmp_path)
    assert run.beside is None
    assert run.resin is None
    assert np.isnan(run.wet_share)
