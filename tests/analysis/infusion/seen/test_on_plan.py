"""What was seen, on the cells of the plan: against pixels finer and coarser than the cells."""

from dataclasses import replace

import numpy as np
import pytest

from analysis.infusion.seen.on_plan import bring_on_plan
from analysis.part.grid.canvas import lay_canvas
from analysis.part.plan.plan import PartPlan, PartStack
from tests.made_up.part_seen import part_seen

SQUARE = np.array([[0.0, 0.0], [300.0, 0.0], [300.0, 200.0], [0.0, 200.0]])
HOLE = np.array([[100.0, 80.0], [160.0, 80.0], [160.0, 120.0], [100.0, 120.0]])


@pytest.fixture(scope="module")
def links():
    plan = PartPlan(SQUARE, (HOLE,), PartStack(1e-10, 1e-10, 0.0, 0.5, 3.0))
    return lay_canvas(plan, 30).links


def sampled(links, step_mm, last_s=1e9):
    """Arrival that is x seconds at x mm, seen on pixels of another size."""
    x = np.arange(step_mm / 2, 300, step_mm)
    y = np.arange(step_mm / 2, 200, step_mm)
    field = np.repeat(x[None, :], len(y), axis=0)
    base = part_seen(links, links.centre_mm[:, 0])
    shown = np.where(field > last_s, np.inf, field)
    return replace(
        base,
        x_mm=x,
        y_mm=y,
        inside=np.ones(field.shape, bool),
        time_s=shown,
        sd_s=np.full(field.shape, 2.0),
        seen=np.ones(field.shape, bool),
        last_s=last_s,
    )


@pytest.mark.parametrize("step_mm", [1.0, 2.5, 5.0, 17.0])
def test_a_cell_gets_the_time_of_its_own_place(links, step_mm):
    on = bring_on_plan(sampled(links, step_mm), links)
    assert np.isfinite(on.time_s).all()
    assert np.abs(on.time_s - links.centre_mm[:, 0]).max() <= max(step_mm, 5.0) / 2 + 5.0
    assert on.seen.all()
    assert (on.sd_s == 2.0).all()


def test_dry_stays_dry_and_has_no_uncertainty(links):
    on = bring_on_plan(sampled(links, 2.0, last_s=150.0), links)
    beyond = links.centre_mm[:, 0] > 160
    assert np.isinf(on.time_s[beyond]).all()
    assert np.isnan(on.sd_s[beyond]).all()
    assert on.wet[links.centre_mm[:, 0] < 140].all()


def test_where_y_runs_up_the_rows_are_told_by_their_own_place(links):
    seen = sampled(links, 2.0)
    field = np.repeat(seen.y_mm[:, None], len(seen.x_mm), axis=1)
    turned = replace(seen, y_mm=seen.y_mm[::-1], time_s=field[::-1])
    on = bring_on_plan(turned, links)
    assert np.abs(on.time_s - links.centre_mm[:, 1]).max() < 6.0


def test_what_was_hidden_and_what_is_out_of_the_picture_is_not_seen(links):
    seen = sampled(links, 2.0)
    x = np.repeat(seen.x_mm[None, :], len(seen.y_mm), axis=0)
    hidden = replace(seen, seen=x > 100)
    on = bring_on_plan(hidden, links)
    assert not on.seen[links.centre_mm[:, 0] < 95].any()
    assert on.seen[links.centre_mm[:, 0] > 105].all()
    assert np.isfinite(on.time_s).all()  # filled from around it, and said so
    part = seen.x_mm < 200
    cut = replace(
        seen,
        x_mm=seen.x_mm[part],
        time_s=seen.time_s[:, part],
        sd_s=seen.sd_s[:, part],
        seen=seen.seen[:, part],
        inside=seen.inside[:, part],
    )
    on = bring_on_plan(cut, links)
    away = links.centre_mm[:, 0] > 206
    assert np.isnan(on.time_s[away]).all()
    assert not on.seen[away].any()


def test_a_pixel_half_seen_takes_the_seen_ones_word(links):
    seen = sampled(links, 2.0)
    odd = (np.arange(seen.time_s.size) % 3 == 0).reshape(seen.time_s.shape)
    spoilt = replace(seen, time_s=np.where(odd, 9999.0, seen.time_s), seen=~odd)
    on = bring_on_plan(spoilt, links)
    assert on.time_s.max() < 310
