"""Is the bag tight? A verdict on the pressure rise after lock-off."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from analysis.shop.gauge_log import GaugeLog
from analysis.shop.pressure_rise import BOTH, OUTGASSING, STEADY, STEADY_TO_MBAR, fit_rise
from vision.common.rounding import rounded
from vision.errors import WetlineError
from vision.records import FloatArray

LIMIT_MBAR, LIMIT_MIN = 10.0, 20.0
"""Rise allowed and in what time (common practice, no source; written guides are looser)."""
SCCM_MBAR_L_S = 0.0168875
"""One standard cubic centimetre per minute (1013.25 mbar, 0 C) in mbar l/s."""
FEW_STEPS = 15
"""A rise of fewer gauge steps than this says little of its shape."""
SHORT_SHARE = 0.25
"""A log shorter than this share of the limit's time is too short for a go."""
FEWEST_FOR_SHAPE = 4
"""With fewer readings the shape of the rise cannot be told, only its size."""
ODDLY_SHORT_S = 60.0
"""No drawdown is watched for less; the times may be minutes (common practice, no source)."""
FAR_PAST = 3.0
"""A rise this many times the limit is no go, wherever the gas comes from (common practice)."""
NO_VACUUM_SHARE = 0.5
"""A bag above this share of the air pressure is under no vacuum to speak of."""
DEEP_ENOUGH_MBAR = 150.0
"""A bag above this is not pumped down for infusion (common practice, no source)."""
DRIFT_C_PER_MIN = 0.05
"""Sd of how fast the shop warms or cools where nobody logged it: a degree in 20 minutes (common
practice, no source)."""
GAUGE_DRIFT_MBAR_C = 0.1
"""How far a gauge's zero moves for each degree (common practice, no source)."""
LEAST_FALL_MBAR = 0.2
"""A fall of the pressure below this is a gauge's own wander (common practice, no source)."""
KELVIN = 273.15
HIDING_PLACES = (
    "pleats and corners of the sealant tape, where a hair or fibre lies across it",
    "where lines pass under the bag, and every fitting and clamp on the way to the pump",
    "pinholes in the bag over sharp edges and at folds",
    "the tool itself: inserts, bolt holes, porous edges",
    "the resin line clamp and the lid of the resin trap",
)


@dataclass(frozen=True)
class Drawdown:
    """What the log says; each pair is the 95 % interval.

    Attributes
    ----------
    leak_mbar_min, outgassing_mbar : float
        Rise from a leak for each minute, and all that outgassing gives in the limit's time.
    shape : str
        "steady leak", "outgassing", "leak and outgassing", "leak or outgassing" where the log
        cannot tell, or "not known" from few readings.
    rise_mbar : float
        Rise over the limit's time from the fit.
    at_gel_mbar : float or None
        Absolute pressure at the end of gel.
    verdict : {"go", "look again", "no-go"}
    """

    start_mbar: float
    log_min: float
    shape: str
    leak_mbar_min: float
    leak_low_mbar_min: float
    leak_high_mbar_min: float
    outgassing_mbar: float
    outgassing_low_mbar: float
    outgassing_high_mbar: float
    outgassing_time_min: float | None
    rise_mbar: float
    rise_low_mbar: float
    rise_high_mbar: float
    measured_rise_mbar: float
    at_gel_mbar: float | None
    at_gel_high_mbar: float | None
    leak_mbar_l_s: float | None
    leak_sccm: float | None
    limit_mbar: float
    limit_min: float
    verdict: str
    reason: str
    notes: tuple[str, ...]


def leak_mbar_l_s(rate_mbar_min: float, volume_l: float) -> float:
    """Leak from the pressure rise, Q = V dp/dt.

    Examples
    --------
    >>> round(leak_mbar_l_s(6.77, 5.0), 4), round(leak_mbar_l_s(6.77, 5.0) / SCCM_MBAR_L_S, 2)
    (0.5642, 33.41)
    """
    return volume_l * rate_mbar_min / 60.0


