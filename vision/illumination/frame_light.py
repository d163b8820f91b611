"""The light of each frame, from the table around the panel and from the panel's own cells."""

from __future__ import annotations

import warnings
from dataclasses import dataclass

import numpy as np
from scipy.ndimage import label

from vision.common.robust import root_mean_square
from vision.illumination.light_basis import SMOOTH_TERMS, LightBasis, robust_polynomials
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
"""Frames over whose median a shadow lasts; somebody who leans over for three of them does not."""

MAIN = 0.9
"""Part of the frames in which a cell must belong to the main wet or dry region."""


@dataclass(frozen=True)
class Table:
    """What the table around the panel shows of the light.

    Attributes
    ----------
    change : ndarray of shape (K, Q, C), float
        Logarithm of each place less its own median; NaN where not seen.
    places : ndarray of shape (Q, 2), float
        Scaled (the panel spans -1 to 1).
    """

    change: FloatArray
    places: FloatArray


@dataclass(frozen=True)
class Expected:
    """What each cell should look like in each frame under the reference light.

    Attributes
    ----------
    change : ndarray of shape (P,), int
        First wet frame.
    wetness : ndarray of shape (K, P), float
        Share of the step from dry to wet.
    dry : ndarray of shape (P, C), float
    vector : ndarray of shape (C,), float
        The step from dry to wet.
    rows : int
        Rows of cells.
    """

    change: np.ndarray
    wetness: FloatArray
    dry: FloatArray
    vector: FloatArray
    rows: int

    @property
    def level(self) -> FloatArray:
        """Expected level; shape (K, P, C)."""
        return self.dry + self.wetness[:, :, None] * self.vector


def table_light(
    border: FloatArray | None, border_xy: FloatArray | None, count: int, colours: int
) -> Table:
    """Give what the table around the panel shows.

    Only places near the panel and seen in more than half of the frames.
    """
    if border is None or border_xy is None:
        return Table(np.zeros((count, 0, colours)), np.zeros((0, 2)))
    use = np.abs(border_xy).max(axis=1) < FARTHEST_BORDER
    use &= np.isfinite(border).all(axis=2).mean(axis=0) > 0.5
    return Table(border[:, use] - np.nanmedian(border[:, use], axis=0), border_xy[use])


def is_uneven(table: Table, even: LightBasis, light: FloatArray) -> bool:
    """Tell from the table whether its light needs more than a quadratic: shadows, sun patches."""
    if not light.any():
        return False
    left = table.change - np.matmul(even(*table.places.T), light)
    size = root_mean_square(left)
    seen = np.isfinite(size).any(axis=1)
    in_frames = np.nanquantile(size[seen], UNEVEN_PLACES, axis=1)
    return bool(seen.any() and np.quantile(in_frames, UNEVEN_FRAMES) > UNEVEN)


def border_light(table: Table, basis: LightBasis) -> FloatArray:
    """Find each frame's light from the table around the panel, which never wets.

    Returns
    -------
    light : ndarray of shape (K, B, C), float
        On the shapes of `basis`. Zeros where too few places are seen.
    """
    count, places, colours = table.change.shape
    light = np.zeros((count, basis.size, colours))
    if places < 4 * SMOOTH_TERMS:
        return light
    seen = np.isfinite(table.change).all(axis=2).astype(float)
    shapes, change = basis(*table.places.T), np.nan_to_num(table.change)
    light[:, :SMOOTH_TERMS] = robust_polynomials(shapes[:, :SMOOTH_TERMS], change, seen)
    if basis.is_uneven:
        light += bumps_left(change - np.matmul(shapes, light), seen, shapes, basis.stiff, light)
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
    with warnings.catch_warnings():
        # A place that is not seen for so long is left out below.
        warnings.simplefilter("ignore", RuntimeWarning)
        lasting = np.nanmedian([padded[k : k + len(left)] for k in range(LASTS)], axis=0)
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
    basis : ndarray of shape (P, B), float
        Only its quadratic is used.

    Returns
    -------
    light : ndarray of shape (K, B, C), float
    """
    light = np.zeros((len(levels), basis.shape[1], levels.shape[2]))
    steps = np.diff(levels, axis=0, prepend=levels[:1])
    smooth = basis[:, :SMOOTH_TERMS]
    found = robust_polynomials(smooth, steps, np.ones(levels.shape[:2]))
    light[:, :SMOOTH_TERMS] = np.cumsum(found, axis=0)
    return light


def main_regions(wet: BoolArray, rows: int) -> BoolArray:
    """Tell the cells that stay in the frames' largest wet and largest dry regions.

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
    return main & (main.mean(axis=0) > MAIN)


def light_left(
    flat: FloatArray,
    basis: LightBasis,
    shapes: FloatArray,
    expected: Expected,
    light_now: FloatArray,
    table: Table,
    turn: int,
) -> FloatArray:
    """Fit the light still left on the panel against the level each cell should have.

    The table around the panel holds the fit where the panel alone could take a change of light
    for a change of the wet look. The first turn takes a plane, the later ones the quadratic, and
    the last also the strength of the wet look: another lamp shows the same wet fabric with
    another contrast. Bumps follow if the light is uneven.

    Parameters
    ----------
    flat : ndarray of shape (K, P, C), float
        Levels of the cells, light so far removed.
    basis : LightBasis
    shapes : ndarray of shape (P + Q, B), float
        `basis` at the cells and then at the places of `table`.
    expected : Expected
    light_now : ndarray of shape (K, B, C), float
        The light so far.
    table : Table
    turn : int
        From 0.

    Returns
    -------
    light : ndarray of shape (K, B, C), float
        What is to be added to the light so far.
    """
    terms = SMOOTH_TERMS if turn > 0 else 3
    count, cells, _ = flat.shape
    frames = np.arange(count)[:, None]
    is_wet = expected.change <= frames
    weight = (np.abs(expected.change - frames) > GUARD).astype(float)
    if basis.is_uneven:
        weight *= main_regions(is_wet, expected.rows)
    wet, sure_dry = (weight * is_wet).sum(axis=1), (weight * ~is_wet).sum(axis=1)
    outside = table.change - np.matmul(shapes[cells:], light_now)
    outside_weight = BORDER_WEIGHT * np.isfinite(outside).all(axis=2)
    difference = np.concatenate([flat - expected.level, np.nan_to_num(outside)], axis=1)
    weight = np.concatenate([weight, outside_weight], axis=1)
    used = shapes[:, :terms]
    light = np.zeros((count, basis.size, flat.shape[2]))
    light[:, :terms] = robust_polynomials(used, difference, weight, rounds=4)
    both = np.minimum(wet, sure_dry) >= LEAST_CELLS
    if turn == ROUNDS - 1 and both.any():
        own = np.concatenate([expected.wetness, np.zeros(outside_weight.shape)], axis=1)[both]
        found = robust_polynomials(used, difference[both], weight[both], own=own, rounds=4)
        light[both, :terms] = found[:, :-1]
    if basis.is_uneven:
        left = difference - np.matmul(shapes, light)
        light += bumps_left(left, weight, shapes, basis.stiff, light_now + light)
    return light
