"""Dry spots: patches that stayed dry behind the front."""

from __future__ import annotations

import cv2
import numpy as np

from vision.records import ArrivalMap, BoolArray, DrySpot, FloatArray

DRY_SPOT_MM2 = 30.0
"""Least area of a dry spot worth telling."""


def find_dry_spots(arrival: ArrivalMap, front_px: FloatArray) -> tuple[DrySpot, ...]:
    """Find patches that stayed dry behind the front at the end of the run.

    Parameters
    ----------
    arrival : ArrivalMap
    front_px : ndarray of shape (M,), float
        Leading wet position of each lane at the last frame.

    Returns
    -------
    spots : tuple of DrySpot
        Largest first.
    """
    dry = ~np.isfinite(arrival.time_s)
    behind = np.arange(dry.shape[1])[None, :] + 1 <= front_px[:, None]
    return patches(dry, dry & behind & arrival.seen, arrival.mm_per_px)


def patches(dry: BoolArray, sure: BoolArray, mm_per_px: float) -> tuple[DrySpot, ...]:
    """List connected dry patches of which nearly all is sure to be behind the front."""
    count, labels, stats, centres = cv2.connectedComponentsWithStats(
        dry.astype(np.uint8), connectivity=4
    )
    spots = []
    for label in range(1, count):
        pixels = int(stats[label, cv2.CC_STAT_AREA])
        area = pixels * mm_per_px**2
        if area < DRY_SPOT_MM2:
            continue
        if np.count_nonzero(sure[labels == label]) < 0.8 * pixels:
            continue
        x, y = (np.asarray(centres[label], float) + 0.5) * mm_per_px
        spots.append(DrySpot(float(x), float(y), float(area)))
    return tuple(sorted(spots, key=lambda spot: -spot.area_mm2))
