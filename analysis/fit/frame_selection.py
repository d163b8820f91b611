"""Which frames a fit may use, and why not the others.

Tested in tests/analysis/fit/test_permeability.py.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vision.records import BoolArray, FloatArray, FrontCurve, FrontSummary

START_SHARE = 0.04
"""Frames below this share of the distance reached are left out: feed and start blur them."""
END_SHARE = 0.95
"""Frames above this share of the panel length are left out: some lanes have ended there."""
MIN_SD_MM = 0.05
SPIKE_LIMIT = 5.0
"""A frame further off its neighbours than this many robust sds is a bad frame."""
MAX_BAD_SHARE = 0.2
SLOW_SHARE, STEADY_SHARE = 0.6, 0.85
"""A run slows when its speed in x^2 ends below the first share of what it was; it was still
steady where it is above the second."""
SLOW_SURE = 4.0
"""Standard errors by which it must have fallen."""
SLOWED = "after the front slowed"
STANDS_OFF = "stands off the other frames"


@dataclass(frozen=True)
class Readings:
    """Front readings in metres with the frames a fit may use.

    All arrays have one entry per frame; `notes` says why a frame is left out.
    """

    time_s: FloatArray
    front_m: FloatArray
    sd_m: FloatArray
    used: BoolArray
    notes: tuple[str, ...]
    reason: str = ""

    @property
    def count(self) -> int:
        """Number of frames in use."""
        return int(self.used.sum())


def choose_frames(curve: FrontCurve, front: FrontSummary, length_m: float | None) -> Readings:
    """Keep the frames between start and end, before any stall, in which the front was seen.

    Parameters
    ----------
    curve, front : FrontCurve, FrontSummary
        From the tracker.
    length_m : float or None
        Panel length along the flow.

    Returns
    -------
    Readings
        `reason` is set where nothing usable is left.
    """
    x = np.where(np.isfinite(curve.front_clean_mm), curve.front_clean_mm, curve.front_mean_mm)
    sd = np.where(np.isfinite(curve.front_clean_sd_mm), curve.front_clean_sd_mm, curve.front_sd_mm)
    x, sd = x / 1000.0, np.maximum(np.where(np.isfinite(sd), sd, 1.0), MIN_SD_MM) / 1000.0
    t = np.asarray(curve.time_s, dtype=float)
    why = np.full(len(t), "", dtype=object)
    reach = _reach(x, t, curve.used)

    def leave_out(mask: BoolArray, text: str) -> None:
        why[(why == "") & mask] = text

    leave_out(~np.isfinite(x) | ~np.isfinite(t), "front not seen")
    leave_out(~curve.used, "left out by the tracker")
    leave_out(t <= 0, "before resin start")
    if front.stalled_at_s is not None:
        leave_out(t > front.stalled_at_s, "after the front stalled")
    leave_out(x < START_SHARE * reach, "too close to the feed")
    if curve.flow == "edge" and length_m is not None:
        leave_out(x > END_SHARE * length_m, "at the end of the panel")
    used = why == ""
    return Readings(t, x, sd, used, tuple(str(w) for w in why), _fault(t, x, sd, used))


def _reach(x: FloatArray, t: FloatArray, used: BoolArray) -> float:
    ok = used & np.isfinite(x) & (t > 0)
    return float(np.max(x[ok])) if np.any(ok) else 0.0


def _fault(t: FloatArray, x: FloatArray, sd: FloatArray, used: BoolArray) -> str:
    count = int(used.sum())
    if count < 2:
        return _too_few(count)
    xs = x[used][np.argsort(t[used])]
    third = max(len(xs) // 3, 1)
    if np.median(xs[-third:]) < np.median(xs[:third]):
        return (
            "the front falls back as time goes on, which resin does not do: check the order and "
            "times of the frames and which side the feed is on"
        )
    if np.median(xs[-third:]) - np.median(xs[:third]) < 3.0 * np.median(sd[used]):
        return "the front does not move by more than its uncertainty in the frames seen"
    if count < 5:
        return _too_few(count)
    return ""


def drop_bad(readings: Readings, residual_m: FloatArray) -> Readings:
    """Drop frames that stand off their neighbours, at most a fifth of those in use.

    Parameters
    ----------
    readings : Readings
        With the frames now in use.
    residual_m : ndarray of shape (N,), float
        Residuals of the frames in use, in time order.
    """
    z = residual_m / readings.sd_m[readings.used]
    off = np.abs(z - _running_median(z, 7))
    spread = max(1.4826 * float(np.median(off)), 0.3)
    wild = np.abs(z - np.median(z))
    wild_spread = max(1.4826 * float(np.median(wild)), 0.3)
    score = np.maximum(off / (SPIKE_LIMIT * spread), wild / (2.0 * SPIKE_LIMIT * wild_spread))
    bad = score > 1.0
    most = int(MAX_BAD_SHARE * len(z))
    if bad.sum() > most:
        keep = np.argsort(score)[: len(z) - most]
        bad[keep] = False
    index = np.flatnonzero(readings.used)[bad]
    used = readings.used.copy()
    used[index] = False
    notes = list(readings.notes)
    for i in index:
        notes[i] = STANDS_OFF
    return Readings(readings.time_s, readings.front_m, readings.sd_m, used, tuple(notes))


def _running_median(z: FloatArray, width: int) -> FloatArray:
    half = width // 2
    return np.array([np.median(z[max(0, i - half) : i + half + 1]) for i in range(len(z))])


def drop_slowed(
    readings: Readings, h: FloatArray, theta: FloatArray, slope: FloatArray
) -> Readings:
    """Drop the tail of a run whose front slowed for a reason the law does not know.

    Parameters
    ----------
    readings : Readings
        With the frames now in use.
    h, theta, slope : ndarray of shape (N,), float
        For the frames in use: the law's form of the front, which runs straight in the impulse
        theta, and dh/dx.

    Notes
    -----
    Source: common practice; a stall, an empty pot or thickening resin bends h(theta) down, and
    every frame after the bend pulls the permeability down with it.
    """
    start = _slowed_from(h, theta, slope * readings.sd_m[readings.used])
    if start is None:
        return readings
    used, notes = readings.used.copy(), list(readings.notes)
    for i in np.flatnonzero(readings.used)[start:]:
        used[i] = False
        notes[i] = SLOWED
    return Readings(readings.time_s, readings.front_m, readings.sd_m, used, tuple(notes))


def _slowed_from(h: FloatArray, theta: FloatArray, noise: FloatArray) -> int | None:
    """Index of the first frame after a run slowed, None if it did not."""
    n = len(h)
    width = max(5, n // 6)
    if n < 2 * width + 4:
        return None
    speed, error = np.empty(n - width + 1), np.empty(n - width + 1)
    for i in range(n - width + 1):
        t = theta[i : i + width] - np.mean(theta[i : i + width])
        speed[i] = t @ h[i : i + width] / (t @ t)
        error[i] = np.mean(noise[i : i + width]) / np.sqrt(t @ t)
    typical = float(np.median(speed[: max(2 * len(speed) // 3, 3)]))
    if speed[-1] > SLOW_SHARE * typical or typical - speed[-1] < SLOW_SURE * error[-1]:
        return None
    steady = np.flatnonzero(speed >= STEADY_SHARE * typical)
    if len(steady) == 0:
        return None
    start = int(steady[-1]) + width - width // 3
    return start if start >= 8 else None


def _too_few(count: int) -> str:
    """Write that too few pictures are left.

    Examples
    --------
    >>> _too_few(1)
    'only 1 picture shows a moving front; the fit needs at least 5'
    """
    seen = "1 picture shows" if count == 1 else f"{count or 'no'} pictures show"
    return f"{'only ' if count else ''}{seen} a moving front; the fit needs at least 5"
