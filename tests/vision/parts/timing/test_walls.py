"""Holes along a wall and late specks, on wet frames that are known everywhere."""

import numpy as np
from numpy.testing import assert_array_equal

from vision.parts.timing.walls import fill_along_walls, find_islands, without_late_specks


def ramp(rows=40, cols=90):
    inside = np.zeros((rows, cols), bool)
    inside[5:-5, 5:-5] = True
    frames = np.tile((np.arange(cols) // 6).astype(np.int16), (rows, 1))
    return np.where(inside, frames, 99).astype(np.int16), inside


def test_hole_at_a_wall_follows_the_cloth_beside_it():
    true, inside = ramp()
    known = inside.copy()
    known[5:9, 30:50] = False
    wet_frame = np.where(known, true, 99).astype(np.int16)
    filled = fill_along_walls(wet_frame, known, inside)
    assert np.abs(filled - true)[inside].max() <= 1


def test_hole_in_the_midst_and_a_deep_one_are_left():
    true, inside = ramp()
    known = inside.copy()
    known[15:20, 40:50] = False
    known[5:35, 60:85] = False
    wet_frame = np.where(known, true, 99).astype(np.int16)
    assert_array_equal(fill_along_walls(wet_frame, known, inside), wet_frame)


def test_late_specks_go_and_dry_cloth_stays():
    true, inside = ramp()
    frames = true.copy()
    frames[20, 40] = frames[10:12, 60] = 99
    frames[20:30, 50:60] = 99
    cleaned, late = without_late_specks(frames, inside)
    assert late.sum() == 3 + late[20:30, 50:60].sum()
    assert np.abs(cleaned - true)[[20, 10, 11], [40, 60, 60]].max() <= 1
    assert (cleaned[22:28, 52:58] == 99).all()


def test_what_seems_dry_in_the_midst_of_glare_is_an_island_and_a_dry_spot_is_none():
    cloth = np.zeros((80, 120), bool)
    cloth[3:-3, 3:-3] = True
    known, dry = cloth.copy(), np.zeros_like(cloth)
    known[20:60, 20:60] = False
    known[32:48, 32:48] = dry[32:48, 32:48] = True
    dry[30:40, 80:90] = True
    dry[:, 100:] = cloth[:, 100:]
    islands = find_islands(dry, known, cloth)
    assert_array_equal(np.argwhere(islands)[[0, -1]], [[32, 32], [47, 47]])
    assert np.count_nonzero(islands) == 16 * 16


def test_dry_cloth_ahead_of_a_front_that_was_hidden_is_no_island():
    cloth = np.ones((60, 120), bool)
    known, dry = cloth.copy(), np.zeros_like(cloth)
    known[:, 50:60] = False
    dry[:, 60:] = True
    assert not find_islands(dry, known, cloth).any()
