"""The light of each frame, from the table around the panel and from the panel's own cells."""

from __future__ import annotations

import warnings
from dataclasses import dataclass

import numpy as np
from scipy.ndimage import label

from vision.common.robust import root_mean_square
from vision.illumination.cell_levels import best_split
from vision.illumination.light_basis import SMOOTH_TERMS, LightBasis, robust_polynomials
from vision.records import BoolArray, FloatArray, IntArray
from vision.settings.wetting_settings import LightSettings


@dataclass(frozen=True)
class TableLight:
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

    def without_changed(self) -> TableLight:
        """Return the table without places that changed once for good, and not with the rest.

        Liquid that climbs beside the panel does so, and so does a thing put down. A lamp changes
        most places at once.
        """
        if not self.places.size or len(self.change) < 4:
            return self
        grey = np.nan_to_num(self.change.mean(axis=2))
        # From one frame to the next most of the table does not change: that is the lamp.
        lamp = np.cumsum(np.median(np.diff(grey, axis=0, prepend=grey[:1]), axis=1))
        own = grey - lamp[:, None]
        _, step, gain = best_split(own[:, :, None])
        whole = np.sum((own - own.mean(axis=0)) ** 2, axis=0)
        changed = (np.abs(step[:, 0]) > LEAST_CHANGE) & (gain > MOSTLY * whole)
        return TableLight(self.change[:, ~changed], self.places[~changed])


LEAST_CHANGE = 0.1
"""A place on the table that changes for good changes by so much, as a logarithm."""

MOSTLY = 0.75
"""And that one step is most of all that it does beside the rest of the table."""


@dataclass(frozen=True)
class Expected:
    """What each cell should look like in each frame under the reference light.

    Attributes
    ----------
    wet_frame : ndarray of shape (P,), int
        Frame from which each is wet.
    wetness : ndarray of shape (K, P), float
        Share of the step from dry to wet.
    dry : ndarray of shape (P, C), float
    vector : ndarray of shape (C,), float
        The step from dry to wet.
    rows : int
        Rows of cells.
    """

    wet_frame: IntArray
    wetness: FloatArray
    dry: FloatArray
    vector: FloatArray
    rows: int

    @property
    def level(self) -> FloatArray:
        """Expected level; shape (K, P, C)."""
        return self.dry + self.wetness[:, :, None] * self.vector


@dataclass(frozen=True)
class Scene:
    """The table, and the shapes of the light at the cells and around them.

    Attributes
    ----------
    table : TableLight
    basis : LightBasis
    shapes : ndarray of shape (P + Q, B), float
        `basis` at the cells and then at the places of `table`.
    """

    table: TableLight
    basis: LightBasis
    shapes: FloatArray

    @property
    def at_cells(self) -> FloatArray:
        """The shapes at the cells alone; shape (P, B)."""
        return self.shapes[: len(self.shapes) - len(self.table.places)]

    @property
    def at_table(self) -> FloatArray:
        """The shapes at the places of the table; shape (Q, B)."""
        return self.shapes[len(self.shapes) - len(self.table.places) :]


def table_light(border: FloatArray, border_xy: FloatArray, settings: LightSettings) -> TableLight:
    """Return what the table around the panel shows.

    Only places near the panel and seen in more than half of the frames.

    Parameters
    ----------
    border : ndarray of shape (K, Q, C), float
        Mean logarithm per place and frame, NaN where not seen.
    border_xy : ndarray of shape (Q, 2), float
        Scaled (the panel spans -1 to 1).
    settings : LightSettings
    """
    use = np.abs(border_xy).max(axis=1, initial=0.0) < settings.farthest_border
    use &= np.isfinite(border).all(axis=2).mean(axis=0) > 0.5
    return TableLight(border[:, use] - np.nanmedian(border[:, use], axis=0), border_xy[use])


def is_uneven(table: TableLight, even: LightBasis, light: FloatArray) -> bool:
    """Return whether the table's light needs more than a quadratic: shadows, sun patches."""
    settings = even.settings
    if not light.any():
        return False
    left = table.change - np.matmul(even(*table.places.T), light)
    size = root_mean_square(left)
    seen = np.isfinite(size).any(axis=1)
    in_frames = np.nanquantile(size[seen], settings.uneven_places, axis=1)
    return bool(seen.any() and np.quantile(in_frames, settings.uneven_frames) > settings.uneven)


def border_light(table: TableLight, basis: LightBasis) -> FloatArray:
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
        light += bumps_left(change - np.matmul(shapes, light), seen, shapes, basis, light)
    return light


