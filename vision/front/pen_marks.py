"""Pen marks on the bag instead of photos: marks.csv to a front curve."""

from __future__ import annotations

from datetime import datetime, time
from pathlib import Path

import numpy as np

from vision.common.csv_table import CsvTable, clock_text_s, number_column, read_table
from vision.common.quantity import LENGTH_MM, other_units
from vision.errors import WetlineError
from vision.front.stall import find_stall
from vision.records import FloatArray, FrontCurve, FrontSummary, ScaleSummary, Tracked
from vision.settings.panel_settings import PanelSetup

MARK_SD_MM = 2.0
"""Uncertainty of a distance read off a pen mark: the pen's width, the tape, an uneven front.
Common practice, no source."""

CLOCK_SD_S = 5.0
"""Uncertainty of resin start by a shop clock. Common practice, no source."""

FEWEST_MARKS = 4

TIME_COLUMNS = {"time_s": 1.0, "time_min": 60.0, "time_h": 3600.0}
DISTANCE_COLUMNS = {
    "distance_mm": 1.0,
    "distance_cm": 10.0,
    "distance_m": 1000.0,
    "distance_in": 25.4,
}
DAY_S = 86400.0
LEAST_STEP_S = 5.0
"""Nobody makes pen marks faster (common practice, no source)."""
LONGEST_S = 86400.0
"""No panel is watched with a pen for longer (common practice, no source)."""
LEAST_SHARE = 0.05
"""Marks that end before this share of the panel are questioned."""


def read_marks(
    path: Path, resin_start: float | datetime | time | None = None
) -> tuple[FloatArray, FloatArray]:
    """Read marks.csv.

    Parameters
    ----------
    path : Path
    resin_start : float, datetime, time or None
        When the resin entered: seconds on the marks' own clock (for clock times, from the first
        row), or a clock time. None: at time 0, or at the first row of clock times.

    Returns
    -------
    time_s : ndarray of shape (K,), float
        Seconds since resin start.
    distance_mm : ndarray of shape (K,), float

    Raises
    ------
    WetlineError
        If a column is missing, a value is no number, marks run backwards, or resin start does not
        fit them.
    """
    table = read_table(path)
    clock = table.pick((*TIME_COLUMNS, "clock"), _HEADER)
    column = table.pick(tuple(DISTANCE_COLUMNS), _HEADER)
    distance_mm = number_column(path, table, column) * DISTANCE_COLUMNS[column]
    if clock == "clock":
        time_s = _clock_times(table, resin_start)
    else:
        time_s = number_column(path, table, clock) * TIME_COLUMNS[clock]
        if isinstance(resin_start, datetime | time):
            raise WetlineError(
                f"{path}: column {clock} holds no clock times: give [frames] resin_start in "
                "seconds, or take it out"
            )
        time_s = time_s - (resin_start or 0.0)
    _check(table, clock, column, time_s, distance_mm)
    return time_s, distance_mm


_HEADER = "time_s, time_min or clock, and distance_mm or distance_in"


def _clock_times(table: CsvTable, resin_start: float | datetime | time | None) -> FloatArray:
    """Return seconds since resin start of clock times, which may pass midnight once."""
    of_day = []
    for row, text in enumerate(table["clock"]):
        try:
            of_day.append(clock_text_s(text))
        except ValueError as error:
            raise table.bad_cell(row, "clock", str(error)) from None
    steps = np.diff(of_day) % DAY_S
    back = np.flatnonzero(steps > DAY_S / 2)
    if len(back):
        raise table.bad_cell(
            int(back[0]) + 1,
            "clock",
            "must be later than the row before: put the marks in time order",
        )
    time_s = np.concatenate([[0.0], np.cumsum(steps)])
    if resin_start is None:
        return time_s
    if not isinstance(resin_start, datetime | time):
        return time_s - resin_start
    start_s = resin_start.hour * 3600.0 + resin_start.minute * 60.0 + resin_start.second
    lead_s = (of_day[0] - start_s) % DAY_S
    return time_s + lead_s - DAY_S * (lead_s > DAY_S / 2)


def _check(
    table: CsvTable, clock: str, column: str, time_s: FloatArray, distance_mm: FloatArray
) -> None:
    """Refuse marks that a front cannot make."""
    if len(time_s) < FEWEST_MARKS:
        raise WetlineError(f"{table.path}: {len(time_s)} marks: at least {FEWEST_MARKS} are needed")
    below = np.flatnonzero(distance_mm < 0)
    if len(below):
        raise table.bad_cell(int(below[0]), column, "must be a number, 0 or up")
    back = np.flatnonzero(np.diff(time_s) <= 0)
    if len(back):
        rule = "must be later than the row before: put the marks in time order"
        raise table.bad_cell(int(back[0]) + 1, clock, rule)
    early = np.flatnonzero((time_s <= 0) & (distance_mm > 2 * MARK_SD_MM))
    if len(early):
        rule = (
            "is not after resin start, yet the front stands here already: give [frames] "
            'resin_start = "14:03:00", or begin with a row of distance 0 when the resin enters'
            if clock == "clock"
            else "is not after resin start (time 0), yet the front stands here already: count from "
            "resin start, or give [frames] resin_start in seconds"
        )
        raise table.bad_cell(int(early[-1]), clock, rule)
    fallen = np.flatnonzero(np.diff(distance_mm) < -2 * MARK_SD_MM)
    if len(fallen):
        rule = "lies behind the mark before it: a front does not run back, mend the distance"
        raise table.bad_cell(int(fallen[0]) + 1, column, rule)


