"""What the two ways of keeping canvases hold, on canvases whose grey level is their number."""

from types import SimpleNamespace

import numpy as np

from vision.tracking.canvases import FlatFrame, LiveCanvases, RecordedCanvases, SeenFrame

ROWS, COLS = 40, 80
RECTIFIER = SimpleNamespace(
    shape=(ROWS, COLS),
    mm_per_px=1.0,
    border_mm=np.array([[-5.0, -5.0], [85.0, 45.0]]),
    plane=SimpleNamespace(length_mm=80.0, width_mm=40.0),
)


def feed(canvases, count, lost=()):
    for k in range(count):
        seen = SeenFrame(f"{k}.jpg", float(k), "", k in lost, RECTIFIER.plane)
        canvas = np.full((ROWS, COLS, 3), k % 256, np.uint8)
        canvases.add(FlatFrame(seen, canvas, np.zeros((2, 3))))
    return canvases


def test_a_recording_keeps_every_frame_and_only_canvases_in_which_the_panel_was_found():
    kept = feed(RecordedCanvases(RECTIFIER), 9, lost=(3, 4))
    assert [frame.name for frame in kept.frames] == [f"{k}.jpg" for k in range(9)]
    assert kept.stack().times_s == [0.0, 1.0, 2.0, 5.0, 6.0, 7.0, 8.0]


def test_a_live_run_keeps_the_latest_and_an_even_choice_of_the_earlier_ones():
    kept = feed(LiveCanvases(RECTIFIER, held=8, recent=3), 100)
    clocks = [frame.clock_s for frame in kept.frames]
    assert clocks[-3:] == [97.0, 98.0, 99.0]
    assert len(clocks) <= 11
    steps = np.diff(clocks[:-3])
    assert np.all(steps == steps[0])
    assert clocks[0] == 0.0


def test_live_canvases_are_coarser_and_the_mask_goes_with_them():
    kept = LiveCanvases(RECTIFIER)
    assert kept.mm_per_px == 2.0
    feed(kept, 3)
    assert kept.stack().shape == (20, 40)
    mask = np.zeros((ROWS, COLS), bool)
    mask[:, 10:31] = True
    assert np.array_equal(kept.resized(mask)[0].nonzero()[0], np.arange(5, 15))
    assert kept.resized(mask).shape == (20, 40)


def test_the_very_same_picture_is_counted_not_kept():
    kept = LiveCanvases(RECTIFIER)
    same = np.full((ROWS, COLS, 3), 7, np.uint8)
    for k in range(4):
        seen = SeenFrame(f"{k}.jpg", float(k), "", False, RECTIFIER.plane)
        kept.add(FlatFrame(seen, same, np.zeros((2, 3))))
    assert kept.repeats == 3
    assert [frame.name for frame in kept.frames] == ["0.jpg"]
