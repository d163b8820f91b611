"""A made-up camera over a made-up table, with known truth, for the tests."""

import cv2
import numpy as np

SIZE = (1280, 720)


def homography(tilt_deg=35.0, turn_deg=8.0, focal_px=1100.0, reach_mm=700.0, middle_mm=(200, 110)):
    """Panel mm to ideal pixels for a camera `reach_mm` away, looking at `middle_mm`."""
    t, r = np.deg2rad([tilt_deg, turn_deg])
    spin = np.array([[np.cos(r), -np.sin(r), 0], [np.sin(r), np.cos(r), 0], [0, 0, 1]])
    lean = np.array([[1, 0, 0], [0, np.cos(t), -np.sin(t)], [0, np.sin(t), np.cos(t)]])
    turn = lean @ spin
    place = -turn @ np.array([*middle_mm, 0.0]) + [0, 0, reach_mm]
    camera = np.array(
        [[focal_px, 0, (SIZE[0] - 1) / 2], [0, focal_px, (SIZE[1] - 1) / 2], [0, 0, 1]]
    )
    matrix = camera @ np.column_stack([turn[:, :2], place])
    return matrix / matrix[2, 2]


def draw(plan, origin_mm, px_per_mm, matrix, k1=0.0, focal_px=1100.0, background=None, size=SIZE):
    """Photo of a flat picture: `plan` has `px_per_mm` pixels a mm, its corner at `origin_mm`.

    Rays are traced backwards, 2 x 2 to a pixel; the lens is Brown's (1971) with k1 alone.
    """
    over = 2
    width, height = size[0] * over, size[1] * over
    x, y = np.meshgrid(
        (np.arange(width) + 0.5) / over - 0.5, (np.arange(height) + 0.5) / over - 0.5
    )
    if k1:
        cx, cy = (size[0] - 1) / 2, (size[1] - 1) / 2
        u0, v0 = (x - cx) / focal_px, (y - cy) / focal_px
        u, v = u0.copy(), v0.copy()
        for _ in range(12):
            factor = 1 + k1 * (u * u + v * v)
            u, v = u0 / factor, v0 / factor
        x, y = u * focal_px + cx, v * focal_px + cy
    back = np.linalg.inv(matrix)
    w = back[2, 0] * x + back[2, 1] * y + back[2, 2]
    mm_x = (back[0, 0] * x + back[0, 1] * y + back[0, 2]) / w
    mm_y = (back[1, 0] * x + back[1, 1] * y + back[1, 2]) / w
    map_x = ((mm_x - origin_mm[0]) * px_per_mm - 0.5).astype(np.float32)
    map_y = ((mm_y - origin_mm[1]) * px_per_mm - 0.5).astype(np.float32)
    linear = (plan.astype(np.float32) / 255) ** 2.2
    border = 0.35**2.2 if background is None else background
    if plan.ndim == 3:
        photo = cv2.remap(linear, map_x, map_y, cv2.INTER_LINEAR, borderValue=(border,) * 3)
    else:
        photo = cv2.remap(linear, map_x, map_y, cv2.INTER_LINEAR, borderValue=border)
    photo = cv2.resize(photo, size, interpolation=cv2.INTER_AREA)
    photo = cv2.GaussianBlur(photo, (0, 0), 0.6)
    return photo


def develop(photo, noise=1.5, seed=0):
    """Code linear light as 8 bits with a little noise; three channels."""
    coded = 255 * np.clip(photo, 0, 1) ** (1 / 2.2)
    coded = coded + np.random.default_rng(seed).normal(0, noise, coded.shape)
    grey = np.clip(np.round(coded), 0, 255).astype(np.uint8)
    return grey if grey.ndim == 3 else cv2.cvtColor(grey, cv2.COLOR_GRAY2BGR)


def marker(number, cells_px):
    """Black-and-white picture of a marker, `cells_px` to a cell (6 cells an edge)."""
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    return cv2.aruco.generateImageMarker(dictionary, number, 6 * cells_px)


def table(panel_mm, centres_mm, marker_mm=42.0, angles_deg=(0, 0, 0, 0), px_per_mm=3.0, seed=1):
    """Plan of a table with a panel and four cards; returns plan, origin_mm, px_per_mm."""
    origin = np.array([-160.0, -160.0])
    extent = np.array(panel_mm) + 320.0
    width, height = np.round(extent * px_per_mm).astype(int)
    rng = np.random.default_rng(seed)
    coarse = rng.normal(0, 1, (height // 24 + 1, width // 24 + 1)).astype(np.float32)
    plan = 100 + 14 * cv2.resize(coarse, (width, height), interpolation=cv2.INTER_CUBIC)
    x0, y0 = np.round(-origin * px_per_mm).astype(int)
    x1, y1 = np.round((np.array(panel_mm) - origin) * px_per_mm).astype(int)
    plan[y0:y1, x0:x1] = 190 + 12 * rng.normal(0, 1, (y1 - y0, x1 - x0))
    plan = np.clip(plan, 0, 255).astype(np.uint8)
    for number, (centre, angle) in enumerate(zip(centres_mm, angles_deg, strict=True)):
        plan = _lay(
            plan, number, (np.array(centre) - origin) * px_per_mm, marker_mm, angle, px_per_mm
        )
    return plan, origin, px_per_mm


def _lay(plan, number, centre_px, marker_mm, angle_deg, px_per_mm):
    cells = 20
    card = np.full((cells * 8, cells * 8), 235, np.uint8)
    card[cells:-cells, cells:-cells] = np.where(marker(number, cells) > 0, 235, 25)
    scale = marker_mm * px_per_mm / (6 * cells)
    c, s = scale * np.cos(np.deg2rad(angle_deg)), scale * np.sin(np.deg2rad(angle_deg))
    half = (card.shape[0] - 1) / 2
    place = np.asarray(centre_px) - 0.5
    matrix = np.array(
        [
            [c, -s, place[0] - c * half + s * half],
            [s, c, place[1] - s * half - c * half],
        ]
    )
    shape = (plan.shape[1], plan.shape[0])
    laid = cv2.warpAffine(card, matrix, shape, flags=cv2.INTER_AREA)
    mask = cv2.warpAffine(np.full_like(card, 255), matrix, shape) > 127
    return np.where(mask, laid, plan)


def true_px(points_mm, matrix, k1=0.0, focal_px=1100.0):
    """Recorded pixels of panel points, by the definition of the lens model."""
    p = np.column_stack([points_mm, np.ones(len(points_mm))]) @ matrix.T
    p = p[:, :2] / p[:, 2:]
    middle = (np.array(SIZE) - 1) / 2
    q = (p - middle) / focal_px
    return q * (1 + k1 * (q**2).sum(axis=1, keepdims=True)) * focal_px + middle