def bumps_left(
    left: FloatArray, weight: FloatArray, shapes: FloatArray, basis: LightBasis, light: FloatArray
) -> FloatArray:
    """Fit what the quadratic leaves, where that lasts for some frames.

    Somebody leaning over is as large as a shadow, but comes and goes.

    Parameters
    ----------
    left : ndarray of shape (K, P, C), float
    weight : ndarray of shape (K, P), float
    shapes : ndarray of shape (P, B), float
        `basis` at the places.
    basis : LightBasis
    light : ndarray of shape (K, B, C), float
        The light so far.

    Returns
    -------
    more : ndarray of shape (K, B, C), float
    """
    lasts = basis.settings.lasts_frames(len(left))
    half = lasts // 2
    held = np.where(weight[:, :, None] > 0, left, np.nan)
    padded = np.pad(held, ((half, half), (0, 0), (0, 0)), constant_values=np.nan)
    with warnings.catch_warnings():
        # A place that is not seen for so long is left out below.
        warnings.simplefilter("ignore", RuntimeWarning)
        lasting = np.nanmedian([padded[k : k + len(left)] for k in range(lasts)], axis=0)
    known = np.isfinite(lasting).all(axis=2)
    return robust_polynomials(
        shapes,
        np.nan_to_num(lasting),
        known * weight.max(axis=0),
        stiff=basis.stiff,
        already=light,
        floor=basis.settings.gradual,
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


def main_regions(wet: BoolArray, rows: int, least: float) -> BoolArray:
    """Find the cells that stay in the frames' largest wet and largest dry regions.

    A patch apart from them is a dry spot, or else the light's doing: it does not tell the light.

    Parameters
    ----------
    wet : ndarray of shape (K, P), bool
    rows : int
        Rows of cells.
    least : float
        Part of the frames for which they must.
    """
    main = np.zeros(wet.shape, bool)
    for k, cells in enumerate(wet.reshape(len(wet), rows, -1)):
        for region in (cells, ~cells):
            labels, found = label(region)
            if found:
                sizes = np.bincount(labels.ravel())[1:]
                main[k] |= (labels == 1 + np.argmax(sizes)).ravel()
    return main & (main.mean(axis=0) > least)


def light_left(
    flat: FloatArray, scene: Scene, expected: Expected, light_now: FloatArray, turn: int
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
    scene : Scene
    expected : Expected
    light_now : ndarray of shape (K, B, C), float
        The light so far.
    turn : int
        From 0.

    Returns
    -------
    light : ndarray of shape (K, B, C), float
        What is to be added to the light so far.
    """
    basis, shapes, settings = scene.basis, scene.shapes, scene.basis.settings
    terms = SMOOTH_TERMS if turn > 0 else 3
    count, _, colours = flat.shape
    is_wet = expected.wet_frame <= np.arange(count)[:, None]
    sure = _sure_cells(expected, count, basis)
    outside = scene.table.change - np.matmul(scene.at_table, light_now)
    difference = np.concatenate([flat - expected.level, np.nan_to_num(outside)], axis=1)
    outside_weight = settings.border_weight * np.isfinite(outside).all(axis=2)
    weight = np.concatenate([sure, outside_weight], axis=1)
    used = shapes[:, :terms]
    above = np.where(np.arange(len(shapes)) < flat.shape[1], settings.glare_above, 1.0)
    light = np.zeros((count, basis.size, colours))
    light[:, :terms] = robust_polynomials(used, difference, weight, rounds=4, above=above)
    wet, sure_dry = (sure * is_wet).sum(axis=1), (sure * ~is_wet).sum(axis=1)
    both = np.minimum(wet, sure_dry) >= settings.least_cells
    if turn == settings.rounds - 1 and both.any():
        own = np.concatenate([expected.wetness, np.zeros(outside_weight.shape)], axis=1)[both]
        found = robust_polynomials(
            used, difference[both], weight[both], own=own, rounds=4, above=above
        )
        light[both, :terms] = found[:, :-1]
    if basis.is_uneven:
        left = difference - np.matmul(shapes, light)
        light += bumps_left(left, weight, shapes, basis, light_now + light)
    return light


def _sure_cells(expected: Expected, count: int, basis: LightBasis) -> FloatArray:
    """Return the weight (K, P) of the cells that are surely dry or wet, and tell the light."""
    frames = np.arange(count)[:, None]
    weight = (np.abs(expected.wet_frame - frames) > basis.settings.guard_frames).astype(float)
    if basis.is_uneven:
        is_wet = expected.wet_frame <= frames
        weight *= main_regions(is_wet, expected.rows, basis.settings.main)
    return weight
