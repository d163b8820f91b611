import numpy as np

from vision.settings.causes import OFF
from vision.settings.wetting_settings import WettingSettings
from vision.wetting.canvas_series import CanvasStack
from vision.wetting.occlusion import find_foreign_things, find_hidden_patches
from vision.wetting.wetness import PixelScale

WETTING = WettingSettings()


def wetting_run(count=12, shape=(120, 200)):
    """Levels of a front that goes from left to right, and the frame from which each is wet."""
    x = np.arange(shape[1])
    wet_frame = np.broadcast_to(1 + x * (count - 2) // shape[1], shape).astype(np.int16)
    levels = [(wet_frame <= k).astype(np.float32) for k in range(count)]
    pixels = PixelScale(np.zeros(shape, np.float32), np.ones(shape, np.float32), 0.1)
    return levels, wet_frame, pixels


def test_a_hand_is_hidden_only_while_it_is_there():
    levels, wet_frame, pixels = wetting_run()
    levels[3] = levels[3].copy()
    levels[3][40:80, 150:190] = 1.0  # looks wet long before its time
    nothing = np.zeros((12, 15, 25), bool)
    hidden = find_hidden_patches(levels, wet_frame, pixels, nothing, WETTING)
    assert hidden[3].shape == (30, 50)
    assert hidden[3][12:18, 40:46].all()
    assert not hidden[3][:, :30].any()
    assert not any(mask.any() for k, mask in enumerate(hidden) if k != 3)


def test_cells_of_another_colour_are_hidden_whatever_their_level():
    levels, wet_frame, pixels = wetting_run()
    skin = np.zeros((12, 15, 25), bool)
    skin[5, 3:6, 10:14] = True
    blind = WettingSettings(hidden_share=OFF)
    hidden = find_hidden_patches(levels, wet_frame, pixels, skin, blind)
    assert hidden[5][8:10, 22:26].all()
    assert not hidden[4].any()


def test_what_looks_wrong_for_half_the_run_is_not_a_passing_thing():
    levels, wet_frame, pixels = wetting_run()
    wrong = wet_frame.copy()
    wrong[40:80, 150:190] = 1
    nothing = np.zeros((12, 15, 25), bool)
    assert not any(m.any() for m in find_hidden_patches(levels, wrong, pixels, nothing, WETTING))


def test_a_hose_that_stays_dry_is_no_fabric_and_a_dry_island_is():
    shape = (60, 100)
    rng = np.random.default_rng(1)
    canvas = (180 + rng.normal(0, 3, (*shape, 3))).astype(np.uint8)
    canvas[10:16, 30:60] = (60, 160, 30)
    stack = CanvasStack(shape, np.zeros((0, 2)))
    for k in range(6):
        stack.add(float(k), canvas, np.zeros((0, 3)))
    wet_frame = np.full(shape, 3, np.int16)
    wet_frame[10:16, 30:60] = 6
    wet_frame[40:46, 30:60] = 6
    foreign = find_foreign_things(stack, wet_frame, 1, WETTING)
    assert foreign[11:15, 31:59].all()
    assert foreign[40:46, 30:60].mean() < 0.1
    assert not find_foreign_things(stack, wet_frame, 1, WettingSettings(foreign=OFF)).any()


def still_things(island_colour):
    """Dark cloth that wets, with a bright glare, and a patch in its middle that stays dry."""
    rng = np.random.default_rng(6)
    weave = 1 + 0.2 * rng.normal(0, 1, (120, 200, 1))
    panel = np.full((120, 200, 3), 60, np.float32) * weave
    panel[:, 150:190] = 220
    wet_frame = np.zeros((120, 200), np.int16) + 3
    wet_frame[40:64, 60:100] = 8
    if island_colour is not None:
        panel[40:64, 60:100] = island_colour
    stack = CanvasStack((120, 200), np.zeros((0, 2)))
    for k in range(8):
        grain = rng.normal(0, 2, panel.shape)
        stack.add(float(k), np.clip(panel + grain, 0, 255).astype(np.uint8), np.zeros((0, 3)))
    return find_foreign_things(stack, wet_frame, 3, WettingSettings())


def test_cloth_that_stayed_dry_looks_as_the_cloth_around_it_did():
    assert still_things(None).mean() < 0.002


def test_a_hose_over_the_cloth_is_no_dry_cloth_though_glare_is_brighter():
    foreign = still_things(110.0)
    assert foreign[44:60, 64:96].mean() > 0.95
    assert foreign[:, :50].mean() == 0.0
