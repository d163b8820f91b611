"""Pen marks on the bag instead of photos: marks.csv to a front curve."""

from __future__ import annotations

import csv
from datetime import datetime
from pathlib import Path

import numpy as np

from vision.errors import WetlineError, bad_field
from vision.front.stall import find_stall
from vision.records import FloatArray, FrontCurve, FrontSummary, ScaleSummary, Tracked
from vision.settings.panel_settings import PanelSetup

MARK_SD_MM = 2.0
"""Uncertainty of a distance read off a pen mark: the pen's width, the tape, an uneven front.
Common practice, no source."""

CLOCK_SD_S = 5.0
"""Uncertainty of resin start by a shop clock. Common practice, no source."""

FEWEST_MARKS = 4

TIME_COLUMNS = {"time_s": 1.0, "time_min": 60.0}
DISTANCE_COLUMNS = {"distance_mm": 1.0, "distance_in": 25.4}


def read_marks(path: Path) -> tuple[np.ndarray, np.ndarray]:
    """Read marks.csv.

    Returns
    -------
    time_s : ndarray of shape (K,), float
        Seconds as written, or from the first row where the times are clock times.
    distance_mm : ndarray of shape (K,), float

    Raises
    ------
    WetlineError
        If a column is missing, a value is no number, or marks run backwards.
    """
    try:
        with path.open(newline="", encoding="utf-8-sig") as file:
            reader = csv.DictReader(row for row in file if row.strip() and row[0] != "#")
            reader.fieldnames = [name.strip() for name in reader.fieldnames or []]
            names, rows = list(reader.fieldnames), list(reader)
    except FileNotFoundError as error:
        raise WetlineError(f"{path}: not found: check [frames] source") from error
    except (OSError, UnicodeDecodeError, csv.Error) as error:
        raise WetlineError(f"{path}: cannot be read as a table: save it as CSV") from error
    time_key = next((key for key in (*TIME_COLUMNS, "clock") if key in names), None)
    distance_key = next((key for key in DISTANCE_COLUMNS if key in names), None)
    if time_key is None or distance_key is None:
        raise bad_field(
            path,
            "header",
            ", ".join(names),
            "must hold time_s, time_min or clock, and distance_mm or distance_in",
        )
    times, distances = [], []
    for number, row in enumerate(rows, start=2):
        text = (row.get(time_key) or "").strip()
        times.append(
            _clock_s(path, number, text)
            if time_key == "clock"
            else _number(path, number, time_key, text) * TIME_COLUMNS[time_key]
        )
        text = (row.get(distance_key) or "").strip()
        distances.append(_number(path, number, distance_key, text) * DISTANCE_COLUMNS[distance_key])
    time_s, distance_mm = np.array(times), np.array(distances)
    if time_key == "clock" and len(time_s):
        time_s = (time_s - time_s[0]) % 86400.0
    _check(path, time_s, distance_mm, distance_key)
    return time_s, distance_mm


def _number(path: Path, number: int, key: str, text: str) -> float:
    try:
        value = float(text.replace(",", "."))
    except ValueError:
        value = float("nan")
    if not np.isfinite(value) or value < 0:
        raise bad_field(
            path, f"row {number}, {key}", text or "(empty)", "must be a number, 0 or up"
        )
    return value


def _clock_s(path: Path, number: int, text: str) -> float:
    for form in ("%H:%M:%S", "%H:%M"):
        try:
            at = datetime.strptime(text, form)
        except ValueError:
            continue
        return float(at.hour * 3600 + at.minute * 60 + at.second)
    raise bad_field(
        path, f"row {number}, clock", text or "(empty)", "must be a time such as 14:03:20"
    )


def _check(path: Path, time_s: np.ndarray, distance_mm: np.ndarray, key: str) -> None:
    if len(time_s) < FEWEST_MARKS:
        raise WetlineError(f"{path}: {len(time_s)} marks: at least {FEWEST_MARKS} are needed")
    back = np.flatnonzero(np.diff(time_s) <= 0)
    if len(back):
        raise bad_field(
            path,
            f"row {back[0] + 3}, time",
            f"{time_s[back[0] + 1]:g} s",
            "must be later than the row before: put the marks in time order",
        )
    fallen = np.flatnonzero(np.diff(distance_mm) < -2 * MARK_SD_MM)
    if len(fallen):
        raise bad_field(
            path,
            f"row {fallen[0] + 3}, {key}",
            f"{distance_mm[fallen[0] + 1]:g} mm",
            "lies behind the mark before it: a front does not run back, mend the distance",
        )


def track_marks(setup: PanelSetup) -> Tracked:
    """Make the front curve of a pen-marked panel.

    The marks count as the mean front; there is no arrival map.
    """
    time_s, distance_mm = read_marks(setup.frames.path)
    length = setup.length_mm or float(distance_mm.max())
    if float(distance_mm.max()) > 1.02 * length:
        raise WetlineError(
            f"{setup.shown_file}: [panel] length_mm = {length:g}: shorter than the farthest mark "
            f"({distance_mm.max():g} mm): mend one of them"
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
        warnings=(
            "pen marks: how even the front was cannot be told",
            *([] if stall is None else [stall.warning]),
        ),
    )
    return curve, front
