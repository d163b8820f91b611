"""Ink and specks: thin marks and single pixels that look wet and are not."""

from __future__ import annotations

import cv2
import numpy as np

from vision.common.robust import robust_scale
from vision.records import BoolArray, FloatArray, IntArray
from vision.settings.wetting_settings import WettingSettings
from vision.wetting.canvas_series import middle_of

INK_CODE = 60.0
"""Steps of an 8-bit code for one step from dry to wet, for OpenCV's wide median."""


def find_specks(wet_frame: IntArray, settings: WettingSettings) -> BoolArray:
    """Find pixels that changed far earlier or later than most around them: glare, not a front."""
    window = settings.px(settings.speck_mm)
    usual = cv2.medianBlur(wet_frame.astype(np.uint8), window).astype(np.int16)
    apart = np.abs(wet_frame - usual) > np.maximum(settings.speck_frames, usual // 6)
    return np.asarray(apart)


def find_ink(
    levels: list[FloatArray], dry: FloatArray, wet_frame: IntArray, settings: WettingSettings
) -> IntArray:
    """Find thin marks that still look wetter than the wet fabric around them at the end.

    On a dark fabric ink looks no stranger than wet; drawn ahead of the front it would pass for it.

    Parameters
    ----------
    levels : list of K ndarrays of shape (M, N), float
        Each frame's projected level, light removed.
    dry : ndarray of shape (M, N), float
        Projected dry level.
    wet_frame : ndarray of shape (M, N), int
        Frame from which each is wet; K where it stayed dry.
    settings : WettingSettings

    Returns
    -------
    drawn : ndarray of shape (M, N), int
        Frame from which ink lies on each or beside it: 0 where that cannot be told, K where there
        is none.
    """
    wetness = cv2.GaussianBlur(middle_of(levels[-3:]) - dry, (0, 0), 1.0)
    coded = np.clip((wetness + 1) * INK_CODE, 0, 255).astype(np.uint8)
    window = settings.px(settings.ink_around_mm)
    usual = cv2.medianBlur(coded, window).astype(np.float32) / INK_CODE - 1
    more = wetness - usual
    scatter = robust_scale(more[::3, ::3].ravel())
    least = max(settings.ink_step, settings.causes.sigmas(more.size) * float(scatter))
    mark = (more > least) & (wet_frame < len(levels))
    drawn = np.full(mark.shape, len(levels), np.int16)
    # Ink drawn on dry fabric, which is lighter by a step, is still clearly darker than wet fabric.
    clear = mark & (more > np.maximum(usual, 0) + least)
    drawn[clear] = _drawn_at(levels, dry, clear, (usual + more)[clear] / 2)
    beside = cv2.erode(drawn, settings.window(settings.ink_rim_mm))
    faint = mark & ~clear
    drawn[faint] = np.where(beside < len(levels), beside, 0)[faint]
    halo = settings.window(settings.glare_rim_mm)
    return np.asarray(cv2.erode(drawn, halo), np.int16)


def _drawn_at(
    levels: list[FloatArray], dry: FloatArray, mark: BoolArray, least: FloatArray
) -> IntArray:
    """Return the frame from which each pixel of a mark is wetter than the least for ink."""
    beyond = np.stack([level[mark] for level in levels]) - dry[mark] - least
    running = np.concatenate([np.zeros_like(beyond[:1]), np.cumsum(beyond, axis=0)])
    return np.asarray(np.argmin(running, axis=0))
