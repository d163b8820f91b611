"""A first look at the run on coarse cells: the light of each frame and roughly when each wetted.

The panel is cut into some hundred cells. Per cell the colour over time shows a single lasting
change (wetting) on top of the light and of what comes and goes. The light, the levels before
and after, and the moment of the change are found in turn until they agree.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.ndimage import gaussian_filter, median_filter

from vision.illumination.cell_levels import (
    agreed_step,
    best_split,
    deepening,
    expected_step_ratio,
    find_off_colours,
    first_dry,
    frame_noise,
    levels_around,
    light_error,
    off_colour_size,
    typical_step,
    wet_evidence,
    wet_frame_from_evidence,
)
from vision.illumination.frame_light import (
    Expected,
    Scene,
    TableLight,
    border_light,
    is_uneven,
    light_left,
    sequential_light,
    table_light,
)
from vision.illumination.light_basis import LightBasis, cell_centres, even_basis, uneven_basis
from vision.records import BoolArray, FloatArray, IntArray
from vision.settings.wetting_settings import LightSettings


@dataclass(frozen=True)
class CoarseWetting:
    """What the cells show.

    Attributes
    ----------
    light : ndarray of shape (K, B, C), float
        Each frame's light on `shapes`, in logarithms, relative to the reference.
    shapes : LightBasis
    wet_frame : ndarray of shape (h, w), int
        Frame from which each cell is wet; K where it never was.
    dry : ndarray of shape (h, w, C), float
        Level before the change.
    wet_vector : ndarray of shape (C,), float
        The typical step from dry to wet, in logarithms.
    noise : ndarray of shape (C, C), float
        Covariance of a cell's level from frame to frame.
    off_colour : ndarray of shape (K, h, w), bool
        Cells whose colour lies off the way from dry to wet, for a while: skin, clothes, a tool.
    contrast : float
        Length of the step in units of the noise.
    unexplained : float
        Mean that the levels differ from what is expected of dry and wet cells under this light.
    other_light : float
        Share of the panel by which the front differs where the light is read in another way that
        explains the cells nearly as well; 0 where none does.
    other_frame : ndarray of shape (h, w), int, or None
        Frame from which each cell is wet by that other way; None where there is none.
    """

    light: FloatArray
    shapes: LightBasis
    wet_frame: IntArray
    dry: FloatArray
    wet_vector: FloatArray
    noise: FloatArray
    off_colour: BoolArray
    contrast: float
    unexplained: float
    other_light: float = 0.0
    other_frame: IntArray | None = None


def find_coarse_wetting(
    cells: FloatArray,
    border: FloatArray | None = None,
    border_xy: FloatArray | None = None,
    settings: LightSettings | None = None,
    unseen: BoolArray | None = None,
    cloth: BoolArray | None = None,
) -> CoarseWetting:
    """Find each frame's light and the frame from which each cell is wet.

    Parameters
    ----------
    cells : ndarray of shape (K, h, w, C), float
        Mean logarithm per cell and frame.
    border : ndarray of shape (K, Q, C), float, optional
        The same for places around the panel, NaN where not seen.
    border_xy : ndarray of shape (Q, 2), float, optional
        Their scaled places (the panel spans -1 to 1).
    settings : LightSettings, optional
    unseen : ndarray of shape (K, h, w), bool, optional
        Cells that lie outside of a photo.
    cloth : ndarray of shape (h, w), bool, optional
        Cells of fabric; left out, all.

    Returns
    -------
    coarse : CoarseWetting
        With an uneven light (shadows, sun) where the table shows one and the panel agrees: of
        both lights the one that leaves less of the cells' levels unexplained.
    """
    settings = settings or LightSettings()
    count, rows, cols, colours = cells.shape
    if border is None or border_xy is None:
        border, border_xy = np.zeros((count, 0, colours)), np.zeros((0, 2))
    table = table_light(border, border_xy, settings)
    basis = even_basis(rows, cols, settings)
    light = border_light(table, basis)
    found = _wetting_under(cells, table, basis, light, unseen, cloth)
    if not is_uneven(table, basis, light):
        return found
    least_contrast = settings.causes.least_contrast(count * rows * cols)
    bumpy = uneven_basis(rows, cols, settings)
    uneven = _wetting_under(cells, table, bumpy, border_light(table, bumpy), unseen, cloth)
    found = either_light(found, uneven, better_light(found, uneven, least_contrast))
    lasting = table.without_changed()
    if len(lasting.places) > (1 - CHANGED) * len(table.places):
        return found
    steady = _wetting_under(cells, lasting, basis, border_light(lasting, basis), unseen, cloth)
    return steady if _beside_step(steady) < _beside_step(found) else found


CHANGED = 0.1
"""Part of the table that changed for good past which the light is also sought without it."""


def either_light(
    even: CoarseWetting, uneven: CoarseWetting, chosen: CoarseWetting
) -> CoarseWetting:
    """Return the chosen one of two lights, with how far the front hangs on the choice."""
    other = uneven if chosen is even else even
    if _beside_step(chosen) < NEARLY * _beside_step(other):
        return chosen
    frames = np.arange(len(chosen.light))[:, None]
    wetted = [(frames >= one.wet_frame.ravel()).mean(axis=1) for one in (chosen, other)]
    apart = float(np.abs(wetted[0] - wetted[1]).mean())
    return replace(chosen, other_light=apart, other_frame=other.wet_frame)


NEARLY = 0.5
"""A light that leaves no more than twice as much unexplained may be the true one."""


def better_light(
    even: CoarseWetting, uneven: CoarseWetting, least_contrast: float
) -> CoarseWetting:
    """Return what was found with even or with uneven light, whichever explains the cells better.

    The uneven one must leave less, and less beside its own step: bumps can take the wetting for
    light. Where its step is too faint to read, the run is not read by the other light either.
    """
    if uneven.unexplained >= even.unexplained:
        return even
    beside_step = _beside_step(uneven) < _beside_step(even)
    return uneven if beside_step or uneven.contrast < least_contrast else even


def _beside_step(coarse: CoarseWetting) -> float:
    """Return what is left unexplained, beside the step from dry to wet."""
    return coarse.unexplained / max(float(np.linalg.norm(coarse.wet_vector)), 1e-9)


@dataclass(frozen=True)
class _State:
    """What is known of the cells between two turns; arrays as in `CoarseWetting`, cells in a row.

    `flat` are the levels (K, P, C) with the light so far removed, `step_ratio` (P,) each cell's
    own step over the typical one, `cloth` (P,) which are fabric, None for all.
    """

    light: FloatArray
    flat: FloatArray
    dry: FloatArray
    vector: FloatArray
    step_ratio: FloatArray
    noise: FloatArray
    cloth: BoolArray | None = None


def _wetting_under(
    cells: FloatArray,
    table: TableLight,
    basis: LightBasis,
    light: FloatArray,
    unseen: BoolArray | None,
    cloth: BoolArray | None,
) -> CoarseWetting:
    """Find the wetting with one set of shapes for the light.

    Parameters
    ----------
    cells : ndarray of shape (K, h, w, C), float
    table : TableLight
    basis : LightBasis
    light : ndarray of shape (K, B, C), float
        As the table alone tells it.
    unseen : ndarray of shape (K, h, w), bool, or None
    cloth : ndarray of shape (h, w), bool, or None
    """
    settings = basis.settings
    count, rows, cols, colours = cells.shape
    levels = cells.reshape(count, rows * cols, colours).astype(float)
    places = np.vstack([np.stack(cell_centres(rows, cols), axis=1), table.places])
    scene = Scene(table, basis, basis(*places.T))
    at_cells = scene.at_cells
    if not light.any():
        light = sequential_light(levels, at_cells)
    flat = held_where_unseen(levels - np.matmul(at_cells, light), unseen)
    state = _first_state(flat, light, settings, None if cloth is None else cloth.ravel())
    for turn in range(settings.rounds):
        state, expected = _expect(state, (rows, cols), settings, deepens=turn > 0)
        if settings.refit:
            more = light_left(state.flat, scene, expected, state.light, turn)
            state = replace(state, light=state.light + more)
        flat = held_where_unseen(levels - np.matmul(at_cells, state.light), unseen)
        noise = _noise(flat, expected.wet_frame, state.dry, settings)
        state = replace(state, flat=flat, noise=noise)
    vector, noise = state.vector, state.noise
    off_colour = off_colour_size(state.flat - state.dry, vector, noise, settings)
    unexplained = np.abs(state.flat - expected.level).mean(axis=2)
    return CoarseWetting(
        light=state.light,
        shapes=basis,
        wet_frame=expected.wet_frame.reshape(rows, cols),
        dry=state.dry.reshape(rows, cols, -1),
        wet_vector=vector,
        noise=noise,
        off_colour=find_off_colours(
            off_colour.reshape(count, rows, cols), settings.left_lying_frames
        ),
        contrast=float(np.sqrt(vector @ np.linalg.solve(noise, vector))),
        unexplained=float(unexplained.mean()),
    )


def held_where_unseen(flat: FloatArray, unseen: BoolArray | None) -> FloatArray:
    """Return levels that keep what they were where a cell is not seen.

    Parameters
    ----------
    flat : ndarray of shape (K, P, C), float
        Light removed.
    unseen : ndarray of shape (K, h, w), bool, or None
    """
    if unseen is None:
        return flat
    held, missing = flat.copy(), unseen.reshape(len(flat), -1)
    for k in range(1, len(flat)):
        held[k][missing[k]] = held[k - 1][missing[k]]
    return held


def _noise(
    flat: FloatArray, wet_frame: IntArray, dry: FloatArray, settings: LightSettings
) -> FloatArray:
    """Return the covariance of a cell's level: its own scatter, and what the light leaves."""
    return frame_noise(flat) + light_error(flat, wet_frame, dry, settings.guard_frames)


