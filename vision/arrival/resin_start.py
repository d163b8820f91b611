"""When the resin started, from the first fronts, where nobody wrote it down."""

from __future__ import annotations

import numpy as np

from vision.records import FloatArray
from vision.settings.repair_settings import StartSettings


def find_start(
    front_mm: FloatArray,
    time_s: FloatArray,
    reach_mm: float,
    feed_radius_mm: float = 0.0,
    settings: StartSettings | None = None,
) -> tuple[float, float]:
    """Find when the front left the feed.

    Parameters
    ----------
    front_mm : ndarray of shape (K,), float
        Mean front distance (or radius less the feed's) at each frame.
    time_s : ndarray of shape (K,), float
        On any clock, increasing.
    reach_mm : float
        Length over which the front is followed; the fit uses its first half.
    feed_radius_mm : float
        Of a point feed; 0 for edge feed, and where it is not known.
    settings : StartSettings, optional

    Returns
    -------
    start_s : float
        On the clock of `time_s`.
    sd_s : float
        Standard uncertainty.

    Notes
    -----
    Early on t = t0 + a x^2 + b x holds for a constant drive and a feed that resists (Darcy's law;
    b is not negative). From a point, with r the radius and r0 the feed's, x^2 gives way to
    r^2 (2 ln(r / r0) - 1) + r0^2 and x to r^2 - r0^2 (Adams, Russel and Rebenfeld, Int. J.
    Multiphase Flow 14, 1988). The start also lies after the last dry frame and before the first wet
    one; between them the fit decides. What stands at the feed before the front runs may be either,
    and is left out of the fit.
    """
    settings = settings or StartSettings()
    time_s = np.asarray(time_s, float)
    front_mm = np.where(front_mm > settings.least_share * reach_mm, front_mm, 0.0)
    wet = np.flatnonzero(front_mm > 0)
    if len(wet) == 0:
        return float(time_s[0]), float(np.ptp(time_s) / np.sqrt(12))
    first = int(wet[0])
    step = float(np.median(np.diff(time_s)))
    earliest = float(time_s[first - 1]) if first > 0 else -np.inf
    first_wet_s = float(time_s[first])
    first = max(first, _first_running(front_mm, time_s, reach_mm, settings))
    latest = float(time_s[first])
    gone = (front_mm > 0) & (np.arange(len(time_s)) >= first)
    use = gone & (front_mm < 0.5 * reach_mm)
    if np.count_nonzero(use) < 4:
        use = gone & (np.arange(len(time_s)) < first + 6)
    x, t = front_mm[use], time_s[use]
    if len(x) < 3:
        known = earliest if np.isfinite(earliest) else latest - step
        return 0.5 * (known + latest), (latest - known) / np.sqrt(12)
    by_law, sd = _intercept(x, t, feed_radius_mm, settings)
    start = float(np.clip(by_law, earliest, latest))
    # What stood at the feed until then may have been a front that crept.
    crept = max(start - first_wet_s, 0.0) / np.sqrt(12)
    if not np.isfinite(earliest):
        # Nothing brackets the start: the law of the first stretch is only about known.
        unseen = settings.unseen_share * (latest - start)
        return start, float(np.linalg.norm((sd, unseen, crept)))
    width = (latest - earliest) / np.sqrt(12)
    # A law that puts the start outside says that the first fronts were not seen: that far in doubt.
    bracketed = min(max(sd, 0.02 * step), width)
    return start, float(np.linalg.norm((bracketed, by_law - start, crept)))


def _first_running(
    front_mm: FloatArray, time_s: FloatArray, reach_mm: float, settings: StartSettings
) -> int:
    """Return the first frame whose front runs, what stands at the feed before it left out.

    Under a constant drive a front only slows down (Darcy's law). What lies near the feed and hardly
    moves, beside the fastest advance to come, may not have left it: a fitting over it, or its rim.
    """
    if len(front_mm) < 3:
        return 0
    speed = np.diff(front_mm) / np.diff(time_s)
    stood = int(np.argmax(speed >= settings.slow_share * speed.max()))
    near = front_mm[stood] < settings.near_share * reach_mm
    return stood + 1 if stood > 0 and near else 0


def _laws(x: FloatArray, feed_radius_mm: float) -> tuple[FloatArray, FloatArray]:
    """Return how time grows with the front: through the fabric, and through a feed that resists."""
    if feed_radius_mm <= 0:
        return x**2, x
    square = (1 + x / feed_radius_mm) ** 2
    return square * (np.log(square) - 1) + 1, square - 1


def _intercept(
    x: FloatArray, t: FloatArray, feed_radius_mm: float, settings: StartSettings
) -> tuple[float, float]:
    """Fit t = t0 + a F + b G (`_laws`) with and without b; return t0 and its sd.

    Whether the feed resists is not known: both fits count by how well they explain the fronts,
    and how far they differ is part of the uncertainty of t0.

    Source: weights from the corrected information criterion, Burnham and Anderson, Sociol. Methods
    Res. 33, 2004.
    """
    fabric, feed = _laws(x, feed_radius_mm)
    weight = 1.0 / (x + 0.05 * x.max())
    plain, plain_sd, plain_score, _ = _weighted_fit((np.ones_like(x), fabric), t, weight)
    terms = (np.ones_like(x), fabric, feed)
    # The criterion needs two fronts more than are fitted, the scatter being one.
    if len(t) < len(terms) + 3:
        return plain, plain_sd
    resisted, resisted_sd, score, b = _weighted_fit(terms, t, weight)
    share = float(1 / (1 + np.exp(np.clip((score - plain_score) / 2, -50, 50)))) if b > 0 else 0.0
    start = share * resisted + (1 - share) * plain
    apart = max(np.sqrt(share * (1 - share)), settings.least_apart) * abs(resisted - plain)
    return start, float(np.hypot(resisted_sd if share > 0.5 else plain_sd, apart))


def _weighted_fit(
    terms: tuple[FloatArray, ...], t: FloatArray, weight: FloatArray
) -> tuple[float, float, float, float]:
    """Fit t; return the first coefficient, its standard deviation, the criterion, the last one."""
    design = np.stack(terms, axis=1)
    scaled = design * weight[:, None]
    solution, *_ = np.linalg.lstsq(scaled, t * weight, rcond=None)
    residual = (t - design @ solution) * weight
    count, size = len(t), len(terms)
    squares = float(residual @ residual)
    covariance = np.linalg.pinv(scaled.T @ scaled) * squares / max(count - size, 1)
    free = size + 1
    score = count * np.log(max(squares, 1e-12) / count) + 2 * free
    score += 2 * free * (free + 1) / max(count - free - 1, 1)
    return float(solution[0]), float(np.sqrt(covariance[0, 0])), float(score), float(solution[-1])
