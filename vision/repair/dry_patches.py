"""Patches that seem to have stayed dry behind the front, and what they showed as it went by.

A dry spot is cloth that goes on looking as it did. What changed for good when the front went by
lies under glare, which leaves only a part of the step to be seen; what was hidden for a good part
of it is the thing that hides the rest; and what the front has only just gone round is no spot yet.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from vision.records import BoolArray, IntArray
from vision.settings.repair_settings import RepairSettings
from vision.wetting.change_point import Wetting


@dataclass(frozen=True)
class DoubtfulDry:
    """Patches behind the front that may well have wetted; masks of the canvas's shape.

    Attributes
    ----------
    holes : ndarray of shape (M, N), bool
        All of them: nothing is known there.
    changed : ndarray of shape (M, N), bool
        Those that looked otherwise for good once the front had come.
    """

    holes: BoolArray
    changed: BoolArray


def find_doubtful_dry(
    wetting: Wetting, seen: BoolArray, is_point: bool, settings: RepairSettings
) -> DoubtfulDry:
    """Find patches behind the front that stayed dry by their votes, but may well have wetted.

    Parameters
    ----------
    wetting : Wetting
    seen : ndarray of shape (M, N), bool
        What was seen of it.
    is_point : bool
        Whether the resin comes from a point: a patch that reaches any edge of the panel is then
        ahead of the front. From an edge, only one that reaches the far end is.
    settings : RepairSettings
    """
    dry = wetting.wet_frame >= len(wetting.levels)
    found, labels, stats, _ = cv2.connectedComponentsWithStats(dry.astype(np.uint8), connectivity=4)
    ahead = {0, *labels[:, -1].tolist()}
    if is_point:
        ahead |= {*labels[:, 0].tolist(), *labels[0].tolist(), *labels[-1].tolist()}
    least_px = settings.least_dry_mm2 / settings.scale.mm_per_px**2
    window = settings.window(settings.causes.tow_mm)
    holes, changed = np.zeros(dry.shape, bool), np.zeros(dry.shape, bool)
    for label in set(range(found)) - ahead:
        left, top, width, height, area = (int(value) for value in stats[label])
        if area < least_px:
            continue
        room = len(window)
        box = (
            slice(max(top - room, 0), top + height + room),
            slice(max(left - room, 0), left + width + room),
        )
        patch = labels[box] == label
        rim = (cv2.dilate(patch.astype(np.uint8), window) > 0) & ~dry[box]
        if not rim.any():
            continue
        around = wetting.wet_frame[box][rim]
        is_hidden = np.mean(seen[box][patch]) < settings.least_dry_seen
        is_fresh = len(wetting.levels) - np.median(around) < settings.dry_frames
        if is_hidden or is_fresh:
            holes[box] |= patch
        elif _lasting_change(wetting, box, patch, around) > settings.least_change:
            holes[box] |= patch
            changed[box] |= patch
    return DoubtfulDry(holes, changed)


def _lasting_change(
    wetting: Wetting, box: tuple[slice, slice], patch: BoolArray, around: IntArray
) -> float:
    """Return how much wetter a patch looks at the end than before the front came, in steps.

    `around` are the frames from which the pixels of its rim are wet.
    """
    came = int(np.quantile(around, FIRST_OF_RIM))
    before = int(np.clip(came - 1, 1, END_FRAMES))
    early, late = (
        np.mean([level[box][patch] for level in levels], axis=0)
        for levels in (wetting.levels[:before], wetting.levels[-END_FRAMES:])
    )
    step = np.maximum(wetting.pixels.step_ratio[box][patch], LEAST_STEP)
    return float(np.median((late - early) / step))


FIRST_OF_RIM = 0.1
"""Share of a patch's rim that is wet when the front has come to it."""

END_FRAMES = 3
"""Frames at either end of a run over which a patch's look is averaged."""

LEAST_STEP = 0.1
"""Least part of the typical step by which a patch's change is divided."""
