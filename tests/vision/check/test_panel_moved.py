"""A panel that is pushed, seen on made-up cloth: random texture and a weave, wetted half-way."""

import cv2
import numpy as np
import pytest

from vision.check.panel_moved import LOOKS, move_doubts, panel_move_mm

MM_PER_PX = 0.8
SHAPE = (250, 400)


def cloth(weave=0.0, seed=4):
    rng = np.random.default_rng(seed)
    grain = cv2.GaussianBlur(rng.normal(0, 1, SHAPE), (0, 0), 1.5)
    rows, cols = np.indices(SHAPE)
    threads = np.sin(2 * np.pi * cols / 6.25) * np.sin(2 * np.pi * rows / 6.25)
    return 120 * (1 + 0.03 * grain / grain.std() + weave * threads)


def canvases(dry, shifts_px, wet=0.75):
    """Canvases one after the other, each with its shift (down, right) and a front farther on."""
    rng = np.random.default_rng(6)
    out = []
    for k, (down, right) in enumerate(shifts_px):
        grey = np.roll(dry, (down, right), axis=(0, 1))
        grey = grey * np.where(np.arange(SHAPE[1]) < k * 400 // len(shifts_px), wet, 1.0)
        grey = grey + rng.normal(0, 1.0, SHAPE)
        out.append(np.repeat(np.clip(grey, 0, 255).astype(np.uint8)[..., None], 3, axis=2))
    return out


@pytest.mark.parametrize("weave", [0.0, 0.06], ids=["felt", "weave"])
def test_a_panel_that_is_pushed_is_found_with_how_far(weave):
    seen = canvases(cloth(weave), [(0, 0)] * 6 + [(3, -10)] * 6)
    true_mm = np.hypot(3, 10) * MM_PER_PX
    assert panel_move_mm(seen[0], seen, MM_PER_PX) == pytest.approx(true_mm, abs=0.4)
    (doubt,) = move_doubts(seen[0], seen, MM_PER_PX)
    assert f"the panel itself lies about {true_mm:.0f} mm beside where it lay" in doubt


def test_a_panel_at_rest_in_the_photo_of_its_scale_may_have_moved_before():
    seen = canvases(cloth(0.06), [(0, 0)] * 4 + [(3, -10)] * 8)
    assert move_doubts(seen[4], seen, MM_PER_PX) == ()
    assert move_doubts(seen[0], seen, MM_PER_PX) != ()


@pytest.mark.parametrize(
    "shifts_px",
    [[(0, 0)] * 12, [(0, 0)] * 5 + [(0, 9)] + [(0, 0)] * 6, [(0, 0)] * 6 + [(0, 1)] * 6],
    ids=["lies still", "is lifted once", "within what is no move"],
)
def test_a_panel_that_lies_where_it_lay_is_not_said_to_have_moved(shifts_px):
    seen = canvases(cloth(0.06), shifts_px)
    assert move_doubts(seen[0], seen, MM_PER_PX) == ()


def test_cloth_that_shows_nothing_and_too_few_looks_tell_nothing():
    blank = canvases(np.full(SHAPE, 120.0), [(0, 0)] * 6 + [(0, 10)] * 6)
    assert panel_move_mm(blank[0], blank, MM_PER_PX) == 0.0
    few = canvases(cloth(), [(0, 0)] * 2 + [(0, 10)] * (LOOKS - 3))
    assert panel_move_mm(few[0], few, MM_PER_PX) == 0.0


def test_another_texture_is_no_move():
    before, after = cloth(seed=4), cloth(seed=5)
    seen = canvases(before, [(0, 0)] * 6) + canvases(after, [(0, 0)] * 6)
    assert panel_move_mm(seen[0], seen, MM_PER_PX) == 0.0
