"""Levels of the coarse cells: dry, wet, the step between them, when it came, and the scatter."""

from __future__ import annotations

import numpy as np
from scipy.ndimage import binary_opening

from vision.common.robust import median_of_few, robust_scale, root_mean_square, row_medians
from vision.records import BoolArray, FloatArray, IntArray
from vision.settings.wetting_settings import LightSettings


def best_split(levels: FloatArray) -> tuple[IntArray, FloatArray, FloatArray]:
    """Find per cell the split in time that best parts the series into two levels.

    Parameters
    ----------
    levels : ndarray of shape (K, P, C), float
        Light removed.

    Returns
    -------
    split : ndarray of shape (P,), int
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
    balance = (n_before * (count - n_before) / count)[:, :, 0]
    gain = balance * np.sum((mean_after - mean_before) ** 2, axis=2)
    best = np.argmax(gain, axis=0)
    cells = np.arange(levels.shape[1])
    return best + 1, (mean_after - mean_before)[best, cells], gain[best, cells]


def typical_step(step: FloatArray, gain: FloatArray, settings: LightSettings) -> FloatArray:
    """Return the step that the clearest cells agree on.

    Parameters
    ----------
    step : ndarray of shape (P, C), float
    gain : ndarray of shape (P,), float
    settings : LightSettings

    Returns
    -------
    vector : ndarray of shape (C,), float
        Median step of the cells with a clear gain, twice narrowed to those that point the same
        way. The clearest of all do not decide alone: they may be full of ink.
    """
    chosen = _darker(step, gain, settings)
    chosen &= gain >= settings.clear_gain * np.quantile(gain[chosen], 0.9)
    vector = np.median(step[chosen], axis=0)
    for _ in range(2):
        length = max(float(np.linalg.norm(vector)), 1e-9)
        along = step @ vector / length**2
        agree = chosen & (along > 0.3) & (along < 3.0)
        if np.count_nonzero(agree) < 4:
            break
        vector = np.median(step[agree], axis=0)
    return vector


def _darker(step: FloatArray, gain: FloatArray, settings: LightSettings) -> BoolArray:
    """Find the cells that grew darker; all of them where next to none clearly did.

    Wet fabric scatters less light than dry: what grows bright is the lamp's doing, or the sun's.
    Source: Lekner and Dorf, Appl. Opt. 27, 1278, 1988 (from memory).
    """
    darker = step.mean(axis=1) < 0
    everywhere = np.ones(len(gain), bool)
    if not darker.any() or darker.all():
        return everywhere
    least = settings.least_darkening * np.quantile(gain, 0.9)
    return darker if np.quantile(gain[darker], 0.9) > least else everywhere


def expected_step_ratio(dry: FloatArray, cloth: BoolArray | None = None) -> FloatArray:
    """Return the part of the typical step that each place can show.

    Glare adds light that wetting does not change, so in logarithms the step shrinks as the
    place gets brighter than the fabric is.

    Parameters
    ----------
    dry : ndarray of shape (..., C), float
        Logarithm of the dry level.
    cloth : ndarray of shape (...), bool, optional
        Where there is fabric, which says what is usual; left out, everywhere.

    Returns
    -------
    step_ratio : ndarray of shape (...), float
        From 0 (blind) to 1.
    """
    level = np.einsum("...c->...", dry) / dry.shape[-1]
    typical = np.quantile(level if cloth is None or not cloth.any() else level[cloth], 0.5)
    return np.exp(np.minimum(typical - level, 0.0))


def wet_evidence(
    levels: FloatArray, dry: FloatArray, step: FloatArray, noise: FloatArray, clip: float
) -> FloatArray:
    """Return the log-likelihood ratio of wet to dry per frame and cell, bounded.

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


def wet_frame_from_evidence(evidence: FloatArray) -> IntArray:
    """Return the frame from which wet explains the series best; K if never.

    Parameters
    ----------
    evidence : ndarray of shape (K, ...), float
        Log-likelihood ratios of wet to dry.

    Examples
    --------
    >>> wet_frame_from_evidence(np.array([[-1.0], [-1.0], [5.0], [-1.0], [2.0]]))
    array([2])
    """
    running = np.concatenate([np.zeros_like(evidence[:1]), np.cumsum(evidence, axis=0)])
    result: IntArray = np.argmin(running, axis=0)
    return result


def _medians(levels: FloatArray, use: BoolArray) -> FloatArray:
    """Median over the frames in use of each cell and colour; 0 where there is none."""
    rows = np.moveaxis(levels, 0, -1)
    found = row_medians(rows.reshape(-1, rows.shape[-1]), np.repeat(use.T, levels.shape[2], axis=0))
    return found.reshape(rows.shape[:-1])


def levels_around(
    levels: FloatArray, wet_frame: IntArray, guard: int
) -> tuple[FloatArray, FloatArray, IntArray, IntArray]:
    """Return the median level before and after each cell's wetting, and the frames behind each."""
    frames = np.arange(levels.shape[0])[:, None]
    before, after = frames < wet_frame - guard, frames > wet_frame + guard
    n_before, n_after = before.sum(axis=0), after.sum(axis=0)
    dry, wet = _medians(levels, before), _medians(levels, after)
    return dry, wet, n_before, n_after


