"""Ink and specks: thin marks and single pixels that look wet and are not."""

from __future__ import annotations

import cv2
import numpy as np

from vision.common.robust import robust_scale
from vision.records import BoolArray, FloatArray
from vision.wetting.canvas_series import middle_of
from vision.wetting.masks import GLARE_RIM, INK_RIM

SPECK_PX = 9
"""Window in which a patch smaller than half is taken for a speck and filled from around it."""


INK_STEP = 0.35
"""A thin mark this much wetter than the wet fabric around it is ink, in steps."""


INK_AROUND_PX = 21
"""Window in which a mark must be thin."""


INK_SIGMAS = 5.0
"""And this far out of the usual scatter."""


LEAST_INK_PX = 12
"""Marks, or groups of them as in a figure, that reach less far do not count."""


INK_CODE = 60.0
"""Steps of an 8-bit code for one step from dry to wet."""


def specks(change: np.ndarray) -> BoolArray:
    """Tell pixels that changed far earlier or later than most around them: glare, not a front."""
    around = cv2.medianBlur(change.astype(np.uint8), SPECK_PX).astype(np.int16)
    return np.abs(change - around) > np.maximum(2, around // 6)


def ink_marks(levels: list[FloatArray], dry: FloatArray, change: np.ndarray) -> BoolArray:
    """Tell thin marks that still look wetter than the wet fabric around them at the end.

    On a dark fabric ink looks no stranger than wet; drawn ahead of the front it would pass for it.

    Parameters
    ----------
    levels : list of K ndarrays of shape (M, N), float
        Each frame's projected level, light removed.
    dry : ndarray of shape (M, N), float
        Projected dry level.
    change : ndarray of shape (M, N), int
        First wet frame; K where it stayed dry.
    """
    wetness = cv2.GaussianBlur(middle_of(levels[-3:]) - dry, (0, 0), 1.0)
    coded = np.clip((wetness + 1) * INK_CODE, 0, 255).astype(np.uint8)
    around = cv2.medianBlur(coded, INK_AROUND_PX).astype(np.float32) / INK_CODE - 1
    more = wetness - around
    usual = robust_scale(more[::3, ::3].ravel())
    mark = (more > max(INK_STEP, INK_SIGMAS * usual)) & (change < len(levels))
    _, labels, stats, _ = cv2.connectedComponentsWithStats(
        cv2.dilate(mark.astype(np.uint8), INK_RIM)
    )
    reach = stats[:, [cv2.CC_STAT_WIDTH, cv2.CC_STAT_HEIGHT]].max(axis=1)
    mark &= (reach >= LEAST_INK_PX)[labels]
    return cv2.dilate(mark.astype(np.uint8), GLARE_RIM) > 0
