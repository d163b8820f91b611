"""Lanes whose front leaps and then waits, or waits and then leaps: glare and specks, not a front.

A front keeps its shape while it moves. Where a few lanes are wet all at once far beyond what the
lanes advance in that frame, and stand still before or after while the rest goes on, something
else than resin was seen.
"""

from __future__ import annotations

import numpy as np

from vision.records import BoolArray, FloatArray, IntArray
from vision.settings.repair_settings import RepairSettings


def lane_leads_px(wet_frame: IntArray, count: int) -> IntArray:
    """Return the leading wet position of each lane at each frame, in whole pixels.

    Parameters
    ----------
    wet_frame : ndarray of shape (M, N), int
        Frame from which each pixel is wet; `count` where it stayed dry.
    count : int
        Frames.

    Returns
    -------
    lead_px : ndarray of shape (count, M), int

    Examples
    --------
    >>> lane_leads_px(np.array([[0, 2, 1, 3]]), 3).ravel()
    array([1, 3, 3])
    """
    beyond = np.minimum.accumulate(wet_frame[:, ::-1], axis=1)[:, ::-1]
    frames = np.arange(count)
    return np.stack([np.searchsorted(lane, frames, side="right") for lane in beyond], axis=1)


def find_jumps(wet_frame: IntArray, count: int, settings: RepairSettings) -> BoolArray:
    """Find what wetted at once where a lane leaps out of step and then, or before, waits.

    Parameters
    ----------
    wet_frame : ndarray of shape (M, N), int
        Frame from which each pixel is wet, holes filled; `count` where it stayed dry. Lanes are
        rows.
    count : int
        Frames.
    settings : RepairSettings

    Returns
    -------
    jumped : ndarray of shape (M, N), bool
    """
    lead = lane_leads_px(wet_frame, count)
    advance = np.diff(lead, axis=0, prepend=0).astype(float)
    usual = np.median(advance, axis=1)
    leaps = advance > (settings.leap * usual + settings.leap_mm / settings.scale.mm_per_px)[:, None]
    leaps[0] = False
    jumped = np.zeros(wet_frame.shape, bool)
    waits = _waits(advance, usual, settings)
    for k, lane in zip(*np.nonzero(leaps), strict=True):
        at_end = lead[k, lane] >= wet_frame.shape[1]
        after = not at_end and waits[k + 1 : k + 1 + settings.waits_frames, lane].all()
        before = waits[max(k - settings.waits_frames, 0) : k, lane].all()
        if not ((after and k + settings.waits_frames < count) or before):
            continue
        start = lead[k - 1, lane] + (0 if before else round(usual[k]))
        stretch = slice(int(start), int(lead[k, lane]))
        at_once = wet_frame[lane, stretch] == k
        if np.mean(at_once) > settings.at_once:
            jumped[lane, stretch] = at_once
    return jumped


def _waits(advance: FloatArray, usual: FloatArray, settings: RepairSettings) -> BoolArray:
    """Find the frames in which a lane hardly moves while the others do; shape (K, M)."""
    moving = usual > 0
    return np.asarray((advance <= settings.waits * usual[:, None]) & moving[:, None])
