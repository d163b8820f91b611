"""Dry spots: patches that stayed dry behind the front."""

from __future__ import annotations

import cv2
import numpy as np

from vision.records import ArrivalMap, BoolArray, DrySpot

DRY_SPOT_MM2 = 30.0
"""Least area of a dry spot worth telling."""

LEAST_SEEN = 0.8
"""Share of a dry spot that must have been seen: what was hidden is a hole, not a dry spot."""


def dry_spot_mask(arrival: ArrivalMap, flow: str = "edge") -> BoolArray:
    """Mark the patches that stayed dry behind the front at the end of the run.

    Parameters
    ----------
    arrival : ArrivalMap
        Its `time_s` is infinite where resin never came.
    flow : {"edge", "point"}
        With an edge feed a never-wetted patch that reaches the far end is panel not reached yet,
        not a dry spot; with a point feed, one that reaches any edge.

    Returns
    -------
    dry : ndarray of shape (M, N), bool
        Pixels joined by their sides. Patches under 30 mm2, or hidden by more than a fifth, do
        not count.
    """
    dry = ~np.isfinite(arrival.time_s)
    count, labels, stats, _ = cv2.connectedComponentsWithStats(dry.astype(np.uint8), connectivity=4)
    ahead = set(labels[:, -1].tolist())
    if flow != "edge":
        ahead |= {*labels[:, 0].tolist(), *labels[0].tolist(), *labels[-1].tolist()}
    pixels = stats[:, cv2.CC_STAT_AREA]
    seen = np.bincount(labels[arrival.seen], minlength=count)
    chosen = (pixels * arrival.mm_per_px**2 >= DRY_SPOT_MM2) & (seen >= LEAST_SEEN * pixels)
    chosen[[0, *ahead]] = False
    return np.asarray(chosen[labels])


def find_dry_spots(arrival: ArrivalMap, flow: str = "edge") -> tuple[DrySpot, ...]:
    """Find the patches that stayed dry behind the front (see `dry_spot_mask`).

    Returns
    -------
    spots : tuple of DrySpot
        Largest first.
    """
    mask = dry_spot_mask(arrival, flow).astype(np.uint8)
    if not mask.any():
        return ()
    count, _, stats, centres = cv2.connectedComponentsWithStats(mask, connectivity=4)
    mm = arrival.mm_per_px
    spots = [
        DrySpot(
            float((centres[label][0] + 0.5) * mm),
            float((centres[label][1] + 0.5) * mm),
            float(int(stats[label, cv2.CC_STAT_AREA]) * mm**2),
        )
        for label in range(1, count)
    ]
    return tuple(sorted(spots, key=lambda spot: -spot.area_mm2))
