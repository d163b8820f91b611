"""Levels of the coarse cells: dry, wet, the step between them, when it came, and the scatter."""

from __future__ import annotations

import numpy as np
from scipy.ndimage import binary_opening

from vision.common.robust import median_of_few, robust_scale, root_mean_square, row_medians
from vision.illumination.frame_light import GUARD
from vision.records import FloatArray

CLEAR_GAIN = 0.1
"""Gain of a cell that wetted, as a share of what the clearest tenth reach."""

LEAST_DARKER, LEAST_DARKENING = 0.1, 0.01
"""Share of the cells that must have grown darker, and how clear that must be beside the rest, for
it to be the wetting."""

EARLY = 3
"""A cell whose split comes before this frame wetted while the first dry level was taken."""

ODD_SHARE = 0.12
"""A colour this far off the way from dry to wet, as a share of the step, is something else."""

LEFT_LYING = 3
"""What is still there at the end and came more frames before it stays."""

ODD_SIGMA = 5.0
"""And this far off in standard deviations of a cell's level."""


def first_change(levels: FloatArray) -> tuple[np.ndarray, FloatArray, FloatArray]:
    """Find per cell the split in time that best parts the series into two levels.

    Parameters
    ----------
    levels : ndarray of shape (K, P, C), float
        Light removed.

    Returns
    -------
    change : ndarray of shape (P,), int
        First frame of the later level.
    step : ndarray of shape (P, C), float
        Later level less earlier level.
    gain : ndarray of shape (P,), float
        Sum of squares the split explains.

    Notes
    -----
    Source: least-squares change point, Page, Biometrika 42, 1955, in its offline form.
    """
    count = levels.shape[0]
    total = levels.sum(axis=0)
    before = np.cumsum(levels, axis=0)[:-1]
    n_before = np.arange(1, count, dtype=float)[:, None, None]
    mean_before = before / n_before
    mean_after = (total - before) / (count - n_before)
    share = (n_before * (count - n_before) / count)[:, :, 0]
    gain = share * np.sum((mean_after - mean_before) ** 2, axis=2)
    best = np.argmax(gain, axis=0)
    cells = np.arange(levels.shape[1])
    return best + 1, (mean_after - mean_before)[best, cells], gain[best, cells]


def typical_step(step: FloatArray, gain: FloatArray) -> FloatArray:
    """Give the step that the clearest cells agree on.

    Parameters
    ----------
    step : ndarray of shape (P, C), float
    gain : ndarray of shape (P,), float

    Returns
    -------
    vector : ndarray of shape (C,), float
        Median step of the cells with a clear gain, twice narrowed to those that point the same
        way. The clearest of all do not decide alone: they may be full of ink.
    """
    chosen = _darker(step, gain)
    chosen &= gain >= CLEAR_GAIN * np.quantile(gain[chosen], 0.9)
    vector = np.median(step[chosen], axis=0)
    for _ in range(2):
        length = max(float(np.linalg.norm(vector)), 1e-9)
        along = step @ vector / length**2
        agree = chosen & (along > 0.3) & (along < 3.0)
        if np.count_nonzero(agree) < 4:
            break
        vector = np.median(step[agree], axis=0)
    return vector


def _darker(step: FloatArray, gain: FloatArray) -> np.ndarray:
    """Tell the cells that grew darker; all of them where next to none clearly did.

    Wet fabric scatters less light than dry: what grows bright is the lamp's doing, or the sun's.
    Source: Lekner and Dorf, Appl. Opt. 27, 1278, 1988 (from memory).
    """
    darker = step.mean(axis=1) < 0
    everywhere = np.ones(len(gain), bool)
    if np.mean(darker) < LEAST_DARKER or darker.all():
        return everywhere
    clear = np.quantile(gain[darker], 0.9) > LEAST_DARKENING * np.quantile(gain, 0.9)
    return darker if clear else everywhere


