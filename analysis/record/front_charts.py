"""The curves of the record: distance against time, and squared distance against time."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analysis.record.palette import BLUE, GREY, INK, VERMILION
from vision.drawing.charts.chart import Band, Chart, Line, Mark, RightAxis, Rule
from vision.records import FloatArray, SecondFront

_FARTHEST = 2.5
"""An end of the fill interval farther off than this many widths of the axes runs off them."""
_BEYOND = 1.05
"""Of the last point, where nothing else says how far an axis goes."""
FULL = Mark("disc", 4.2, INK, INK)
HOLLOW = Mark("square", 4.6, "#ffffff", GREY)

Items = tuple[Line | Band | Rule, ...]
Span = tuple[float, float]


@dataclass(frozen=True)
class FitBand:
    """A fitted curve and its 95 % band, each an array over the same horizontal values.

    Attributes
    ----------
    across : ndarray of shape (K,)
        Seconds for `distance_chart`; the horizontal values of `squared_chart`.
    middle, low, high : ndarray of shape (K,)
        mm for `distance_chart`, mm2 for `squared_chart`. NaN leaves a gap.
    """

    across: NDArray[np.floating]
    middle: NDArray[np.floating]
    low: NDArray[np.floating]
    high: NDArray[np.floating]


@dataclass(frozen=True)
class TimeLimit:
    """A time to mark with an upright line, such as gel time."""

    name: str
    time_s: float


def distance_chart(
    time_s: ArrayLike,
    distance_mm: ArrayLike,
    used: ArrayLike,
    *,
    fit: FitBand | None = None,
    limits: Sequence[TimeLimit] = (),
    flow_length_mm: float | None = None,
    flow: str = "edge",
    other: SecondFront | None = None,
    fill_s: tuple[float, float, float] | None = None,
    right: RightAxis | None = None,
) -> Chart:
    """Return the chart of front distance against time.

    Parameters
    ----------
    time_s, distance_mm : array of shape (N,)
        The measured front, seconds since resin start and mm; NaN is left out.
    used : array of shape (N,), bool
        Whether the fit used the point: full dots, else hollow squares.
    fit : FitBand or None
        Fitted curve in seconds and mm.
    limits : sequence of TimeLimit
        Upright lines with their names, e.g. gel time and working time.
    flow_length_mm : float or None
        The part's flow length, a level line.
    flow : {"edge", "point"}
        Words of the upright axis.
    other : SecondFront or None
        The front of another change that passed over the panel: a dotted line with triangles.
    fill_s : (low, middle, high) or None
        When the part is full, with its 95 % interval: a bar on the part's flow length. An end
        that is not known or never comes is infinite.
    right : RightAxis or None
        Another scale for the distance, at the right.

    Returns
    -------
    chart : Chart
        Time in min, distance in mm. Give it to `chart_png`.
    """
    minutes, up = np.asarray(time_s, float) / 60, np.asarray(distance_mm, float)
    items: Items = _points(minutes, up, np.asarray(used, bool))
    if other is not None:
        items += (_other_front(other),)
    if fit is not None:
        items += _band(fit, 60.0, _last_used(minutes, used))
    x_span, y_span = _window(minutes, up, fit, limits, flow_length_mm)
    if flow_length_mm is not None:
        words = f"part's flow length {flow_length_mm:.0f} mm"
        items += (Rule(flow_length_mm, words, INK, dash=(7, 3)),)
        if fill_s is not None:
            x_span = _with_fill(x_span, fill_s)
            items += _fill_bar(x_span[1], flow_length_mm, fill_s)
    for i, limit in enumerate(sorted(limits, key=lambda limit: limit.time_s)):
        items += (_upright(limit, i),)
    up_label = "flow front, mm" if flow == "edge" else "radius of the flow front, mm"
    return Chart(items, x_span, y_span, "time from resin start, min", up_label, right)


def squared_chart(
    across: ArrayLike,
    distance_mm: ArrayLike,
    used: ArrayLike,
    *,
    fit: FitBand | None = None,
    across_label: str = "time from resin start, min",
    across_unit: float = 60.0,
    up_label: str = "front distance squared, cm²",
) -> Chart:
    """Return the chart of squared distance, where Darcy's law asks for a straight line.

    Parameters
    ----------
    across : array of shape (N,)
        Seconds since resin start, or the driving impulse (integral of pressure over viscosity)
        when those were not constant.
    distance_mm : array of shape (N,)
        Front distance in mm; it is squared here and shown in cm2.
    used : array of shape (N,), bool
        As in `distance_chart`.
    fit : FitBand or None
        Fitted line over values of `across`, in mm2.
    across_label : str
        Words of the level axis.
    across_unit : float
        What `across` is divided by: 60 turns seconds into minutes; 1 leaves an impulse as it is.
    up_label : str
        Words of the upright axis.

    Returns
    -------
    chart : Chart
    """
    level = np.asarray(across, float) / across_unit
    squared_cm2 = np.asarray(distance_mm, float) ** 2 / 100
    items: Items = _points(level, squared_cm2, np.asarray(used, bool))
    shown_x, shown_y = [level], [squared_cm2]
    if fit is not None:
        cm2 = FitBand(fit.across, fit.middle / 100, fit.low / 100, fit.high / 100)
        items += _band(cm2, across_unit, _last_used(level, used))
        shown_x.append(np.asarray(fit.across, float) / across_unit)
        shown_y += [np.asarray(v, float) for v in (cm2.middle, cm2.low, cm2.high)]
    x_known, y_known = _known(*shown_x), _known(*shown_y)
    x_span = (min(0.0, _least(level)), _BEYOND * float(np.max(x_known, initial=0.0)))
    y_span = (0.0, _BEYOND * float(np.max(y_known, initial=0.0)))
    return Chart(items, _rising(x_span), _rising(y_span), across_label, up_label)


def _points(across: FloatArray, up: FloatArray, used: NDArray[np.bool_]) -> Items:
    known = np.isfinite(across) & np.isfinite(up)
    full, hollow = known & used, known & ~used
    items: Items = ()
    if full.any():
        items += (Line(across[full], up[full], INK, mark=FULL, name="measured", level=4),)
    if hollow.any():
        name = "measured, not used"
        items += (Line(across[hollow], up[hollow], GREY, mark=HOLLOW, name=name, level=3),)
    return items


def _other_front(other: SecondFront) -> Line:
    """Return the front that is not followed, a triangle at every few of its points."""
    every = max(1, len(other.time_s) // 12)
    return Line(
        other.time_s / 60,
        other.front_mm,
        VERMILION,
        1.6,
        (1.0, 1.65),
        Mark("triangle", 4.8, "#ffffff", VERMILION, every=every),
        f"{other.which} change, not followed",
        level=3,
    )


def _band(fit: FitBand, unit: float, last_used: float) -> Items:
    """Return the fit, whole over the points it used and dashed beyond, with its band."""
    across, middle = np.asarray(fit.across, float) / unit, np.asarray(fit.middle, float)
    low, high = np.asarray(fit.low, float), np.asarray(fit.high, float)
    items: Items = (Band(across, low, high, BLUE, name="95 % band"),)
    behind, ahead = across <= last_used, across >= last_used
    if behind.any():
        items += (Line(across[behind], middle[behind], BLUE, 1.8, name="fit"),)
    if ahead.any():
        ahead |= np.r_[ahead[1:], False]  # join on to the fit
        items += (Line(across[ahead], middle[ahead], BLUE, 1.8, (4, 2), name="forecast"),)
    return items


def _last_used(across: FloatArray, used: ArrayLike) -> float:
    known = across[np.asarray(used, bool) & np.isfinite(across)]
    return float(known.max()) if known.size else -math.inf


def _known(*arrays: FloatArray) -> FloatArray:
    values = np.concatenate(arrays)
    return np.asarray(values[np.isfinite(values)])


def _least(values: FloatArray) -> float:
    return float(np.min(_known(values), initial=0.0))


def _rising(span: Span) -> Span:
    """Return a span, or one of length one from its lower end where it has no length."""
    return span if span[1] > span[0] else (span[0], span[0] + 1.0)


def _window(
    minutes: FloatArray,
    distance_mm: FloatArray,
    fit: FitBand | None,
    limits: Sequence[TimeLimit],
    flow_length_mm: float | None,
) -> tuple[Span, Span]:
    """Return axes with all points and limits, and no more of a long forecast than that."""
    across = [*_known(minutes), *(limit.time_s / 60 for limit in limits)]
    up = list(_known(distance_mm))
    if flow_length_mm is not None:
        up.append(flow_length_mm)
        if fit is not None:
            there = np.flatnonzero(np.asarray(fit.middle) >= flow_length_mm)
            if there.size:
                across.append(float(fit.across[there[0]]) / 60)
    x_span = (float(min([0.0, *across])), 1.06 * float(max([0.0, *across])))
    return _rising(x_span), _rising((0.0, 1.12 * float(max([0.0, *up]))))


def _with_fill(x_span: Span, fill_s: tuple[float, float, float]) -> Span:
    """Return the axis of time with room for the fill interval, unless its end is far off."""
    low, high = fill_s[0] / 60, fill_s[2] / 60
    if math.isfinite(low) and math.isfinite(high) and high < _FARTHEST * x_span[1]:
        return x_span[0], max(x_span[1], 1.06 * high)
    return x_span


def _fill_bar(right: float, length_mm: float, fill_s: tuple[float, float, float]) -> Items:
    """Return when the part is full: a bar with ends; one that never comes runs off the axes."""
    low, middle, high = (value / 60 for value in fill_s)
    if not math.isfinite(low) or low >= min(high, right):
        return ()
    reach = np.array([low, min(high, right)])
    ends = np.array([end for end in (low, high) if end <= right])
    cap = Mark("bar", 13.0, BLUE, BLUE, 2.0)
    items: Items = (
        Line(reach, np.full(2, length_mm), BLUE, 4.5, name="part full, 95 %", level=5, flat=True),
        Line(ends, np.full(len(ends), length_mm), BLUE, mark=cap, level=5),
    )
    if math.isfinite(middle) and middle <= reach[1]:
        dot = Mark("diamond", 6.0, "#ffffff", BLUE, 1.4)
        items += (Line(np.array([middle]), np.array([length_mm]), BLUE, mark=dot, level=6),)
    return items


def _upright(limit: TimeLimit, order: int) -> Rule:
    minutes = limit.time_s / 60
    dash = (2.0, 2.0) if order % 2 == 0 else (6.4, 1.6, 1.0, 1.6)
    words = f"{limit.name} {minutes:.0f} min"
    return Rule(minutes, words, VERMILION, True, 1.3, dash)
