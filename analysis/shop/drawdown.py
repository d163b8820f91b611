"""Is the bag tight? Pressure rise after lock-off, parted into leak and outgassing."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.fit.mixture_regression import Mixture, interval, join, project
from analysis.shop.gauge_log import GaugeLog
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
TAUS = np.geomspace(0.03, 2.0, 60)
"""Trial times in which outgassing dies away, as shares of the log."""
NO_TAU = 1e12
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
        Steady rise, and all that outgassing still has to give.
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


def laminar_rise_mbar(
    start_mbar: float, c: float, time_s: FloatArray, ambient: float
) -> FloatArray:
    """Pressure in a bag with a laminar leak, ``dp/dt = c (pa^2 - p^2)``.

    The rate has fallen by 1 % only at 100 mbar, so below that a leak counts as steady.

    Examples
    --------
    >>> round(float(laminar_rise_mbar(5.0, 1e-6, np.array(600.0), 1013.25)), 2)
    553.39
    """
    return ambient * np.tanh(c * ambient * np.asarray(time_s) + np.arctanh(start_mbar / ambient))


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
    """Part the rise into ``p0 + q t + a (1 - exp(-t / tau))`` and judge it.

    Parameters
    ----------
    log : GaugeLog
        From pump shut off on; what lies before the lowest pressure is left out.
    limit_mbar, limit_min : float
        Rise the shop allows, and in what time.
    volume_l : float, optional
        Volume of bag, lines and trap, for a leak in mbar l/s.
    gel_min : float, optional
        Time from lock-off to the end of gel, for the projection.

    Raises
    ------
    WetlineError
        If fewer than four readings follow lock-off.

    Notes
    -----
    Source: pressure-rise method (vacuum practice): a leak rises steadily, outgassing bends over.
    Models are weighted by
    Akaike's criterion with one noise level.
    """
    first = _lock_off(log.bag_mbar, log.step_mbar)
    t = (log.time_s[first:] - log.time_s[first]) / 60.0
    p = log.bag_mbar[first:]
    if len(t) < 4:
        raise WetlineError(
            f"the log has {len(t)} readings after lock-off: it needs at least 4, better 20"
        )
    floor = max(log.step_mbar / np.sqrt(12.0), 0.01)
    mixture, shape = _fit(t, p, floor)
    leak, leak_low, leak_high = _bounded(mixture, np.array([0.0, 1.0, 0.0]))
    gas, gas_low, gas_high = _bounded(mixture, np.array([0.0, 0.0, 1.0]))
    rise = _rise(mixture, limit_min)
    at_gel = at_gel_high = None
    if gel_min is not None:
        total = _rise(mixture, gel_min)
        at_gel, at_gel_high = float(p[0]) + total[0], float(p[0]) + total[2]
    notes = _notes(log, t, p, first)
    verdict, reason = _judge(rise, (leak, leak_low, leak_high), t[-1], limit_mbar, limit_min)
    heavy = int(np.argmax(mixture.weight))
    tau = float(mixture.mean[heavy, 3])
    flow = None if volume_l is None else leak_mbar_l_s(leak, volume_l)
    return Drawdown(
        float(p[0]), float(t[-1]), shape, leak, leak_low, leak_high, gas, gas_low, gas_high,
        tau if tau < NO_TAU else None, *rise, float(p[-1] - p[0]), at_gel, at_gel_high,
        flow, None if flow is None else flow / SCCM_MBAR_L_S,
        limit_mbar, limit_min, verdict, reason, notes,
    )  # fmt: skip


def _lock_off(bag_mbar: FloatArray, step_mbar: float) -> int:
    """Index of the first reading that is as low as the lowest, but for the gauge's noise."""
    bend = np.abs(np.diff(bag_mbar, 2))
    noise = float(np.median(bend)) / 1.65 if len(bend) else 0.0
    return int(np.argmax(bag_mbar <= np.min(bag_mbar) + max(3.0 * noise, step_mbar)))


def _fit(t: FloatArray, p: FloatArray, floor: float) -> tuple[Mixture, str]:
    """Mix leak, outgassing and both over trial die-away times; parameters p0, q, a, tau."""
    span = float(t[-1])
    parts: list[tuple[str, Mixture, float, int]] = []
    options = [("steady leak", False, NO_TAU)]
    options += [(name, True, tau * span) for tau in TAUS for name in ("outgassing", "both")]
    for name, dying, tau in options:
        columns = [np.ones_like(t)]
        if name != "outgassing":
            columns.append(t)
        if dying:
            columns.append(-np.expm1(-t / tau))
        found = _least_squares(np.stack(columns, axis=1), p, floor, name, tau)
        if found is not None:
            parts.append((name, *found))
    # One noise level for all: the least any model leaves, or the gauge's own step.
    noise = max(floor**2, min(square / max(len(t) - k, 1) for _, _, square, k in parts))
    score = np.array([square / noise + 2.0 * k for _, _, square, k in parts])
    # Each shape has the same prior weight however many die-away times it was tried with.
    weight = np.exp(-0.5 * (score - score.min()))
    weight /= np.array([1.0 if part[0] == "steady leak" else len(TAUS) for part in parts])
    weight /= weight.sum()
    mixture = join([part[1] for part in parts], weight)
    shape = parts[int(np.argmin(score))][0]
    return mixture, "leak and outgassing" if shape == "both" else shape


