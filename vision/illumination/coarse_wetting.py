"""A first look at the run on coarse cells: the light of each frame and roughly when each wetted.

The panel is cut into some hundred cells. Per cell the colour over time shows a single lasting
change (wetting) on top of the light and of what comes and goes. The light, the levels before
and after, and the moment of the change are found in turn until they agree.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.ndimage import gaussian_filter, median_filter

from vision.illumination.cell_levels import (
    agreed_step,
    change_from_evidence,
    deepening,
    expected_gain,
    first_change,
    first_dry,
    frame_noise,
    levels_around,
    light_error,
    odd_colours,
    typical_step,
    wet_evidence,
    without_ink,
)
from vision.illumination.frame_light import (
    LASTS,
    ROUNDS,
    Expected,
    Table,
    border_light,
    is_uneven,
    light_left,
    sequential_light,
    table_light,
)
from vision.illumination.light_basis import LightBasis, cell_centres, even_basis, uneven_basis
from vision.records import FloatArray

MOST_UNEXPLAINED = 0.15
"""Most that one cell may leave unexplained in one frame, in logarithms: a hand is no light."""


LEAST_CONTRAST = 8.6
"""Step from dry to wet in standard deviations of a cell's level; below, what is left of shadows
and chance make steps. Made-up runs that could be read had 8.9 and more."""


@dataclass(frozen=True)
class CellLook:
    """What the coarse look found.

    Attributes
    ----------
    light : ndarray of shape (K, B, C), float
        Each frame's light on `shapes`, in logarithms, relative to the reference.
    shapes : LightBasis
    change : ndarray of shape (h, w), int
        Frame number at which each cell turned wet; K where it never did.
    dry : ndarray of shape (h, w, C), float
        Level before the change.
    wet_vector : ndarray of shape (C,), float
        The typical step from dry to wet, in logarithms.
    noise : ndarray of shape (C, C), float
        Covariance of a cell's level from frame to frame.
    odd : ndarray of shape (K, h, w), bool
        Cells whose colour lies off the way from dry to wet, for a while: skin, clothes, a tool.
    contrast : float
        Length of the step in units of the noise.
    """

    light: FloatArray
    shapes: LightBasis
    change: np.ndarray
    dry: FloatArray
    wet_vector: FloatArray
    noise: FloatArray
    odd: np.ndarray
    contrast: float


def look(
    cells: FloatArray, border: FloatArray | None = None, border_xy: FloatArray | None = None
) -> CellLook:
    """Find each frame's light and each cell's change.

    Parameters
    ----------
    cells : ndarray of shape (K, h, w, C), float
        Mean logarithm per cell and frame.
    border : ndarray of shape (K, Q, C), float, optional
        The same for places around the panel, NaN where not seen.
    border_xy : ndarray of shape (Q, 2), float, optional
        Their scaled places (the panel spans -1 to 1).

    Returns
    -------
    look : CellLook
        With an uneven light (shadows, sun) where the table shows one and the panel agrees: of
        both looks the one that leaves less of the cells' levels unexplained.
    """
    count, rows, cols, colours = cells.shape
    table = table_light(border, border_xy, count, colours)
    shapes = even_basis(rows, cols)
    light = border_light(table, shapes)
    even, left = _look_with(cells, table, shapes, light)
    if not is_uneven(table, shapes, light):
        return even
    shapes = uneven_basis(rows, cols)
    uneven = _look_with(cells, table, shapes, border_light(table, shapes))
    return better_look((even, left), uneven)


def better_look(even: tuple[CellLook, float], uneven: tuple[CellLook, float]) -> CellLook:
    """Choose between the looks with even and uneven light, each given with what it leaves.

    The uneven one must leave less, and less beside its own step: bumps can take the wetting for
    light. Where its step is too faint to read, the run is not read by the other light either.
    """
    (plain, left), (bumpy, left_bumpy) = even, uneven
    if left_bumpy >= left:
        return plain
    beside_step = left_bumpy / _length(bumpy) < left / _length(plain)
    return bumpy if beside_step or bumpy.contrast < LEAST_CONTRAST else plain


def _length(look: CellLook) -> float:
    return max(float(np.linalg.norm(look.wet_vector)), 1e-9)


def _look_with(
    cells: FloatArray, table: Table, shapes: LightBasis, light: FloatArray
) -> tuple[CellLook, float]:
    """Look with one set of shapes for the light; also give how much is left unexplained.

    Parameters
    ----------
    cells : ndarray of shape (K, h, w, C), float
    table : Table
    shapes : LightBasis
    light : ndarray of shape (K, B, C), float
        As the table alone tells it.
    """
    count, rows, cols, colours = cells.shape
    levels = cells.reshape(count, rows * cols, colours).astype(float)
    places = np.vstack([np.stack(cell_centres(rows, cols), axis=1), table.places])
    at_places = shapes(*places.T)
    basis = at_places[: rows * cols]
    if not light.any():
        light = sequential_light(levels, basis)
    flat = levels - np.matmul(basis, light)
    quiet = median_filter(flat, size=(min(LASTS, count), 1, 1), mode="nearest")
    change, step, gain = first_change(quiet)
    vector = typical_step(step, gain)
    dry = first_dry(flat, quiet, change, step, vector)
    share = expected_gain(dry)
    noise = frame_noise(flat) + light_error(flat, change, dry)
    frames = np.arange(count)[:, None]
    for turn in range(ROUNDS):
        evidence = wet_evidence(flat, dry, share[:, None] * vector, noise, clip=6.0)
        evidence = gaussian_filter(
            evidence.reshape(count, rows, cols), sigma=(0.0, 0.7, 0.7), mode="nearest"
        )
        change = change_from_evidence(evidence.reshape(count, -1))
        dry_now, wet, n_before, n_after = levels_around(flat, change)
        dry = np.where((n_before >= 2)[:, None], dry_now, dry)
        good = (n_before >= 2) & (n_after >= 2)
        vector = agreed_step((wet - dry)[good], share[good], vector)
        share = expected_gain(dry)
        along = (wet - dry) @ np.linalg.solve(noise, vector)
        along = along / float(vector @ np.linalg.solve(noise, vector))
        share = np.where(good, np.clip(along, 0.35 * share, 1.8 * share), share)
        age = deepening(flat, change, dry, share, vector) if turn > 0 else np.ones(count)
        wetness = share * age[np.clip(frames - change, 0, count - 1)]
        expected = Expected(change, np.where(change <= frames, wetness, 0.0), dry, vector, rows)
        light = light + light_left(flat, shapes, at_places, expected, light, table, turn)
        flat = levels - np.matmul(basis, light)
        noise = frame_noise(flat) + light_error(flat, change, dry)
    unexplained = np.abs(flat - expected.level).mean(axis=2)
    found = CellLook(
        light=light,
        shapes=shapes,
        change=change.reshape(rows, cols),
        dry=dry.reshape(rows, cols, -1),
        wet_vector=vector,
        noise=noise,
        odd=without_ink(odd_colours(flat - dry, vector, noise).reshape(count, rows, cols)),
        contrast=float(np.sqrt(vector @ np.linalg.solve(noise, vector))),
    )
    return found, float(np.minimum(unexplained, MOST_UNEXPLAINED).mean())
