"""The light of each frame, from the table around the panel and from the panel's own cells."""

from __future__ import annotations

import numpy as np

from vision.light import polynomial_basis, robust_polynomials
from vision.records import FloatArray

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


def table_light(
    border: FloatArray | None, border_xy: FloatArray | None, count: int, colours: int
) -> tuple[FloatArray, FloatArray]:
    """Give what the table around the panel shows, less its own median, and its basis.

    Only places near the panel and seen in more than half of the frames; NaN where not seen.
    """
    if border is None or border_xy is None:
        return np.zeros((count, 0, colours)), np.zeros((0, 6))
    use = np.abs(border_xy).max(axis=1) < FARTHEST_BORDER
    use &= np.isfinite(border).all(axis=2).mean(axis=0) > 0.5
    places = border_xy[use]
    difference = border[:, use] - np.nanmedian(border[:, use], axis=0)
    return difference, polynomial_basis(places[:, 0], places[:, 1])


def border_light(border: FloatArray, border_basis: FloatArray) -> FloatArray:
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
    if border.shape[1] < 4 * border_basis.shape[1]:
        return np.zeros((border.shape[0], border_basis.shape[1], border.shape[2]))
    seen = np.isfinite(border).all(axis=2)
    return robust_polynomials(border_basis, np.nan_to_num(border), seen.astype(float))


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


def light_left(
    flat: FloatArray,
    basis: FloatArray,
    change: np.ndarray,
    dry: FloatArray,
    wet_part: FloatArray,
    vector: FloatArray,
    light_now: FloatArray,
    table: tuple[FloatArray, FloatArray],
    turn: int,
) -> FloatArray:
    """Fit the light still left on the panel against the level each cell should have.

    The table around the panel holds the fit where the panel alone could take a change of light
    for a change of the wet look. The first turn takes a plane, the later ones the whole basis,
    and the last also the strength of the wet look: another lamp shows the same wet fabric with
    another contrast.
    """
    terms = basis.shape[1] if turn > 0 else 3
    count = flat.shape[0]
    frames = np.arange(count)[:, None]
    weight = (np.abs(change - frames) > GUARD).astype(float)
    wet, sure_dry = (
        (weight * (change <= frames)).sum(axis=1),
        (weight * (change > frames)).sum(axis=1),
    )
    outside = table[0] - np.matmul(table[1], light_now)
    outside_weight = BORDER_WEIGHT * np.isfinite(outside).all(axis=2)
    used = np.vstack([basis, table[1]])[:, :terms]
    difference = np.concatenate(
        [flat - dry - wet_part[:, :, None] * vector, np.nan_to_num(outside)], axis=1
    )
    weight = np.concatenate([weight, outside_weight], axis=1)
    light = np.zeros((count, basis.shape[1], flat.shape[2]))
    light[:, :terms] = robust_polynomials(used, difference, weight, rounds=4)
    both = np.minimum(wet, sure_dry) >= LEAST_CELLS
    if turn == ROUNDS - 1 and both.any():
        own = np.concatenate([wet_part, np.zeros(outside_weight.shape)], axis=1)[both]
        found = robust_polynomials(used, difference[both], weight[both], own=own, rounds=4)
        light[both] = found[:, :-1]
    return light
