import cv2
import numpy as np

from vision.settings.wetting_settings import WettingSettings
from vision.wetting.ink import find_ink, find_specks

WETTING = WettingSettings()
SHAPE = (120, 200)


def wet_to_the_end(count=8):
    """Levels of a fabric that is wet but for its right end, with a little noise."""
    rng = np.random.default_rng(1)
    wet = np.zeros(SHAPE, np.float32)
    wet[:, :160] = 1.0
    levels = [wet + rng.normal(0, 0.05, SHAPE).astype(np.float32) for _ in range(count)]
    wet_frame = np.where(wet > 0, 2, count).astype(np.int16)
    return levels, wet_frame


def test_lines_and_figures_on_dark_cloth_are_ink_and_noise_is_not():
    levels, wet_frame = wet_to_the_end()
    dry = np.zeros(SHAPE, np.float32)
    ink = np.zeros(SHAPE, np.uint8)
    cv2.line(ink, (60, 10), (70, 110), 255, 3)
    cv2.putText(ink, "3.9", (80, 60), cv2.FONT_HERSHEY_SIMPLEX, 0.5, 255, 2)
    drawn = ink.astype(np.float32) * (0.7 / 255)
    marks = find_ink([level + drawn for level in levels], dry, wet_frame, WETTING) < len(levels)
    assert marks[ink > 128].mean() > 0.9
    assert marks[cv2.dilate((ink > 0).astype(np.uint8), np.ones((9, 9))) == 0].mean() < 0.002
    assert (find_ink(levels, dry, wet_frame, WETTING) == len(levels)).all()


def line_from(frame, dark):
    """Levels with a pen line on wet fabric, and one on dry, drawn at a frame."""
    levels, wet_frame = wet_to_the_end(12)
    ink = np.zeros(SHAPE, np.uint8)
    cv2.line(ink, (60, 10), (70, 110), 255, 3)
    drawn = ink.astype(np.float32) * (dark / 255)
    return ink, [lv + drawn * (k >= frame) for k, lv in enumerate(levels)], wet_frame


def test_clear_ink_tells_when_it_was_drawn_and_faint_ink_does_not():
    dry = np.zeros(SHAPE, np.float32)
    ink, levels, wet_frame = line_from(7, 3.0)
    assert (find_ink(levels, dry, wet_frame, WETTING)[ink > 200] == 7).mean() > 0.95
    ink, levels, wet_frame = line_from(7, 0.7)
    assert (find_ink(levels, dry, wet_frame, WETTING)[ink > 200] == 0).mean() > 0.95


def test_specks_are_told_from_a_front():
    wet_frame = np.tile(np.arange(200) // 10, (120, 1)).astype(np.int16)
    wet_frame[40:43, 150:152] = 1
    marked = find_specks(wet_frame, WETTING)
    assert marked[41, 150]
    assert marked.mean() < 0.001
