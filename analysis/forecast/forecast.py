"""The part's forecast: fill time against working time, and what to change if it does not fit."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

from analysis.fit.permeability import NoFit
from analysis.forecast.panel_answer import PanelAnswer, answer
from analysis.forecast.panel_json import answer_json
from analysis.forecast.panel_text import CAUTION, head_rows, text_lines
from analysis.forecast.part_setup import part_gel_time
from analysis.forecast.process_changes import ProcessChange, all_changes, enough_together
from analysis.forecast.what_if import Case, Change, least_that_fills, make_case, outcome
from analysis.panel.flow_media import MediaFacts, media_facts
from analysis.panel.records import Panel
from vision.common.atomic_files import plain
from vision.common.rounding import rounded
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
    """The panel's answer, the what-if case, and the changes in order of trying.

    `together` names two changes that are enough together where none is alone.
    """

    answer: PanelAnswer
    case: Case | None
    changes: tuple[ProcessChange, ...]
    reason: str
    media: MediaFacts | None = None
    together: tuple[str, str] | None = None


def forecast(panel: Panel, tracked: Tracked, media: MediaFacts | None = None) -> Forecast:
    """Forecast the part and rank what could be changed.

    Parameters
    ----------
    panel, tracked
        As for `analysis.forecast.panel_answer.answer`.
    media : MediaFacts, optional
        From `compare_media`.

    Returns
    -------
    Forecast
        `changes` is empty where the reason says what is missing.
    """
    found = answer(tracked, panel)
    case = case_of(found)
    if isinstance(found.fit, NoFit):
        return Forecast(found, None, (), found.fit.reason)
    if panel.part is None:
        return Forecast(found, None, (), "add [part] flow_length_mm to panel.toml")
    if case is None:
        return Forecast(found, None, (), "add [resin] gel_time_min to panel.toml")
    changes = tuple(all_changes(case, media))
    together = None
    if not any(change.enough for change in changes):
        together = enough_together(case, changes)
    return Forecast(found, case, changes, "", media, together)


def case_of(found: PanelAnswer) -> Case | None:
    """Return the case that changes start from; None where a panel tells too little for one."""
    fit, part, gel = found.fit, found.panel.part, part_gel_time(found.panel)
    if isinstance(fit, NoFit) or part is None or gel is None:
        return None
    lag_m = found.tool_lag_m or 0.0
    return make_case(found.panel, fit, gel, part.flow_length_m, found.slow_axis, lag_m)


def compare_media(with_media: PanelAnswer, without: PanelAnswer) -> MediaFacts:
    """Compare a panel that had flow media with one that had none.

    Parameters
    ----------
    with_media, without : PanelAnswer

    Raises
    ------
    WetlineError
        If one of the two has no permeability or was no fair test, or the one with media is the
        slower.
    """
    for found in (with_media, without):
        if found.verdict == "unfair test":
            raise WetlineError(
                f"{found.panel.name}: was no fair test ({found.reason}): flow media cannot be "
                "judged from it"
            )
        if found.k_m2 is None:
            reason = found.reason or "no permeability"
            raise WetlineError(f"{found.panel.name}: has no permeability to compare: {reason}")
    k_with_m2, k_m2 = with_media.k_m2, without.k_m2
    assert k_with_m2 is not None
    assert k_m2 is not None
    try:
        return media_facts(with_media.panel.stack, k_with_m2, without.panel.stack, k_m2)
    except ValueError as error:
        raise WetlineError(f"{with_media.panel.name}: {error}") from error


def forecast_json(found: Forecast) -> dict[str, Any]:
    """Return the forecast as plain JSON values."""
    levers = [
        {
            "name": change.name,
            "enough": change.enough,
            "needed": change.needed,
            "likely_needed": change.likely,
            "unit": change.unit,
            "time_s": change.outcome.time_s,
            "margin": change.outcome.margin,
            "margin_low": change.outcome.margin_low,
            "margin_high": change.outcome.margin_high,
            "say": change.words,
            "cost": change.cost,
        }
        for change in found.changes
    ]
    keys = ("panel", "permeability", "fill", "gel", "verdict", "warnings")
    results = answer_json(found.answer)
    out: dict[str, Any] = {key: results[key] for key in keys}
    media = None if found.media is None else plain(asdict(found.media))
    return out | {
        "levers": plain(levers),
        "room_to_spare": _room_to_spare(found),
        "enough_together": plain(found.together),
        "media": media,
        "reason": found.reason,
    }


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


def slack(case: Case) -> list[str]:
    """Write how far a plan that fits could be eased and still fit, in plain words."""
    out = []
    cure = least_that_fills(case, lambda v: Change(cure=v), 0.05, 1.0, True)
    if cure is not None:
        gel = rounded(cure * case.gel.gel_s / 60.0, side="up")
        out.append(f"gel time could be as short as {gel} min")
    run = least_that_fills(case, lambda v: Change(length=v), 20.0, 1.0, True)
    if run is not None:
        mm = rounded(run * case.length_m * 1000.0, side="down")
        out.append(f"the run could be as long as {mm} mm")
    drive = case.panel.vacuum.pressure_pa
    weak = least_that_fills(case, lambda v: Change(drive=v), 0.05, 1.0, True)
    if weak is not None and drive is not None:
        mbar = rounded(weak * drive / 100.0, side="up")
        out.append(
            f"a pressure difference of {mbar} mbar would still do (but a weak vacuum leaves voids)"
        )
    speed = least_that_fills(case, lambda v: Change(speed=v), 0.01, 1.0, True)
    if speed is not None:
        times = rounded(1.0 / speed, 1, "down")
        out.append(f"a stack or resin {times} times as slow would still fill")
    return out


def _room_to_spare(found: Forecast) -> list[str]:
    """How far a plan that fits could be eased; nothing where it does not, or is not known to."""
    sound = found.answer.verdict not in ("unfair test", "cannot decide")
    if found.case is None or not sound or not outcome(found.case, Change()).fills:
        return []
    return slack(found.case)


def forecast_lines(found: Forecast) -> list[str]:
    """Write what the forecast adds to the panel's answer, in plain lines, verdict first."""
    lines = text_lines(head_rows(found.answer))
    if found.case is None:
        return [*lines, f"No what-if: {found.reason}", CAUTION]
    lines += _media_lines(found.media)
    lines.append("")
    if found.answer.verdict == "unfair test":
        lines.append("NOT A FAIR TEST: what follows is worth no more than the panel's numbers.")
    elif found.answer.verdict == "cannot decide":
        lines.append("NO VERDICT, for the reason above: what follows leaves that out.")
    elif outcome(found.case, Change()).fills:
        lines += [SLOW_IS_FINE, "Room to spare, one thing at a time:"]
        lines += [f"- {text}" for text in slack(found.case)]
        return [*lines, "", UNDER_THIS_BAG, CAUTION]
    return [*lines, *_change_lines(found), "", UNDER_THIS_BAG, CAUTION]


def _change_lines(found: Forecast) -> list[str]:
    lines = ["What would be enough alone, least trouble first:"]
    if not any(change.enough for change in found.changes):
        lines = ["NONE OF THESE IS ENOUGH ALONE, within what is sold or a shop can do:"]
    for change in found.changes:
        mark = "enough" if change.enough else "too little"
        lines.append(f"- {change.name} ({mark}): {change.words}")
        lines.append(f"  price: {change.cost}")
    if any(change.enough for change in found.changes):
        return lines
    if found.together is None:
        return [*lines, "No two together are enough: split the part, or take another resin."]
    first, second = found.together
    return [*lines, f"Enough together, each as far as it goes: {first} and {second}."]
