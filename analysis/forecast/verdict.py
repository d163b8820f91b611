"""One word on the panel and the reason, in words a technician can act on."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.fit.frame_selection import SLOWED
from analysis.fit.permeability import NoFit, PermeabilityFit
from analysis.forecast.fill_time import FillForecast
from analysis.panel.records import Panel
from vision.records import FrontSummary

UNFAIR_RACE_SHARE = 0.15
"""Race-tracking lead over length reached above which the panel was no fair test."""
UNFAIR_DRY_SHARE = 0.02
"""Dry area over wetted area above which the panel was no fair test."""
UNFAIR_SAG = 0.10
"""Drop of the driving pressure during the run above which the panel was no fair test."""
STALL_SHARE = 0.95
"""A front that stops short of this share of the panel length has stalled."""


@dataclass(frozen=True)
class Judgement:
    """`verdict` is "fills", "tight", "gels first", "unfair test" or "cannot decide"."""

    verdict: str
    reason: str


def unfair_reasons(panel: Panel, front: FrontSummary, fit: PermeabilityFit | NoFit) -> list[str]:
    """Say what spoiled the panel as a test; an empty list if nothing did."""
    reasons = []
    reached = max(front.length_reached_mm, 1e-9)
    if front.race_tracking_mm > UNFAIR_RACE_SHARE * reached:
        reasons.append(
            f"resin raced {front.race_tracking_mm:.0f} mm ahead along an edge: seal the edges of "
            "the stack and repeat"
        )
    if front.stalled_at_mm is not None:
        reasons.append(
            f"the front stalled at {front.stalled_at_mm:.0f} mm: look for an empty pot, a "
            "pinched line, a leak or gelled resin, and repeat"
        )
    elif isinstance(fit, PermeabilityFit) and SLOWED in fit.frame_notes:
        at_min = fit.time_s[fit.frame_notes.index(SLOWED)] / 60.0
        reasons.append(
            f"the front slowed from {at_min:.0f} min on without need: look for thickening resin, "
            "a falling vacuum or an empty pot, and repeat"
        )
    dry_mm2 = sum(spot.area_mm2 for spot in front.dry_spots)
    if panel.width_m and dry_mm2 > UNFAIR_DRY_SHARE * reached * panel.width_m * 1000.0:
        reasons.append(f"{dry_mm2 / 100:.0f} cm2 stayed dry behind the front")
    sag = _sag(panel, fit)
    if sag > UNFAIR_SAG:
        reasons.append(f"the vacuum sagged by {sag * 100:.0f} % during the run: mend the leak")
    return reasons


def _sag(panel: Panel, fit: PermeabilityFit | NoFit) -> float:
    log = panel.vacuum.log
    if log is None:
        return 0.0
    last = float(np.max(fit.time_s[fit.used])) if isinstance(fit, PermeabilityFit) else np.inf
    inside = (log.time_s >= 0) & (log.time_s <= last)
    drive = log.value[inside]
    if len(drive) < 2:
        return 0.0
    top = int(np.argmax(drive))
    return float(1.0 - np.min(drive[top:]) / drive[top])


def judge(
    panel: Panel,
    front: FrontSummary,
    fit: PermeabilityFit | NoFit,
    fill: FillForecast | None,
    gel_time_s: float | None,
    working_time_s: float | None,
) -> Judgement:
    """Give the verdict; times count from resin start.

    "fills": the fill time's upper bound is within the working time. "gels first": the fill time
    itself is beyond the gel time. "tight": between the two.
    """
    if isinstance(fit, NoFit):
        return Judgement("cannot decide", fit.reason)
    unfair = unfair_reasons(panel, front, fit)
    if unfair:
        return Judgement("unfair test", "; ".join(unfair))
    if fill is None:
        return Judgement(
            "cannot decide", "no flow length to fill: add [part] flow_length_mm to panel.toml"
        )
    if gel_time_s is None or working_time_s is None:
        return Judgement(
            "cannot decide",
            "no gel time to hold the fill time against: add [resin] gel_time_min to panel.toml",
        )
    first_s = float(np.min(fit.time_s[fit.used]))
    if gel_time_s < first_s:
        return Judgement(
            "cannot decide",
            f"the gel time ({_minutes(gel_time_s)}) is over before the first frame with a front "
            f"({_minutes(first_s)}): check [resin] gel_time_min and the frame times",
        )
    return _against_gel(fill, gel_time_s, working_time_s)


def _against_gel(fill: FillForecast, gel_time_s: float, working_time_s: float) -> Judgement:
    run, work, gel = fill.flow_length_m * 1000.0, _minutes(working_time_s), _minutes(gel_time_s)
    time = _minutes(fill.time_s)
    if fill.time_high_s <= working_time_s:
        return Judgement(
            "fills",
            f"{run:.0f} mm fills in {time}, at most {_minutes(fill.time_high_s)}; working time "
            f"is {work}",
        )
    if not np.isfinite(fill.time_s):
        return Judgement("gels first", f"the resin stiffens before it has run {run:.0f} mm")
    if fill.time_s > gel_time_s:
        return Judgement("gels first", f"{run:.0f} mm needs {time}; the resin gels at {gel}")
    return Judgement(
        "tight",
        f"{run:.0f} mm needs {time}, perhaps {_minutes(fill.time_high_s)}; working time is "
        f"{work}, gel at {gel}",
    )


def _minutes(seconds: float) -> str:
    """Show a time in minutes as a shop says it.

    Examples
    --------
    >>> _minutes(2400.0), _minutes(45.0), _minutes(float("inf"))
    ('40 min', '0.8 min', 'never')
    """
    if not np.isfinite(seconds):
        return "never"
    minutes = seconds / 60.0
    return f"{minutes:.0f} min" if minutes >= 9.95 else f"{minutes:.1f} min"
