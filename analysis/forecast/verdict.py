"""One word on the panel and the reason, in words a technician can act on."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.fit.frame_selection import SLOWED
from analysis.fit.mixture_regression import Z_95
from analysis.fit.permeability import NoFit, PermeabilityFit
from analysis.forecast.fill_time import FillForecast
from analysis.panel.records import Log, Panel
from vision.common.rounding import minutes
from vision.records import FrontSummary, Tracked

UNFAIR_RACE_SHARE = 0.15
"""Race-tracking lead over length reached above which the panel was no fair test."""
LEAST_K_M2, MOST_K_M2, MOST_K_MEDIA_M2 = 1e-13, 3e-9, 3e-8
"""Permeability of reinforcement along its plane, and with flow media on top; a number outside is
most often a wrong unit of length, time, viscosity or pressure (common practice, no source)."""
UNFAIR_LANES = 1.0 / 3.0
"""Share of the width that must have run evenly: of fewer lanes the fit has only what the racing
edges have fed from the side."""
UNFAIR_DRY_SHARE = 0.02
"""Dry area over wetted area above which the panel was no fair test."""
UNFAIR_SAG = 0.10
"""Drop of the driving pressure during the run above which the panel was no fair test."""
UNFAIR_MISFIT = 0.06
"""Front off the fitted law, in root mean square over how far it got, above which it follows none.
Twice and more what 99 of 100 sound panels of tests/bench/simulated_panels.py show."""
MOST_LAG = 0.5
"""Lag of the tool side over the part's run above which nothing is forecast: the closed form holds
for a lag that is short against the run."""


@dataclass(frozen=True)
class GelLimits:
    """Until when the resin runs, in seconds from resin start.

    `gel_sd` is the relative standard uncertainty of the gel time.
    """

    gel_s: float
    working_s: float
    gel_sd: float = 0.0

    @property
    def gel_low_s(self) -> float:
        """Lower end of the gel time's 95 % interval."""
        return float(self.gel_s * np.exp(-Z_95 * self.gel_sd))


@dataclass(frozen=True)
class Judgement:
    """The verdict on a panel.

    Attributes
    ----------
    verdict : str
        "fills", "tight", "gels first", "unfair test" or "cannot decide".
    reason : str
    may_gel_first : bool
        Whether the 95 % interval holds a fill that gels before its end.
    """

    verdict: str
    reason: str
    may_gel_first: bool = False

    @property
    def headline(self) -> str:
        """The verdict in capitals; where it may gel first, that stands first."""
        word = self.verdict.upper()
        return f"MAY GEL FIRST ({word})" if self.may_gel_first else word


def unfair_reasons(panel: Panel, tracked: Tracked, fit: PermeabilityFit | NoFit) -> list[str]:
    """Find what spoiled the panel as a test; an empty list if nothing did."""
    front = tracked.front
    reasons = [*_racing(tracked), *_slowing(tracked, fit)]
    dry_mm2 = sum(spot.area_mm2 for spot in front.dry_spots)
    width_mm = tracked.scale.width_mm or (panel.width_m or 0.0) * 1000.0
    if width_mm and dry_mm2 > UNFAIR_DRY_SHARE * max(front.length_reached_mm, 1e-9) * width_mm:
        reasons.append(f"{dry_mm2 / 100:.0f} cm2 stayed dry behind the front")
    sag = vacuum_drop(panel, fit)
    if sag is not None and sag > UNFAIR_SAG:
        reasons.append(f"the vacuum sagged by {sag * 100:.0f} % during the run: mend the leak")
    return reasons


def _racing(tracked: Tracked) -> list[str]:
    front = tracked.front
    if front.race_share > UNFAIR_RACE_SHARE:
        return [
            f"resin raced {front.race_tracking_mm:.0f} mm ahead along an edge: seal the edges of "
            "the stack and repeat"
        ]
    width_mm = tracked.scale.width_mm
    even_mm = sum(upper - lower for lower, upper in front.clean_lanes_mm)
    if front.clean_lanes_mm and width_mm and even_mm < UNFAIR_LANES * width_mm:
        return [
            f"only {even_mm:.0f} of {width_mm:.0f} mm of the width ran evenly: seal the edges of "
            "the stack and repeat"
        ]
    return []


def _slowing(tracked: Tracked, fit: PermeabilityFit | NoFit) -> list[str]:
    front = tracked.front
    if front.stalled_at_mm is not None:
        return [
            f"the front stalled at {front.stalled_at_mm:.0f} mm: look for an empty pot, a "
            "pinched line, a leak or gelled resin, and repeat"
        ]
    if isinstance(fit, NoFit):
        return []
    if SLOWED in fit.frame_notes:
        at_min = fit.time_s[fit.frame_notes.index(SLOWED)] / 60.0
        return [
            f"the front slowed from {at_min:.0f} min on without need: look for thickening resin, "
            "a falling vacuum or an empty pot, and repeat"
        ]
    return _bending(fit)


