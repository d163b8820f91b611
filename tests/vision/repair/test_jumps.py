import numpy as np

from vision.repair.jumps import find_jumps, lane_leads_px
from vision.settings.causes import CanvasScale
from vision.settings.repair_settings import RepairSettings

REPAIR = RepairSettings(scale=CanvasScale(1.0, 20.0))
COUNT = 30


def front():
    """First wet frame of a front of four pixels a frame, on 40 lanes of 140 pixels."""
    frames = np.tile(np.arange(140) // 4, (40, 1))
    return np.minimum(frames, COUNT).astype(np.int16)


def test_a_front_that_goes_on_does_not_leap():
    assert not find_jumps(front(), COUNT, REPAIR).any()


def test_lanes_that_leap_and_then_wait_are_found():
    frames = front()
    frames[10:16, 40:80] = 10
    jumped = find_jumps(frames, COUNT, REPAIR)
    assert jumped[10:16, 46:80].all()
    assert not jumped[:10].any()
    assert not jumped[16:].any()


def test_lanes_that_wait_and_then_leap_are_found():
    frames = front()
    frames[10:16, 40:80] = 19
    jumped = find_jumps(frames, COUNT, REPAIR)
    assert jumped[10:16, 42:78].all()
    assert not jumped[:10].any()


def test_an_edge_that_races_on_does_not_wait():
    frames = front()
    frames[:4] = np.minimum(np.arange(140) // 18, COUNT)
    assert not find_jumps(frames, COUNT, REPAIR).any()


def test_a_dry_spot_that_the_front_passes_is_none():
    frames = front()
    frames[10:16, 40:60] = COUNT
    frames[10:16, 60:70] = 20
    assert not find_jumps(frames, COUNT, REPAIR).any()


def test_a_gap_in_the_photos_moves_all_lanes():
    frames = front()
    frames[frames > 10] += 0
    frames[(frames > 10) & (frames < 18)] = 18
    assert not find_jumps(frames, COUNT, REPAIR).any()


def test_leads_are_whole_pixels_from_the_feed():
    lead = lane_leads_px(front(), COUNT)
    assert lead.shape == (COUNT, 40)
    assert lead[:, 0].tolist() == [4 * (k + 1) for k in range(COUNT)]
