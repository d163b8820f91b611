import cv2
import numpy as np

from vision.wetting.glare import doubtful_glare, sunlit
from vision.wetting.ink import ink_marks, specks

SHAPE = (120, 200)


def wet_to_the_end(count=8):
    """Levels of a fabric that is wet but for its right end, with a little noise."""
    rng = np.random.default_rng(1)
    wet = np.zeros(SHAPE, np.float32)
    wet[:, :160] = 1.0
    levels = [wet + rng.normal(0, 0.05, SHAPE).astype(np.float32) for _ in range(count)]
    change = np.where(wet > 0, 2, count).astype(np.int16)
    return levels, change


def test_lines_and_figures_on_dark_cloth_are_ink_and_noise_is_not():
    levels, change = wet_to_the_end()
    ink = np.zeros(SHAPE, np.uint8)
    cv2.line(ink, (60, 10), (70, 110), 255, 3)
    cv2.putText(ink, "3.9", (80, 60), cv2.FONT_HERSHEY_SIMPLEX, 0.5, 255, 2)
    drawn = ink.astype(np.float32) * (0.7 / 255)
    marks = ink_marks([level + drawn for level in levels], np.zeros(SHAPE, np.float32), change)
    assert marks[ink > 128].mean() > 0.9
    assert marks[cv2.dilate((ink > 0).astype(np.uint8), np.ones((9, 9))) == 0].mean() < 0.002
    assert not ink_marks(levels, np.zeros(SHAPE, np.float32), change).any()


def test_glare_has_no_vote_only_while_another_light_is_on():
    expected = np.ones(SHAPE, np.float32)
    expected[:, 50:53] = 0.3
    brightness = np.array([0.0, 0.1, 0.0, 2.0, 2.1, 0.0, 0.1, 0.0])
    glare = doubtful_glare(brightness, expected, len(brightness))
    assert [mask.any() for mask in glare] == [False] * 3 + [True] * 2 + [False] * 3
    assert glare[3][:, 51].all()
    assert not glare[3][:, 80:].any()


def test_specks_are_told_from_a_front():
    change = np.tile(np.arange(200) // 10, (120, 1)).astype(np.int16)
    change[40:43, 150:152] = 1
    marked = specks(change)
    assert marked[41, 150]
    assert marked.mean() < 0.001


def test_sun_that_stays_is_told_from_a_flash_and_a_hand():
    dry, share = np.zeros((80, 120), np.float32), np.ones((80, 120), np.float32)
    odd = np.zeros((20, 10, 15), bool)
    levels = [np.zeros((80, 120), np.float32) for _ in range(20)]
    for level in levels[8:]:
        level[20:50, 30:70] = -1.0
    for level in levels[10:]:
        level[20:50, 30:40] = 0.2  # the front came there at once
    for level in levels[3:5]:
        level[60:75, 90:110] = -2.0  # a flash
    for k in range(6, 12):
        levels[k][60:78, 5:28] = -2.0  # skin is bright as well
        odd[k, 7:10, 0:4] = True
    found = sunlit(levels, dry, share, odd)
    assert found[20:50, 30:70].all()
    assert not found[60:].any()
    assert found.mean() < 0.3
