"""Where the front stands within a cell, read from the fill state.

Tested in tests/analysis/part/flow/test_closed_forms.py.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from analysis.part.flow.obstacle import State
from analysis.part.flow.system import System
from analysis.part.grid.network import Links
from vision.records import FloatArray

SLANT = 0.12
"""A front that leans less than this (as a slope against the grid) is taken as along the grid."""
OBLIQUE = 0.064
"""On a slanting front the grid's u lies this much, in squared cells, below the smooth one's:
measured on the closed form of a point feed, 0.06 to 0.07 for every angle above 10 degrees."""

NEAR_ENOUGH = 0.02
"""Cells; how closely the front is brought to a feed that waits for it."""


def level(system: System, state: State) -> FloatArray:
    """Return how far the front has passed each cell's centre, in cells; below 0 before it comes.

    Notes
    -----
    Behind a straight front u = porosity d^2 / (2 K), so sqrt(u) is linear in the distance d. On a
    grid a cell's u starts from 0 only once the cell is full. For a front along the grid the
    discrete solution is known exactly: with v = 2 K u / (porosity cell^2), d runs straight from
    k + 1/2 to k + 3/2 while v runs from k (k + 1) to (k + 1) (k + 2). For a slanting front v lies
    nearly `OBLIQUE` below d^2. Within the front's own cell the filled share takes over.
    """
    links = system.links
    slope_x, slope_y = _slopes(links, np.sqrt(np.maximum(state.u, 0.0)))
    length = np.hypot(slope_x, slope_y)
    safe = np.where(length > 0, length, 1.0)
    n_x, n_y = slope_x / safe, slope_y / safe
    n_x = np.where(length > 0, n_x, 1.0)
    conduct = np.zeros(links.count)
    for e, strength in zip(links.offsets, links.strength_m3, strict=True):
        conduct[: links.cells] += strength * (e[0] * n_x + e[1] * n_y)[: links.cells] ** 2
    pores = np.maximum(system.pore_m3 / np.maximum(links.share, 1e-4), 1e-300)
    v = 2 * conduct * np.maximum(state.u, 0.0) / pores
    k = np.floor(np.sqrt(v + 0.25) - 0.5)
    along = k + 0.5 + (v - k * (k + 1)) / (2 * (k + 1))
    lean = np.minimum(np.abs(n_x), np.abs(n_y)) / np.maximum(
        np.maximum(np.abs(n_x), np.abs(n_y)), 1e-12
    )
    part = np.clip(1 - lean / SLANT, 0.0, 1.0)
    depth = part * along + (1 - part) * np.sqrt(v + OBLIQUE)
    full = part * 0.5 + (1 - part) * np.sqrt(OBLIQUE)
    return np.where(state.wet, depth, (2 * state.fill - 1) * full)


def _slopes(links: Links, values: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the differences of a value per cell along x and y; one-sided at a wall."""
    laid = links.field(values)
    out = []
    for axis in (1, 0):
        step = np.diff(laid, axis=axis)
        ahead, behind = np.full(laid.shape, np.nan), np.full(laid.shape, np.nan)
        np.moveaxis(ahead, axis, 0)[:-1] = np.moveaxis(step, axis, 0)
        np.moveaxis(behind, axis, 0)[1:] = np.moveaxis(step, axis, 0)
        ahead, behind = (
            np.where(np.isnan(ahead), behind, ahead),
            np.where(np.isnan(behind), ahead, behind),
        )
        slope = np.nan_to_num(0.5 * (ahead + behind))[links.number >= 0]
        out.append(np.append(slope, np.zeros(links.count - links.cells)))
    return out[0], out[1]


def bring_front(lead: Callable[[float], float], f_low: float, guess: float) -> float:
    """Find the root of the impulse share at which the front has just passed a place.

    Parameters
    ----------
    lead : callable
        Given such a root, how far the front has passed the place, in cells; below 0 before.
    f_low : float
        The same at 0.
    guess : float
        Where to begin, between 0 and 1.

    Notes
    -----
    Regula falsi within brackets, halved where the front is still too far to tell.
    """
    low, high, f_high = 0.0, 1.0, 1.0
    for _ in range(40):
        value = lead(guess)
        if abs(value) < NEAR_ENOUGH:
            break
        if value < 0:
            low, f_low = guess, value
        else:
            high, f_high = guess, value
        if high - low < 1e-5:
            break
        step = (f_low * high - f_high * low) / (f_low - f_high)
        guess = step if f_low > -0.49 else (low + high) / 2
        guess = float(np.clip(guess, low + 0.02 * (high - low), high - 0.02 * (high - low)))
    return guess