def _bending(fit: PermeabilityFit) -> list[str]:
    """Speed that dies away more than the stated resin and vacuum explain."""
    bend = fit.bend
    if bend is None or not bend.clear:
        return _straying(fit)
    chance = f"{bend.p_value:.3f}" if bend.p_value >= 0.001 else "under 0.001"
    return [
        f"the front lost {100 * (1 - bend.late_speed):.0f} % of its speed beyond what the stated "
        f"resin and vacuum explain (p {chance}): look for resin that thickened, a vacuum that "
        "sagged or a pot that ran empty; state viscosity_doubling_min or a log, or repeat"
    ]


def off_every_law(fit: PermeabilityFit) -> bool:
    """Return whether the front is so far off the fitted law that it follows none."""
    return fit.misfit_m > UNFAIR_MISFIT * fit.reach_m


def _straying(fit: PermeabilityFit) -> list[str]:
    """What follows no law at all: a clock that jumps, photos of two runs, a feed shut meanwhile."""
    if not off_every_law(fit):
        return []
    return [
        f"no steady flow runs like this front: it stands {fit.misfit_m * 1000.0:.0f} mm off the "
        "nearest that does; check the times (a camera clock that was set meanwhile, photos of two "
        "runs) and whether the feed stayed open, and repeat where neither explains it"
    ]


def vacuum_drop(panel: Panel, fit: PermeabilityFit | NoFit) -> float | None:
    """Compute the largest drop of the driving pressure while the front ran, as a share.

    From the log and from the readings typed at the board; None where neither tells.
    """
    last = float(np.max(fit.time_s[fit.used])) if isinstance(fit, PermeabilityFit) else np.inf
    drops = [_drop(log, last) for log in (panel.vacuum.log, panel.vacuum.typed) if log is not None]
    known = [drop for drop in drops if drop is not None]
    return max(known) if known else None


def _drop(log: Log, last: float) -> float | None:
    inside = (log.time_s >= 0) & (log.time_s <= last)
    drive = log.value[inside]
    if len(drive) < 2:
        return None
    top = int(np.argmax(drive))
    return float(1.0 - np.min(drive[top:]) / drive[top])


def judge(
    panel: Panel,
    tracked: Tracked,
    fit: PermeabilityFit | NoFit,
    fill: FillForecast | None,
    limits: GelLimits | None,
    lag_m: float | None = 0.0,
) -> Judgement:
    """Return the verdict and its reason.

    Parameters
    ----------
    panel, tracked, fit
        What was tested, seen and fitted.
    fill : FillForecast or None
        None where there is no part.
    limits : GelLimits or None
        None where no gel time is known.
    lag_m : float or None
        How far the tool side lags behind the front seen; None where flow media's lead is not
        known.

    Notes
    -----
    "gels first": the fill time itself is beyond the gel time. "fills": the fill time's upper
    bound is within the working time. "tight": between the two.
    """
    if tracked.front.doubts:
        return Judgement("cannot decide", in_doubt(tracked.front))
    if isinstance(fit, NoFit):
        spoiled = unfair_reasons(panel, tracked, fit)
        return Judgement("cannot decide", "; ".join([fit.reason, *spoiled]))
    unfair = unfair_reasons(panel, tracked, fit)
    if unfair:
        return Judgement("unfair test", "; ".join(unfair))
    missing = _missing(panel, fit, fill, limits)
    if missing or fill is None or limits is None:
        return Judgement("cannot decide", missing)
    hidden = _hidden_lag(fill, lag_m)
    return Judgement("cannot decide", hidden) if hidden else judge_fill(fill, limits)


def in_doubt(front: FrontSummary) -> str:
    """Write why the front itself is not believed, where, and what helps."""
    picture = front.unexplained_picture
    where = f" {picture} in the results shows where." if picture else ""
    return (
        f"the front that was read may be wrong: {'; '.join(front.doubts)}.{where} Look at the "
        "photos in the record, keep sun and shadows off the panel, or mark the front with a few "
        "points in fix.csv"
    )


def _missing(
    panel: Panel, fit: PermeabilityFit, fill: FillForecast | None, limits: GelLimits | None
) -> str:
    """Return what is missing or cannot be for a verdict; empty where nothing is."""
    odd = _odd_permeability(panel, fit.k_m2)
    if odd:
        return odd
    if fill is None:
        return "no flow length to fill: add [part] flow_length_mm to panel.toml"
    if panel.part is not None and not panel.part.length_stated:
        return (
            "how far the resin must run on the part is missing: add [part] flow_length_mm to "
            f"panel.toml; the panel's own {fill.flow_length_m * 1000.0:.0f} mm would take "
            f"{minutes(fill.time_s)}"
        )
    if limits is None:
        return "no gel time to hold the fill time against: add [resin] gel_time_min to panel.toml"
    first_s = float(np.min(fit.time_s[fit.used]))
    if limits.gel_s < first_s:
        return (
            f"the gel time ({minutes(limits.gel_s)}) is over before the first frame with a front "
            f"({minutes(first_s)}): check [resin] gel_time_min and the frame times"
        )
    return ""


