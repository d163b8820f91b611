"""Whether the panel moved while what lies around it stayed: its scale then lies beside it.

The camera is followed by what lies around the panel. A sheet that is dipped, a bag that is pulled
aside or a panel that is pushed moves against that, and so does everything where the camera moved
and was taken to stand. The fabric's own texture tells: it is looked for, tile by tile, where it lay
in the photo of the scale.

Source: cross-correlation by Fourier transforms (Kuglin and Hines, Proc. IEEE Conf. Cybernetics and
Society 1975, from memory), as in `vision.rectify.standing`.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from vision.records import FloatArray, IntArray
from vision.rectify.standing import LEAST_TILES, NEARLY, detail, likeness, shift_of

LOOKS = 6
"""Canvases that are compared, evenly over the run, the last first, for as long as they tell of a
move."""

FEWEST_MOVED = 2
"""Of those, last ones that must show the move: one alone may be a hand or a bag that was lifted."""

TILES_DOWN, TILES_ACROSS = 3, 4

ALIKE = 0.3
"""Height of a likeness from which a tile is held to show the same texture: wrinkles and glints in
the bag, which move as the front comes, make less. Common practice, no source."""

LEAST_MM, LEAST_PX = 1.5, 2.0
"""A move below these is not told: it is within what a front's uncertainty is for."""

MOST = 0.6
"""Share of the tiles that tell anything which must have moved alike."""


def panel_move_mm(
    reference: NDArray[np.uint8], canvases: Sequence[NDArray[np.uint8]], mm_per_px: float
) -> float:
    """Return how far the panel moved against its surroundings, for good; 0 where it lies still.

    Parameters
    ----------
    reference : ndarray of shape (M, N, 3), uint8
        The photo of the scale, laid flat: it shows the panel where the scale says.
    canvases : sequence of ndarray of shape (M, N, 3), uint8
        The run, laid flat, in time order.
    mm_per_px : float
        Length of a canvas pixel.
    """
    if len(canvases) < LOOKS:
        return 0.0
    first = detail(reference)
    mm = mm_per_px * reference.shape[1] / first.shape[1]
    least = max(LEAST_PX, LEAST_MM / mm)
    moves = []
    for k in np.linspace(0, len(canvases) - 1, LOOKS + 1).round().astype(int)[:0:-1]:
        move = _move_px(first, detail(canvases[k]))
        if move is None or np.hypot(*move) < least:
            break
        moves.append(float(np.hypot(*move)))
    return mm * float(np.median(moves)) if len(moves) >= FEWEST_MOVED else 0.0


def _move_px(before: FloatArray, now: FloatArray) -> FloatArray | None:
    """Return the shift (down, right) on which most tiles agree; None where they tell none."""
    rows, cols = before.shape[0] // TILES_DOWN, before.shape[1] // TILES_ACROSS
    told = []
    for top in range(0, rows * TILES_DOWN, rows):
        for left in range(0, cols * TILES_ACROSS, cols):
            tile = (slice(top, top + rows), slice(left, left + cols))
            like = likeness(before[tile], now[tile])
            if like.max() > ALIKE:
                told.append(like)
    if len(told) < LEAST_TILES:
        return None
    # A weave is like itself a thread further on; together the tiles tell the threads apart.
    move = np.array(shift_of(np.sum(told, axis=0)))
    here = move.round().astype(int)
    agree = [_about(like, here) > NEARLY * like.max() for like in told]
    return move if sum(agree) >= max(LEAST_TILES, MOST * len(told)) else None


def _about(like: FloatArray, shift: IntArray) -> float:
    """Return the greatest likeness within a pixel of a shift."""
    around = np.roll(like, (1 - shift[0], 1 - shift[1]), axis=(0, 1))
    return float(around[:3, :3].max())


def move_doubts(
    reference: NDArray[np.uint8], canvases: Sequence[NDArray[np.uint8]], mm_per_px: float
) -> tuple[str, ...]:
    """Return why the front may lie beside where it was read; nothing where the panel lay still.

    Parameters
    ----------
    reference, canvases, mm_per_px
        As for `panel_move_mm`.
    """
    moved_mm = panel_move_mm(reference, canvases, mm_per_px)
    if not moved_mm:
        return ()
    return (
        f"the panel itself lies about {moved_mm:.0f} mm beside where it lay in the photo of its "
        "scale, against what is around it: mark its corners in a photo in which it had come to "
        "rest, and name that photo as [scale] photo",
    )