def expected_gain(dry: FloatArray) -> FloatArray:
    """Give the share of the typical step that each place can show.

    Glare adds light that wetting does not change, so in logarithms the step shrinks as the
    place gets brighter than the fabric is.

    Parameters
    ----------
    dry : ndarray of shape (..., C), float
        Logarithm of the dry level.

    Returns
    -------
    gain : ndarray of shape (...), float
        From 0 (blind) to 1.
    """
    level = np.einsum("...c->...", dry) / dry.shape[-1]
    typical = np.quantile(level, 0.5)
    return np.exp(np.minimum(typical - level, 0.0))


def wet_evidence(
    levels: FloatArray, dry: FloatArray, step: FloatArray, noise: FloatArray, clip: float
) -> FloatArray:
    """Give the log-likelihood ratio of wet to dry per frame and cell, bounded.

    Parameters
    ----------
    levels : ndarray of shape (K, P, C), float
    dry : ndarray of shape (P, C), float
    step : ndarray of shape (P, C), float
        From dry to wet; nothing for a place that cannot show it.
    noise : ndarray of shape (C, C), float
    clip : float
        Bound on what one frame may say, so that a hand cannot outvote the rest.
    """
    weight = step @ np.linalg.inv(noise)
    centred = levels - dry - step / 2
    return np.clip(np.einsum("kpc,pc->kp", centred, weight), -clip, clip)


def change_from_evidence(evidence: FloatArray) -> np.ndarray:
    """Give the frame from which wet explains the series best; K if never.

    Parameters
    ----------
    evidence : ndarray of shape (K, ...), float
        Log-likelihood ratios of wet to dry.

    Examples
    --------
    >>> change_from_evidence(np.array([[-1.0], [-1.0], [5.0], [-1.0], [2.0]]))
    array([2])
    """
    running = np.concatenate([np.zeros_like(evidence[:1]), np.cumsum(evidence, axis=0)])
    result: np.ndarray = np.argmin(running, axis=0)
    return result


def _medians(levels: FloatArray, use: np.ndarray) -> FloatArray:
    """Median over the frames in use of each cell and colour; 0 where there is none."""
    rows = np.moveaxis(levels, 0, -1)
    found = row_medians(rows.reshape(-1, rows.shape[-1]), np.repeat(use.T, levels.shape[2], axis=0))
    return found.reshape(rows.shape[:-1])


def levels_around(
    levels: FloatArray, change: np.ndarray, guard: int = GUARD
) -> tuple[FloatArray, FloatArray, np.ndarray, np.ndarray]:
    """Give the median level before and after each cell's change, and how many frames made each."""
    frames = np.arange(levels.shape[0])[:, None]
    before, after = frames < change - guard, frames > change + guard
    n_before, n_after = before.sum(axis=0), after.sum(axis=0)
    dry, wet = _medians(levels, before), _medians(levels, after)
    return dry, wet, n_before, n_after


