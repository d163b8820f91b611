"""Lasting changes that no planned feed can have sent, and such as lie outside the outline.

Tested in tests/vision/parts/test_measure_part.py and test_track_part.py.
"""

from __future__ import annotations

import cv2
import numpy as np

from vision.parts.part_canvas import PartCanvas, hose_disc
from vision.records import BoolArray, FloatArray
from vision.wetting.change_point import Wetting

STRAY_SHARE, STRAY_MM2 = 0.002, 400.0
"""A lasting change apart from the front is spoken of from this size on, the larger of the two."""

BEYOND_SHARE, BEYOND_MM = 0.01, 10.0
"""Patches outside the outline, farther than so many millimetres, of which is spoken from this
share of the part on."""

CLEAR_STEP = 0.5  # share of the whole step, below which a change tells nothing

Stray = tuple[float, float, float, float]
"""Place x, y in canvas mm, area in mm2, and when in seconds."""


def find_beyond(wetting: Wetting, times_s: FloatArray, part: PartCanvas) -> tuple[Stray, ...]:
    """Find what turned wet well outside the outline.

    Parameters
    ----------
    wetting : Wetting
    times_s : ndarray of shape (K,), float
        Since resin start.
    part : PartCanvas
    """
    rim = round(BEYOND_MM / part.mm_per_px) + 2
    near = cv2.dilate(part.inside.astype(np.uint8), np.ones((2 * rim + 1, 2 * rim + 1), np.uint8))
    changed = (wetting.wet_frame < len(wetting.levels)) & wetting.seen
    return find_strays(changed & (near == 0), wetting, times_s, part, BEYOND_SHARE)


def find_strays(
    apart: BoolArray,
    wetting: Wetting,
    times_s: FloatArray,
    part: PartCanvas,
    share: float = STRAY_SHARE,
) -> tuple[Stray, ...]:
    """Return lasting changes that no planned feed can have sent: x, y, area, first seen.

    Parameters
    ----------
    apart : ndarray of shape (M, N), bool
        What changed and is not joined to a feed.
    wetting : Wetting
    times_s : ndarray of shape (K,), float
        Since resin start.
    part : PartCanvas
    share : float
        Of the part, from which a change is spoken of.
    """
    area_px = part.mm_per_px**2
    least = max(share * np.count_nonzero(part.inside), STRAY_MM2 / area_px)
    clear = apart & (wetting.pixels.step_ratio > CLEAR_STEP)  # noise in glare is no change
    body = cv2.morphologyEx(clear.astype(np.uint8), cv2.MORPH_OPEN, hose_disc(part.mm_per_px))
    count, labels, stats, middles = cv2.connectedComponentsWithStats(body)
    found = []
    for label in range(1, count):
        size = int(stats[label, cv2.CC_STAT_AREA])
        if size < least:
            continue
        x, y = (middles[label] + 0.5) * part.mm_per_px
        frame = int(np.median(wetting.wet_frame[labels == label]))
        at = float(times_s[min(frame, len(times_s) - 1)])
        found.append((float(x), float(y), size * area_px, at))
    return tuple(found)
