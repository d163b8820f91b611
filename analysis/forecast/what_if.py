"""One what-if: the same fit with another length, feed, media, resin, temperature or vacuum."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from scipy.optimize import brentq

from analysis.fit.impulse import Impulse
from analysis.fit.mixture_regression import Z_95, interval
from analysis.fit.permeability import PermeabilityFit
from analysis.forecast.fill_time import (
    FillForecast,
    best_log_impulse,
    forecast_sd,
    log_impulse,
    packing_speed,
    part_law,
)
from analysis.forecast.part_setup import carried_impulse, part_setup
from analysis.forecast.verdict import GelLimits, margin_interval, room_to_gel
from analysis.panel.compaction import compaction_at, slope_ratio
from analysis.panel.records import Panel
from analysis.panel.resin import GelTime, gel_time
from analysis.panel.viscosity import viscosity_factor
from vision.records import FloatArray


@dataclass(frozen=True)
class Change:
    """What is changed against the panel; the defaults change nothing.

    Attributes
    ----------
    length : float
        Factor on the flow length.
    feeds : float
        Sides each feed line serves; its resistance counts that many times.
    speed : float
        Factor on K / porosity, for instance of flow media.
    cure : float
        Factor on gel time and on the time the resin takes to thicken.
    temperature_c : float or None
        Resin and part temperature.
    drive : float
        Factor on the driving pressure.
    lag_m : float
        How much further the front seen must run because flow media are laid on.
    """

    length: float = 1.0
    feeds: float = 1.0
    speed: float = 1.0
    cure: float = 1.0
    temperature_c: float | None = None
    drive: float = 1.0
    lag_m: float = 0.0


@dataclass(frozen=True)
class Outcome:
    """Fill time and margin of one change.

    Attributes
    ----------
    time_s : float
        Fill time; infinity where it never fills.
    margin, margin_low, margin_high : float
        Working time over fill time and its 95 % interval, the doubt of the gel time included.
    room : float
        From `analysis.forecast.verdict.room_to_gel`: at least 0 where the part fills.
    """

    time_s: float
    margin: float
    margin_low: float
    margin_high: float
    room: float

    @property
    def fills(self) -> bool:
        """Whether the verdict would be "fills"."""
        return self.room >= 0.0


@dataclass(frozen=True)
class Case:
    """All that what-ifs on one part share.

    `base` is the log impulse that fills the part as planned: best, lower and upper bound. It
    serves every change that leaves the run alone, which only shifts it. `lag_m` is how far the
    front seen must run on past the end of the part (flow media).
    """

    panel: Panel
    fit: PermeabilityFit
    gel: GelTime
    length_m: float
    slow_axis: float
    base: tuple[float, float, float]
    lag_m: float = 0.0

    @property
    def working_s(self) -> float:
        """Working time from resin start."""
        return self.gel.working_s - self.panel.resin.mixed_before_start_s


def make_case(
    panel: Panel,
    fit: PermeabilityFit,
    gel: GelTime,
    length_m: float,
    slow_axis: float = 1.0,
    lag_m: float = 0.0,
) -> Case:
    """Gather what every what-if needs; `slow_axis` is K2 / sqrt(K1 K2) of a point-fed panel."""
    bare = Case(panel, fit, gel, length_m, slow_axis, base=(0.0, 0.0, 0.0), lag_m=lag_m)
    return replace(bare, base=_log_needed(bare, Change()))


def needed(case: Case, change: Change) -> FloatArray:
    """Impulse that fills the part after a change: best, lower and upper bound, shape (3,)."""
    same_run = change.length == 1.0 and change.feeds == 1.0 and change.lag_m == 0.0
    logs = case.base if same_run else _log_needed(case, change)
    return np.exp(np.array(logs)) / (change.speed * _packing(case, change))


def _log_needed(case: Case, change: Change) -> tuple[float, float, float]:
    part = case.panel.part
    law, factor = part_law(case.fit, part.feed if part else "edge")
    length = case.length_m * change.length + case.lag_m + change.lag_m
    if law.flow == "point":
        length = max(length / np.sqrt(case.slow_axis), law.start_m * 1.0001)
    else:
        factor *= case.slow_axis
    factor *= packing_speed(case.panel)
    setup = part_setup(case.panel, case.fit.feed_length_m)
    best = best_log_impulse(case.fit, law, factor, length, change.feeds, setup)
    mixture = log_impulse(case.fit, law, factor, length, change.feeds, setup)
    lay_up = forecast_sd(case.fit, part.repeat_sd if part else 0.08)
    low, high = interval(mixture, float(np.hypot(lay_up, setup.viscosity_sd)))
    return best, low, high


def _packing(case: Case, change: Change) -> float:
    """Factor on K / porosity because the stack packs differently under another vacuum."""
    stack, drive = case.panel.stack, case.panel.vacuum.pressure_pa
    if change.drive == 1.0 or not stack.compaction_exponent or drive is None:
        return 1.0
    if stack.porosity is None:
        return 1.0
    law = compaction_at(1.0 - stack.porosity, drive, stack.compaction_exponent)
    return slope_ratio(law, drive, drive * change.drive)


def impulse_after(case: Case, change: Change) -> tuple[Impulse, float]:
    """Impulse curve and working time after a change of resin, temperature or vacuum."""
    panel, cure = case.panel, change.cure
    temperature_c = change.temperature_c
    if temperature_c is None and panel.part is not None:
        temperature_c = panel.part.temperature_c
    impulse = carried_impulse(panel, temperature_c, cure, change.drive)
    gel = case.gel
    if change.temperature_c is not None:
        gel = gel_time(panel.resin, change.temperature_c) or gel
    return impulse, gel.working_s * cure - panel.resin.mixed_before_start_s


def limits_after(case: Case, change: Change) -> GelLimits:
    """Gel and working time from resin start after a change of hardener or temperature."""
    gel = case.gel
    if change.temperature_c is not None:
        gel = gel_time(case.panel.resin, change.temperature_c) or gel
    lead = case.panel.resin.mixed_before_start_s
    gel_s, working_s = gel.gel_s * change.cure, gel.working_s * change.cure
    return GelLimits(gel_s - lead, working_s - lead, gel.relative_sd)


def outcome(case: Case, change: Change) -> Outcome:
    """Compute fill time and margin after a change."""
    impulse, _ = impulse_after(case, change)
    need = needed(case, change)
    if change.temperature_c is not None:
        doubt = Z_95 * viscosity_factor(case.panel.resin, change.temperature_c)[1]
        half = np.hypot(np.log(need / need[0]), doubt)
        need = need[0] * np.exp(half * np.array([0.0, -1.0, 1.0]))
    time_s, low_s, high_s = (float(t) for t in impulse.time_of(need))
    limits = limits_after(case, change)
    fill = FillForecast(case.length_m * change.length, time_s, low_s, high_s)
    working_s = max(limits.working_s, 0.0)
    margin, margin_low, margin_high = margin_interval(fill, working_s, limits.gel_sd)
    return Outcome(time_s, margin, margin_low, margin_high, room_to_gel(time_s, high_s, limits))


def drive_ratio(case: Case, change: Change) -> float:
    """Impulse to be had in the working time over impulse needed; finite where fill is never."""
    impulse, working = impulse_after(case, change)
    return float(impulse.at(max(working, 0.0)) / needed(case, change)[0])


def least_that_fills(
    case: Case, change: Callable[[float], Change], low: float, high: float, sure: bool
) -> float | None:
    """Find the least value between `low` and `high` that makes the part fill; None if none does.

    By the verdict's rule where `sure`, else by the best estimate. The margin must rise from `low`
    to `high`; `low` may be the larger number.
    """

    def gap(value: float) -> float:
        found = outcome(case, change(value))
        room = found.room if sure else float(np.log(max(found.margin, 1e-12)))
        return float(np.clip(room, -50.0, 50.0))

    if gap(low) >= 0:
        return low
    if gap(high) < 0:
        return None
    return float(brentq(gap, low, high, xtol=1e-6 * max(abs(low), abs(high))))
