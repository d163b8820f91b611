"""What cannot be resin: patches cut off from the feed, and edges that only seem to race."""

import numpy as np
import pytest

from tests.made_up.shop import flow as flows
from tests.made_up.shop.flow import SIZE_MM, Clock, Flow
from vision.arrival.usability import dry_at_feed
from vision.front.race_tracking import find_racing
from vision.repair.initial_wet import wet_along_edge, wet_before
from vision.repair.reachability import cut_off

FEED = np.arange(100)[None, :] < np.ones((60, 1))


def even_change():
    """A front that goes 4 pixels a frame on a canvas of 60 by 100."""
    return np.broadcast_to(1 + np.arange(100) // 4, (60, 100)).clip(max=21).copy()


def test_an_even_front_is_all_plausible():
    change = even_change()
    assert not cut_off(change, np.ones(change.shape, bool), FEED).any()


def test_a_cup_set_down_ahead_of_the_front_is_no_resin():
    change = even_change()
    change[20:40, 60:75] = 5
    cup = np.zeros(change.shape, bool)
    cup[20:40, 60:75] = True
    assert np.array_equal(cut_off(change, np.ones(change.shape, bool), FEED), cup)


def test_a_finger_that_grows_with_the_front_is_resin():
    change = even_change()
    change[28:32] = np.minimum(change[28:32], 1 + np.arange(100) // 6)
    assert not cut_off(change, np.ones(change.shape, bool), FEED).any()


def test_an_unseen_band_across_the_panel_does_not_cut_off_what_lies_beyond():
    change = even_change()
    seen = np.ones(change.shape, bool)
    change[:, 40:50] = 21
    seen[:, 40:50] = False
    assert not cut_off(change, seen, FEED).any()


def test_what_was_wet_before_the_first_frame_touches_the_feed_and_the_first_fronts():
    change = np.broadcast_to(np.arange(200) // 4 - 4, (60, 200)).clip(max=41).copy()
    wet = change <= 0
    feed = np.broadcast_to(np.arange(200) < 1, (60, 200))
    at_end = np.ones((60, 200))
    # What never changes may have been taken to change at any time.
    change[wet] = np.random.default_rng(1).choice((1, 3, 17, 41), np.count_nonzero(wet))
    before = wet_before(change, wet.astype(float), at_end, feed)
    # Within a pixel: the level is smoothed before it is judged.
    assert before[wet].all()
    assert np.count_nonzero(before & ~wet) <= len(wet)
    # A strip of tape over the feed edge stays as it is too, but is not of the wet fabric's colour.
    tape = -4.0 * wet
    assert not wet_before(change, tape, np.where(wet, tape, 1.0), feed).any()
    # Dry fabric that wets within the first frames changes; so does what lies in a shade.
    shade = 0.6 * (np.arange(200) < 60) * np.ones((60, 1))
    early = np.broadcast_to(2 + np.arange(200) // 30, (60, 200))
    assert not wet_before(early, shade, shade + 1.0, feed).any()


def test_a_fitting_on_the_feed_is_not_wet_fabric():
    x, y = np.meshgrid(np.arange(200), np.arange(140))
    away = np.hypot(x - 100, y - 70)
    fitting = away < 15
    change = np.clip(3 + (away - 15) // 8, 3, 41).astype(int)
    change[fitting] = 41
    at_end = np.where(fitting, 0.9, 1.0)
    assert not wet_before(change, 0.9 * fitting, at_end, away < 3).any()
    # The same patch out of which the front comes in the very next frames was wet.
    assert wet_before(change - 2, 0.9 * fitting, at_end, away < 3)[fitting].mean() > 0.9


def test_what_was_wet_along_the_edge_is_told_through_glare():
    change = np.broadcast_to(np.arange(200) // 4 - 4, (60, 200)).clip(max=41).copy()
    wet = change <= 0
    change[wet] = 41
    feed = np.broadcast_to(np.arange(200) < 1, (60, 200))
    # Glare: levels all over the place, and a tenth of the step.
    level = np.random.default_rng(2).normal(0, 3, (60, 200))
    share = np.full((60, 200), 0.1)
    at_end = np.where(wet, level, level + 0.1)
    before = wet_along_edge(change, level, at_end, share, feed)
    assert before[wet].mean() > 0.95
    assert before[:, 40:].mean() < 0.01
    # A fitting on a third of the edge is not most of it; nor is wet what the front came to late.
    fitting = wet & (np.arange(60) < 20)[:, None]
    at_end = np.where(fitting, level, level + 0.1)
    assert not wet_along_edge(change, level, at_end, share, feed).any()
    late = np.where(change < 41, change + 9, change)
    assert not wet_along_edge(late, level, np.where(wet, level, level + 0.1), share, feed).any()


def test_resin_that_did_not_come_from_the_feed_edge_is_noticed():
    wetted = np.zeros((40, 200), bool)
    wetted[:, 60:150] = True
    assert dry_at_feed(wetted) == 1.0
    wetted[:, :60] = True
    assert dry_at_feed(wetted) == 0.0
    wetted[:10, :60] = False
    assert dry_at_feed(wetted) == 0.25
    assert dry_at_feed(np.zeros((40, 200), bool)) == 0.0


def fronts_of(reach_mm, clock=None):
    flow = Flow(reach_mm, clock or Clock())
    return np.array([flow.lanes_mm(t) for t in np.linspace(5, 560, 30)])


@pytest.mark.parametrize("seed", range(8))
def test_a_wavy_front_does_not_race(seed):
    assert find_racing(fronts_of(flows.wavy(0.07, seed)), SIZE_MM[0]).sides == ()


@pytest.mark.parametrize(
    ("lead", "decay_mm", "edges", "sides"),
    [
        (0.35, 12.0, ("low",), ("y = 0",)),
        (0.35, 12.0, ("high",), ("y = width",)),
        (0.2, 8.0, ("low", "high"), ("y = 0", "y = width")),
        (0.5, 20.0, ("high",), ("y = width",)),
    ],
)
def test_an_edge_whose_lead_dies_away_inward_races(lead, decay_mm, edges, sides):
    reach = flows.racing(lead, edges, decay_mm)
    found = find_racing(fronts_of(reach, Clock(reach_mm=230.0)), SIZE_MM[0])
    assert found.sides == sides
    half = len(found.clean) // 2
    assert found.clean[half]
    assert found.clean[0] != ("low" in edges)
    assert found.clean[-1] != ("high" in edges)