def first_dry(flat: FloatArray, reference_frames: int) -> FloatArray:
    """Return each cell's level over the first frames, before the front came.

    Parameters
    ----------
    flat : ndarray of shape (K, P, C), float
        Levels, light removed.
    reference_frames : int
        Frames to take the median of; fewer in a short run.
    """
    return np.median(flat[: max(1, min(reference_frames, len(flat) // 8))], axis=0)


def off_colour_size(
    above_dry: FloatArray, vector: FloatArray, noise: FloatArray, settings: LightSettings
) -> FloatArray:
    """Return how far each cell's colour lies off the way from dry to wet.

    Parameters
    ----------
    above_dry : ndarray of shape (K, P, C), float
        Level less the dry level, light removed.
    vector : ndarray of shape (C,), float
        The typical step from dry to wet.
    noise : ndarray of shape (C, C), float
    settings : LightSettings

    Returns
    -------
    size : ndarray of shape (K, P), float
        Over what still passes for fabric: past 1 it shows something else.
    """
    weight = np.linalg.solve(noise, vector)
    along = np.clip(above_dry @ weight / float(vector @ weight), -0.2, 2.5)
    off = above_dry - along[:, :, None] * vector
    length = float(np.linalg.norm(vector))
    off = off - (off @ vector)[:, :, None] * vector / length**2
    scatter = float(np.sqrt(np.trace(noise) / len(noise)))
    # What is left of three colours off the way from dry to wet are two values.
    chance = settings.causes.sigmas_in_plane(off[..., 0].size) * scatter
    bound = max(settings.off_colour * length, chance)
    size: FloatArray = np.linalg.norm(off, axis=2) / bound
    return size


def find_off_colours(size: FloatArray, left_lying: int) -> BoolArray:
    """Find the cells that show a colour neither dry, wet, nor between, for a while.

    Thin marks that stay do not count: ink hides too little of a cell for that.

    Parameters
    ----------
    size : ndarray of shape (K, h, w), float
        As from `off_colour_size`.
    left_lying : int
        What is still there at the end and came more frames before it stays.

    Returns
    -------
    off_colour : ndarray of shape (K, h, w), bool
        Never for more than a third of the run: what is odd for longer is the fabric's own way.

    Notes
    -----
    A mark that is about as far off as what still passes is beyond it in some frames and not in
    others, and stays all the same: what came stays while it keeps half of that. Source: two
    thresholds, Canny, IEEE Trans. Pattern Anal. Mach. Intell. 8, 679, 1986.
    """
    far = size > 1
    off_colour = far & (far.mean(axis=0) <= 1 / 3)
    stays = np.cumprod((size > 0.5)[::-1], axis=0)[::-1].astype(bool)
    stays &= stays.sum(axis=0) > left_lying
    whole = binary_opening(off_colour, np.ones((1, 3, 3), bool))
    return off_colour & (~stays | whole)


def agreed_step(steps: FloatArray, step_ratio: FloatArray, fallback: FloatArray) -> FloatArray:
    """Return the typical full step: the median of the measured ones of the clear cells."""
    clear = step_ratio > 0.5
    if np.count_nonzero(clear) < 4:
        return fallback
    return np.median(steps[clear], axis=0)


def frame_noise(flat: FloatArray) -> FloatArray:
    """Return the covariance of frame-to-frame scatter, from differences of neighbours in time."""
    difference = np.diff(flat, axis=0).reshape(-1, flat.shape[2]) / np.sqrt(2.0)
    size = root_mean_square(difference)
    calm = size <= 3.0 * max(float(robust_scale(size)), 1e-6)
    covariance = difference[calm].T @ difference[calm] / max(int(np.count_nonzero(calm)), 1)
    return covariance + np.eye(flat.shape[2]) * (2e-3) ** 2


def light_error(flat: FloatArray, wet_frame: IntArray, dry: FloatArray, guard: int) -> FloatArray:
    """Return the covariance of what the light model leaves on dry cells: shadows, colour casts.

    It decides which mix of colours tells wet from dry: one that a passing shadow does not move.
    """
    frames = np.arange(flat.shape[0])[:, None]
    left = (flat - dry)[frames < wet_frame - guard]
    if len(left) < 50:
        return np.zeros((flat.shape[2],) * 2)
    # Bounded, not cut: a hand in a twentieth of the cells must not turn the colour away from it.
    size = root_mean_square(left)
    bound = 3.0 * max(float(np.median(size)), 1e-6)
    kept = left * np.minimum(1.0, bound / np.maximum(size, 1e-9))[:, None]
    return kept.T @ kept / len(kept)


def deepening(along: FloatArray, wet_frame: IntArray, bounds: tuple[float, float]) -> FloatArray:
    """Find how far the wet look has come by frames since wetting, in typical steps.

    Parameters
    ----------
    along : ndarray of shape (K, P), float
        Way from dry to wet of clear cells, over their own step.
    wet_frame : ndarray of shape (P,), int
    bounds : (float, float)
        What is likely at any age.

    Returns
    -------
    reached : ndarray of shape (K,), float
        The median over the cells of each age; held where too few are that old.
    """
    count = len(along)
    # Sixteen bits are sorted by their digits, several times as quickly as by comparing.
    age = (np.arange(count)[:, None] - wet_frame).astype(np.int16)
    order = np.argsort(age, axis=None, kind="stable")
    cuts = np.searchsorted(age.ravel()[order], np.arange(count + 1))
    of_age = along.ravel()[order]
    reached = np.ones(count)
    last = 1.0
    for k in range(count):
        values = of_age[cuts[k] : cuts[k + 1]]
        if len(values) >= 8:
            last = float(np.clip(median_of_few(values), *bounds))
        reached[k] = last
    return reached
