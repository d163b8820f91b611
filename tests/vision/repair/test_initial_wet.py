import numpy as np

from vision.repair.initial_wet import BeforeAndAfter, wet_along_edge, wet_before
from vision.settings.repair_settings import RepairSettings

REPAIR = RepairSettings()


def before_of(wet_frame, level, at_end, feed):
    shown = BeforeAndAfter(wet_frame, level, at_end, np.ones(wet_frame.shape), feed)
    return wet_before(shown, REPAIR)


def along_edge_of(wet_frame, level, at_end, step_ratio, feed):
    return wet_along_edge(BeforeAndAfter(wet_frame, level, at_end, step_ratio, feed), REPAIR)


def test_what_was_wet_before_the_first_frame_touches_the_feed_and_the_first_fronts():
    change = np.broadcast_to(np.arange(200) // 4 - 4, (60, 200)).clip(max=41).copy()
    wet = change <= 0
    feed = np.broadcast_to(np.arange(200) < 1, (60, 200))
    at_end = np.ones((60, 200))
    # What never changes may have been taken to change at any time.
    change[wet] = np.random.default_rng(1).choice((1, 3, 17, 41), np.count_nonzero(wet))
    before = before_of(change, wet.astype(float), at_end, feed)
    # Within a pixel: the level is smoothed before it is judged.
    assert before[wet].all()
    assert np.count_nonzero(before & ~wet) <= len(wet)
    # A strip of tape over the feed edge stays as it is too, but is not of the wet fabric's colour.
    tape = -4.0 * wet
    assert not before_of(change, tape, np.where(wet, tape, 1.0), feed).any()
    # Dry fabric that wets within the first frames changes; so does what lies in a shade.
    shade = 0.6 * (np.arange(200) < 60) * np.ones((60, 1))
    early = np.broadcast_to(2 + np.arange(200) // 30, (60, 200))
    assert not before_of(early, shade, shade + 1.0, feed).any()


def test_a_fitting_on_the_feed_is_not_wet_fabric():
    x, y = np.meshgrid(np.arange(200), np.arange(140))
    away = np.hypot(x - 100, y - 70)
    fitting = away < 15
    change = np.clip(3 + (away - 15) // 8, 3, 41).astype(int)
    change[fitting] = 41
    at_end = np.where(fitting, 0.9, 1.0)
    assert not before_of(change, 0.9 * fitting, at_end, away < 3).any()
    # The same patch out of which the front comes in the very next frames was wet.
    assert before_of(change - 2, 0.9 * fitting, at_end, away < 3)[fitting].mean() > 0.9


def test_what_was_wet_along_the_edge_is_told_through_glare():
    change = np.broadcast_to(np.arange(200) // 4 - 4, (60, 200)).clip(max=41).copy()
    wet = change <= 0
    change[wet] = 41
    feed = np.broadcast_to(np.arange(200) < 1, (60, 200))
    # Glare: levels all over the place, and a tenth of the step.
    level = np.random.default_rng(2).normal(0, 3, (60, 200))
    share = np.full((60, 200), 0.1)
    at_end = np.where(wet, level, level + 0.1)
    before = along_edge_of(change, level, at_end, share, feed)
    assert before[wet].mean() > 0.95
    assert before[:, 40:].mean() < 0.01
    # A fitting on a third of the edge is not most of it; nor is wet what the front came to late.
    fitting = wet & (np.arange(60) < 20)[:, None]
    at_end = np.where(fitting, level, level + 0.1)
    assert not along_edge_of(change, level, at_end, share, feed).any()
    late = np.where(change < 41, change + 9, change)
    assert not along_edge_of(late, level, np.where(wet, level, level + 0.1), share, feed).any()