def first_dry(
    flat: FloatArray, quiet: FloatArray, change: np.ndarray, step: FloatArray, vector: FloatArray
) -> FloatArray:
    """Give each cell's level before its split; over the first frames where it shows no wetting.

    A cell that wets within the first frames is dry in one or two of them only.
    """
    first = np.median(flat[: max(1, min(3, len(flat) // 8))], axis=0)
    places = np.arange(flat.shape[1])
    before = np.cumsum(quiet, axis=0)[change - 1, places] / change[:, None]
    wetted = (step @ vector > 0.5 * float(vector @ vector)) & (change < EARLY)
    return np.where(wetted[:, None], before, first)


def odd_colours(change: FloatArray, vector: FloatArray, noise: FloatArray) -> np.ndarray:
    """Tell which cells show a colour that is neither dry, wet, nor between, for a while.

    Parameters
    ----------
    change : ndarray of shape (K, P, C), float
        Level less the dry level, light removed.
    vector : ndarray of shape (C,), float
        The typical step from dry to wet.
    noise : ndarray of shape (C, C), float

    Returns
    -------
    odd : ndarray of shape (K, P), bool
        Never for more than a third of the run: what is odd for longer is the fabric's own way.
    """
    weight = np.linalg.solve(noise, vector)
    along = np.clip(change @ weight / float(vector @ weight), -0.2, 2.5)
    off = change - along[:, :, None] * vector
    length = float(np.linalg.norm(vector))
    off = off - (off @ vector)[:, :, None] * vector / length**2
    scatter = float(np.sqrt(np.trace(noise) / len(noise)))
    far = np.linalg.norm(off, axis=2) > max(ODD_SHARE * length, ODD_SIGMA * scatter)
    return far & (far.mean(axis=0) <= 1 / 3)


def without_ink(odd: np.ndarray) -> np.ndarray:
    """Leave out thin marks that stay to the end: ink hides too little of a cell to give it up.

    Parameters
    ----------
    odd : ndarray of shape (K, h, w), bool
        Cells of another colour.
    """
    stays = np.cumprod(odd[::-1], axis=0)[::-1].astype(bool)
    stays &= stays.sum(axis=0) > LEFT_LYING
    whole = binary_opening(odd, np.ones((1, 3, 3), bool))
    return odd & (~stays | whole)


def agreed_step(steps: FloatArray, share: FloatArray, fallback: FloatArray) -> FloatArray:
    """Give the typical full step from the measured ones, each divided by its share."""
    clear = share > 0.5
    if np.count_nonzero(clear) < 4:
        return fallback
    return np.median(steps[clear], axis=0)


def frame_noise(flat: FloatArray) -> FloatArray:
    """Covariance of frame-to-frame scatter, from differences of neighbours in time."""
    difference = np.diff(flat, axis=0).reshape(-1, flat.shape[2]) / np.sqrt(2.0)
    size = root_mean_square(difference)
    calm = size <= 3.0 * max(float(robust_scale(size)), 1e-6)
    covariance = difference[calm].T @ difference[calm] / max(int(np.count_nonzero(calm)), 1)
    return covariance + np.eye(flat.shape[2]) * (2e-3) ** 2


def light_error(flat: FloatArray, change: np.ndarray, dry: FloatArray) -> FloatArray:
    """Covariance of what the light model leaves on dry cells: shadows, sun patches, colour casts.

    It decides which mix of colours tells wet from dry: one that a passing shadow does not move.
    """
    frames = np.arange(flat.shape[0])[:, None]
    left = (flat - dry)[frames < change - GUARD]
    if len(left) < 50:
        return np.zeros((flat.shape[2],) * 2)
    # Bounded, not cut: a hand in a twentieth of the cells must not turn the colour away from it.
    size = root_mean_square(left)
    bound = 3.0 * max(float(np.median(size)), 1e-6)
    kept = left * np.minimum(1.0, bound / np.maximum(size, 1e-9))[:, None]
    return kept.T @ kept / len(kept)


def deepening(
    flat: FloatArray, change: np.ndarray, dry: FloatArray, share: FloatArray, vector: FloatArray
) -> FloatArray:
    """Give how far the wet look has come by frames since wetting, in typical steps.

    Returns
    -------
    reached : ndarray of shape (K,), float
        The median over the clear cells of each age; held where too few are that old.
    """
    count = len(flat)
    clear = share > 0.4
    away = flat[:, clear] - dry[clear]
    along = away @ vector / float(vector @ vector) / np.maximum(share[clear], 0.05)
    age = np.arange(count)[:, None] - change[clear]
    order = np.argsort(age, axis=None, kind="stable")
    cuts = np.searchsorted(age.ravel()[order], np.arange(count + 1))
    of_age = along.ravel()[order]
    reached = np.ones(count)
    last = 1.0
    for k in range(count):
        values = of_age[cuts[k] : cuts[k + 1]]
        if len(values) >= 8:
            last = float(np.clip(median_of_few(values), 0.0, 2.5))
        reached[k] = last
    return reached
