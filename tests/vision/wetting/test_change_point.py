import numpy as np
import pytest

from tests.made_up.canvases import SHAPE, square_root_front, stack_of, wetting_canvases
from vision.wetting.change_point import find_wetting

COUNT = 24


def found_in(canvases):
    return find_wetting(stack_of(canvases))


def test_every_pixel_is_wet_from_its_frame_on():
    wet_frame, _ = square_root_front()
    truth = np.minimum(wet_frame, COUNT)
    found = found_in(wetting_canvases(wet_frame, COUNT))
    inner = (slice(5, -5), slice(5, -5))
    assert np.mean(np.abs(found.wet_frame - truth)[inner] <= 1) > 0.99
    assert found.seen.mean() > 0.99
    wet = found.wet_frame < COUNT
    assert (found.last_dry < found.wet_frame)[wet].all()
    assert (found.first_wet >= found.wet_frame)[wet].all()


def test_a_hand_that_passes_is_outvoted_and_what_it_hid_is_blank():
    wet_frame, _ = square_root_front()
    canvases = wetting_canvases(wet_frame, COUNT)
    hand = (slice(20, 70), slice(40, 90))
    for k in (6, 7):
        canvases[k][hand] = (90, 110, 230)
    found = found_in(canvases)
    clear = found.seen & ~found.blank
    off = np.abs(found.wet_frame - np.minimum(wet_frame, COUNT))
    assert np.mean(off[clear] <= 2) > 0.98
    under = (wet_frame[hand] > 5) & (wet_frame[hand] < 8)
    assert np.mean(found.blank[hand][under]) > 0.5


def test_what_stays_dry_is_dry_to_the_end():
    wet_frame, _ = square_root_front()
    wet_frame[30:60, 50:90] = COUNT
    found = found_in(wetting_canvases(wet_frame, COUNT))
    assert (found.wet_frame[36:54, 56:84] == COUNT).all()


def test_three_canvases_are_too_few():
    canvases = wetting_canvases(np.zeros(SHAPE, np.int16), 3)
    with pytest.raises(ValueError, match="at least 4 canvases are needed, got 3"):
        find_wetting(stack_of(canvases))