def _least_squares(
    design: FloatArray, p: FloatArray, floor: float, name: str, tau: float
) -> tuple[Mixture, float, int] | None:
    n, k = design.shape
    if n - k < 1:
        return None
    solution = np.linalg.lstsq(design, p, rcond=None)[0]
    residual = p - design @ solution
    square = max(float(residual @ residual), n * floor**2)
    covariance = np.linalg.pinv(design.T @ design) * max(square / (n - k), floor**2)
    below = solution + 2.0 * np.sqrt(np.diag(covariance)) < 0
    if name != "steady leak" and np.any(below[1:]):
        return None  # surely less than nothing: no such shape
    where = {"steady leak": [0, 1], "outgassing": [0, 2], "both": [0, 1, 2]}[name]
    mean, full = np.zeros(4), np.zeros((4, 4))
    mean[where], mean[3] = solution, tau
    full[np.ix_(where, where)] = covariance
    one = Mixture(np.ones(1), mean[None], full[None], np.array([float(n - k)]))
    return one, square, k + (name != "steady leak")


def _bounded(mixture: Mixture, pick: FloatArray) -> tuple[float, float, float]:
    """Mean and interval of one parameter, not below 0."""
    gradient = np.tile(np.append(pick, 0.0), (len(mixture.weight), 1))
    value = np.sum(mixture.mean * gradient, axis=1)
    low, high = interval(project(mixture, value, gradient), 1e-6)
    mean = float(mixture.weight @ value)
    return max(mean, 0.0), max(low, 0.0), max(high, 0.0)


def _rise(mixture: Mixture, minutes: float) -> tuple[float, float, float]:
    """Rise in `minutes` after lock-off with its interval."""
    tau = mixture.mean[:, 3]
    gradient = np.zeros_like(mixture.mean)
    gradient[:, 1] = minutes
    gradient[:, 2] = -np.expm1(-minutes / tau)
    value = mixture.mean[:, 1] * gradient[:, 1] + mixture.mean[:, 2] * gradient[:, 2]
    low, high = interval(project(mixture, value, gradient), 1e-6)
    return float(mixture.weight @ value), low, high


def _judge(
    rise: tuple[float, float, float],
    leak: tuple[float, float, float],
    log_min: float,
    limit_mbar: float,
    limit_min: float,
) -> tuple[str, str]:
    allowed = f"{limit_mbar:g} mbar in {limit_min:g} min"
    told = f"{rise[0]:.1f} mbar in {limit_min:g} min (95 %: {max(rise[1], 0):.1f} to {rise[2]:.1f})"
    if rise[1] > limit_mbar and leak[1] * limit_min > limit_mbar:
        return "no-go", f"the leak alone goes past {allowed}: {told}; find it before you open resin"
    if rise[0] > limit_mbar and leak[2] * limit_min <= limit_mbar:
        return "look again", f"{told}, mostly outgassing: pump longer, warm the stack, repeat"
    if log_min < SHORT_SHARE * limit_min:
        return "look again", f"only {log_min:.1f} min of log: watch for {limit_min:g} min"
    if rise[2] <= limit_mbar:
        return "go", f"{told}, within {allowed}"
    if rise[0] <= limit_mbar:
        return "look again", f"{told}; {allowed} may be passed: watch longer or use a finer gauge"
    return "look again", f"{told}, likely past {allowed}: look for a leak, then repeat"


def _notes(log: GaugeLog, t: FloatArray, p: FloatArray, first: int) -> tuple[str, ...]:
    notes = []
    if first > 0:
        notes.append(f"the first {first} readings are before the lowest pressure and left out")
    rise = float(p[-1] - p[0])
    if log.step_mbar > 0 and rise < FEW_STEPS * log.step_mbar:
        notes.append(
            f"the rise is {rise / log.step_mbar:.0f} steps of the gauge ({log.step_mbar:.2f} "
            "mbar): the split into leak and outgassing is weak"
        )
    if p[-1] > 100.0:
        notes.append("above 100 mbar a leak slows by itself: the split is less sure")
    return tuple(notes)


def panel_lines(found: Drawdown, ambient_mbar: float) -> list[str]:
    """Lines to put into panel.toml."""
    return [
        "[vacuum]",
        f"ambient_mbar = {ambient_mbar:.0f}",
        f"bag_mbar = {found.start_mbar:.1f}",
    ]


def drawdown_lines(found: Drawdown, ambient_mbar: float) -> list[str]:
    """Write the verdict and the numbers in plain lines."""
    lines = [
        f"{found.verdict.upper()}: {found.reason}",
        f"Shape:      {found.shape}; rose {found.measured_rise_mbar:.1f} mbar in "
        f"{found.log_min:.1f} min from {found.start_mbar:.1f} mbar",
        f"Leak:       {found.leak_mbar_min:.3f} mbar/min (95 %: {found.leak_low_mbar_min:.3f} to "
        f"{found.leak_high_mbar_min:.3f})",
        f"Outgassing: {found.outgassing_mbar:.1f} mbar in all (95 %: "
        f"{found.outgassing_low_mbar:.1f} to {found.outgassing_high_mbar:.1f})",
    ]
    if found.leak_mbar_l_s is not None and found.leak_sccm is not None:
        lines.append(f"            {found.leak_mbar_l_s:.4f} mbar l/s, {found.leak_sccm:.2f} sccm")
    if found.at_gel_mbar is not None and found.at_gel_high_mbar is not None:
        lines.append(
            f"At gel:     {found.at_gel_mbar:.0f} mbar in the bag with the pump off, at most "
            f"{found.at_gel_high_mbar:.0f}"
        )
    lines += [f"Note:       {note}" for note in found.notes]
    if found.verdict != "go":
        lines.append("Leaks hide in:")
        lines += [f"- {place}" for place in HIDING_PLACES]
    lines.append(
        "A flat glass plate or a thin tool can break under vacuum: keep clear, wear eye protection."
    )
    return [*lines, "For panel.toml:", *panel_lines(found, ambient_mbar)]
