"""The few sizes and rates that the measuring rooms are set by, and what a run makes of them.

Sizes become pixels and spans become frames here and nowhere else: every section of the settings
is bound to a `CanvasScale` by `TrackerSettings.on_canvas`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from statistics import NormalDist

import numpy as np

from vision.records import IntArray

OFF = math.inf
"""A limit that nothing reaches: the part that it belongs to does nothing."""


@dataclass(frozen=True)
class Causes:
    """The few sizes and rates of a shop that the other numbers come from.

    Attributes
    ----------
    pen_mm : float
        Breadth of a pen line on a bag, with its bleed. Common practice, no source.
    tow_mm : float
        Breadth of a tow or a mesh of flow media: finer detail is texture. Common practice, no
        source.
    hand_mm : float
        Breadth of a hand without the thumb (from memory: 70 to 90 mm).
    passing_s : float
        Somebody who leans over, or holds something before the panel, is gone within this time.
        Common practice, no source.
    reference_frames : int
        Frames at either end of a run whose median shows the panel: the fewest that leave out a
        hand in one of them.
    outliers : float
        Rate of looks at a place that show something else than fabric under the light of the frame.
    false_alarms : float
        Events by chance, in all places and frames of a run, that are put up with.
    """

    pen_mm: float = 3.0
    tow_mm: float = 3.0
    hand_mm: float = 72.0
    passing_s: float = 60.0
    reference_frames: int = 3
    outliers: float = 0.02
    false_alarms: float = 1.0

    @property
    def clip(self) -> float:
        """Most that one look may say for wet or dry, in log-likelihood.

        Where a rate e of the looks is wrong whatever they show, no look can speak for either
        with more than log((1 - e) / e). Source: Huber, Ann. Math. Statist. 36, 1965.
        """
        return math.log((1 - self.outliers) / self.outliers)

    def alarm(self, looks: int) -> float:
        """Return the evidence gathered without a break that chance does not reach in a run.

        A sum of log-likelihood ratios set back at zero passes h by chance with a rate below
        exp(-h) a look. Source: Page, Biometrika 41, 1954; Lorden, Ann. Math. Statist. 42, 1971.

        Parameters
        ----------
        looks : int
            Places times frames.
        """
        return math.log(max(looks / self.false_alarms, math.e))

    def sigmas(self, looks: int) -> float:
        """Return the standard deviations that chance reaches no oftener than is put up with.

        Parameters
        ----------
        looks : int
            Places times frames.
        """
        rate = self.false_alarms / max(looks, 1)
        return max(-NormalDist().inv_cdf(min(rate, 0.5)), 0.0)

    def sigmas_in_plane(self, looks: int) -> float:
        """Return the same for the distance of two values at once (Rayleigh's law)."""
        return math.sqrt(2 * math.log(max(looks / self.false_alarms, 1.0)))

    def least_contrast(self, looks: int) -> float:
        """Return the step from dry to wet, in standard deviations of a look, that can be read.

        Half-way between dry and wet chance takes the one for the other no oftener in a run than
        is put up with.

        Parameters
        ----------
        looks : int
            Places times frames.
        """
        return 2 * self.sigmas(looks)


@dataclass(frozen=True)
class CanvasScale:
    """What a pixel and a frame of one run stand for.

    Attributes
    ----------
    mm_per_px : float
    step_s : float
        Usual time between two frames.

    Examples
    --------
    >>> CanvasScale(0.5, 5.0).odd_px(9.0), CanvasScale(1.75, 60.0).odd_px(9.0)
    (17, 5)
    >>> CanvasScale(0.5, 5.0).frames(60.0), CanvasScale(1.75, 60.0).frames(60.0)
    (12, 1)
    """

    mm_per_px: float = 1.0
    step_s: float = 20.0

    def odd_px(self, mm: float) -> int:
        """Return the odd number of pixels next to a length, at least 3."""
        return max(3, 2 * round((mm / self.mm_per_px - 1) / 2) + 1)

    def window(self, mm: float) -> IntArray:
        """Return a square of ones, `odd_px` wide, for OpenCV's morphology."""
        return np.ones((self.odd_px(mm),) * 2, np.uint8)

    def coarser(self, times: int) -> CanvasScale:
        """Return the scale of the same canvas with so many times larger pixels."""
        return replace(self, mm_per_px=times * self.mm_per_px)

    def frames(self, seconds: float) -> int:
        """Return the number of frames that a span takes in, at least 1."""
        return max(1, math.ceil(seconds / self.step_s))


@dataclass(frozen=True)
class Section:
    """What the sections have in common: the causes, and the run's pixels and frames."""

    causes: Causes = field(default_factory=Causes)
    scale: CanvasScale = field(default_factory=CanvasScale)

    def px(self, mm: float) -> int:
        """Return the odd number of pixels next to a length."""
        return self.scale.odd_px(mm)

    def window(self, mm: float) -> IntArray:
        """Return a square window as wide as a length."""
        return self.scale.window(mm)

    @property
    def passing_frames(self) -> int:
        """Frames in which something that passes stands before the panel."""
        return self.scale.frames(self.causes.passing_s)
