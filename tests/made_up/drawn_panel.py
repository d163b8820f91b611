"""A panel of 300 by 180 mm seen at an angle, filled as Darcy's law says, to draw on."""

import numpy as np

from vision.records import ArrivalMap

PANEL_MM = (300.0, 180.0)


class Tilted:
    """A panel seen at an angle: a homography from mm to pixels."""

    H = np.array([[1.9, -0.12, 160.0], [-0.2, 1.5, 140.0], [9e-5, -5e-4, 1.0]])

    def to_px(self, points_mm):
        points = np.c_[points_mm, np.ones(len(points_mm))] @ self.H.T
        return points[:, :2] / points[:, 2:]

    def to_mm(self, points_px):
        points = np.c_[points_px, np.ones(len(points_px))] @ np.linalg.inv(self.H).T
        return points[:, :2] / points[:, 2:]


def darcy(dry=False):
    x_mm = np.arange(300) + 0.5
    time_s = np.tile(x_mm**2 / 80.0, (180, 1))
    if dry:
        time_s[80:110, 100:140] = np.inf
    ones = np.ones(time_s.shape, bool)
    return ArrivalMap(time_s, ones, ~ones, 1.0, 1100.0)
