"""The part's forecast: fill time against working time, and what to change if it does not fit."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from analysis.answer import describe, fit_panel
from analysis.levers import Lever, all_levers, slack
from analysis.permeability import NoFit
from analysis.records import Panel
from analysis.resin import gel_time
from analysis.scenario import Case, make_case
from vision.errors import WetlineError
from vision.files import plain, read_json
from vision.records import FrontCurve, FrontSummary, ScaleSummary

UNDER_THIS_BAG = (
    "The permeability is an effective one under this bag and vacuum: right for the same lay-up, "
    "not for another thickness."
)
SLOW_IS_FINE = (
    "It fits as it is. Slower is not worse in itself: a slow fill often gives a better surface."
)


@dataclass(frozen=True)
class Forecast:
    """Results as in results.json, the what-if case, and the levers in order of trying."""

    results: Mapping[str, Any]
    case: Case | None
    levers: tuple[Lever, ...]
    reason: str


def forecast(
    panel: Panel,
    curve: FrontCurve,
    front: FrontSummary,
    scale: ScaleSummary,
    media_ratio: float | None = None,
) -> Forecast:
    """Forecast the part and rank what could be changed.

    Parameters
    ----------
    panel, curve, front, scale
        As for `analysis.answer.answer`.
    media_ratio : float, optional
        Speed with flow media over speed without, from `media_ratio_from`.

    Returns
    -------
    Forecast
        `levers` is empty where the reason says what is missing.
    """
    fit, axes = fit_panel(panel, curve, front, scale)
    results = describe(panel, front, scale, fit, axes)
    gel = gel_time(panel.resin)
    if isinstance(fit, NoFit):
        return Forecast(results, None, (), fit.reason)
    if panel.part is None:
        return Forecast(results, None, (), "add [part] flow_length_mm to panel.toml")
    if gel is None:
        return Forecast(results, None, (), "add [resin] gel_time_min to panel.toml")
    slow = 1.0 if axes is None else axes.ratio**-0.5
    case = make_case(panel, fit, gel, panel.part.flow_length_m, slow)
    return Forecast(results, case, tuple(all_levers(case, media_ratio)), "")


def media_ratio_from(folder: Path, without: Mapping[str, Any]) -> float:
    """Speed with flow media over speed without, from the results of another panel.

    Parameters
    ----------
    folder : Path
        Panel folder with media whose results.json is there.
    without : mapping
        Results of the panel without media.

    Raises
    ------
    WetlineError
        If one of the two has no permeability.
    """
    other = read_json(Path(folder) / "results" / "results.json")
    slopes = []
    for name, results in ((str(folder), other), ("this panel", without)):
        slope = (results.get("permeability") or {}).get("k_over_porosity_m2")
        if slope is None:
            raise WetlineError(
                f"{name}: has no permeability to compare: run `wetline fit` on it first"
            )
        slopes.append(float(slope))
    return slopes[0] / slopes[1]


def forecast_json(found: Forecast) -> dict[str, Any]:
    """Give the forecast as plain JSON values."""
    levers = [
        {
            "name": lever.name,
            "enough": lever.enough,
            "needed": lever.needed,
            "likely_needed": lever.likely,
            "unit": lever.unit,
            "time_s": lever.outcome.time_s,
            "margin": lever.outcome.margin,
            "margin_low": lever.outcome.margin_low,
            "margin_high": lever.outcome.margin_high,
            "say": lever.say,
            "cost": lever.cost,
        }
        for lever in found.levers
    ]
    keys = ("panel", "permeability", "fill", "gel", "verdict", "warnings")
    out: dict[str, Any] = plain({key: found.results[key] for key in keys})
    return out | {"levers": plain(levers), "reason": found.reason}


def forecast_lines(found: Forecast) -> list[str]:
    """Tell the forecast in plain lines."""
    from analysis.answer import CAUTION, plain_lines

    lines = [line for line in plain_lines(found.results) if line != CAUTION]
    if found.case is None:
        return [*lines, f"No what-if: {found.reason}", CAUTION]
    fill, gel = found.results["fill"], found.results["gel"]
    high = fill["time_high_s"]
    fits = high is not None and high <= gel["working_time_s"]
    lines.append("")
    if fits:
        lines += [SLOW_IS_FINE, "Room to spare, one thing at a time:"]
        lines += [f"- {text}" for text in slack(found.case)]
        return [*lines, "", UNDER_THIS_BAG, CAUTION]
    lines.append("What would be enough alone, least trouble first:")
    for lever in found.levers:
        mark = "enough" if lever.enough else "too little"
        lines.append(f"- {lever.name} ({mark}): {lever.say}")
        lines.append(f"  price: {lever.cost}")
    return [*lines, "", UNDER_THIS_BAG, CAUTION]