def assess_drawdown(
    log: GaugeLog,
    limit_mbar: float = LIMIT_MBAR,
    limit_min: float = LIMIT_MIN,
    volume_l: float | None = None,
    gel_min: float | None = None,
) -> Drawdown:
    """Part the rise after lock-off into leak and outgassing and judge it.

    Parameters
    ----------
    log : GaugeLog
        From pump shut off on; what lies before the lowest pressure is left out. Two readings are
        enough for a plain answer with a wide interval.
    limit_mbar, limit_min : float
        Rise the shop allows, and in what time.
    volume_l : float, optional
        Volume of bag, lines and trap, for a leak in mbar l/s.
    gel_min : float, optional
        Time from lock-off to the end of gel, for the projection.

    Raises
    ------
    WetlineError
        If fewer than two readings follow lock-off, or a limit is no positive number.

    Notes
    -----
    Source: pressure-rise method (vacuum practice); see `analysis.shop.pressure_rise.fit_rise`. A
    fixed amount of gas follows the ideal gas law, so the pressure is carried to the temperature at
    lock-off where the log has one; where not, the interval allows for a drift.
    """
    _refuse_bad_limits(limit_mbar, limit_min, volume_l, gel_min)
    first = _lock_off(log)
    t = (log.time_s[first:] - log.time_s[first]) / 60.0
    p, drift = _at_one_temperature(log, first)
    if len(t) < 2:
        raise WetlineError(_no_rise(log))
    few = len(t) < FEWEST_FOR_SHAPE
    found = (_bounds_of_few if few else _bounds_of_shape)(log, t, p, drift, limit_min, gel_min)
    verdict, reason = _judge(found, log, float(p[0]), float(t[-1]), limit_mbar, limit_min)
    fall = float(p[0] - p[-1])
    if verdict == "go" and fall > max(2.01 * log.step_mbar, 2.0 * drift * t[-1], LEAST_FALL_MBAR):
        verdict, reason = "look again", _fallen(fall, float(t[-1]))
    leak = found.leak[0]
    flow = None if volume_l is None else leak_mbar_l_s(leak, volume_l)
    at_gel = at_gel_high = None
    if found.to_gel is not None:
        at_gel, at_gel_high = float(p[0]) + found.to_gel[0], float(p[0]) + found.to_gel[2]
    return Drawdown(
        start_mbar=float(p[0]),
        log_min=float(t[-1]),
        shape=found.shape,
        leak_mbar_min=found.leak[0],
        leak_low_mbar_min=found.leak[1],
        leak_high_mbar_min=found.leak[2],
        outgassing_mbar=found.gas[0],
        outgassing_low_mbar=found.gas[1],
        outgassing_high_mbar=found.gas[2],
        outgassing_time_min=found.dying_min,
        rise_mbar=found.rise[0],
        rise_low_mbar=found.rise[1],
        rise_high_mbar=found.rise[2],
        measured_rise_mbar=float(p[-1] - p[0]),
        at_gel_mbar=at_gel,
        at_gel_high_mbar=at_gel_high,
        leak_mbar_l_s=flow,
        leak_sccm=None if flow is None else flow / SCCM_MBAR_L_S,
        limit_mbar=limit_mbar,
        limit_min=limit_min,
        verdict=verdict,
        reason=reason,
        notes=_notes(log, t, p, first, few),
    )


@dataclass(frozen=True)
class _Bounds:
    """Mean, lower and upper 95 % bound of each part of the rise."""

    shape: str
    leak: tuple[float, float, float]
    gas: tuple[float, float, float]
    rise: tuple[float, float, float]
    to_gel: tuple[float, float, float] | None
    dying_min: float | None = None


def _refuse_bad_limits(
    limit_mbar: float, limit_min: float, volume_l: float | None, gel_min: float | None
) -> None:
    for name, value in (
        ("--limit-mbar", limit_mbar),
        ("--limit-min", limit_min),
        ("--volume-l", volume_l),
        ("--gel-min", gel_min),
    ):
        if value is not None and not (math.isfinite(value) and value > 0):
            raise WetlineError(f"{name} {value:g}: must be a number above 0")


