"""Photos of a front drawn by hand: explained where the reading is right, and not where it isn't."""

from types import SimpleNamespace

import numpy as np
import pytest

from vision.check.doubts import (
    ELSEWHERE,
    FRESH,
    HIDDEN,
    dry_doubts,
    light_doubts,
    redrawing_doubts,
    row_doubts,
)
from vision.check.redraw import redraw
from vision.repair.feed import Feed, FeedOnCanvas
from vision.settings.tracker_settings import CheckSettings
from vision.settings.wetting_settings import WettingSettings
from vision.wetting.wetness import PixelScale

SHAPE, FRAMES = (80, 160), 24
CHECK = CheckSettings()


def fronts_px():
    """Where the front stands at each frame: x = sqrt(k t), from the third frame on."""
    return 150 * np.sqrt(np.maximum(np.arange(FRAMES) - 2.0, 0) / (FRAMES - 3))


def wet_frames(ahead_px=0.0):
    """First wet frame of each pixel, of a front that is read too far ahead."""
    x = np.arange(SHAPE[1]) + 0.5
    first = np.searchsorted(fronts_px() + ahead_px * (np.arange(FRAMES) > 2), x)
    return np.tile(first, (SHAPE[0], 1)).astype(np.int16)


def photos(noise=0.15, deepens=0.3):
    """Levels of the same run, wet 1 apart from dry and deepening behind the front."""
    rng = np.random.default_rng(4)
    behind = fronts_px()[:, None] - (np.arange(SHAPE[1]) + 0.5)
    look = (behind > 0) * (1 + deepens * (1 - np.exp(-np.maximum(behind, 0) / 10)))
    levels = np.repeat(look[:, None, :], SHAPE[0], axis=1)
    return [level.astype(np.float32) for level in levels + rng.normal(0, noise, levels.shape)]


def compared(wet_frame, levels, hidden=None, known=None):
    nothing = np.zeros((20, 40), bool)
    wetting = SimpleNamespace(
        pixels=PixelScale(np.zeros(SHAPE, np.float32), np.ones(SHAPE, np.float32), 0.15),
        levels=levels,
        hidden=hidden or [nothing] * FRAMES,
    )
    known = np.ones(SHAPE, bool) if known is None else known
    feed = FeedOnCanvas(Feed(), SHAPE, 1.0)
    return redraw(wetting, wet_frame, known, feed, CHECK, WettingSettings())


def test_a_right_reading_explains_its_photos():
    found = compared(wet_frames(), photos())
    assert found.off_share.max() == 0.0
    assert found.seen_share[found.moving].min() == 1.0
    assert np.abs(found.shift_mm[found.moving]).max() < found.tolerance_mm / 2
    assert not found.unexplained.any()
    rows = row_doubts(found, CHECK)
    assert set(rows[:-2]) == {""}
    assert redrawing_doubts(found, CHECK) == ()


def test_the_last_photos_alone_are_no_proof():
    rows = row_doubts(compared(wet_frames(), photos()), CHECK)
    assert rows[-2:] == (FRESH, FRESH)


def test_a_front_read_elsewhere_is_not_borne_out():
    levels = photos()
    moved = wet_frames()
    moved[:40] = np.minimum(wet_frames(ahead_px=25.0)[:40], moved[:40])
    found = compared(moved, levels)
    rows = row_doubts(found, CHECK)
    assert sum(row == ELSEWHERE for row in rows) > FRAMES / 2
    assert redrawing_doubts(found, CHECK)


def test_one_photo_that_shows_something_else_costs_one_row():
    levels = photos()
    levels[12][:50] = 0.0
    rows = row_doubts(compared(wet_frames(), levels), CHECK)
    assert [k for k, row in enumerate(rows[:-2]) if row] == [12]
    assert rows[12] == ELSEWHERE


def test_what_is_hidden_is_not_borne_out_but_hidden():
    hidden = [np.zeros((20, 40), bool) for _ in range(FRAMES)]
    hidden[9][:15] = True
    rows = row_doubts(compared(wet_frames(), photos(), hidden), CHECK)
    assert rows[9] == HIDDEN
    assert rows[8] == rows[10] == ""


def test_a_place_that_never_looks_wet_is_unexplained():
    levels = photos()
    for level in levels:
        level[20:50, 40:70] = 0.0
    found = compared(wet_frames(), levels)
    assert found.unexplained[25:45, 45:65].mean() > 0.9
    assert found.unexplained[55:].mean() == 0.0
    assert found.unexplained_share == pytest.approx(30 * 30 / (80 * 160) * 0.5, rel=0.7)


def test_filled_holes_have_no_say():
    known = np.ones(SHAPE, bool)
    known[20:50, 40:70] = False
    levels = photos()
    for level in levels:
        level[20:50, 40:70] = 0.0
    found = compared(wet_frames(), levels, known=known)
    assert not found.unexplained.any()


def test_a_light_that_can_be_read_in_two_ways_is_a_doubt():
    assert light_doubts(0.01, CHECK) == ()
    assert "12% of the panel apart" in light_doubts(0.12, CHECK)[0]


@pytest.mark.parametrize(("rows", "told"), [(0, 0), (1, 0), (8, 1)])
def test_cloth_that_seems_dry_but_changed_puts_a_run_in_doubt_where_there_is_much_of_it(rows, told):
    changed = np.zeros((80, 160), bool)
    changed[:rows] = True
    doubts = dry_doubts(changed, CHECK)
    assert len(doubts) == told
    assert all("10% of the panel looks dry" in text for text in doubts)
