"""Sun that fell on what was wet already, and made it look dry again."""

from __future__ import annotations

import cv2
import numpy as np

from vision.records import BoolArray, FloatArray
from vision.repair.inpaint import fill_change
from vision.wetting.change_point import WetLook

SUN_FRAMES = 2
"""Frames by which a change may come late, or differ from what is expected, by chance."""


SUN_SHARE = 0.15
"""And the share of the time of the change by which it may differ."""


SUN_LEAST = 0.005
"""Share of the panel below which no sun patch is looked for."""


SUN_AGREED = 0.7
"""Least part of a patch that turned wet when it should, for sun to have fallen on it later."""


SUN_PATCH, SUN_RIM = np.ones((9, 9), np.uint8), np.ones((21, 21), np.uint8)


def sunlit_later(
    look: WetLook, seen: BoolArray, times: FloatArray, away_px: FloatArray | None, along: int
) -> tuple[np.ndarray, BoolArray]:
    """Give the frames of change, earlier where sun fell on what was wet and made it look dry.

    What is wet stays wet. Where a patch looked wet for a while just when the front went by on
    both sides of it, and looks dry again since, the light has changed and not the fabric.

    Returns
    -------
    change : ndarray of shape (M, N), int
    seen : ndarray of shape (M, N), bool
        Less the rim of the sun, which reads as neither.
    """
    count = len(times)
    doubtful = seen & (look.onset < count) & (look.change - look.onset > SUN_FRAMES)
    doubtful = cv2.morphologyEx(doubtful.astype(np.uint8), cv2.MORPH_OPEN, SUN_PATCH) > 0
    if np.count_nonzero(doubtful) < SUN_LEAST * doubtful.size:
        return look.change, seen
    expected, _ = fill_change(
        look.change,
        look.change - 1,
        look.change,
        seen & (cv2.dilate(doubtful.astype(np.uint8), SUN_RIM) == 0),
        np.zeros(look.change.shape, bool),
        times,
        away_px,
        along,
    )
    early = np.abs(look.onset - expected) <= SUN_FRAMES + SUN_SHARE * expected
    _, labels = cv2.connectedComponents(doubtful.astype(np.uint8))
    sizes = np.bincount(labels.ravel())
    agreed = np.bincount(labels.ravel(), early.ravel()) / np.maximum(sizes, 1)
    sunlit = doubtful & early & (agreed > SUN_AGREED)[labels]
    rim = cv2.dilate(sunlit.astype(np.uint8), SUN_RIM) > 0
    rim &= ~sunlit & (look.change > expected + SUN_FRAMES)
    return np.where(sunlit, look.onset, look.change), seen & ~rim
