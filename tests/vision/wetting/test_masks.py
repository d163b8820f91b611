import numpy as np
import pytest

from vision.wetting.masks import at_size, put, whole_patches


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


@pytest.mark.parametrize("kind", [np.int16, np.float32])
def test_what_is_put_goes_to_the_mask_and_nowhere_else(kind):
    rng = np.random.default_rng(3)
    values, into = (rng.integers(0, 99, (5, 8)).astype(kind) for _ in range(2))
    where = rng.random((5, 8)) > 0.5
    wanted = np.where(where, values, into)
    put(values, where, into)
    assert (into == wanted).all()


def test_what_is_put_must_be_of_the_kind_of_its_place():
    with pytest.raises(ValueError, match="float64"):
        put(np.zeros((2, 2)), np.ones((2, 2), bool), np.zeros((2, 2), np.float32))
