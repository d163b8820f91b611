"""What cannot be resin: patches cut off from the feed."""

import numpy as np
from skimage.morphology import reconstruction

from vision.repair.feed import Feed, FeedOnCanvas
from vision.repair.inpaint import Course, Sighting
from vision.repair.reachability import (
    dry_at_latest,
    has_no_hollow,
    reject_implausible,
    unreachable_from_feed,
)
from vision.settings.repair_settings import RepairSettings

REPAIR = RepairSettings()
FEED = np.arange(100)[None, :] < np.ones((60, 1))


def even_change():
    """A front that goes 4 pixels a frame on a canvas of 60 by 100."""
    return np.broadcast_to(1 + np.arange(100) // 4, (60, 100)).clip(max=21).copy()


def test_an_even_front_is_all_plausible():
    change = even_change()
    assert not unreachable_from_feed(change, np.ones(change.shape, bool), FEED, REPAIR).any()


def test_a_cup_set_down_ahead_of_the_front_is_no_resin():
    change = even_change()
    change[20:40, 60:75] = 5
    cup = np.zeros(change.shape, bool)
    cup[20:40, 60:75] = True
    apart = unreachable_from_feed(change, np.ones(change.shape, bool), FEED, REPAIR)
    assert np.array_equal(apart, cup)


def test_a_finger_that_grows_with_the_front_is_resin():
    change = even_change()
    change[28:32] = np.minimum(change[28:32], 1 + np.arange(100) // 6)
    assert not unreachable_from_feed(change, np.ones(change.shape, bool), FEED, REPAIR).any()


def test_an_unseen_band_across_the_panel_does_not_cut_off_what_lies_beyond():
    change = even_change()
    seen = np.ones(change.shape, bool)
    change[:, 40:50] = 21
    seen[:, 40:50] = False
    assert not unreachable_from_feed(change, seen, FEED, REPAIR).any()


def test_what_wets_in_the_last_frame_alone_needs_a_way_from_the_feed():
    change = np.tile(np.minimum(np.arange(40) // 3, 11), (20, 1)).astype(np.int16)
    change[:, 33:] = 12
    change[8:12, 36:39] = 11
    feed = np.zeros(change.shape, bool)
    feed[:, 0] = True
    apart = unreachable_from_feed(change, np.ones(change.shape, bool), feed, REPAIR)
    assert apart[9, 37]
    assert not apart[:, :33].any()


def test_a_speck_ahead_of_the_front_waits_for_a_wet_way_to_it():
    # A front of one column a frame, and a hole far ahead whose rim once looked wet.
    shape, count = (40, 80), 60
    frames = np.tile(np.arange(shape[1]), (shape[0], 1))
    frames = np.minimum(frames, count).astype(np.int16)
    blank = np.zeros(shape, bool)
    blank[18:22, 50:54] = True
    first_wet = np.where(blank, 9, np.minimum(frames + 1, count)).astype(np.int16)
    last_dry = np.where(blank, 3, frames - 1).astype(np.int16)
    sighting = Sighting(frames, last_dry, first_wet, np.ones(shape, bool), blank)
    course = Course(np.arange(count) * 20.0, FeedOnCanvas(Feed(), shape, 1.0))
    wet_frame, known = reject_implausible(sighting, frames, course, RepairSettings())
    assert wet_frame[18:22, 50:54].min() > 40
    assert not known[18:22, 50:54].any()


def test_a_hole_does_not_stay_dry_once_the_front_has_gone_round_it():
    frames = np.tile(np.arange(80), (40, 1)).astype(np.int16)
    frames[15:25, 30:40] = 70
    seen = np.ones((40, 80), bool)
    seen[15:25, 30:40] = False
    feed = FEED[:40, :80]
    assert dry_at_latest(frames, feed, seen)[15:25, 30:40].max() == 40
    # A dry spot that was seen stays, and so does its rim.
    seen[17:23, 32:38] = True
    assert np.array_equal(dry_at_latest(frames, feed, seen), frames)
    # At a side of the panel a hole may stay dry.
    frames[0:4, 60:], seen[0:4, 60:] = 90, False
    assert (dry_at_latest(frames, feed, seen)[0:4, 60:] == 90).all()


def test_the_hole_alone_reads_as_the_whole_panel_would():
    # The general-purpose reconstruction of scikit-image over all of it, without the short cut.
    rng = np.random.default_rng(3)
    for _ in range(6):
        wet_frame = rng.integers(0, 9, (14, 23)).astype(np.int16)
        feed = np.zeros(wet_frame.shape, bool)
        feed[:, 0] = True
        seen = rng.random(wet_frame.shape) < 0.4
        seen[: rng.integers(0, 9)], seen[:, rng.integers(14, 23) :] = True, True
        rim = np.ones(wet_frame.shape, bool)
        rim[1:-1, 1:-1] = False
        seeds = np.where((rim & ~feed) | seen, wet_frame, wet_frame.min())
        whole = reconstruction(seeds, wet_frame, method="dilation")
        assert np.array_equal(dry_at_latest(wet_frame, feed, seen), whole)
        assert np.array_equal(dry_at_latest(wet_frame, feed, seen | True), wet_frame)


def test_a_hollow_is_found_just_where_a_reconstruction_would_fill_one():
    # Held against scikit-image's reconstruction by erosion: without hollows it changes nothing.
    rng = np.random.default_rng(8)
    found = []
    for _ in range(300):
        frames = rng.integers(0, 4, (5, 7)).astype(np.int16)
        frames += np.arange(7, dtype=np.int16) * int(rng.integers(0, 3))
        is_seed = rng.random(frames.shape) > 0.6
        is_seed[:, 0] = True
        seeds = np.where(is_seed, frames, frames.max()).astype(np.int16)
        unchanged = (reconstruction(seeds, frames, method="erosion") == frames).all()
        found.append(has_no_hollow(frames, seeds))
        assert found[-1] == unchanged
    assert 30 < sum(found) < 270
