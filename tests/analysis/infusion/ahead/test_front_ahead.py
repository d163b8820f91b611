"""The front as seen joined to a forecast: against the forecast itself and against plain cases."""

import numpy as np
import pytest
from numpy.testing import assert_allclose

from analysis.infusion.ahead.front_ahead import look_ahead
from analysis.infusion.seen.on_plan import bring_on_plan
from analysis.part.grid.canvas import lay_canvas
from analysis.part.plan.outline import rectangle
from analysis.part.plan.plan import Gap, PartPlan, PartStack
from tests.made_up.part_seen import part_seen

LENGTH, WIDTH = 300.0, 120.0


def laid(gaps=()):
    stack = PartStack(1e-10, 1e-10, 0.0, 0.5, 3.0)
    return lay_canvas(PartPlan(rectangle(LENGTH, WIDTH), (), stack, gaps=gaps), 60).links


@pytest.fixture(scope="module")
def links():
    return laid()


def seen(links, arrival_s, last_s):
    return bring_on_plan(part_seen(links, arrival_s, last_s=last_s), links)


def washburn(links):
    """Arrival of a straight front, x = sqrt(k t) (Washburn, Phys. Rev. 17, 273, 1921)."""
    return (links.centre_mm[:, 0] / 10.0) ** 2


def test_a_front_that_runs_as_forecast_gives_the_forecast_back(links):
    true = washburn(links)
    ahead = look_ahead(seen(links, true, 225.0), true)
    assert_allclose(ahead.time_s, true, atol=2 * 5.0 * 300 / 50)  # a cell's time at the end
    assert np.abs(ahead.time_s - true).mean() < 8.0
    assert_allclose(ahead.dry_share, 0.5, atol=0.02)


def test_a_run_twice_as_slow_as_forecast_stays_so(links):
    true = washburn(links)
    ahead = look_ahead(seen(links, true, 225.0), true / 2.0)
    assert_allclose(ahead.time_s.max(), true.max(), rtol=0.03)


def test_nothing_wets_ahead_of_the_front(links):
    # The forecast has the far half wet long ago; the front was seen at a quarter of the way.
    forecast = np.where(links.centre_mm[:, 0] > 150, 1.0, 100.0)
    ahead = look_ahead(seen(links, washburn(links), 56.0), forecast + links.centre_mm[:, 0])
    assert (ahead.time_s[ahead.dry] > 56.0).all()
    assert not ahead.dry[links.centre_mm[:, 0] < 60].any()


def test_a_front_that_ran_elsewhere_is_carried_on_from_where_it_is(links):
    # It came from the other end: the last place is at the end from which the forecast comes.
    true = ((LENGTH - links.centre_mm[:, 0]) / 10.0) ** 2
    ahead = look_ahead(seen(links, true, 225.0), washburn(links))
    assert links.centre_mm[int(np.argmax(ahead.time_s)), 0] < 10.0


def test_a_later_feed_starts_a_front_of_its_own(links):
    x = links.centre_mm[:, 0]
    forecast = np.minimum((x / 10.0) ** 2, 300.0 + (np.abs(x - 272.5) / 4.0) ** 2)
    ahead = look_ahead(seen(links, forecast, 100.0), forecast)
    assert_allclose(ahead.time_s[np.abs(x - 272.5) < 1], 300.0, rtol=0.02)
    assert_allclose(ahead.time_s.max(), forecast.max(), rtol=0.1)


def test_what_no_picture_holds_is_taken_from_the_forecast(links):
    true = washburn(links)
    on = seen(links, true, 225.0)
    on.time_s[:] = np.where(links.centre_mm[:, 1] > 90, np.nan, on.time_s)
    ahead = look_ahead(on, true)
    out = links.centre_mm[:, 1] > 90
    assert_allclose(ahead.dry[out].mean(), 0.5, atol=0.05)
    assert not ahead.dry[out & (links.centre_mm[:, 0] < 120)].any()


def test_a_place_that_the_forecast_never_reaches_is_never_wet(links):
    true = washburn(links)
    forecast = np.where(links.centre_mm[:, 0] > 250, np.inf, true)
    ahead = look_ahead(seen(links, true, 225.0), forecast)
    assert np.isinf(ahead.time_s[links.centre_mm[:, 0] > 255]).all()


def test_an_open_channel_is_wet_with_the_first_cell_beside_it():
    links = laid((Gap(np.array([[0.0, 0.0], [LENGTH, 0.0]]), 1.0, 1e-6 / 12, 3.0),))
    assert links.count > links.cells
    true = washburn(links)[: links.cells]
    ahead = look_ahead(seen(links, true, 225.0), true)
    channel = ahead.time_s[links.cells :]
    assert np.isfinite(channel).all()
    assert channel.max() <= true.max() + 60.0
    assert not ahead.dry[links.cells :].any()


def test_only_what_is_dry_is_stretched(links):
    true = washburn(links)
    ahead = look_ahead(seen(links, true, 225.0), true)
    late = ahead.at_pace(1.5)
    assert_allclose(late[~ahead.dry], ahead.time_s[~ahead.dry])
    assert_allclose(late[ahead.dry] - 225.0, 1.5 * (ahead.time_s[ahead.dry] - 225.0))


def test_a_forecast_for_another_grid_is_refused(links):
    with pytest.raises(ValueError, match="arrival_s must have"):
        look_ahead(seen(links, washburn(links), 100.0), np.zeros(3))