def _odd_permeability(panel: Panel, k_m2: float | None) -> str:
    """Return what speaks against a permeability that no usual stack has; empty where it has one."""
    most = MOST_K_M2 if panel.stack.media is None else MOST_K_MEDIA_M2
    if k_m2 is None or panel.stack.k_confirmed or LEAST_K_M2 <= k_m2 <= most:
        return ""
    return (
        f"the permeability comes out at {k_m2:.1e} m2; {LEAST_K_M2:.0e} to {most:.0e} is usual: "
        "check the panel's length, the times, viscosity and vacuum; if it is true, write "
        'confirmed = ["permeability"] under [stack]'
    )


def _hidden_lag(fill: FillForecast, lag_m: float | None) -> str:
    """Write why a front seen in flow media says nothing of the tool side; empty if it does."""
    if lag_m is None:
        return (
            "the front that is seen runs in the flow media, ahead of the tool side, and how far is "
            "not known: add [stack] media_lead_mm (measured on the tool side), or kz_m2 with "
            "thickness_mm and porosity"
        )
    if lag_m > MOST_LAG * fill.flow_length_m:
        return (
            f"the tool side lags {lag_m * 1000.0:.0f} mm behind the flow media's front, too much "
            f"for a run of {fill.flow_length_m * 1000.0:.0f} mm: use less media or a longer panel"
        )
    return ""


def room_to_gel(time_s: float, high_s: float, limits: GelLimits) -> float:
    """Compute how much slower the fill could be and still fill, as a logarithm.

    Parameters
    ----------
    time_s, high_s : float
        Fill time and the upper end of its 95 % interval.
    limits : GelLimits

    Returns
    -------
    float
        At least 0 where the part fills: the upper bound is within the working time, and not one
        fill in forty gels before its end. Minus infinity where it may never fill.

    Notes
    -----
    The doubts of fill time and gel time are independent and add in squares (JCGM 100:2008, 5.1.2).
    """
    if not np.isfinite(high_s) or limits.working_s <= 0:
        return -np.inf
    to_work = np.log(limits.working_s / high_s)
    return float(min(to_work, _room_before_gel(time_s, high_s, limits)))


def _room_before_gel(time_s: float, high_s: float, limits: GelLimits) -> float:
    if not np.isfinite(high_s):
        return -np.inf
    doubt = np.hypot(Z_95 * limits.gel_sd, np.log(high_s / time_s))
    return float(np.log(limits.gel_s / time_s) - doubt)


def judge_fill(fill: FillForecast, limits: GelLimits) -> Judgement:
    """Return the verdict on one forecast fill against gel and working time."""
    run = f"{fill.flow_length_m * 1000.0:.0f} mm"
    time, high = minutes(fill.time_s), minutes(fill.time_high_s, "up")
    work, gel = minutes(limits.working_s, "down"), minutes(limits.gel_s, "down")
    if not np.isfinite(fill.time_s):
        return Judgement("gels first", f"the resin stiffens before it has run {run}")
    if fill.time_s > limits.gel_s:
        low = minutes(fill.time_low_s, "down")
        return Judgement(
            "gels first", f"{run} needs {time} (95 %: {low} or more); the resin gels at {gel}"
        )
    if room_to_gel(fill.time_s, fill.time_high_s, limits) >= 0:
        return Judgement(
            "fills", f"{run} fills in {time} (95 %: at most {high}); working time is {work}"
        )
    if _room_before_gel(fill.time_s, fill.time_high_s, limits) >= 0:
        return Judgement(
            "tight",
            f"{run} needs {time} (95 %: up to {high}); working time is {work}, gel at {gel}",
        )
    early = minutes(limits.gel_low_s, "down")
    late = "never" if not np.isfinite(fill.time_high_s) else f"up to {high}"
    return Judgement(
        "tight",
        f"it may gel first: {run} needs {time} (95 %: {late}); gel at {gel} (95 %: from {early}); "
        f"working time is {work}",
        may_gel_first=True,
    )


def margin_interval(
    fill: FillForecast, working_s: float, gel_sd: float
) -> tuple[float, float, float]:
    """Compute working time over fill time with its 95 % interval; 0 where it never fills.

    The doubts of gel time and fill time are independent and add in squares.
    """
    margin = working_s / fill.time_s
    gel = Z_95 * gel_sd
    if not np.isfinite(fill.time_s):
        high = working_s / fill.time_low_s
        return 0.0, 0.0, float(high * np.exp(gel)) if high > 0 else 0.0
    down = np.hypot(gel, np.log(fill.time_high_s / fill.time_s))
    up = np.hypot(gel, np.log(fill.time_s / fill.time_low_s))
    return float(margin), float(margin * np.exp(-down)), float(margin * np.exp(up))
