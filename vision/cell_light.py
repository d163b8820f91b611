"""The light of each frame, from the table around the panel and from the panel's own cells."""

from __future__ import annotations

import warnings

import numpy as np
from scipy.ndimage import label

from vision.light import SMOOTH_TERMS, LightBasis, even_basis, robust_polynomials, uneven_basis
from vision.records import BoolArray, FloatArray

FARTHEST_BORDER = 1.8
"""How far outside the panel (which spans -1 to 1) the table still tells the panel's light."""

BORDER_WEIGHT = 0.5
"""Say of a place on the table beside a cell of the panel."""

LEAST_CELLS = 20
"""Cells that must be wet, and dry, for a frame's own strength of the wet look."""

GUARD = 1
"""Frames on either side of the change that count neither as dry nor as wet."""

ROUNDS = 3
"""Turns of light, levels and moments; more change nothing on the sample runs."""


UNEVEN = 0.045
"""What the table keeps of the light, as a logarithm, past which the light is uneven."""

UNEVEN_PLACES, UNEVEN_FRAMES = 0.9, 0.8
"""Quantiles over the places of a frame, and over the frames, that tell it."""

GRADUAL = (0.3, 0.15, 0.08, 0.04, 0.04)
"""Least scale of what is left, round by round: a shadow must not count as an outlier at once."""


LASTS = 7
"""Frames over whose median a shadow must last."""


def table_light(
    border: FloatArray | None, border_xy: FloatArray | None, count: int, colours: int
) -> tuple[FloatArray, FloatArray]:
    """Give what the table around the panel shows, less its own median, and its basis.

    Only places near the panel and seen in more than half of the frames; NaN where not seen.
    """
    if border is None or border_xy is None:
        return np.zeros((count, 0, colours)), np.zeros((0, 2))
    use = np.abs(border_xy).max(axis=1) < FARTHEST_BORDER
    use &= np.isfinite(border).all(axis=2).mean(axis=0) > 0.5
    places = border_xy[use]
    difference = border[:, use] - np.nanmedian(border[:, use], axis=0)
    return difference, places


def choose_basis(border: FloatArray, places: FloatArray, rows: int, cols: int) -> LightBasis:
    """Tell from the table whether the light needs more than a quadratic: shadows, sun patches."""
    even = even_basis(rows, cols)
    light = border_light(border, places, even)
    if not light.any():
        return even
    left = border - np.matmul(even(*places.T), light)
    size = np.sqrt(np.nanmean(left**2, axis=2))
    in_frames = np.nanquantile(size, UNEVEN_PLACES, axis=1)
    return uneven_basis(rows, cols) if np.quantile(in_frames, UNEVEN_FRAMES) > UNEVEN else even


def border_light(border: FloatArray, places: FloatArray, basis: LightBasis) -> FloatArray:
    """Find each frame's light from the table around the panel, which never wets.

    Parameters
    ----------
    border : ndarray of shape (K, Q, C), float
        Logarithm of places around the panel, less each place's own median; NaN where not seen.
    border_basis : ndarray of shape (Q, 6), float

    Returns
    -------
    light : ndarray of shape (K, 6, C), float
        Zeros where too few places are seen.
    """
    count, _, colours = border.shape
    light = np.zeros((count, basis.size, colours))
    if border.shape[1] < 4 * SMOOTH_TERMS:
        return light
    seen = np.isfinite(border).all(axis=2).astype(float)
    shapes, border = basis(*places.T), np.nan_to_num(border)
    light[:, :SMOOTH_TERMS] = robust_polynomials(shapes[:, :SMOOTH_TERMS], border, seen)
    if len(basis.bumps_xy):
        light += bumps_left(border - np.matmul(shapes, light), seen, shapes, basis.stiff, light)
    return light


