"""Where a run of a part is unlike good ones: made-up arrivals with a known scatter."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter

from analysis.infusion.kept.kept_run import KeptArrival
from analysis.runs.part_repeat.places import grid_of, judge_places, place_band
from tests.made_up.part_beside import ZONE, planned

FAR = (380.0, 480.0, 180.0)
"""A place of 100 by 120 mm far from the feed, 7 % of the part: x from, x to, y from."""


@pytest.fixture(scope="module")
def job(tmp_path_factory):
    return planned(tmp_path_factory.mktemp("plan"), ZONE)


@pytest.fixture(scope="module")
def around(job):
    return grid_of(job[0].plan)


def runs_of(job, rng, rough=0.03, pace=0.08):
    """Return a maker of runs: each with a pace of its own and uneven cloth, smooth over 60 mm."""
    links = job[1].filling.links
    grid, inside = links.grid, links.number >= 0
    plan_s = np.where(inside, job[1].arrival_s, 1.0)
    x, y = np.meshgrid(grid.x_mm, grid.y_mm)
    far = (x > FAR[0]) & (x < FAR[1]) & (y > FAR[2])

    def make(factor=1.0, whole=1.0, last_s=np.inf):
        cloth = gaussian_filter(rng.standard_normal(plan_s.shape), 4, mode="nearest")
        own = np.exp(rng.normal(0, pace) + rough * cloth / cloth.std())
        time_s = plan_s * own * whole * np.where(far, factor, 1.0) + rng.normal(0, 3, plan_s.shape)
        time_s = np.where(inside, np.maximum(time_s, 0.1), np.nan)
        end = min(last_s, float(np.nanmax(time_s)) + 1.0)
        time_s[time_s > end] = np.inf
        sd_s = np.where(np.isfinite(time_s), 5.0, np.nan)
        return KeptArrival(grid.x_mm, grid.y_mm, inside, time_s, sd_s, inside, end, 1.0)

    return make


def test_good_runs_are_rarely_called_odd_and_a_late_place_is_found(job, around):
    make = runs_of(job, np.random.default_rng(3))
    false = found = 0
    for _ in range(40):
        band = place_band(around, [make() for _ in range(5)])
        false += bool(judge_places(band, make()).odd)
        odd = judge_places(band, make(factor=1.3)).odd
        found += any(one.late_s > 0 and FAR[0] < one.x_mm < FAR[1] for one in odd)
    assert false <= 4
    assert found >= 36


def test_a_slow_run_has_a_pace_and_no_odd_place(job, around):
    make = runs_of(job, np.random.default_rng(4))
    band = place_band(around, [make() for _ in range(6)])
    told = judge_places(band, make(whole=2.0))
    assert told.odd == ()
    assert told.pace == pytest.approx(2.0, rel=0.25)
    assert told.share > 0.8


def test_an_odd_place_is_named_with_its_size_and_minutes(job, around):
    make = runs_of(job, np.random.default_rng(5), rough=0.01)
    band = place_band(around, [make() for _ in range(5)])
    (late,) = judge_places(band, make(factor=1.5)).odd
    assert late.ratio == pytest.approx(1.5, rel=0.06)
    assert late.area_mm2 == pytest.approx(100 * 120, rel=0.2)
    assert "bottom" in late.where
    (early,) = judge_places(band, make(factor=0.6)).odd
    assert early.late_s < 0
    assert early.ratio == pytest.approx(0.6, rel=0.06)


def test_a_place_still_dry_when_the_others_were_wet_is_late_at_least(job, around):
    make = runs_of(job, np.random.default_rng(6), rough=0.01)
    band = place_band(around, [make() for _ in range(5)])
    end = float(np.nanquantile(band.middle_s, 0.9))
    (late,) = judge_places(band, make(factor=4.0, last_s=end)).odd
    assert late.at_least
    assert late.late_s > 0
    assert judge_places(band, make(last_s=end)).odd == ()


def test_hidden_places_are_neither_odd_nor_compared(job, around):
    make = runs_of(job, np.random.default_rng(7), rough=0.01)
    band = place_band(around, [make() for _ in range(5)])
    run = make(factor=1.5)
    x, _ = np.meshgrid(run.x_mm, run.y_mm)
    told = judge_places(band, replace(run, seen=run.seen & (x < FAR[0] - 20)))
    assert told.odd == ()
    assert told.share < 0.65
    blind = judge_places(band, replace(run, seen=np.zeros_like(run.seen)))
    assert blind.share == 0.0
    assert not np.isfinite(blind.pace)


def test_fewer_than_three_runs_have_no_band(job, around):
    make = runs_of(job, np.random.default_rng(8))
    assert place_band(around, [make(), make()]) is None
    hidden = replace(make(), seen=np.zeros_like(make().seen))
    assert place_band(around, [make(), make(), hidden]) is None
