"""A panel's answer in plain lines for the screen, verdict first."""

from __future__ import annotations

from analysis.fit.permeability import NoFit, PermeabilityFit
from analysis.forecast.fill_time import FillForecast
from analysis.forecast.panel_answer import GelAnswer, PanelAnswer
from vision.common.rounding import minutes, rounded, scientific

MAX_LINES = 20
CAUTION = (
    "The forecast is advice with an interval, not a permit: data sheets, local rules and licensed "
    "practice come first."
)


def answer_lines(answer: PanelAnswer) -> list[str]:
    """Write the answer in at most 20 lines, verdict first."""
    reason = answer.reason
    lines = [
        f"Panel:        {answer.panel.name}",
        f"Verdict:      {answer.judgement.headline}",
        f"              {reason[:1].upper()}{reason[1:]}",
        *_permeability_lines(answer),
        *_fill_lines(answer.fill, answer.gel),
        _front_line(answer),
    ]
    if answer.panel.understood:
        lines.append(f"Understood:   {'; '.join(answer.panel.understood)}")
    warnings = answer.warnings
    room = MAX_LINES - len(lines) - 1
    shown = warnings if len(warnings) <= room else warnings[: room - 1]
    lines += [f"Look at:      {text}" for text in shown]
    if len(shown) < len(warnings):
        lines.append(f"              and {len(warnings) - len(shown)} more in results.json")
    return [*lines, CAUTION]


def _front_line(answer: PanelAnswer) -> str:
    front, fit = answer.front, answer.fit
    if not front.usable:
        return "Front:        not measured"
    used = front.frames_used if isinstance(fit, NoFit) else int(fit.used.sum())
    return (
        f"Front:        reached {front.length_reached_mm:.0f} mm; "
        f"{used} of {front.frames} frames used"
    )


def _permeability_lines(answer: PanelAnswer) -> list[str]:
    fit, axes = answer.fit, answer.axes
    if isinstance(fit, NoFit) or fit.k_m2 is None:
        return ["Permeability: not known"]
    ends = ""
    if fit.k_low_m2 is not None and fit.k_high_m2 is not None:
        low, high = scientific(fit.k_low_m2, 2, "down"), scientific(fit.k_high_m2, 2, "up")
        ends = f" (95 %: {low} to {high})"
    lines = [f"Permeability: {scientific(fit.k_m2)} m2{ends}, under this bag"]
    if axes is not None:
        lines.append(
            f"              fast {axes.k1_m2:.2e} at {axes.angle_deg:.0f} degrees, "
            f"slow {axes.k2_m2:.2e} m2"
        )
    return [*lines, f"              {_model_words(fit)}"]


def _model_words(fit: PermeabilityFit) -> str:
    """Write in plain words how the front moved."""
    resists = f"as if the panel began {fit.feed_length_m * 1000.0:.0f} mm earlier"
    return {
        "plain": "the front slowed evenly, as it should",
        "late start": f"the front slowed evenly, counted from {fit.start_s:+.0f} s",
        "feed resistance": f"the feed held the resin back, {resists}",
        "feed resistance and late start": f"the feed held the resin back, {resists}",
    }.get(fit.model, fit.model)


def _fill_lines(fill: FillForecast | None, gel: GelAnswer | None) -> list[str]:
    lines = []
    if fill is not None:
        lines.append(f"Fill time:    {fill.flow_length_m * 1000.0:.0f} mm {_span(fill)}")
        if fill.assumes:
            lines.append(f"              counts on {'; '.join(fill.assumes[:2])}")
    if gel is not None:
        tail = f"; working time is {gel.margin:.2f} x the fill time" if gel.margin else ""
        lines.append(
            f"Gel:          {minutes(gel.gel_time_s, 'down')}, working time "
            f"{minutes(gel.working_time_s, 'down')}{tail}"
        )
    if fill is not None and fill.longest_run_m is not None:
        ends = ""
        if fill.longest_low_m is not None and fill.longest_high_m is not None:
            low = rounded(fill.longest_low_m * 1000.0, side="down")
            ends = f" (95 %: {low} to {rounded(fill.longest_high_m * 1000.0, side='up')})"
        run = rounded(fill.longest_run_m * 1000.0)
        lines.append(f"Longest run:  {run} mm in the working time{ends}")
    return lines


def _span(fill: FillForecast) -> str:
    best = rounded(fill.time_s / 60.0, 1)
    if best == "never":
        return "never: the resin stiffens first"
    low = rounded(fill.time_low_s / 60.0, 1, "down")
    return f"in {best} min (95 %: {low} to {rounded(fill.time_high_s / 60.0, 1, 'up')})"
