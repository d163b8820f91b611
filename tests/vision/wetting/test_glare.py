import numpy as np

from vision.settings.wetting_settings import WettingSettings
from vision.wetting.glare import find_doubtful_glare, find_patch_looks, find_sunlit
from vision.wetting.wetness import PixelScale

WETTING = WettingSettings()
SHAPE = (120, 200)


def test_glare_has_no_vote_only_while_another_light_is_on():
    expected = np.ones(SHAPE, np.float32)
    expected[:, 50:53] = 0.3
    brightness = np.array([0.0, 0.1, 0.0, 2.0, 2.1, 0.0, 0.1, 0.0])
    glare = find_doubtful_glare(brightness, expected, WETTING)
    assert [mask.any() for mask in glare] == [False] * 3 + [True] * 2 + [False] * 3
    assert glare[3][:, 51].all()
    assert not glare[3][:, 80:].any()


def test_sun_that_stays_is_told_from_a_flash_and_a_hand():
    pixels = PixelScale(np.zeros((80, 120), np.float32), np.ones((80, 120), np.float32), 0.1)
    off_colour = np.zeros((20, 10, 15), bool)
    levels = [np.zeros((80, 120), np.float32) for _ in range(20)]
    for level in levels[8:]:
        level[20:50, 30:70] = -1.0
    for level in levels[10:]:
        level[20:50, 30:40] = 0.2  # the front came there at once
    for level in levels[3:5]:
        level[60:75, 90:110] = -2.0  # a flash
    for k in range(6, 12):
        levels[k][60:78, 5:28] = -2.0  # skin is bright as well
        off_colour[k, 7:10, 0:4] = True
    found = find_sunlit(levels, pixels, off_colour, WETTING)
    assert found[20:50, 30:70].all()
    assert not found[60:].any()
    assert found.mean() < 0.3


def test_patches_of_sun_and_of_wet_fabric_are_told_from_specks_and_skin():
    pixels = PixelScale(np.zeros((80, 120), np.float32), np.ones((80, 120), np.float32), 0.1)
    off_colour = np.zeros((6, 10, 15), bool)
    levels = [np.zeros((80, 120), np.float32) for _ in range(6)]
    levels[1][20:50, 30:70] = -1.0
    levels[2][20:50, 30:70] = 1.0
    levels[3][10:14, 10:14] = -1.0  # a speck
    levels[4][60:78, 5:28] = -2.0  # skin
    off_colour[4, 7:10, 0:4] = True
    looks = find_patch_looks(levels, pixels, off_colour, WETTING)
    assert looks.bright.any(axis=(1, 2)).tolist() == [False, True] + [False] * 4
    assert looks.wet.any(axis=(1, 2)).tolist() == [False, False, True] + [False] * 3
    assert looks.bright[1].sum() == looks.wet[2].sum() == 30 * 40
    assert looks.dry[5].all()
    assert looks.dry[1].sum() == 80 * 120 - 30 * 40
    assert not looks.dry[4][60:78, 5:28].any()
