"""Where a given share of the panel's width is wet: a mottled front has no one place."""

from __future__ import annotations

import numpy as np

from vision.arrival.lanes import lane_fronts_px
from vision.records import ArrivalMap, BoolArray, FloatArray

BAND_SHARES = (0.9, 0.1)
"""The band of a mottled front: from where nine tenths of the width are wet to where one tenth
is. Common practice, no source."""

LEAST_SEEN = 0.5
"""Share of the width that must have been seen at a place for its cloth to count."""


def front_of_share_mm(
    arrival: ArrivalMap, rows: BoolArray, times_s: FloatArray, share: float
) -> FloatArray:
    """Compute how far a share of the width is wet at each time.

    Parameters
    ----------
    arrival : ArrivalMap
        Edge feed.
    rows : ndarray of shape (M,), bool
        Lanes that count.
    times_s : ndarray of shape (K,), float
        Seconds since resin start.
    share : float
        Of the width, above 0 and at most 1.

    Returns
    -------
    front_mm : ndarray of shape (K,), float
        From the feed edge to the farthest place at which at least that share of the cloth is
        wet; 0 before resin start. NaN where less than half of the width was seen there.

    Notes
    -----
    At each place along the flow the cloth of the width wets over a span of time; the share's
    quantile of it is when the place counts as wet. From those times the front follows as that of
    one lane. What was filled in and not seen has no say.
    """
    told = (arrival.seen | arrival.by_hand)[rows]
    when = np.sort(np.where(told, arrival.time_s[rows], np.nan), axis=0)  # NaN comes last
    count = told.sum(axis=0)
    index = np.clip(np.ceil(share * count).astype(int) - 1, 0, None)
    wet_s = when[index, np.arange(when.shape[1])]
    known = count >= LEAST_SEEN * when.shape[0]
    if not known.any():
        return np.full(len(times_s), np.nan)
    front_px = lane_fronts_px(_bridged(wet_s, known)[None, :], times_s)[:, 0]
    place = np.clip(front_px, 0, len(known) - 1).astype(int)
    before = np.clip(np.ceil(front_px - 1), 0, len(known) - 1).astype(int)
    sure = (front_px <= 0) | (known[place] & known[before])
    return np.where(sure, front_px * arrival.mm_per_px, np.nan)


def _bridged(wet_s: FloatArray, known: BoolArray) -> FloatArray:
    """Return the times with those of unknown places set between their neighbours'."""
    at = np.arange(len(wet_s))
    wetted = known & np.isfinite(wet_s)
    if not wetted.any():
        return np.full(len(wet_s), np.inf)
    between = np.interp(at, at[wetted], wet_s[wetted], right=np.inf)
    return np.where(known, wet_s, between)


def half_and_band_mm(
    arrival: ArrivalMap, rows: BoolArray, times_s: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Compute where half of the width is wet, and how long the band from wet to dry is.

    Parameters
    ----------
    arrival, rows, times_s
        As in `front_of_share_mm`.

    Returns
    -------
    half_mm, band_mm : ndarray of shape (K,), float
        Distance from the feed edge of the place up to which half of the width is wet; length of
        the stretch over which the wet share of the width falls from nine tenths to one tenth.
    """
    wet, dry = (front_of_share_mm(arrival, rows, times_s, share) for share in BAND_SHARES)
    return front_of_share_mm(arrival, rows, times_s, 0.5), np.maximum(dry - wet, 0.0)
