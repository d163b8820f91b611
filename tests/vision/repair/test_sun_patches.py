from dataclasses import replace

import numpy as np

from vision.repair.feed import Feed, FeedOnCanvas
from vision.repair.inpaint import Course, Sighting
from vision.repair.sun_patches import restore_sunlit
from vision.settings.causes import OFF
from vision.settings.repair_settings import RepairSettings

COUNT, SHAPE = 40, (90, 160)
COURSE = Course(np.arange(COUNT) * 20.0, FeedOnCanvas(Feed(), SHAPE, 1.0))
SUN = (slice(30, 60), slice(50, 90))


def sighting():
    """A front that goes as the square root of time, seen everywhere."""
    x = np.arange(SHAPE[1]) + 0.5
    wet_frame = np.broadcast_to(np.ceil(x**2 / 1000), SHAPE).clip(1, COUNT).astype(np.int16)
    seen = np.ones(SHAPE, bool)
    return Sighting(wet_frame, wet_frame - 1, wet_frame, seen, np.zeros(SHAPE, bool))


def test_sun_on_what_was_wet_does_not_make_it_dry():
    true = sighting()
    read = true.wet_frame.copy()
    read[SUN] = COUNT  # dry again under the sun, to the end
    found = restore_sunlit(replace(true, wet_frame=read), true.wet_frame, COURSE, RepairSettings())
    assert (found.wet_frame[SUN] == true.wet_frame[SUN]).mean() > 0.95
    off = restore_sunlit(
        replace(true, wet_frame=read), true.wet_frame, COURSE, RepairSettings(sun_frames=OFF)
    )
    assert (off.wet_frame[SUN] == COUNT).all()


def test_a_shadow_that_looked_wet_long_before_the_front_is_no_wetting():
    true = sighting()
    onset = true.wet_frame.copy()
    ahead = (slice(30, 60), slice(120, 150))
    onset[ahead] = 1
    found = restore_sunlit(true, onset, COURSE, RepairSettings())
    assert (found.wet_frame == true.wet_frame).all()
