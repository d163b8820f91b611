"""The part's forecast: fill time against working time, and what to change if it does not fit."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from analysis.fit.permeability import NoFit
from analysis.forecast.panel_answer import PanelAnswer, answer
from analysis.forecast.panel_json import answer_json, read_permeability
from analysis.forecast.panel_text import CAUTION, answer_lines
from analysis.forecast.process_changes import Lever, all_levers, slack
from analysis.forecast.what_if import Case, make_case
from analysis.panel.flow_media import MediaFacts, media_facts
from analysis.panel.panel_toml import read_settled_panel
from analysis.panel.records import Panel
from analysis.panel.resin import gel_time
from vision.common.atomic_files import plain
from vision.errors import WetlineError
from vision.records import Tracked

UNDER_THIS_BAG = (
    "The permeability is an effective one under this bag and vacuum: right for the same lay-up, "
    "not for another thickness."
)
SLOW_IS_FINE = (
    "It fits as it is. Slower is not worse in itself: a slow fill often gives a better surface."
)


@dataclass(frozen=True)
class Forecast:
    """The panel's answer, the what-if case, and the levers in order of trying."""

    answer: PanelAnswer
    case: Case | None
    levers: tuple[Lever, ...]
    reason: str
    media: MediaFacts | None = None


def forecast(panel: Panel, tracked: Tracked, media: MediaFacts | None = None) -> Forecast:
    """Forecast the part and rank what could be changed.

    Parameters
    ----------
    panel, tracked
        As for `analysis.forecast.panel_answer.answer`.
    media : MediaFacts, optional
        From `read_media_facts`.

    Returns
    -------
    Forecast
        `levers` is empty where the reason says what is missing.
    """
    found = answer(tracked, panel)
    fit, gel = found.fit, gel_time(panel.resin)
    if isinstance(fit, NoFit):
        return Forecast(found, None, (), fit.reason)
    if panel.part is None:
        return Forecast(found, None, (), "add [part] flow_length_mm to panel.toml")
    if gel is None:
        return Forecast(found, None, (), "add [resin] gel_time_min to panel.toml")
    case = make_case(panel, fit, gel, panel.part.flow_length_m, found.slow_axis)
    ratio = None if media is None else media.ratio
    return Forecast(found, case, tuple(all_levers(case, ratio)), "", media)


def read_media_facts(folder: Path, panel: Panel, k_m2: float | None) -> MediaFacts:
    """Compare with the results of another panel that had flow media.

    Parameters
    ----------
    folder : Path
        Panel folder with media whose results.json is there.
    panel : Panel
        The panel without media.
    k_m2 : float or None
        Its permeability.

    Raises
    ------
    WetlineError
        If one of the two has no permeability, or the one with media is the slower.
    """
    k_with_m2 = read_permeability(folder)
    if k_with_m2 is None or k_m2 is None:
        name = str(folder) if k_with_m2 is None else panel.name
        raise WetlineError(f"{name}: has no permeability to compare: run `wetline fit` on it first")
    try:
        return media_facts(read_settled_panel(Path(folder)).stack, k_with_m2, panel.stack, k_m2)
    except ValueError as error:
        raise WetlineError(f"{folder}: {error}") from error


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
    results = answer_json(found.answer)
    out: dict[str, Any] = {key: results[key] for key in keys}
    media = None if found.media is None else plain(asdict(found.media))
    return out | {"levers": plain(levers), "media": media, "reason": found.reason}


def _media_lines(media: MediaFacts | None) -> list[str]:
    if media is None:
        return []
    lines = [f"Flow media:   makes the stack {media.ratio:.1f} times as fast"]
    if media.k_m2 is not None:
        lines.append(f"              its own permeability is {media.k_m2:.2e} m2")
    if media.lead_m is not None:
        lines.append(
            f"              its front runs {media.lead_m * 1000:.0f} mm ahead of the front at the "
            "tool: end the media that far before the vent"
        )
    return lines


def forecast_lines(found: Forecast) -> list[str]:
    """Tell the forecast in plain lines."""
    lines = [line for line in answer_lines(found.answer) if line != CAUTION]
    if found.case is None:
        return [*lines, f"No what-if: {found.reason}", CAUTION]
    lines += _media_lines(found.media)
    fill, gel = found.answer.fill, found.answer.gel
    lines.append("")
    if fill is not None and gel is not None and fill.time_high_s <= gel.working_time_s:
        lines += [SLOW_IS_FINE, "Room to spare, one thing at a time:"]
        lines += [f"- {text}" for text in slack(found.case)]
        return [*lines, "", UNDER_THIS_BAG, CAUTION]
    lines.append("What would be enough alone, least trouble first:")
    for lever in found.levers:
        mark = "enough" if lever.enough else "too little"
        lines.append(f"- {lever.name} ({mark}): {lever.say}")
        lines.append(f"  price: {lever.cost}")
    return [*lines, "", UNDER_THIS_BAG, CAUTION]