def bumps_left(
    left: FloatArray, weight: FloatArray, shapes: FloatArray, stiff: FloatArray, light: FloatArray
) -> FloatArray:
    """Fit what the quadratic leaves, where that lasts for some frames.

    Somebody leaning over is as large as a shadow, but comes and goes.

    Parameters
    ----------
    left : ndarray of shape (K, P, C), float
    weight : ndarray of shape (K, P), float
    shapes : ndarray of shape (P, B), float
    stiff : ndarray of shape (B, B), float
    light : ndarray of shape (K, B, C), float
        The light so far.

    Returns
    -------
    more : ndarray of shape (K, B, C), float
    """
    half = LASTS // 2
    held = np.where(weight[:, :, None] > 0, left, np.nan)
    padded = np.pad(held, ((half, half), (0, 0), (0, 0)), constant_values=np.nan)
    windows = np.stack([padded[k : k + len(left)] for k in range(LASTS)])
    with np.errstate(all="ignore"), warnings.catch_warnings():
        warnings.simplefilter("ignore")
        lasting = np.nanmedian(windows, axis=0)
    known = np.isfinite(lasting).all(axis=2)
    return robust_polynomials(
        shapes,
        np.nan_to_num(lasting),
        known * weight.max(axis=0),
        stiff=stiff,
        already=light,
        floor=GRADUAL,
    )


def sequential_light(levels: FloatArray, basis: FloatArray) -> FloatArray:
    """Follow the light on the panel itself, frame to frame, where no border is in view.

    Most of a panel does not change between two frames, so the robust fit of the difference is
    the light. The sum of many small steps drifts, which the later rounds mend.

    Parameters
    ----------
    levels : ndarray of shape (K, P, C), float
        Mean logarithm of each cell.
    basis : ndarray of shape (P, 6), float

    Returns
    -------
    light : ndarray of shape (K, 6, C), float
    """
    steps = np.diff(levels, axis=0, prepend=levels[:1])
    found = robust_polynomials(basis, steps, np.ones(levels.shape[:2]))
    return np.cumsum(found, axis=0)


def main_regions(wet: BoolArray, rows: int) -> BoolArray:
    """Tell the cells of each frame's largest wet and largest dry region.

    A patch apart from them is a dry spot, or else the light's doing: it does not tell the light.

    Parameters
    ----------
    wet : ndarray of shape (K, P), bool
    rows : int
        Rows of cells.
    """
    main = np.zeros(wet.shape, bool)
    for k, cells in enumerate(wet.reshape(len(wet), rows, -1)):
        for region in (cells, ~cells):
            labels, found = label(region)
            if found:
                sizes = np.bincount(labels.ravel())[1:]
                main[k] |= (labels == 1 + np.argmax(sizes)).ravel()
    return main & (main.mean(axis=0) > 0.9)


def light_left(
    flat: FloatArray,
    basis: LightBasis,
    cells: FloatArray,
    change: np.ndarray,
    dry: FloatArray,
    wet_part: FloatArray,
    vector: FloatArray,
    light_now: FloatArray,
    table: tuple[FloatArray, FloatArray],
    turn: int,
    rows: int,
) -> FloatArray:
    """Fit the light still left on the panel against the level each cell should have.

    The table around the panel holds the fit where the panel alone could take a change of light
    for a change of the wet look. The first turn takes a plane, the later ones the whole basis,
    and the last also the strength of the wet look: another lamp shows the same wet fabric with
    another contrast.
    """
    uneven = len(basis.bumps_xy) > 0
    terms = SMOOTH_TERMS if turn > 0 else 3
    count = flat.shape[0]
    frames = np.arange(count)[:, None]
    weight = (np.abs(change - frames) > GUARD).astype(float)
    if uneven:
        weight *= main_regions(change <= frames, rows)
    wet, sure_dry = (
        (weight * (change <= frames)).sum(axis=1),
        (weight * (change > frames)).sum(axis=1),
    )
    on_table = basis(*table[1].T)
    outside = table[0] - np.matmul(on_table, light_now)
    outside_weight = BORDER_WEIGHT * np.isfinite(outside).all(axis=2)
    shapes = np.vstack([cells, on_table])
    used = shapes[:, :terms]
    difference = np.concatenate(
        [flat - dry - wet_part[:, :, None] * vector, np.nan_to_num(outside)], axis=1
    )
    weight = np.concatenate([weight, outside_weight], axis=1)
    light = np.zeros((count, basis.size, flat.shape[2]))
    light[:, :terms] = robust_polynomials(used, difference, weight, rounds=4)
    both = np.minimum(wet, sure_dry) >= LEAST_CELLS
    if turn == ROUNDS - 1 and both.any():
        own = np.concatenate([wet_part, np.zeros(outside_weight.shape)], axis=1)[both]
        found = robust_polynomials(used, difference[both], weight[both], own=own, rounds=4)
        light[both, :terms] = found[:, :-1]
    if uneven:
        left = difference - np.matmul(shapes, light)
        light += bumps_left(left, weight, shapes, basis.stiff, light_now + light)
    return light
