"""How far in doubt a moving light leaves the time at which cloth wetted.

The light of each photo is a smooth field that was fitted, and a shadow's edge is sharper than
that. What the fit leaves over on the table, on cloth that is dry for long and on cloth that is
wet for long tells how wrong the light is near them. With the light so much brighter, or darker,
each spot is read again: how much sooner, or later, it could have wetted is its doubt.
"""

from __future__ import annotations

import warnings

import cv2
import numpy as np
from scipy.ndimage import maximum_filter1d

from vision.illumination.coarse_wetting import CoarseWetting
from vision.illumination.frame_light import table_light
from vision.illumination.light_basis import cell_centres
from vision.records import BoolArray, FloatArray, IntArray
from vision.settings.wetting_settings import LightSettings
from vision.wetting.canvas_series import CanvasStack
from vision.wetting.change_point import Wetting

USUAL_ERROR = 0.08
"""Error of the light, in steps from dry to wet, that is in the scatter of any run already."""

ERRORS = 1.8
"""Errors of the light, as a root mean square, by which it is made brighter and darker."""

MOST_ERROR = 1.0
"""What one place may leave over, in steps, and what is taken where none is near."""

REACH = 0.3
"""What is left over tells the error within about so much, in halves of the longer side."""

NEIGHBOURS = 1
"""Photos before and after that tell the error too: an edge moves on between two."""

REFERENCE_FRAMES = 3
GUARD_FRAMES = 1
CLEAR_SHARE = 0.5
"""Share of a spot's step from which it looks wet, as the light leaves it."""

SMOOTH_PX = 1.5

MUCH, MOST_UNSURE = 0.05, 0.4
"""A run is in doubt as a whole where the light leaves so much of its time in doubt over so much of
the cloth that was seen."""


def light_doubt_s(
    stack: CanvasStack,
    wetting: Wetting,
    wet_frame: IntArray,
    times_s: FloatArray,
    cloth: BoolArray,
    settings: LightSettings,
) -> tuple[FloatArray, BoolArray]:
    """Return what the light adds to the standard uncertainty of each time, and what it hides.

    Parameters
    ----------
    stack : CanvasStack
    wetting : Wetting
    wet_frame : ndarray of shape (M, N), int
        Frame from which each is wet, holes filled; K where it stayed dry.
    times_s : ndarray of shape (K,), float
    cloth : ndarray of shape (M, N), bool
    settings : LightSettings

    Returns
    -------
    doubt_s : ndarray of shape (M, N), float
        Of a time evenly likely from the earliest to the latest (JCGM 100:2008, 4.3.7), about the
        one that was read; 0 where the light is known well enough.
    untold : ndarray of shape (M, N), bool
        Said to have wetted, and never clearly wet if the light is as wrong as it may be: a shadow
        that has come to stay.
    """
    error = light_error_steps(stack, wetting, cloth, settings)
    error = ERRORS * np.sqrt(np.maximum(error**2 - USUAL_ERROR**2, 0.0))
    if not error.any():
        return np.zeros(wet_frame.shape), np.zeros(wet_frame.shape, bool)
    sooner, later, untold = _range_s(wetting, wet_frame, times_s, error)
    doubt = np.sqrt((sooner**3 + later**3) / (3 * np.maximum(sooner + later, 1e-9)))
    size = (wet_frame.shape[1], wet_frame.shape[0])
    wide = np.asarray(cv2.resize(doubt, size, interpolation=cv2.INTER_LINEAR), float)
    hides = cv2.resize(untold.astype(np.uint8), size, interpolation=cv2.INTER_NEAREST)
    return wide, np.asarray(hides > 0)


def unsure_doubts(doubt_s: FloatArray, seen: BoolArray, span_s: float) -> tuple[str, ...]:
    """Return why the light leaves a whole run in doubt; nothing where it does not.

    Parameters
    ----------
    doubt_s : ndarray of shape (M, N), float
        As from `light_doubt_s`.
    seen : ndarray of shape (M, N), bool
    span_s : float
        Time from resin start to the last photo.
    """
    share = float(np.mean(doubt_s[seen] > MUCH * span_s)) if seen.any() else 0.0
    if share <= MOST_UNSURE:
        return ()
    return (
        f"sun, lamp or shadow changed so much that over {share:.0%} of the cloth seen it can't be "
        f"told to {MUCH:.0%} of the run when it wetted: shade the part, and keep the lamps as they "
        "are",
    )


