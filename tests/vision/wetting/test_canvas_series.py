import numpy as np

from vision.wetting.canvas_series import CanvasStack


def test_memory_stays_within_its_bound_however_long_the_run():
    stack = CanvasStack((8, 12), np.zeros((0, 2)), most=20)
    for k in range(1000):
        stack.add(float(k), np.full((8, 12, 3), k % 256, np.uint8), np.zeros((0, 3)))
        assert len(stack) <= 20
    steps = np.diff(stack.times_s)
    assert steps.min() == steps.max()
    assert stack.times_s[0] == 0.0
    assert stack.times_s[-1] > 900
    assert len(stack.canvases) == len(stack.cells) == len(stack.borders) == len(stack)


def test_short_run_keeps_every_frame():
    stack = CanvasStack((8, 12), np.zeros((0, 2)), most=20)
    kept = [stack.add(float(k), np.zeros((8, 12, 3), np.uint8), np.zeros((0, 3))) for k in range(9)]
    assert all(kept)
    assert len(stack) == 9


def test_thin_ink_leaves_a_cell_as_it_was():
    shape = (160, 320)
    stack = CanvasStack(shape, np.zeros((0, 2)))
    plain = np.full((*shape, 3), 120, np.uint8)
    drawn = plain.copy()
    drawn[:, 100:102] = 10
    for k, canvas in enumerate((plain, drawn)):
        stack.add(float(k), canvas, np.zeros((0, 3)))
    assert np.abs(stack.cells[1] - stack.cells[0]).max() < 0.02


def test_the_last_canvas_is_the_last_photo_however_long_the_run():
    for count in (21, 22, 37, 64):
        stack = CanvasStack((8, 12), np.zeros((0, 2)), most=20)
        for k in range(count):
            stack.add(float(k), np.full((8, 12, 3), k, np.uint8), np.zeros((0, 3)))
        stack.close()
        assert stack.times_s[-1] == count - 1
        assert stack.canvases[-1].max() == count - 1
        assert len(stack) <= 21
        assert np.all(np.diff(stack.times_s) > 0)


def test_what_lies_outside_the_photo_keeps_what_it_showed_last():
    stack = CanvasStack((8, 12), np.zeros((0, 2)))
    stack.add(0.0, np.full((8, 12, 3), 90, np.uint8), np.zeros((0, 3)))
    view = np.arange(12) < 9
    in_view = np.broadcast_to(view, (8, 12))
    stack.add(1.0, np.full((8, 12, 3), 200, np.uint8), np.zeros((0, 3)), in_view)
    assert np.all(stack.canvases[1][:, :9] == 200)
    assert np.all(stack.canvases[1][:, 9:] == 90)
    assert stack.in_view[0] is None
    assert np.array_equal(stack.in_view[1], in_view)
