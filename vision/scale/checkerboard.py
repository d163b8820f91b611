"""Scale and lens from a checkerboard lying in the panel's plane.

Tested in tests/vision/scale/test_find_scale.py.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.records import FloatArray
from vision.scale.plane_fit import PlaneFit, PointSet, fit_plane


def find_board(image: NDArray[np.uint8], inner_corners: tuple[int, int]) -> FloatArray | None:
    """Find a checkerboard's inner corners.

    Parameters
    ----------
    image : ndarray of shape (H, W, 3), uint8
        The photo.
    inner_corners : (int, int)
        Columns and rows.

    Returns
    -------
    corners_px : ndarray of shape (rows * columns, 2) or None
        Row by row; None when no such board shows.

    Notes
    -----
    Source: the sector-based detector of OpenCV (Duda and Frese, BMVC 2018).
    """
    grey = cv2.cvtColor(image, cv2.COLOR_BGR2GRAY)
    flags = cv2.CALIB_CB_ACCURACY | cv2.CALIB_CB_NORMALIZE_IMAGE | cv2.CALIB_CB_EXHAUSTIVE
    found, corners = cv2.findChessboardCornersSB(grey, inner_corners, flags=flags)
    if not found or corners is None:
        return None
    return np.asarray(corners, float).reshape(-1, 2)


def fit_board(
    corners_px: FloatArray,
    inner_corners: tuple[int, int],
    square_mm: float,
    size: tuple[int, int],
) -> PlaneFit:
    """Fit the map from board millimetres (first inner corner at the origin) to photo pixels."""
    columns, rows = inner_corners
    x, y = np.meshgrid(np.arange(columns) * square_mm, np.arange(rows) * square_mm)
    middle = np.array([[x.mean(), y.mean()]])
    points = PointSet(
        local_mm=np.stack([x.ravel(), y.ravel()], axis=1) - middle,
        centre_mm=middle,
        group=np.zeros(x.size, int),
        px=_unmirrored(corners_px, inner_corners),
        rigid=True,
    )
    return fit_plane(points, size)


def _unmirrored(corners_px: FloatArray, inner_corners: tuple[int, int]) -> FloatArray:
    """Reverse each row if the corners came mirrored, so that columns and rows turn clockwise."""
    grid = corners_px.reshape(inner_corners[1], inner_corners[0], 2)
    along, across = grid[0, -1] - grid[0, 0], grid[-1, 0] - grid[0, 0]
    if along[0] * across[1] - along[1] * across[0] < 0:
        grid = grid[:, ::-1]
    return grid.reshape(-1, 2)


def place_panel(
    corners_board_mm: FloatArray, length_mm: float, width_mm: float
) -> tuple[FloatArray, FloatArray]:
    """Lay the panel's rectangle over its four measured corners, without stretching it.

    Parameters
    ----------
    corners_board_mm : ndarray of shape (4, 2)
        The corners in board millimetres, panel order.
    length_mm, width_mm : float
        The panel.

    Returns
    -------
    to_board : ndarray of shape (3, 3)
        Panel mm to board mm: a turn and a shift.
    measured_mm : ndarray of shape (2,)
        Length and width between the measured corners.

    Notes
    -----
    Source: least-squares rigid motion in the plane (Kabsch, Acta Cryst. A32, 922, 1976).
    """
    panel = np.array([[0, 0], [length_mm, 0], [length_mm, width_mm], [0, width_mm]], float)
    a, b = panel - panel.mean(axis=0), corners_board_mm - corners_board_mm.mean(axis=0)
    angle = np.arctan2(np.sum(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]), np.sum(a * b))
    c, s = np.cos(angle), np.sin(angle)
    turn = np.array([[c, -s], [s, c]])
    shift = corners_board_mm.mean(axis=0) - turn @ panel.mean(axis=0)
    to_board = np.array([[c, -s, shift[0]], [s, c, shift[1]], [0, 0, 1.0]])
    sides = np.hypot(*(np.roll(corners_board_mm, -1, axis=0) - corners_board_mm).T)
    measured = np.array([(sides[0] + sides[2]) / 2, (sides[1] + sides[3]) / 2])
    return to_board, measured
