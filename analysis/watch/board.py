"""The board's numbers: what the run shows, how it will go on, and what that means."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from analysis.fit.permeability import PermeabilityFit
from analysis.forecast.panel_answer import fit_panel
from analysis.forecast.panel_text import TextRow
from analysis.panel.records import Panel
from analysis.panel.resin import gel_time
from analysis.runs.panels.good_run import Reference
from analysis.watch.alarms import Alarm
from analysis.watch.end_forecast import (
    LEAST_REACH,
    SETTLED,
    EndForecast,
    forecast_end,
    speed_mm_min,
    without_last,
)
from analysis.watch.reference import ReferenceComparison, compare
from vision.records import FloatArray, FrontCurve
from vision.tracking.live_tracker import LiveFront

NOT_YET, DRY, RUNNING, ENDED = "getting ready", "before resin", "running", "ended"
PLAUSIBLE_STEPS = 3.0
"""The front of the very latest frames counts when it is within this many usual steps of what is
settled; else it is a hand or a flash until later frames say otherwise."""

LEAST_STEP_MM = 6.0
FEWEST_TO_FIT = 6


@dataclass(frozen=True)
class Front:
    """The front of now.

    Attributes
    ----------
    mean_mm : float
        Mean over the width.
    low_mm, high_mm : float or None
        Trailing and leading edge; None while something hides enough of the front to hide them.
    sd_mm : float
        Uncertainty of the mean.
    settled : bool
        False while the latest frames do not yet agree.
    speed_mm_min : float or None
    length_mm : float
        Distance to the end of the panel.
    filled : bool
    half_mm : float or None
        How far half of the width is wet; None with a point feed, and where it is not seen.
    other : {"", "first", "second"}
        Which of two changes is not followed, where two pass over the panel.
    """

    mean_mm: float
    low_mm: float | None
    high_mm: float | None
    sd_mm: float
    settled: bool
    speed_mm_min: float | None
    length_mm: float
    filled: bool
    half_mm: float | None = None
    other: str = ""


@dataclass(frozen=True)
class Gel:
    """Gel clock, seconds since resin start."""

    gel_s: float
    working_s: float


@dataclass(frozen=True, eq=False)
class Numbers:
    """All that is worked out from one measurement; only the same object counts as equal.

    Attributes
    ----------
    front : Front or None
        None before resin or while nothing can be measured.
    time_s, front_mm : ndarray
        Settled readings, for the chart.
    end : EndForecast or None
    end_reached_s : float or None
        When the front was at the end, once it is.
    beside : ReferenceComparison or None
    cannot : str
        Why nothing can be measured; empty when it can.
    doubts : tuple of str
        Why the front as a whole may be wrong.
    """

    front: Front | None = None
    time_s: FloatArray = field(default_factory=lambda: np.zeros(0))
    front_mm: FloatArray = field(default_factory=lambda: np.zeros(0))
    end: EndForecast | None = None
    end_reached_s: float | None = None
    beside: ReferenceComparison | None = None
    cannot: str = ""
    doubts: tuple[str, ...] = ()


@dataclass(frozen=True)
class Board:
    """What the screen shows; times are Unix times unless the name says otherwise.

    Attributes
    ----------
    state : str
        One of ``getting ready``, ``before resin``, ``running``, ``ended``.
    todo : str
        What the user should do next, in words.
    version : int
        Grows with each change.
    delay_s : float or None
        From the picture being on disk to the board showing it.
    """

    name: str
    state: str = NOT_YET
    todo: str = ""
    version: int = 0
    frames: int = 0
    frame_clock_s: float | None = None
    delay_s: float | None = None
    start_clock_s: float | None = None
    start_stamped: bool = False
    clamp_clock_s: float | None = None
    camera: str = ""
    numbers: Numbers = field(default_factory=Numbers)
    gel: Gel | None = None
    alarms: tuple[Alarm, ...] = ()
    drawdown: tuple[str, str] = ("", "")
    final: tuple[TextRow, ...] = ()

    @property
    def has_front(self) -> bool:
        """Whether a front is seen."""
        return self.numbers.front is not None


def panel_gel(panel: Panel) -> Gel | None:
    """Gel and working time of a panel counted from resin start; None where none is given."""
    gel = gel_time(panel.resin)
    if gel is None:
        return None
    lead = panel.resin.mixed_before_start_s
    return Gel(gel.gel_s - lead, gel.working_s - lead)


def end_length_mm(live: LiveFront, feed_point_mm: tuple[float, float] | None) -> float:
    """Distance from the feed to the end; with a point feed, to the nearest edge."""
    if live.tracked.curve.flow == "edge":
        return live.tracked.scale.length_mm
    length, width = live.tracked.scale.length_mm, live.tracked.scale.width_mm
    x, y = feed_point_mm if feed_point_mm is not None else (length / 2, width / 2)
    return max(1.0, min(x, length - x, y, width - y))


def read_numbers(
    live: LiveFront,
    panel: Panel,
    references: Sequence[Reference] = (),
    feed_point_mm: tuple[float, float] | None = None,
) -> Numbers:
    """Work out the board's numbers from one measurement.

    Parameters
    ----------
    live : LiveFront
    panel : Panel
        The panel record; what it lacks stays empty on the board.
    references : sequence of Reference
        Good runs to compare with.
    feed_point_mm : (float, float) or None
        Point feed, where panel.toml gives it.
    """
    if not live.tracked.front.usable:
        return Numbers(cannot=live.tracked.front.reason)
    settled = without_last(live.tracked.curve, SETTLED)
    going = settled.time_s > 0
    length = end_length_mm(live, feed_point_mm)
    if not going.any() or settled.front_mean_mm[-1] <= 0:
        return Numbers(doubts=live.tracked.front.doubts)
    time, mean = settled.time_s[going], settled.front_mean_mm[going]
    front = _front_now(live, settled.front_mean_mm, time, mean, length)
    reached = _reached_s(time, mean, length) if front.filled else None
    end = None
    if reached is None and mean[-1] > LEAST_REACH * length:
        end = _end(panel, live, settled, length)
    repeat = panel.part.repeat_sd if panel.part else 0.08
    beside = None
    if references and not front.filled:
        beside = compare(references, float(time[-1]), float(mean[-1]), repeat)
    doubts = live.tracked.front.doubts
    return Numbers(front, time, mean, end, reached, beside, doubts=doubts)


def _front_now(
    live: LiveFront, settled_mm: FloatArray, time: FloatArray, mean: FloatArray, length: float
) -> Front:
    curve = live.tracked.curve
    step = float(np.median(np.abs(np.diff(mean[-8:])))) if len(mean) > 2 else 0.0
    most = settled_mm[-1] + PLAUSIBLE_STEPS * max(step, LEAST_STEP_MM / PLAUSIBLE_STEPS) * SETTLED
    good = bool(settled_mm[-1] - 1.0 <= curve.front_mean_mm[-1] <= most)
    k = len(curve.time_s) - 1 if good else len(settled_mm) - 1
    filled = bool(mean[-1] >= 0.99 * length)
    speed = None if filled else speed_mm_min(time, mean)
    return Front(
        mean_mm=float(curve.front_mean_mm[k]),
        low_mm=_told(curve.front_min_mm[k]),
        high_mm=_told(curve.front_max_mm[k]),
        sd_mm=float(curve.front_sd_mm[k]),
        settled=good,
        speed_mm_min=None if speed is None else max(speed, 0.0),
        length_mm=length,
        filled=filled,
        half_mm=_told(curve.front_half_mm[k]),
        other="" if live.tracked.second is None else live.tracked.second.which,
    )


def _told(value_mm: float) -> float | None:
    """Return what was seen; None where a hole hides it."""
    return float(value_mm) if np.isfinite(value_mm) else None


MOTTLED_MM = 5.0
"""From here on it is worth a word that half of the width is wet only so far behind the mean front.
Common practice, no source."""


def width_text(front: Front) -> str:
    """Write how the front lies over the width; what is hidden is said to be.

    Examples
    --------
    >>> width_text(Front(224.0, 220.0, 228.0, 0.5, True, 16.0, 300.0, False))
    '220 to 228 over the width'
    >>> width_text(Front(224.0, None, None, 0.5, True, 16.0, 300.0, False, 212.0))
    'leading and trailing edge hidden; half of the width wet to 212'
    >>> width_text(Front(224.0, 220.0, 228.0, 0.5, True, 16.0, 300.0, False, other="second"))
    '220 to 228 over the width; two changes pass over the panel, this is the first'
    """
    hidden = [
        name
        for name, edge in (("leading", front.high_mm), ("trailing", front.low_mm))
        if edge is None
    ]
    text = f"{' and '.join(hidden)} edge hidden"
    if front.low_mm is not None and front.high_mm is not None:
        text = f"{front.low_mm:.0f} to {front.high_mm:.0f} over the width"
    if front.half_mm is not None and front.mean_mm - front.half_mm >= MOTTLED_MM:
        text += f"; half of the width wet to {front.half_mm:.0f}"
    if front.other:
        followed = "first" if front.other == "second" else "second"
        text += f"; two changes pass over the panel, this is the {followed}"
    return text


def _reached_s(time: FloatArray, mean: FloatArray, length: float) -> float:
    return float(time[int(np.argmax(mean >= 0.99 * length))])


def _end(
    panel: Panel, live: LiveFront, settled: FrontCurve, length_mm: float
) -> EndForecast | None:
    if np.count_nonzero(settled.used) < FEWEST_TO_FIT:
        return None
    front = replace(live.tracked.front, frames_used=int(np.count_nonzero(settled.used)))
    with np.errstate(invalid="ignore"):
        fit, _ = fit_panel(panel, replace(live.tracked, curve=settled, front=front))
    if not isinstance(fit, PermeabilityFit):
        return None
    return forecast_end(fit, length_mm / 1000.0, float(settled.front_mean_mm[-1]) / 1000.0)


def clock_text(seconds: float) -> str:
    """Write a span as a shop clock: ``7:05`` min, ``1:02:30`` h.

    Examples
    --------
    >>> clock_text(425.0), clock_text(3750.0), clock_text(-3.0)
    ('7:05', '1:02:30', '-0:03')
    """
    if not math.isfinite(seconds):
        return "never"
    sign, whole = ("-" if seconds < 0 else ""), int(abs(seconds))
    hours, rest = divmod(whole, 3600)
    minutes, secs = divmod(rest, 60)
    return f"{sign}{hours}:{minutes:02d}:{secs:02d}" if hours else f"{sign}{minutes}:{secs:02d}"


def overdue(board: Board, elapsed_s: float | None) -> bool:
    """Whether the front should have been at the end by now, by all that the forecast allows."""
    end = board.numbers.end
    if elapsed_s is None or end is None or board.numbers.end_reached_s is not None:
        return False
    return elapsed_s > end.high_s


def end_text(board: Board, elapsed_s: float | None) -> str:
    """Write when the front will be at the end, with its band, in one line.

    No time that has passed is shown as one to come.
    """
    numbers = board.numbers
    if numbers.end_reached_s is not None:
        return f"reached at {clock_text(numbers.end_reached_s)}"
    if numbers.end is None or elapsed_s is None:
        return "not known yet"
    if not math.isfinite(numbers.end.end_s):
        return "never: the resin stiffens first"
    end, low, high = numbers.end.end_s, numbers.end.low_s, numbers.end.high_s
    if overdue(board, elapsed_s):
        return f"OVERDUE: was to be there by {clock_text(high)} at the latest (95 %)"
    tail = "; later if it goes on slowing" if numbers.end.slowing else ""
    if elapsed_s > low:
        first = f"in {clock_text(end - elapsed_s)}" if end > elapsed_s else "due now"
        return f"{first} (95 %: by {clock_text(high)}{tail})"
    return (
        f"in {clock_text(end - elapsed_s)} (at {clock_text(end)}; 95 %: {clock_text(low)} to "
        f"{clock_text(high)}{tail})"
    )


def gel_text(board: Board, elapsed_s: float | None) -> str:
    """Write how long to gel, and how much later that is than the end."""
    if board.gel is None:
        return "no gel time in panel.toml"
    if elapsed_s is None:
        return f"{clock_text(board.gel.gel_s)} after resin start"
    left = board.gel.gel_s - elapsed_s
    text = f"in {clock_text(left)}" if left > 0 else f"PASSED {clock_text(-left)} ago"
    margin = margin_s(board, elapsed_s)
    if margin is None:
        return text
    side = "after" if margin >= 0 else "BEFORE"
    return f"{text}, {clock_text(abs(margin))} {side} the end"


def margin_s(board: Board, elapsed_s: float | None = None) -> float | None:
    """Gel time less time of the end; None where one is not known, or the end is overdue.

    A front that is not at the end yet will not have been there before now.
    """
    numbers = board.numbers
    if board.gel is None or overdue(board, elapsed_s):
        return None
    end = numbers.end_reached_s
    if end is None:
        if numbers.end is None:
            return None
        end = max(numbers.end.end_s, -math.inf if elapsed_s is None else elapsed_s)
    return board.gel.gel_s - end