def _no_rise(log: GaugeLog) -> str:
    count = len(log.bag_mbar)
    if count > 1 and log.bag_mbar[-1] < log.bag_mbar[0] - log.step_mbar:
        return (
            f"the pressure only falls, from {log.bag_mbar[0]:.0f} to {log.bag_mbar[-1]:.0f} mbar: "
            "was the pump still on, or does the gauge count down from the air pressure (a column "
            "such as vacuum_mbar)?"
        )
    return f"{count} reading: a drawdown needs one at lock-off and one later, better 20"


def _lock_off(log: GaugeLog) -> int:
    """Index of the first reading that is as low as the lowest, but for noise, step and drift."""
    bag, span = log.bag_mbar, float(log.time_s[-1] - log.time_s[0]) / 60.0
    bend = np.abs(np.diff(bag, 2))
    noise = float(np.median(bend)) / 1.65 if len(bend) > 1 else 0.0
    drift = 2.0 * DRIFT_C_PER_MIN * _per_degree(float(np.min(bag))) * span
    return int(np.argmax(bag <= np.min(bag) + max(4.0 * noise, 2.01 * log.step_mbar, drift)))


def _per_degree(bag_mbar: float) -> float:
    """Change of the reading for each degree, in mbar: the gas law and the gauge's own zero."""
    return bag_mbar / (20.0 + KELVIN) + GAUGE_DRIFT_MBAR_C


def _at_one_temperature(log: GaugeLog, first: int) -> tuple[FloatArray, float]:
    """Pressure as if the shop had kept its temperature, and the sd of what drift is left.

    The second value is in mbar for each minute.
    """
    p, t = log.bag_mbar[first:], log.time_s[first:] / 60.0
    if log.temperature_c is None or len(t) < 2:
        return p, DRIFT_C_PER_MIN * _per_degree(float(np.median(p)))
    warmth = log.temperature_c[first:]
    span = float(np.ptp(warmth)) / float(t[-1] - t[0])
    return p * (warmth[0] + KELVIN) / (warmth + KELVIN), GAUGE_DRIFT_MBAR_C * span


def _bounds_of_shape(
    log: GaugeLog, t: FloatArray, p: FloatArray, drift: float, limit_min: float,
    gel_min: float | None,
) -> _Bounds:  # fmt: skip
    fit = fit_rise(t, p, log.step_mbar, log.ambient_mbar)
    leak = fit.part(1e-3, True, False, 1e-3 * drift)
    gas = fit.part(limit_min, False, True, drift * limit_min)
    return _Bounds(
        _shape_shown(fit.shape, leak[1] > 0, gas[1] > 0),
        _not_below_nothing(*(1e3 * value for value in leak)),
        _not_below_nothing(*gas),
        fit.part(limit_min, True, True, drift * limit_min),
        None if gel_min is None else fit.part(gel_min, True, True, drift * gel_min),
        fit.dying_min,
    )


def _shape_shown(likeliest: str, leaks: bool, gives_gas: bool) -> str:
    """Name the shape; what may be nothing is not named beside what is surely there."""
    if likeliest != BOTH or (leaks and gives_gas):
        return likeliest
    if not leaks and not gives_gas:
        return "leak or outgassing"
    return STEADY if leaks else OUTGASSING


def _bounds_of_few(
    log: GaugeLog, t: FloatArray, p: FloatArray, drift: float, limit_min: float,
    gel_min: float | None,
) -> _Bounds:  # fmt: skip
    """Bounds from the first and last reading: between all leak and all outgassing."""
    rise, span = float(p[-1] - p[0]), float(t[-1])
    slack = float(np.hypot(log.step_mbar, 1.96 * drift * span))

    def after(minutes: float) -> tuple[float, float, float]:
        ends = sorted((rise, rise * minutes / span))
        wide = slack * max(minutes / span, 1.0)
        return rise * minutes / span, ends[0] - wide, ends[1] + wide

    leak = _not_below_nothing(rise / span, 0.0, (rise + slack) / span)
    gas = _not_below_nothing(rise / 2.0, 0.0, rise + slack)
    to_gel = None if gel_min is None else after(gel_min)
    return _Bounds("not known", leak, gas, after(limit_min), to_gel)


def _not_below_nothing(mean: float, low: float, high: float) -> tuple[float, float, float]:
    return max(mean, 0.0), max(low, 0.0), max(high, 0.0)


