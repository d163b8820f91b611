"""A clock set by hand and pictures as a camera sends them, for the tests."""

import cv2
import numpy as np

from vision.cameras.clock import SteadyClock

START_S = 1_933_000_000.25


def jpeg(shade=100, size=(160, 240)):
    image = np.full((*size, 3), shade, np.uint8)
    image[10:30, 10 + shade % 50 : 60 + shade % 50] = 255 - shade
    return bytes(cv2.imencode(".jpg", image)[1])


class Hands:
    """A clock that a test sets by hand."""

    def __init__(self, wall=START_S, steady=0.0):
        self.wall, self.steady = wall, steady

    def clock(self):
        return SteadyClock(lambda: self.wall, lambda: self.steady)

    def pass_s(self, seconds):
        self.wall += seconds
        self.steady += seconds
