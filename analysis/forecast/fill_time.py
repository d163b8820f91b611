"""Permeability to fill time and longest run: closed forms and their intervals."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from analysis.fit.front_laws import FrontLaw, edge_law, point_law
from analysis.fit.impulse import Impulse
from analysis.fit.mixture_regression import Mixture, interval, join, project
from analysis.fit.permeability import PermeabilityFit
from analysis.forecast.part_setup import FeedLine, PartSetup
from analysis.panel.compaction import fraction_ratio
from analysis.panel.records import Panel


@dataclass(frozen=True)
class FillForecast:
    """Forecast of one fill.

    Attributes
    ----------
    flow_length_m : float
        Distance the resin has to run.
    time_s, time_low_s, time_high_s : float
        Fill time and its 95 % interval; infinity where the resin stiffens before.
    longest_run_m, longest_low_m, longest_high_m : float or None
        Farthest the front gets in the working time; None without one.
    assumes : tuple of str
        What the forecast takes for granted.
    """

    flow_length_m: float
    time_s: float
    time_low_s: float
    time_high_s: float
    longest_run_m: float | None = None
    longest_low_m: float | None = None
    longest_high_m: float | None = None
    assumes: tuple[str, ...] = ()


SHARED = ("scale", "edge of the front", "race-tracking")
"""Sources of doubt that reach the part; viscosity, pressure and porosity are the same in panel
and part, so their errors cancel in a forecast of the same lay-up."""


def forecast_sd(fit: PermeabilityFit, repeat_sd: float) -> float:
    """Relative sd of a forecast for another lay-up, beside that of the fit itself."""
    return float(np.sqrt(sum(fit.relative_sd[k] ** 2 for k in SHARED) + repeat_sd**2))


def packing_speed(panel: Panel) -> float:
    """Factor on K / porosity when the part is packed to another fibre fraction than the panel."""
    part, porosity = panel.part, panel.stack.porosity
    if part is None or part.fibre_fraction is None or porosity is None:
        return 1.0
    return fraction_ratio(1.0 - porosity, part.fibre_fraction)


def part_law(fit: PermeabilityFit, feed: str) -> tuple[FrontLaw, float]:
    """Law of the (level) part and the factor from the panel's slope D to the part's.

    An edge-fed law has D = 2 K / porosity, a point-fed law 4 K / porosity.
    """
    if feed == "point":
        law = fit.law if fit.flow == "point" else point_law(0.005)
        return law, 1.0 if fit.flow == "point" else 2.0
    return edge_law(), 1.0 if fit.flow == "edge" else 0.5


def log_impulse(
    fit: PermeabilityFit,
    law: FrontLaw,
    factor: float,
    length_m: float,
    feeds: float = 1.0,
    setup: PartSetup | None = None,
) -> Mixture:
    """Log of the impulse that fills `length_m`, over every guess of the part's feed line.

    Parameters
    ----------
    fit : PermeabilityFit
        From the panel.
    law : FrontLaw
        The part's.
    factor : float
        Multiplies the panel's slope D.
    length_m : float
        Distance to run.
    feeds : float
        Sides each feed line serves: multiplies its resistance.
    setup : PartSetup, optional
        How the part is infused; as the panel if left out.
    """
    lines = (setup or PartSetup()).feeds
    mixtures = [_with_feed(fit, law, factor, length_m, feeds, line) for line in lines]
    return join(mixtures, np.array([line.weight for line in lines]))


def _with_feed(
    fit: PermeabilityFit,
    law: FrontLaw,
    factor: float,
    length_m: float,
    feeds: float,
    line: FeedLine,
) -> Mixture:
    mean = fit.mixture.mean
    share = feeds * line.share
    a = np.maximum(mean[:, 2], 0.0) * fit.reach_m * share + feeds * line.extra_m
    y = float(law.h(np.array(length_m))) + 2.0 * a * length_m
    value = np.log(y) - mean[:, 0] - np.log(factor)
    gradient = np.zeros_like(mean)
    gradient[:, 0] = -1.0
    gradient[:, 2] = 2.0 * fit.reach_m * share * length_m / y
    return project(fit.mixture, value, gradient)


def best_log_impulse(
    fit: PermeabilityFit,
    law: FrontLaw,
    factor: float,
    length_m: float,
    feeds: float = 1.0,
    setup: PartSetup | None = None,
) -> float:
    """Log of that impulse from the best model and the likeliest feed line alone."""
    a = best_feed_m(fit, setup) * feeds
    y = float(law.h(np.array(length_m))) + 2.0 * a * length_m
    return float(np.log(y / (fit.slope * factor)))


def best_feed_m(fit: PermeabilityFit, setup: PartSetup | None = None) -> float:
    """Extra length in m that stands for the resistance of the part's feed line."""
    line = (setup or PartSetup()).best
    return fit.feed_length_m * line.share + line.extra_m


def forecast_fill(
    fit: PermeabilityFit,
    length_m: float,
    repeat_sd: float,
    working_time_s: float | None = None,
    feed: str = "edge",
    slow_axis: float = 1.0,
    speed: float = 1.0,
    setup: PartSetup | None = None,
    impulse: Impulse | None = None,
) -> FillForecast:
    """Compute fill time over `length_m` under the panel's bag, and the longest run.

    Parameters
    ----------
    fit : PermeabilityFit
        From the panel.
    length_m : float
        Flow length of the part.
    repeat_sd : float
        Relative sd of permeability from one lay-up to the next.
    working_time_s : float, optional
        From resin start; without it no longest run.
    feed : {"edge", "point"}
        How the part is fed.
    slow_axis : float
        Point-fed panel only: K2 / sqrt(K1 K2), so that the forecast is for the slow direction.
    speed : float
        Factor on K / porosity of the part against the panel.
    setup : PartSetup, optional
        Feed line and viscosity of the part where they are not the panel's.
    impulse : Impulse, optional
        Impulse curve of the part; the panel's if left out.

    Notes
    -----
    The impulse that fills follows from the fit alone; the time from the impulse curve, so that
    vacuum and viscosity histories enter only there. "Never" is infinity.
    """
    law, factor = part_law(fit, feed)
    factor *= speed
    reach = length_m
    if feed == "point":
        reach = max(length_m / np.sqrt(slow_axis), law.start_m * 1.0001)
    else:
        factor *= slow_axis
    setup, impulse = setup or PartSetup(), impulse or fit.impulse
    extra = float(np.hypot(forecast_sd(fit, repeat_sd), setup.viscosity_sd))
    low, high = interval(log_impulse(fit, law, factor, reach, setup=setup), extra)
    best = best_log_impulse(fit, law, factor, reach, setup=setup)
    times = impulse.time_of(np.exp(np.array([best, low, high])))
    middle, early, late = (float(t) for t in times)
    fill = FillForecast(length_m, middle, early, late)
    if working_time_s is None or working_time_s <= 0:
        return fill
    driven = fit.slope * factor * float(impulse.at(working_time_s))
    shift = np.array([best, low, high]) - best
    runs = law.front(driven * np.exp(-shift), best_feed_m(fit, setup))
    back = np.sqrt(slow_axis) if feed == "point" else 1.0
    run, run_high, run_low = (float(r * back) for r in runs)
    return replace(
        fill,
        longest_run_m=run,
        longest_low_m=min(run_low, run),
        longest_high_m=max(run_high, run),
    )
