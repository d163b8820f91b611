"""Made-up flow with exact truth: how far the resin must have come for each spot to be wet.

A run is a `Flow`: a reach map (the front distance at which each spot wets) and a clock (the
front distance at each time). The front at any time follows exactly from the two.
"""

from dataclasses import dataclass

import cv2
import numpy as np

PX_PER_MM = 2
SIZE_MM = (280, 150)
NEVER_MM = 1e6


@dataclass(frozen=True)
class Clock:
    """Front distance over time by Darcy's law at constant drive, x^2 = c t.

    `start_s` is resin start; the front stops for good at `stop_mm` if that is given.
    """

    end_s: float = 600.0
    reach_mm: float = 1.08 * SIZE_MM[0]
    start_s: float = 0.0
    stop_mm: float = NEVER_MM

    def __call__(self, time_s):
        """Give the front distance in mm at a time."""
        even = self.reach_mm * np.sqrt(
            np.maximum(np.asarray(time_s) - self.start_s, 0) / self.end_s
        )
        return np.minimum(even, self.stop_mm)


@dataclass(frozen=True)
class Flow:
    """Where the resin is when.

    Attributes
    ----------
    reach_mm : ndarray of shape (M, N)
        Front distance at which each spot wets, on pixels of 1 / PX_PER_MM mm.
    clock : Clock
    point_mm : (float, float) or None
        Point feed.
    """

    reach_mm: np.ndarray
    clock: Clock
    point_mm: tuple[float, float] | None = None

    def lanes_mm(self, time_s):
        """Leading wet position of each lane."""
        now = float(self.clock(time_s))
        wet = self.reach_mm <= now
        cols = wet.shape[1]
        last = cols - 1 - np.argmax(wet[:, ::-1], axis=1)
        lanes = np.arange(len(wet))
        here, beyond = (
            self.reach_mm[lanes, last],
            self.reach_mm[lanes, np.minimum(last + 1, cols - 1)],
        )
        part = np.clip((now - here) / np.maximum(beyond - here, 1e-6), 0, 1)
        place = np.where(last == cols - 1, cols, last + 0.5 + part)
        return np.where(wet.any(axis=1), place, 0.0) / PX_PER_MM

    def radii_mm(self, time_s, directions=360):
        """Leading wet radius from the feed point in each direction."""
        now = float(self.clock(time_s))
        angle = np.deg2rad(np.arange(directions) * 360 / directions)[:, None]
        steps = np.arange(0, np.hypot(*SIZE_MM), 0.25)[None, :]
        x = self.point_mm[0] + np.cos(angle) * steps
        y = self.point_mm[1] + np.sin(angle) * steps
        on = (x >= 0) & (y >= 0) & (x <= SIZE_MM[0]) & (y <= SIZE_MM[1])
        map_x, map_y = (v.astype(np.float32) * PX_PER_MM - 0.5 for v in (x, y))
        reach = cv2.remap(
            self.reach_mm.astype(np.float32), map_x, map_y, cv2.INTER_LINEAR,
            borderMode=cv2.BORDER_REPLICATE,
        )  # fmt: skip
        wet = on & (reach <= now)
        return np.where(wet, steps, 0.0).max(axis=1)

    def wetted(self, time_s):
        """Wet share of the panel."""
        return float(np.mean(self.reach_mm <= float(self.clock(time_s))))


def grid_mm():
    """Give x and y in mm of every panel pixel."""
    length, width = SIZE_MM
    x = (np.arange(length * PX_PER_MM) + 0.5) / PX_PER_MM
    y = (np.arange(width * PX_PER_MM) + 0.5) / PX_PER_MM
    return np.meshgrid(x, y)


def waves(seed, sigma_mm):
    """Smooth noise over the panel, spread 1."""
    x, _ = grid_mm()
    rng = np.random.default_rng(seed)
    small = rng.standard_normal((x.shape[0] // 4, x.shape[1] // 4)).astype(np.float32)
    noise = cv2.GaussianBlur(small, (0, 0), sigma_mm * PX_PER_MM / 4)
    noise = cv2.resize(noise, x.shape[::-1], interpolation=cv2.INTER_CUBIC)
    return (noise - noise.mean()) / noise.std()


def straight():
    """Front square to the flow, rough by half a millimetre."""
    return grid_mm()[0] + 0.5 * waves(3, 1.5)


def wavy(share=0.07, seed=5):
    """Front that leads and lags by a share of its distance, over a third of the width."""
    x, y = grid_mm()
    phase = np.random.default_rng(seed).uniform(0, 6.28, 3)
    side = sum(
        a * np.sin(2 * np.pi * y / (SIZE_MM[1] / n) + p)
        for a, n, p in zip((0.5, 0.7, 0.4), (0.8, 1.7, 2.6), phase, strict=True)
    )
    return x * (1 - share * side) + 0.6 * waves(seed, 2.0)


def racing(lead=0.35, sides=("low",), decay_mm=12.0):
    """Edges that lead by a share of the distance, the lead dying away inward."""
    x, y = grid_mm()
    near = {"low": y, "high": SIZE_MM[1] - y}
    more = sum(lead * np.exp(-near[side] / decay_mm) for side in sides)
    return x / (1 + more) + 0.5 * waves(7, 2.0)


def race_lead_mm(flow, times_s):
    """Greatest lead of an edge strip (a tenth of the width) over the middle third, in mm.

    Only while neither has come to the end of the panel, as anyone would read it off the photos.
    """
    found = [0.0]
    for time in times_s:
        lanes = flow.lanes_mm(time)
        n = len(lanes)
        middle = lanes[n // 3 : n - n // 3].mean()
        for strip in (lanes[: n // 10], lanes[-(n // 10) :]):
            if 0.1 * SIZE_MM[0] < middle < 0.97 * SIZE_MM[0] and strip.mean() < 0.97 * SIZE_MM[0]:
                found.append(strip.mean() - middle)
    return max(found)


def island(reach, centre_mm=(150, 85), radii_mm=(14, 10), later_mm=NEVER_MM):
    """Lay a patch that stays dry, or that wets `later_mm` of front after its surroundings."""
    x, y = grid_mm()
    inside = 1 - np.hypot((x - centre_mm[0]) / radii_mm[0], (y - centre_mm[1]) / radii_mm[1])
    if later_mm < NEVER_MM:
        return reach + later_mm * np.clip(inside * 3, 0, 1)
    return np.where(inside > 0, NEVER_MM, reach)


def channels(pitch_mm=20.0, ahead_mm=9.0):
    """Core with channels along the flow: they run ahead, the cells between fill after them."""
    x, y = grid_mm()
    across = np.abs((y / pitch_mm) % 1 - 0.5) * pitch_mm
    return x + ahead_mm * np.clip((across - 1.5) / 6.0, 0, 1) + 1.2 * waves(9, 1.2)


def ellipse(point_mm, ratio=1.4, angle_deg=25.0):
    """Point feed: reach is the mean radius sqrt(a b) of the ellipse through each spot."""
    x, y = grid_mm()
    turn = np.deg2rad(angle_deg)
    dx, dy = x - point_mm[0], y - point_mm[1]
    along = dx * np.cos(turn) + dy * np.sin(turn)
    over = -dx * np.sin(turn) + dy * np.cos(turn)
    return np.hypot(along / np.sqrt(ratio), over * np.sqrt(ratio)) + 0.3 * waves(11, 2.0)
