"""The map between panel millimetres and photo pixels.

Tested in tests/vision/scale/test_find_scale.py.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np

from vision.errors import WetlineError
from vision.part_records import Lens
from vision.records import FloatArray

_SLOPE_PX = 8.0
_EDGE_TOLERANCE_PX = 2.0
MOST_OUT_OF_VIEW = 0.25
"""Share of a part that may lie outside the photo, not seen. Common practice, no source."""

_VIEW_GRID = 160


@dataclass(frozen=True)
class PlaneMap:
    """Where each millimetre of the panel is seen in the photo, and how well that is known.

    Attributes
    ----------
    homography : ndarray of shape (3, 3), float
        Panel mm to ideal pixels, those of a lens without distortion.
    camera : ndarray of shape (3, 3) or None
        Focal length and picture centre that `distortion` refers to.
    distortion : ndarray of shape (5,) or None
        Coefficients k1, k2, p1, p2, k3 (Brown, Photogrammetric Engineering 37, 855, 1971, in
        OpenCV's order), from ideal to recorded pixels.
    image_size : (int, int)
        Width and height of the photo in pixels.
    length_mm, width_mm : float
        The panel.
    method : str
        How it was found, as in panel.toml.
    error_mm : float
        Expected position error on the panel (root mean square over it).
    relative_sd : float
        Standard uncertainty of lengths along the flow, as a share.
    assumption : str
        What had to be assumed, in plain words; may be empty.
    question : str
        What in it is possible but not likely, and the mend; empty where nothing is.
    """

    homography: FloatArray
    camera: FloatArray | None
    distortion: FloatArray | None
    image_size: tuple[int, int]
    length_mm: float
    width_mm: float
    method: str
    error_mm: float
    relative_sd: float
    assumption: str = ""
    question: str = ""

    def to_px(self, points_mm: FloatArray) -> FloatArray:
        """Map panel points to recorded photo pixels; both of shape (N, 2)."""
        ideal = apply_homography(self.homography, np.asarray(points_mm, dtype=float))
        return self.distort(ideal)

    def to_mm(self, points_px: FloatArray) -> FloatArray:
        """Map recorded photo pixels to panel points; both of shape (N, 2)."""
        ideal = self.undistort(np.asarray(points_px, dtype=float))
        return apply_homography(np.linalg.inv(self.homography), ideal)

    def distort(self, ideal_px: FloatArray) -> FloatArray:
        """Map ideal to recorded pixels."""
        if self.camera is None or self.distortion is None:
            return ideal_px
        return distort_px(ideal_px, self.camera, self.distortion)

    def undistort(self, recorded_px: FloatArray) -> FloatArray:
        """Map recorded to ideal pixels."""
        if self.camera is None or self.distortion is None or len(recorded_px) == 0:
            return recorded_px
        return undistort_px(recorded_px, self.camera, self.distortion)

    def undistort_slope(self, recorded_px: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Map recorded to ideal pixels, with the slope there: shapes (N, 2) and (N, 2, 2)."""
        steps = _SLOPE_PX * np.array([[0, 0], [1, 0], [-1, 0], [0, 1], [0, -1]], float)
        near = (recorded_px[:, None, :] + steps).reshape(-1, 2)
        ideal = self.undistort(near).reshape(-1, 5, 2)
        along = (ideal[:, 1] - ideal[:, 2]) / (2 * _SLOPE_PX)
        down = (ideal[:, 3] - ideal[:, 4]) / (2 * _SLOPE_PX)
        return ideal[:, 0], np.stack([along, down], axis=2)

    def outline_px(self, per_side: int = 16) -> FloatArray:
        """Photo pixels along the panel's edge, clockwise from the feed corner."""
        return self.to_px(outline_mm(self.length_mm, self.width_mm, per_side))

    def mm_per_px(self) -> float:
        """Panel millimetres per photo pixel, at the panel's middle (root of the area ratio)."""
        middle = np.array([[self.length_mm, self.width_mm]]) / 2
        steps = middle + np.array([[0.0, 0.0], [1.0, 0.0], [0.0, 1.0]])
        px = self.to_px(steps)
        area = abs(np.linalg.det(np.array([px[1] - px[0], px[2] - px[0]])))
        return float(1 / np.sqrt(max(area, 1e-12)))


def apply_homography(matrix: FloatArray, points: FloatArray) -> FloatArray:
    """Map points of shape (N, 2) by a 3 by 3 matrix.

    Examples
    --------
    >>> apply_homography(np.diag([2.0, 2.0, 1.0]), np.array([[1.0, 3.0]]))
    array([[2., 6.]])
    """
    points = np.asarray(points, dtype=float)
    flat = points @ matrix[:, :2].T + matrix[:, 2]
    return flat[:, :2] / flat[:, 2:]


def distort_px(ideal_px: FloatArray, camera: FloatArray, distortion: FloatArray) -> FloatArray:
    """Apply the lens: ideal to recorded pixels (Brown 1971)."""
    k1, k2, p1, p2, k3 = distortion.tolist()
    focal, centre = camera[[0, 1], [0, 1]], camera[:2, 2]
    flat = (ideal_px - centre) / focal
    x, y = flat.T
    r2 = x * x + y * y
    if not (k2 or p1 or p2 or k3):  # one coefficient, as the plane fit finds: a third of the work
        radial = 1 + r2 * k1
        return flat * radial[:, None] * focal + centre
    radial = 1 + r2 * (k1 + r2 * (k2 + r2 * k3))
    bent = np.stack(
        [
            x * radial + 2 * p1 * x * y + p2 * (r2 + 2 * x * x),
            y * radial + p1 * (r2 + 2 * y * y) + 2 * p2 * x * y,
        ],
        axis=1,
    )
    return bent * focal + centre


def undistort_px(recorded_px: FloatArray, camera: FloatArray, distortion: FloatArray) -> FloatArray:
    """Take the lens off: recorded to ideal pixels, by fixed-point steps."""
    ideal = np.array(recorded_px, dtype=float)
    for _ in range(30):
        step = recorded_px - distort_px(ideal, camera, distortion)
        ideal = ideal + step
        if np.abs(step).max() < 1e-7:
            break
    return ideal


def photo_px(points_mm: FloatArray, homography: FloatArray, lens: Lens | None) -> FloatArray:
    """Map points of shape (N, 2) to recorded pixels by a homography and a lens, if it has one.

    Parameters
    ----------
    points_mm : ndarray of shape (N, 2), float
    homography : ndarray of shape (3, 3), float
        To ideal pixels.
    lens : (ndarray of shape (3, 3), ndarray of shape (5,)) or None
        As `camera` and `distortion` of a `PlaneMap`.
    """
    ideal = apply_homography(homography, points_mm)
    return ideal if lens is None else distort_px(ideal, *lens)


def lens_camera(size: tuple[int, int]) -> FloatArray:
    """Camera matrix with the picture's diagonal as focal length and its middle as centre."""
    width, height = size
    focal = float(np.hypot(width, height))
    return np.array([[focal, 0, (width - 1) / 2], [0, focal, (height - 1) / 2], [0, 0, 1.0]])


def outline_mm(length_mm: float, width_mm: float, per_side: int = 16) -> FloatArray:
    """Points along a panel's edge, clockwise from (0, 0); shape (4 per_side, 2)."""
    corners = panel_corners_mm(length_mm, width_mm)
    share = np.arange(per_side)[:, None] / per_side
    sides = [a + share * (b - a) for a, b in zip(corners, np.roll(corners, -1, 0), strict=True)]
    return np.concatenate(sides)


def panel_corners_mm(length_mm: float, width_mm: float) -> FloatArray:
    """Return the corners (0, 0), (length, 0), (length, width), (0, width)."""
    return np.array([[0.0, 0.0], [length_mm, 0.0], [length_mm, width_mm], [0.0, width_mm]])


def panel_grid_mm(length_mm: float, width_mm: float, along: int = 9, across: int = 7) -> FloatArray:
    """Points spread evenly over a panel, edges included; shape (along across, 2)."""
    x, y = np.meshgrid(np.linspace(0, length_mm, along), np.linspace(0, width_mm, across))
    return np.stack([x.ravel(), y.ravel()], axis=1)


def homography_from(points_mm: FloatArray, points_px: FloatArray) -> FloatArray:
    """Find the homography through four or more pairs (exact for four)."""
    if len(points_mm) == 4:
        matrix = cv2.getPerspectiveTransform(
            np.asarray(points_mm, np.float32), np.asarray(points_px, np.float32)
        )
        # float32 input costs about 1e-5 px: sharpen in double precision
        return _sharpened(np.asarray(matrix, float), points_mm, points_px)
    matrix, _ = cv2.findHomography(np.asarray(points_mm, float), np.asarray(points_px, float), 0)
    return np.asarray(matrix, float)


def _sharpened(matrix: FloatArray, points_mm: FloatArray, points_px: FloatArray) -> FloatArray:
    rows, right = [], []
    for (x, y), (u, v) in zip(points_mm, points_px, strict=True):
        rows += [[x, y, 1, 0, 0, 0, -u * x, -u * y], [0, 0, 0, x, y, 1, -v * x, -v * y]]
        right += [u, v]
    try:
        return np.append(np.linalg.solve(np.array(rows), np.array(right)), 1.0).reshape(3, 3)
    except np.linalg.LinAlgError:
        return matrix


def require_in_picture(
    plane: PlaneMap, file: str, outline_mm: Sequence[tuple[float, float]] | None = None
) -> None:
    """Refuse a panel that is not wholly in the picture, or a part of which too much is not.

    Parameters
    ----------
    plane : PlaneMap
    file : str
        For messages.
    outline_mm : sequence of (x, y), optional
        Of a part that does not fill the rectangle.

    Raises
    ------
    WetlineError
        Naming the side and by how much it leaves.
    """
    w = apply_w(plane.homography, panel_corners_mm(plane.length_mm, plane.width_mm))
    if (w <= 0).any() and (w >= 0).any():
        raise WetlineError(
            f"{file}: [scale]: the panel would reach behind the camera: check the points there"
        )
    if outline_mm is None:
        _require_wholly(plane, file)
        return
    out, side = out_of_view(plane, outline_mm)
    if out > MOST_OUT_OF_VIEW:
        raise WetlineError(
            f"{file}: [outline]: {100 * out:.0f} % of the part lies outside the picture, most of "
            f"it at the {side}: use photos that show the part, or check its size and the [scale] "
            "points"
        )


def out_of_view(plane: PlaneMap, outline_mm: Sequence[tuple[float, float]]) -> tuple[float, str]:
    """Return the share of an outline's area that the photo does not show, and at which side most.

    Parameters
    ----------
    plane : PlaneMap
    outline_mm : sequence of (x, y)
        Inside the rectangle of `plane`.
    """
    ring = np.asarray(outline_mm, float)
    low, cell = ring.min(axis=0), np.maximum(np.ptp(ring, axis=0), 1e-9) / _VIEW_GRID
    mask = np.zeros((_VIEW_GRID, _VIEW_GRID), np.uint8)
    cv2.fillPoly(mask, [np.round(((ring - low) / cell - 0.5) * 16).astype(np.int32)], 1, shift=4)
    px = plane.to_px(low + (np.argwhere(mask)[:, ::-1] + 0.5) * cell)
    width, height = plane.image_size
    gone = {
        "left": px[:, 0] < -_EDGE_TOLERANCE_PX,
        "right": px[:, 0] > width - 1 + _EDGE_TOLERANCE_PX,
        "top": px[:, 1] < -_EDGE_TOLERANCE_PX,
        "bottom": px[:, 1] > height - 1 + _EDGE_TOLERANCE_PX,
    }
    side = max(gone, key=lambda name: int(np.count_nonzero(gone[name])))
    return float(np.mean(np.any(list(gone.values()), axis=0))), side


def _require_wholly(plane: PlaneMap, file: str) -> None:
    """Refuse a panel that is not wholly in the picture."""
    width, height = plane.image_size
    x, y = plane.outline_px().T
    beyond = {
        "left": -x.min(),
        "right": x.max() - (width - 1),
        "top": -y.min(),
        "bottom": y.max() - (height - 1),
    }
    side = max(beyond, key=lambda key: beyond[key])
    if beyond[side] > _EDGE_TOLERANCE_PX:
        raise WetlineError(
            f"{file}: [panel] {plane.length_mm:.0f} x {plane.width_mm:.0f} mm: the panel leaves "
            f"the picture by {beyond[side]:.0f} pixels at the {side}: check the size and the "
            "[scale] points, or use photos that show all of it"
        )


def apply_w(matrix: FloatArray, points: FloatArray) -> FloatArray:
    """Return the homogeneous divisor of mapped points; its sign tells front from behind."""
    return points @ matrix[2, :2] + matrix[2, 2]
