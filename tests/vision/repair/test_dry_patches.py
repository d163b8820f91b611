"""Patches that stay dry behind the front: cloth that does, and cloth that only seems to."""

from types import SimpleNamespace

import numpy as np
import pytest

from vision.repair.dry_patches import find_doubtful_dry
from vision.settings.causes import OFF, CanvasScale
from vision.settings.repair_settings import RepairSettings
from vision.wetting.wetness import PixelScale

REPAIR = RepairSettings(scale=CanvasScale(1.0, 20.0))
SHAPE, FRAMES = (60, 120), 16
PATCH = (slice(20, 34), slice(40, 60))


def run(shows=0.0, step=0.8, frames=FRAMES):
    """A front of eight pixels a frame round a patch, which shows so much of a step as it passes."""
    wet_frame = np.tile(2 + np.arange(SHAPE[1]) // 8, (SHAPE[0], 1))
    levels = [(wet_frame <= k).astype(np.float32) for k in range(frames)]
    for level in levels:
        level[PATCH] *= shows * step
    wet_frame = np.minimum(wet_frame, frames)
    wet_frame[PATCH] = frames
    ratio = np.ones(SHAPE, np.float32)
    ratio[PATCH] = step
    pixels = PixelScale(np.zeros(SHAPE, np.float32), ratio, 0.05)
    return SimpleNamespace(wet_frame=wet_frame, levels=levels, pixels=pixels)


def doubtful(wetting, seen=None, is_point=False, settings=REPAIR):
    seen = np.ones(SHAPE, bool) if seen is None else seen
    return find_doubtful_dry(wetting, seen, is_point, settings)


@pytest.mark.parametrize("is_point", [False, True])
def test_cloth_that_goes_on_looking_dry_is_dry(is_point):
    assert not doubtful(run(), is_point=is_point).holes.any()


def test_cloth_that_changed_a_little_as_the_front_came_lies_under_glare():
    found = doubtful(run(shows=0.25))
    assert found.holes[PATCH].all()
    assert np.count_nonzero(found.holes) == np.count_nonzero(found.changed) == 14 * 20
    assert not doubtful(run(shows=0.25), settings=RepairSettings(least_dry_mm2=OFF)).holes.any()


def test_a_thing_of_which_a_part_looks_like_cloth_is_a_hole_as_a_whole():
    seen = np.ones(SHAPE, bool)
    seen[20:34, 46:60] = False
    found = doubtful(run(), seen)
    assert found.holes[PATCH].all()
    assert not found.changed.any()


def test_what_the_front_has_just_gone_round_is_no_spot_yet():
    # After ten frames the front stands at 64 px, four beyond the patch.
    found = doubtful(run(frames=10))
    assert found.holes[PATCH].all()
    assert not found.changed.any()
    assert not doubtful(run(frames=12)).holes.any()


def test_what_lies_ahead_of_the_front_is_no_patch():
    wetting = run(shows=0.25)
    wetting.wet_frame[20:34, 40:] = FRAMES
    assert not doubtful(wetting).holes.any()
