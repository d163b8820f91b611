"""The tracker against made-up runs with exact truth, whatever a shop does to it."""

import functools
from dataclasses import dataclass

import numpy as np
import pytest

from tests.vision.shop import SIZE_MM, ShopFrames, setup_of
from tests.vision.shop_cases import CASES
from vision.rectify import Rectifier
from vision.tracker import Tracker


@dataclass(frozen=True)
class Outcome:
    tracked: object
    true_mm: np.ndarray
    time_s: np.ndarray


def track(shop, fixes=lambda found: None):
    frames = ShopFrames(shop)
    tracker = Tracker(setup_of(shop), Rectifier(setup_of(shop), frames))
    for frame in frames:
        tracker.add(frame)
    tracked = tracker.finish(shop.flow.clock.start_s if shop.start_known else None, fixes)
    read = shop.flow.lanes_mm if shop.flow.point_mm is None else shop.flow.radii_mm
    return Outcome(
        tracked, np.array([read(t) for t in shop.times_s]), np.asarray(shop.times_s)
    ), tracker
