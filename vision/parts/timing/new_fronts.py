"""When cloth wetted round a feed that opened between two photos, apart from all other resin."""

from __future__ import annotations

import cv2
import numpy as np

from vision.arrival.frame_strips import distance_to
from vision.parts.timing.dead_ends import DeadEnds
from vision.records import BoolArray, FloatArray, IntArray

MOST_BEFORE = 0.1
"""Share of a new front's cloth that may have seemed wet before it."""


def time_new_fronts(
    ends: DeadEnds,
    wet_frame: IntArray,
    times_s: FloatArray,
    inside: BoolArray,
    feeds: BoolArray,
) -> DeadEnds:
    """Return arrival in which resin that came up apart spread from its own feed.

    When a feed opened is known to lie between two photos and no better: the middle is taken, and
    a uniform distribution over the gap is the doubt, less so the nearer to the photo. From there
    the way grows as the root of time (Washburn, Phys. Rev. 17, 273, 1921).

    Parameters
    ----------
    ends : DeadEnds
    wet_frame : ndarray of shape (M, N), int
        Frame from which each is wet, holes filled; K where it stayed dry.
    times_s : ndarray of shape (K,), float
    inside : ndarray of shape (M, N), bool
    feeds : ndarray of shape (M, N), bool
        Under the planned feeds.
    """
    out, doubt = ends.arrival_s.copy(), ends.doubt_s.copy()
    moved = np.flatnonzero(np.bincount(wet_frame[inside], minlength=len(times_s))[: len(times_s)])
    for k in moved[1:]:
        fresh = inside & (wet_frame == k)
        count, labels = cv2.connectedComponents((inside & (wet_frame <= k)).astype(np.uint8))
        # A hose, and what lies under its ends, shows its resin before any other cloth does.
        before = np.bincount(labels[inside & (wet_frame < k) & ~feeds], minlength=count)
        old = before > MOST_BEFORE * np.bincount(labels[fresh], minlength=count)
        apart = fresh & ~old[labels]
        source = feeds & inside & (wet_frame <= k) & ~old[labels]
        if not (apart.any() and source.any()):
            continue
        way, ahead = distance_to(source), distance_to(inside & (wet_frame > k))
        way = np.maximum(way[apart], 0.0)
        share = (way / np.maximum(way + np.nan_to_num(ahead[apart], posinf=0.0), 1e-3)) ** 2
        last, gap = float(times_s[k]), float(times_s[k] - times_s[k - 1])
        out[apart] = last - (1 - share) * gap / 2
        doubt[apart] = (1 - share) * gap / np.sqrt(12)
    return DeadEnds(out, doubt)