def light_error_steps(
    stack: CanvasStack, wetting: Wetting, cloth: BoolArray, settings: LightSettings
) -> FloatArray:
    """Return how wrong the light is near each cell in each frame, shape (K, h, w), in steps.

    Parameters
    ----------
    stack : CanvasStack
    wetting : Wetting
    cloth : ndarray of shape (M, N), bool
    settings : LightSettings
    """
    coarse = wetting.coarse
    reach = np.array(coarse.shapes.reach)
    rows, cols = coarse.wet_frame.shape
    cells = np.stack(cell_centres(rows, cols), axis=1)
    left = _left_on_cells(stack, coarse, cloth, wetting.steps is not None)
    places = cells * reach
    table, beside = _left_on_table(stack, coarse, settings)
    left, told_at = np.hstack([left, table]), np.vstack([places, beside * reach])
    away = np.sum((places[:, None] - told_at) ** 2, axis=2)
    near = np.exp(-away / (2 * REACH**2))
    told = np.isfinite(left)
    squares = np.minimum(np.nan_to_num(left) ** 2, MOST_ERROR**2)
    weight = told @ near.T
    error = np.sqrt((squares @ near.T) / np.maximum(weight, 1e-6))
    error = np.where(weight < 1.0, MOST_ERROR, error)
    error = maximum_filter1d(error, 2 * NEIGHBOURS + 1, axis=0)
    return np.asarray(error.reshape(len(left), rows, cols))


def _direction(coarse: CoarseWetting) -> FloatArray:
    """Return what turns colours into steps, as the pixels' levels are made."""
    way = np.linalg.solve(coarse.noise, coarse.wet_vector)
    return np.asarray(way / float(way @ coarse.wet_vector))


def _left_on_cells(
    stack: CanvasStack, coarse: CoarseWetting, cloth: BoolArray, dry_only: bool
) -> FloatArray:
    """Return what the light leaves on cells long dry or long wet; NaN elsewhere, shape (K, P)."""
    count, way = len(stack), _direction(coarse)
    shapes = coarse.shapes(*cell_centres(*coarse.wet_frame.shape))
    flat = (np.stack(stack.cells).reshape(count, -1, 3) - shapes @ coarse.light) @ way
    since = np.arange(count)[:, None] - coarse.wet_frame.ravel()
    dry, wet = since < -GUARD_FRAMES, since > GUARD_FRAMES
    left = np.where(dry, flat - coarse.dry.reshape(-1, 3) @ way, np.nan)
    if not dry_only:
        left = np.where(wet, flat - _middle(np.where(wet, flat, np.nan)), left)
    blind = coarse.off_colour.reshape(count, -1).copy()
    unseen = stack.unseen_cells()
    if unseen is not None:
        blind |= unseen.reshape(count, -1)
    on = stack.cells_on(cloth)
    return np.where(blind | (False if on is None else ~on.ravel()), np.nan, left)


def _left_on_table(
    stack: CanvasStack, coarse: CoarseWetting, settings: LightSettings
) -> tuple[FloatArray, FloatArray]:
    """Return what the light leaves on the table since the first photos, (K, Q), and its places."""
    if not stack.border_xy.size:
        return np.zeros((len(stack), 0)), np.zeros((0, 2))
    table = table_light(np.stack(stack.borders), stack.border_xy, settings)
    if not len(table.places):
        return np.zeros((len(stack), 0)), np.zeros((0, 2))
    left = (table.change - coarse.shapes(*table.places.T) @ coarse.light) @ _direction(coarse)
    return left - _middle(left[:REFERENCE_FRAMES]), table.places


def _middle(values: FloatArray) -> FloatArray:
    """Return the median over frames of what is known; NaN where nothing is."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", RuntimeWarning)
        return np.asarray(np.nanmedian(values, axis=0))


def _range_s(
    wetting: Wetting, wet_frame: IntArray, times_s: FloatArray, error: FloatArray
) -> tuple[FloatArray, FloatArray, BoolArray]:
    """Return by how much sooner and later each spot could have wetted, at half the resolution.

    Beyond the photos between which it would be placed if the light were right; and where it may
    not have wetted at all, for which the run's whole time stands.
    """
    count, (rows, cols) = len(error), wet_frame.shape
    half = (max(cols // 2, 1), max(rows // 2, 1))
    small = [
        np.asarray(cv2.resize(np.asarray(v, np.float32), half, interpolation=cv2.INTER_AREA))
        for v in (wetting.pixels.dry, wetting.pixels.step_ratio)
    ]
    middle = small[0] + CLEAR_SHARE * small[1]
    frame = cv2.resize(wet_frame.astype(np.int16), half, interpolation=cv2.INTER_NEAREST)
    dry_at = np.full((2, *middle.shape), 0, np.int16)
    wet_at = np.full((2, *middle.shape), count, np.int16)
    for k in range(count):
        level = cv2.resize(wetting.levels[k], half, interpolation=cv2.INTER_AREA)
        above = cv2.GaussianBlur(level, (0, 0), SMOOTH_PX) - middle
        off = cv2.resize(error[k].astype(np.float32), half, interpolation=cv2.INTER_LINEAR)
        before = frame > k
        for way, by in enumerate((np.float32(0), off)):
            np.copyto(dry_at[way], k, where=before & (above + by < 0))
            clear = ~before & (above - by > 0) & (wet_at[way] == count)
            np.copyto(wet_at[way], k, where=clear)
    at = np.append(times_s, times_s[-1])
    sooner, later = at[dry_at[0]] - at[dry_at[1]], at[wet_at[1]] - at[wet_at[0]]
    untold = (wet_at[1] == count) & (wet_at[0] < count)
    later = np.where(untold, times_s[-1] - times_s[0], later)
    return np.maximum(sooner, 0.0), np.maximum(later, 0.0), untold
