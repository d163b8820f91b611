"""The same tracking as for a recording, kept light enough to be asked after every frame."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import cv2
import numpy as np

from vision.arrival.arrival_map import measure
from vision.front.front_curve import FrameTimes, read_curve
from vision.illumination.light_basis import LOG_OFFSET
from vision.records import (
    ArrivalMap,
    BoolArray,
    FloatArray,
    Frame,
    FrontCurve,
    FrontSummary,
    ScaleSummary,
)
from vision.rectify.rectifier import Rectifier, look_mask
from vision.repair.feed import Feed
from vision.scale.plane_map import PlaneMap
from vision.settings.panel_settings import PanelSetup
from vision.tracking.tracker import corrected
from vision.wetting.canvas_series import CanvasStack

MOST_HELD = 32
"""Canvases kept over the run; past that every second one goes."""

MOST_RECENT = 6
"""Latest canvases, kept beside those, so that the front of now is always in the stack."""

SETTLING = 5
"""Frames over which two looks are compared."""

FIRM_AFTER = 3
"""Frames after which the reading at a frame no longer changes."""

LEAST_FRAMES = 8
"""Frames before the first look: fewer cannot tell resin from the noise of a dry panel."""

AGREE_SHARE, AGREE_FRESH_SHARE = 0.02, 0.05
"""Shares of the panel's length within which two looks in a row must agree to be believed: at
frames that were settled in the first of them, and at the one before its last."""

_COARSE_MM = 1.8
"""Canvas pixels are joined until they are about this large: the front is a mean over a hundred
lanes, so it loses little, and the look is several times quicker."""


@dataclass(frozen=True)
class LiveFrame:
    """One canvas with what is known of its frame."""

    name: str
    clock_s: float
    note: str
    lost: bool
    canvas: np.ndarray
    border: FloatArray


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
class LiveLook:
    """What the run shows so far.

    Attributes
    ----------
    curve : FrontCurve
        Front at the frames held; its last entries are the latest frames.
    front : FrontSummary
    scale : ScaleSummary
    arrival : ArrivalMap
        Coarser than a recording's.
    start_clock_s, start_sd_s : float
        Resin start on the frames' clock.
    hidden : float
        Share of the front of now that was filled in rather than seen.
    agreed : bool
        Whether the look before this one showed the same; else neither is to be believed yet.
    """

    curve: FrontCurve
    front: FrontSummary
    scale: ScaleSummary
    arrival: ArrivalMap
    start_clock_s: float
    start_sd_s: float
    hidden: float
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
    count : int
        Frames taken.
    plane : PlaneMap
        Map of the latest frame.
    note : str
        What happened at the latest frame.
    lost : bool
        Whether the panel could not be found in it.
    repeats : int
        How many times running the very same picture has come; it is not taken again.
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
        self.setup, self.rectifier = setup, rectifier
        self.count = 0
        self.plane: PlaneMap = rectifier.plane
        self.note, self.lost = "", False
        self.repeats, self._offered = 0, 0
        self.firm: list[Reading] = []
        self._before: dict[str, float] = {}
        self._most, self._recent_most, self._stride = held, recent, 1
        self._held: list[LiveFrame] = []
        self._recent: list[LiveFrame] = []
        factor = max(1, round(_COARSE_MM / rectifier.mm_per_px))
        rows, cols = rectifier.shape
        self._shape = (max(1, rows // factor), max(8, cols // factor))
        self.mm_per_px = rectifier.plane.length_mm / self._shape[1]
        half = np.array([rectifier.plane.length_mm, rectifier.plane.width_mm]) / 2
        self._border_xy = (rectifier.border_mm - half) / half
        looked = look_mask(setup, rectifier.shape, rectifier.mm_per_px)
        self._looked = self._coarse_mask(looked)

    def add(self, frame: Frame) -> None:
        """Take the next frame in time."""
        flat = self.rectifier.rectify(frame)
        self.plane, self.note, self.lost = flat.plane, flat.note, flat.lost
        self.count += 1
        rows, cols = self._shape
        canvas = cv2.resize(flat.canvas, (cols, rows), interpolation=cv2.INTER_AREA)
        border = np.log(flat.border + LOG_OFFSET)
        taken = LiveFrame(frame.name, frame.clock_s, flat.note, flat.lost, canvas, border)
        if self._recent and np.array_equal(canvas, self._recent[-1].canvas):
            # A sensor has noise: the very same picture is a camera that has hung itself up.
            self.repeats += 1
            return
        self.repeats = 0
        self._recent.append(taken)
        if len(self._recent) > self._recent_most:
            self._hold(self._recent.pop(0))

    def _hold(self, frame: LiveFrame) -> None:
        """Move a frame from the latest to those kept over the run, thinning where it must."""
        self._offered += 1
        if (self._offered - 1) % self._stride:
            return
        self._held.append(frame)
        if len(self._held) > self._most:
            del self._held[1::2]
            self._stride *= 2

    def frames(self) -> list[LiveFrame]:
        """Give the frames in memory, in time order."""
        return [*self._held, *self._recent]

    def _coarse_mask(self, mask: BoolArray) -> BoolArray:
        rows, cols = self._shape
        share = cv2.resize(mask.astype(np.float32), (cols, rows), interpolation=cv2.INTER_AREA)
        return np.asarray(share > 0.5)

    def _stack(self, frames: list[LiveFrame]) -> CanvasStack:
        stack = CanvasStack(self._shape, self._border_xy, most=len(frames) + 1)
        for frame in frames:
            stack.add(frame.clock_s, frame.canvas, frame.border)
        return stack

    def look(
        self,
        start_clock_s: float | None = None,
        fixes: Callable[[float], FloatArray | None] = lambda _: None,
    ) -> LiveLook | None:
        """Measure the front as it stands; None while fewer than 8 frames show the panel.

        Parameters
        ----------
        start_clock_s : float or None
            Resin start on the frames' clock, where somebody stamped it.
        fixes : callable
            As for `vision.tracking.tracker.Tracker.finish`.
        """
        frames = self.frames()
        sighted = [frame for frame in frames if not frame.lost]
        if len(sighted) < LEAST_FRAMES:
            return None
        feed = Feed(
            point_mm=self.setup.feed_point_mm,
            radius_mm=self.setup.feed_radius_mm or 0.0,
            is_point=self.setup.flow == "point",
        )
        stack = self._stack(sighted)
        measured = measure(stack, self.mm_per_px, feed, start_clock_s, self._looked)
        points = fixes(measured.start_s)
        if points is not None:
            measured = corrected(measured, points, start_clock_s)
        times = FrameTimes(
            names=tuple(frame.name for frame in frames),
            time_s=np.array([frame.clock_s for frame in frames]) - measured.start_s,
            notes=tuple(frame.note for frame in frames),
            lost=np.array([frame.lost for frame in frames]),
        )
        scale = self.rectifier.summary()
        lanes = self._looked.mean(axis=1) > 0.5
        curve, front = read_curve(measured, times, scale, lanes)
        agreed = not measured.reason and self._agrees(curve)
        self._before = {} if measured.reason else _fronts(curve)
        if measured.reason:
            curve = replace(curve, used=np.zeros(len(curve.used), bool))
        if agreed:
            self._make_firm(curve, measured.start_s)
        return LiveLook(
            curve=curve,
            front=replace(front, frames=self.count),
            scale=scale,
            arrival=measured.arrival,
            start_clock_s=measured.start_s,
            start_sd_s=measured.start_sd_s,
            hidden=float(measured.hidden_share[-1]),
            agreed=agreed,
        )

    def _agrees(self, curve: FrontCurve) -> bool:
        """Compare with the look before at the frames that both hold."""
        fronts = _fronts(curve)
        common = [name for name in self._before if name in fronts]
        if len(common) < LEAST_FRAMES - 2:
            return False
        last = list(self._before)[-1]
        apart = [abs(fronts[n] - self._before[n]) for n in common if n != last][-SETTLING:]
        length = self.rectifier.plane.length_mm
        settled, fresh = apart[:-1], apart[-1]
        return max(settled) < AGREE_SHARE * length and fresh < AGREE_FRESH_SHARE * length

    def _make_firm(self, curve: FrontCurve, start_s: float) -> None:
        """Write down the readings that are old enough and not written yet."""
        last = self.firm[-1].clock_s if self.firm else -np.inf
        for k in range(len(curve.time_s) - FIRM_AFTER):
            clock = float(curve.time_s[k] + start_s)
            if clock > last + 1e-6:
                self.firm.append(Reading(curve.frames[k], clock, float(curve.front_mean_mm[k])))


def _fronts(curve: FrontCurve) -> dict[str, float]:
    return dict(zip(curve.frames, map(float, curve.front_mean_mm), strict=True))