def _fallen(fall_mbar: float, minutes: float) -> str:
    """Return why a bag that seems to empty itself is no go-ahead."""
    return (
        f"the pressure fell by {rounded(fall_mbar, 1)} mbar in {minutes:.0f} min with the pump "
        "shut off, which no bag does: if the gauge counts down from the air, name the column "
        "vacuum_inhg, vacuum_mbar or the like; if the pump still ran, shut it off and repeat"
    )


def _judge(
    found: _Bounds,
    log: GaugeLog,
    start_mbar: float,
    log_min: float,
    limit_mbar: float,
    limit_min: float,
) -> tuple[str, str]:
    rise, leak = found.rise, found.leak
    allowed = f"{limit_mbar:g} mbar in {limit_min:g} min"
    low, high = rounded(max(rise[1], 0.0), 1, "down"), rounded(max(rise[2], 0.0), 1, "up")
    told = f"{rounded(rise[0], 1)} mbar in {limit_min:g} min (95 %: {low} to {high})"
    if start_mbar > NO_VACUUM_SHARE * log.ambient_mbar:
        return "no-go", (
            f"no vacuum: the bag stands at {start_mbar:.0f} mbar of {log.ambient_mbar:.0f} mbar "
            "air pressure; pump down first, or say what the gauge shows (a column such as "
            "vacuum_mbar, or --unit)"
        )
    only_gas = leak[2] * limit_min <= limit_mbar
    if rise[1] > limit_mbar and not (only_gas and rise[1] <= FAR_PAST * limit_mbar):
        return "no-go", _loss(told, allowed, leak, limit_mbar, limit_min, only_gas)
    if rise[0] > limit_mbar and only_gas:
        return "look again", f"{told}, mostly outgassing: pump longer, warm the stack, repeat"
    if log_min < SHORT_SHARE * limit_min:
        return "look again", f"only {log_min:.1f} min of log: watch for {limit_min:g} min"
    if rise[2] <= limit_mbar:
        if start_mbar > DEEP_ENOUGH_MBAR:
            return "look again", (
                f"{told}, but the bag is only drawn down to {start_mbar:.0f} mbar: pump on"
            )
        return "go", f"{told}, within {allowed}"
    if rise[0] <= limit_mbar:
        return "look again", f"{told}; {allowed} may be passed: watch longer or use a finer gauge"
    return "look again", f"{told}, likely past {allowed}: look for a leak, then repeat"


def _loss(
    told: str,
    allowed: str,
    leak: tuple[float, float, float],
    limit_mbar: float,
    limit_min: float,
    only_gas: bool,
) -> str:
    """Return that the bag loses its vacuum, by how much, and to what."""
    if leak[1] * limit_min > limit_mbar:
        cause = "the leak alone goes past that: find it before you open resin"
    elif only_gas:
        cause = "far too much, though it looks like outgassing: dry the stack, pump on, repeat"
    else:
        cause = "whether leak or outgassing the log cannot tell: look for a leak, then repeat"
    return f"the bag loses {told}, more than {allowed}; {cause}"


def _notes(log: GaugeLog, t: FloatArray, p: FloatArray, first: int, few: bool) -> tuple[str, ...]:
    notes = []
    if first > 0:
        notes.append(f"the first {first} readings are before the lowest pressure and left out")
    if few:
        notes.append(
            f"{len(t)} readings tell the size of the rise, not its cause: more in between would"
        )
    if log.time_s[-1] - log.time_s[0] < ODDLY_SHORT_S:
        notes.append(
            f"the log lasts {log.time_s[-1] - log.time_s[0]:.0f} s: if its times are minutes, name "
            "the column time_min"
        )
    rise = float(p[-1] - p[0])
    if not few and log.step_mbar > 0 and rise < FEW_STEPS * log.step_mbar:
        notes.append(
            f"the rise is {rise / log.step_mbar:.0f} steps of the gauge ({log.step_mbar:.2f} "
            "mbar): the split into leak and outgassing is weak"
        )
    if p[-1] > STEADY_TO_MBAR:
        notes.append(
            f"above {STEADY_TO_MBAR:.0f} mbar a leak slows by itself: the split is less sure"
        )
    return tuple(notes)
