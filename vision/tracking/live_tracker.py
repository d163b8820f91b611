"""The tracker while a run goes on: asked after each frame, believed once two answers agree."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from vision.records import Frame, FrontCurve, Tracked
from vision.rectify.rectifier import Rectifier
from vision.settings.panel_settings import PanelSetup
from vision.tracking.canvases import MOST_HELD, MOST_RECENT, LiveCanvases
from vision.tracking.tracker import Fixes, TrackedRun, Tracker, no_fixes

SETTLING = 5
"""Frames over which two measurements are compared."""

FIRM_AFTER = 3
"""Frames after which the reading at a frame no longer changes."""

AGREE_SHARE, AGREE_FRESH_SHARE = 0.02, 0.05
"""Shares of the panel's length within which two measurements in a row must agree to be believed: at
frames that were settled in the first of them, and at the one before its last."""


@dataclass(frozen=True)
class Reading:
    """Front at one frame as it stood when it became firm.

    Attributes
    ----------
    name : str
        The frame.
    clock_s : float
        Its time.
    front_mm : float
        Mean front distance (radius with a point feed).
    """

    name: str
    clock_s: float
    front_mm: float


@dataclass(frozen=True)
class LiveFront:
    """What the run shows so far.

    Attributes
    ----------
    tracked : Tracked
        Its curve holds the frames in memory, the latest last; its arrival map is coarse.
    start_clock_s : float
        Resin start on the frames' clock.
    hidden_share : float
        Share of the front of now that was filled in rather than seen.
    agreed : bool
        Whether the measurement before showed the same; else neither is to be believed yet.
    """

    tracked: Tracked
    start_clock_s: float
    hidden_share: float
    agreed: bool


class LiveTracker:
    """Follows one panel while it fills, in a memory that does not grow with the run.

    Parameters
    ----------
    setup : PanelSetup
    rectifier : Rectifier
        Made from the first frames, as for a recording.
    held, recent : int
        Canvases kept over the run, and latest ones kept beside them.

    Attributes
    ----------
    tracker : Tracker
        The same as for a recording, with few and coarse canvases.
    canvases : LiveCanvases
        What it keeps.
    firm : list of Reading
        The front at each frame as it stood `FIRM_AFTER` frames later: three numbers a frame.
    """

    def __init__(
        self,
        setup: PanelSetup,
        rectifier: Rectifier,
        held: int = MOST_HELD,
        recent: int = MOST_RECENT,
    ) -> None:
        self.canvases = LiveCanvases(rectifier, held, recent)
        self.tracker = Tracker(setup, rectifier, self.canvases)
        self.firm: list[Reading] = []
        self._before: dict[str, float] = {}

    def add(self, frame: Frame) -> None:
        """Take the next frame in time."""
        self.tracker.add(frame)

    def measure(
        self, start_clock_s: float | None = None, fixes: Fixes = no_fixes
    ) -> LiveFront | None:
        """Measure the front as it stands; None while fewer than 8 frames show the panel.

        Parameters
        ----------
        start_clock_s : float or None
            Resin start on the frames' clock, where somebody stamped it.
        fixes : callable
            As for `vision.tracking.tracker.Tracker.read`.
        """
        run = self.tracker.read(start_clock_s, fixes)
        if run is None:
            return None
        tracked = run.tracked
        agreed = tracked.front.usable and self._agrees(tracked.curve)
        self._before = _fronts(tracked.curve) if tracked.front.usable else {}
        if agreed:
            self._make_firm(run)
        front = replace(tracked.front, frames=self.tracker.count)
        return LiveFront(
            tracked=replace(tracked, front=front),
            start_clock_s=run.start_clock_s,
            hidden_share=run.hidden_share,
            agreed=agreed,
        )

    def _agrees(self, curve: FrontCurve) -> bool:
        """Compare with the measurement before at the frames that both hold."""
        fronts = _fronts(curve)
        common = [name for name in self._before if name in fronts]
        if len(common) < self.canvases.fewest - 2:
            return False
        last = list(self._before)[-1]
        apart = [abs(fronts[n] - self._before[n]) for n in common if n != last][-SETTLING:]
        length = self.tracker.rectifier.plane.length_mm
        settled, fresh = apart[:-1], apart[-1]
        return max(settled) < AGREE_SHARE * length and fresh < AGREE_FRESH_SHARE * length

    def _make_firm(self, run: TrackedRun) -> None:
        """Write down the readings that are old enough and not written yet."""
        last = self.firm[-1].clock_s if self.firm else -np.inf
        curve = run.tracked.curve
        for k in range(len(curve.time_s) - FIRM_AFTER):
            clock = float(curve.time_s[k] + run.start_clock_s)
            if clock > last + 1e-6:
                self.firm.append(Reading(curve.frames[k], clock, float(curve.front_mean_mm[k])))


def _fronts(curve: FrontCurve) -> dict[str, float]:
    return dict(zip(curve.frames, map(float, curve.front_mean_mm), strict=True))