def _first_state(
    flat: FloatArray, light: FloatArray, settings: LightSettings, cloth: BoolArray | None
) -> _State:
    """Find dry level, step and noise from the best split of each cell's history."""
    window = (min(settings.lasts_frames(len(flat)), len(flat)), 1, 1)
    quiet = median_filter(flat, size=window, mode="nearest")
    split, step, gain = best_split(quiet)
    vector = typical_step(step, gain, settings)
    dry = first_dry(flat, settings.causes.reference_frames)
    noise = _noise(flat, split, dry, settings)
    return _State(light, flat, dry, vector, expected_step_ratio(dry, cloth), noise, cloth)


def _expect(
    state: _State, shape: tuple[int, int], settings: LightSettings, deepens: bool
) -> tuple[_State, Expected]:
    """Find when each cell turned wet, and with that how it should look in each frame.

    Parameters
    ----------
    state : _State
    shape : (int, int)
        Rows and columns of cells.
    settings : LightSettings
    deepens : bool
        Whether the wet look is taken to go on changing with age.
    """
    flat, vector = state.flat, state.vector
    count = len(flat)
    evidence = wet_evidence(
        flat, state.dry, state.step_ratio[:, None] * vector, state.noise, settings.causes.clip
    )
    evidence = gaussian_filter(
        evidence.reshape(count, *shape), sigma=(0.0, 0.7, 0.7), mode="nearest"
    )
    wet_frame = wet_frame_from_evidence(evidence.reshape(count, -1))
    dry_now, wet, n_before, n_after = levels_around(flat, wet_frame, settings.guard_frames)
    dry = np.where((n_before >= 2)[:, None], dry_now, state.dry)
    good = (n_before >= 2) & (n_after >= 2)
    vector = agreed_step((wet - dry)[good], state.step_ratio[good], vector)
    usual = expected_step_ratio(dry, state.cloth)
    weight = np.linalg.solve(state.noise, vector)
    along = (wet - dry) @ weight / float(vector @ weight)
    step_ratio = np.where(good, np.clip(along, 0.35 * usual, 1.8 * usual), usual)
    reached: FloatArray = np.ones(count)
    if deepens:
        clear = step_ratio > 0.4
        away = (flat[:, clear] - dry[clear]) @ vector / float(vector @ vector)
        along = away / np.maximum(step_ratio[clear], 0.05)
        reached = deepening(along, wet_frame[clear], settings.deepening)
    frames = np.arange(count)[:, None]
    wetness = step_ratio * reached[np.clip(frames - wet_frame, 0, count - 1)]
    expected = Expected(
        wet_frame, np.where(wet_frame <= frames, wetness, 0.0), dry, vector, shape[0]
    )
    return replace(state, dry=dry, vector=vector, step_ratio=step_ratio), expected
