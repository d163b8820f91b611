from dataclasses import replace

import numpy as np

from vision.repair.feed import Feed, FeedOnCanvas
from vision.repair.inpaint import Course, Sighting
from vision.repair.sun_patches import restore_sunlit
from vision.settings.causes import OFF
from vision.settings.repair_settings import RepairSettings
from vision.wetting.glare import PatchLooks

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


def looks_of(bright=(), wet=()):
    """Looks of which each is (frames, place) on pixels of twice the canvas's."""
    shape = (COUNT, SHAPE[0] // 2, SHAPE[1] // 2)
    shown = np.zeros((2, *shape), bool)
    for which, spells in enumerate((bright, wet)):
        for frames, (rows, cols) in spells:
            half = (slice(rows.start // 2, rows.stop // 2), slice(cols.start // 2, cols.stop // 2))
            shown[(which, frames, *half)] = True
    return PatchLooks(shown[0], shown[1], ~shown.any(axis=0))


def test_what_wetted_in_the_sun_wetted_when_it_fell_to_the_look_of_dry_fabric():
    # The sun lay there before the front came, and went long after.
    true = sighting()
    read = true.wet_frame.copy()
    read[SUN] = 25
    spells = []
    for col in range(SUN[1].start, SUN[1].stop, 2):
        came = int(true.wet_frame[0, col])
        spells.append((slice(0, came), (SUN[0], slice(col, col + 2))))
    told = replace(true, wet_frame=read, last_dry=read - 1, first_wet=read, looks=looks_of(spells))
    never = np.full(SHAPE, COUNT)
    found = restore_sunlit(told, never, COURSE, RepairSettings())
    assert (found.wet_frame[SUN] == true.wet_frame[SUN]).mean() > 0.8
    assert np.abs(found.wet_frame.astype(int) - true.wet_frame)[SUN].max() <= 1
    assert (found.last_dry < found.wet_frame)[SUN].all()
    # Without the sun seen on it, fabric that wets so late is taken at its word.
    kept = restore_sunlit(replace(told, looks=looks_of()), never, COURSE, RepairSettings())
    assert (kept.wet_frame == read).all()
    assert kept.seen.all()


def test_what_lies_beside_patches_of_sun_and_is_as_late_is_not_seen():
    true = sighting()
    read = true.wet_frame.copy()
    read[SUN] = 25
    # Half of it looked wet for a frame; the sun came to the rest with the front.
    part = (slice(30, 60), slice(50, 70))
    spells = [(slice(5, 6), part)]
    told = replace(true, wet_frame=read, last_dry=read - 1, first_wet=read)
    found = restore_sunlit(
        replace(told, looks=looks_of(wet=spells)),
        np.full(SHAPE, COUNT),
        COURSE,
        RepairSettings(),
    )
    assert not found.seen[SUN].any()
    assert found.seen[:20].all()


def test_what_is_late_beside_sun_that_was_not_seen_is_not_believed():
    # The sun came with the front, so that its cloth never looked otherwise than dry; farther on it
    # shone first, and was not seen.
    true = sighting()
    read, seen = true.wet_frame.copy(), true.seen.copy()
    patch = (slice(30, 60), slice(50, 120))
    shone = (slice(30, 60), slice(70, 120))
    read[patch] = 32
    seen[shone] = False
    told = replace(true, wet_frame=read, last_dry=read - 1, first_wet=read, seen=seen)
    found = restore_sunlit(
        replace(told, looks=looks_of([(slice(1, 4), shone)])),
        np.full(SHAPE, COUNT),
        COURSE,
        RepairSettings(),
    )
    assert not found.seen[patch].any()
    assert found.seen[:20].all()
    assert found.seen[:, :40].all()


def test_late_cloth_without_sun_beside_it_is_believed():
    true = sighting()
    read = true.wet_frame.copy()
    read[SUN] = 25
    far = (slice(0, 20), slice(120, 150))
    told = replace(true, wet_frame=read, last_dry=read - 1, first_wet=read)
    found = restore_sunlit(
        replace(told, looks=looks_of([(slice(1, 4), far)])),
        np.full(SHAPE, COUNT),
        COURSE,
        RepairSettings(),
    )
    assert found.seen[SUN].all()
    assert (found.wet_frame[SUN] == 25).all()


def test_sun_that_passed_long_before_the_front_changes_nothing():
    true = sighting()
    ahead = (slice(30, 60), slice(120, 150))
    told = replace(true, looks=looks_of([(slice(2, 5), ahead)]))
    found = restore_sunlit(told, np.full(SHAPE, COUNT), COURSE, RepairSettings())
    assert (found.wet_frame == true.wet_frame).all()
    assert found.seen.all()
