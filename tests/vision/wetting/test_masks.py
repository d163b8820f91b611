import numpy as np

from vision.wetting.masks import at_size, whole_patches


def test_a_mask_keeps_its_place_at_another_resolution():
    cells = np.zeros((4, 6), bool)
    cells[1, 2:4] = True
    wide = at_size(cells, (40, 60))
    assert wide[10:20, 20:40].all()
    assert wide.sum() == 200


def test_a_gap_between_fingers_is_filled_and_the_rim_added():
    cells = np.zeros((9, 9), bool)
    cells[3:6, 2] = cells[3:6, 4] = True
    whole = whole_patches(cells)
    assert whole[2:7, 1:6].all()
    assert whole.sum() == 25