def _check_likely(
    setup: PanelSetup, path: Path, time_s: FloatArray, distance_mm: FloatArray
) -> None:
    """Refuse marks that are most likely in another unit, unless the user has confirmed them."""
    if "source" in setup.frames.confirmed:
        return
    confirm = 'if it is true, write confirmed = ["source"] under [frames]'
    step_s = float(np.median(np.diff(time_s)))
    if step_s < LEAST_STEP_S:
        raise WetlineError(
            f"{path}: marks {step_s:.2g} s apart, {time_s[-1]:.0f} s in all: if the times are "
            f"minutes, name the column time_min; {confirm}"
        )
    if time_s[-1] > LONGEST_S:
        raise WetlineError(
            f"{path}: marks over {time_s[-1] / 3600:.0f} hours: if the times are seconds, name the "
            f"column time_s; {confirm}"
        )
    length = setup.length_mm
    if length is not None and distance_mm.max() < LEAST_SHARE * length:
        raise WetlineError(
            f"{path}: the marks end at {distance_mm.max():g} mm of a panel of {length:g} mm: if "
            "the distances are in another unit, name the column distance_cm, distance_in or "
            f"distance_m; {confirm}"
        )


def track_marks(setup: PanelSetup) -> Tracked:
    """Return the front curve of a pen-marked panel.

    The marks count as the mean front; there is no arrival map.
    """
    time_s, distance_mm = read_marks(setup.frames.path, setup.frames.resin_start)
    _check_likely(setup, setup.frames.path, time_s, distance_mm)
    length = setup.length_mm or float(distance_mm.max())
    if float(distance_mm.max()) > 1.02 * length:
        raise WetlineError(
            f"{setup.shown_file}: [panel] length_mm = {length:g}: shorter than the farthest mark "
            f"({distance_mm.max():g} mm): mend one of them{_meant(length, distance_mm.max())}"
        )
    curve, front = _curve_of(setup, time_s, distance_mm, length)
    scale = ScaleSummary(
        method="marks",
        mm_per_px=float("nan"),
        error_mm=MARK_SD_MM,
        relative_sd=0.002,
        length_mm=length,
        width_mm=setup.width_mm or 0.0,
        assumption="distances as read off the tape",
    )
    return Tracked(None, curve, front, scale)


def _meant(length_mm: float, farthest_mm: float) -> str:
    """Return the units in which a panel's length would hold the farthest mark."""
    others = other_units(length_mm, LENGTH_MM, (0.98 * farthest_mm, 30 * farthest_mm))
    ways = " or ".join(f'"{text}"' for text in others[:2])
    return f"; write {ways} if that is meant" if ways else ""


def _reach_mm(setup: PanelSetup) -> float:
    """Return how far the front can go before it meets an edge; infinity where no size is given."""
    length, width = setup.length_mm or np.inf, setup.width_mm or np.inf
    return length if setup.flow == "edge" else min(length, width) / 2


def _curve_of(
    setup: PanelSetup, time_s: FloatArray, distance_mm: FloatArray, length_mm: float
) -> tuple[FrontCurve, FrontSummary]:
    sd = np.full(len(time_s), MARK_SD_MM)
    at_end = distance_mm >= 0.995 * length_mm if setup.length_mm else np.zeros(len(time_s), bool)
    first_end = int(np.argmax(at_end)) if at_end.any() else len(time_s)
    stall = find_stall(time_s, distance_mm, _reach_mm(setup), MARK_SD_MM)
    why = np.full(len(time_s), "", dtype=object)
    if stall is not None:
        why[time_s > stall.since_s] = "front stalled"
    why[np.arange(len(time_s)) > first_end] = "front reached the end"
    why[distance_mm <= 0] = "no front yet"
    used = why == ""
    columns = ("front_mean_mm", "front_median_mm", "front_min_mm", "front_max_mm", "front_clean_mm")
    numbers: dict[str, FloatArray] = dict.fromkeys(columns, distance_mm)
    if setup.flow == "edge":
        numbers["wetted_fraction"] = np.clip(distance_mm / length_mm, 0.0, 1.0)
    curve = FrontCurve.of(
        setup.flow,
        [f"mark {k}" for k in range(1, len(time_s) + 1)],
        time_s,
        used,
        tuple(why),
        **numbers,
        front_sd_mm=sd,
        front_clean_sd_mm=sd,
    )
    front = FrontSummary(
        usable=True,
        reason="",
        frames=len(time_s),
        frames_used=int(used.sum()),
        resin_start_sd_s=CLOCK_SD_S,
        length_reached_mm=float(distance_mm.max()),
        filled=bool(at_end.any()),
        stalled_at_mm=None if stall is None else stall.front_mm,
        stalled_at_s=None if stall is None else stall.since_s,
        race_tracking_mm=None,
        warnings=(
            "read from pen marks: these do not show whether the front ran evenly across the panel",
            *([] if stall is None else [stall.warning]),
        ),
    )
    return curve, front
