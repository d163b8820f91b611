"""What the front did that was not even: racing edges, dry spots, a stall, the end reached."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vision.records import BoolArray, FloatArray

STRIP_SHARE = 0.10
"""Width of an edge strip, as a share of the panel's width."""

RACING_SHARE = 0.06
"""An edge races when its rim leads the lanes a fifth of the width further in by more than this
share of the front distance, and its strip the middle by more than `RACING_MM`. Common practice,
no source."""

RACING_MM = 6.0

RIM_SHARE = 0.05
INNER_SHARE = (0.15, 0.25)
"""Where the rim ends, and the lanes it is compared with, from the edge, as shares of the width."""

DECAY = 1 / 3
"""Least part of the rim's lead that is gone at the inner lanes: the lead of a race dies away
inward, while a wave of the front has its crest anywhere."""

ABOVE_WAVES = 2.0
"""The rim must also stand out by this many standard deviations of the middle half's profile."""

SPOILED_SHARE = 0.03
"""A lane next to a racing edge is spoiled while it leads the middle by more than this share."""


@dataclass(frozen=True)
class RaceTracking:
    """Race-tracking along the panel's edges.

    Attributes
    ----------
    lead_mm : float
        Greatest lead of the leading edge strip over the middle third; may be below 0.
    sides : tuple of str
        ``"y = 0"`` and ``"y = width"`` where an edge races.
    clean : ndarray of shape (M,), bool
        Lanes not spoiled by it.
    """

    lead_mm: float
    sides: tuple[str, ...]
    clean: BoolArray


def find_race_tracking(fronts_mm: FloatArray, length_mm: float) -> RaceTracking:
    """Find whether an edge raced, and which lanes it spoiled.

    Parameters
    ----------
    fronts_mm : ndarray of shape (K, M), float
        Leading wet position of each lane at each frame.
    length_mm : float
        Panel length.
    """
    lanes = fronts_mm.shape[1]
    strip = max(2, round(STRIP_SHARE * lanes))
    middle = fronts_mm[:, lanes // 3 : max(lanes - lanes // 3, lanes // 3 + 1)].mean(axis=1)
    clean = np.ones(lanes, bool)
    use = (middle > 0.1 * length_mm) & (middle < 0.97 * length_mm)
    if np.count_nonzero(use) < 3:
        return RaceTracking(0.0, (), clean)
    leads = np.stack(
        [fronts_mm[use][:, :strip].mean(axis=1), fronts_mm[use][:, -strip:].mean(axis=1)], axis=1
    )
    leads = leads - middle[use, None]
    open_end = leads + middle[use, None] < 0.97 * length_mm
    sides = []
    profile = _lead_profile(fronts_mm[use], middle[use], length_mm)
    for side, name in ((0, "y = 0"), (1, "y = width")):
        if _rim_races(profile, side) and float(np.max(leads[:, side])) > RACING_MM:
            sides.append(name)
            clean &= ~_spoiled(profile, side)
    lead = float(np.max(np.where(open_end, leads, -np.inf)))
    lead = lead if np.isfinite(lead) else float(np.max(leads))
    return RaceTracking(lead, tuple(sides), clean)


def _rim_races(profile: FloatArray, side: int) -> bool:
    """Return whether the lead is at its greatest on the rim, dies away inward and stands out."""
    lanes = len(profile)
    inward = profile if side == 0 else profile[::-1]
    known = np.isfinite(inward)
    if np.count_nonzero(known) < lanes // 2:
        return False
    # A lane that had come to the end whenever the middle could be judged leads by the most.
    inward = np.where(known, inward, inward[known].max())
    rim = float(inward[: max(1, round(RIM_SHARE * lanes))].mean())
    inner = inward[int(INNER_SHARE[0] * lanes) : max(int(INNER_SHARE[1] * lanes), 2)].mean()
    drop = rim - float(inner)
    waves = float(np.std(inward[lanes // 4 : lanes - lanes // 4]))
    return drop > max(RACING_SHARE, ABOVE_WAVES * waves) and drop > DECAY * rim


def _lead_profile(fronts_mm: FloatArray, middle_mm: FloatArray, length_mm: float) -> FloatArray:
    """Median lead of each lane over the middle, as a share, while it has not reached the end."""
    share = fronts_mm / middle_mm[:, None] - 1
    share = np.where(fronts_mm < 0.97 * length_mm, share, np.nan)
    with np.errstate(all="ignore"):
        counted = np.isfinite(share).sum(axis=0) > 0
        profile = np.full(fronts_mm.shape[1], np.inf)
        profile[counted] = np.nanmedian(share[:, counted], axis=0)
    return profile


def _spoiled(profile: FloatArray, side: int) -> BoolArray:
    """Mark lanes from the racing edge inward for as long as they lead, at most to the middle."""
    lanes = len(profile)
    ordered = profile if side == 0 else profile[::-1]
    inside = np.flatnonzero(ordered[: lanes // 2] <= SPOILED_SHARE)
    until = int(inside[0]) if len(inside) else lanes // 2 - lanes // 6
    until = min(until, lanes // 2 - lanes // 6)
    marked = np.arange(lanes) < until
    return marked if side == 0 else marked[::-1]


def bands_mm(clean: BoolArray, mm_per_px: float) -> tuple[tuple[float, float], ...]:
    """Return the stretches of clean lanes as (from, to) in mm across the panel.

    Examples
    --------
    >>> bands_mm(np.array([False, True, True, False, True]), 2.0)
    ((2.0, 6.0), (8.0, 10.0))
    """
    edges = np.flatnonzero(np.diff(np.concatenate([[0], clean.astype(int), [0]])))
    return tuple(
        (float(a * mm_per_px), float(b * mm_per_px))
        for a, b in zip(edges[::2], edges[1::2], strict=True)
    )
