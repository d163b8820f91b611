"""A panel's answer in plain words, verdict first: rows that the screen and the board draw."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from analysis.fit.permeability import NoFit, PermeabilityFit
from analysis.forecast.fill_time import FillForecast
from analysis.forecast.panel_answer import PanelAnswer
from analysis.forecast.verdict import off_every_law
from vision.common.rounding import lapse, minute_decimals, minutes, rounded, scientific

MAX_LINES = 20
LABEL_WIDTH = 14
CAUTION = (
    "The forecast is advice with an interval, not a permit: data sheets, local rules and licensed "
    "practice come first."
)


@dataclass(frozen=True)
class TextRow:
    """One fact in words: what it is about (may be empty), the text, and lines that go with it."""

    label: str
    text: str
    more: tuple[str, ...] = ()

    @property
    def lines(self) -> list[str]:
        """The row as lines for the screen."""
        if not self.label:
            return [self.text, *self.more]
        indent = " " * LABEL_WIDTH
        return [f"{self.label + ':':{LABEL_WIDTH}s}{self.text}", *(indent + t for t in self.more)]


def text_lines(rows: Iterable[TextRow]) -> list[str]:
    """Write rows as lines for the screen."""
    return [line for row in rows for line in row.lines]


def answer_lines(answer: PanelAnswer) -> list[str]:
    """Write the answer in at most 20 lines, verdict first."""
    return text_lines(answer_rows(answer))


def answer_rows(answer: PanelAnswer) -> list[TextRow]:
    """Return the answer row by row, at most 20 lines in all; the caution comes last."""
    rows = [
        *head_rows(answer),
        _permeability_row(answer),
        *_time_rows(answer),
        TextRow("Front", _front_words(answer)),
    ]
    if answer.panel.understood:
        rows.append(TextRow("Understood", "; ".join(answer.panel.understood)))
    said = {f"in doubt: {text}" for text in answer.front.doubts}  # by the verdict above
    warnings = [text for text in answer.warnings if text not in said]
    room = MAX_LINES - len(text_lines(rows)) - 1
    shown = warnings if len(warnings) <= room else warnings[: room - 1]
    rows += [TextRow("Look at", text) for text in shown]
    if len(shown) < len(warnings):
        left = f"and {len(warnings) - len(shown)} more in results.json"
        rows[-1] = TextRow(rows[-1].label, rows[-1].text, (*rows[-1].more, left))
    return [*rows, TextRow("", CAUTION)]


def head_rows(answer: PanelAnswer) -> list[TextRow]:
    """Return the rows that go before all others: the panel, its verdict, and whether in doubt."""
    reason = answer.reason
    return [
        TextRow("Panel", answer.panel.name),
        TextRow("Verdict", answer.judgement.headline, (reason[:1].upper() + reason[1:],)),
        *_doubt_rows(answer),
    ]


EVEN = "the front slowed evenly, as it should"
IN_DOUBT = "the numbers come from a front that may be wrong: do not build on them"


def _doubt_rows(answer: PanelAnswer) -> list[TextRow]:
    """Return the word that goes before the numbers of a run in doubt."""
    numbers = not isinstance(answer.fit, NoFit)
    return [TextRow("In doubt", IN_DOUBT)] if answer.front.doubts and numbers else []


def _front_words(answer: PanelAnswer) -> str:
    front, fit = answer.front, answer.fit
    if not front.usable:
        return "not measured"
    used = front.frames_used if isinstance(fit, NoFit) else int(fit.used.sum())
    return f"reached {front.length_reached_mm:.0f} mm; {used} of {front.frames} pictures used"


def _permeability_row(answer: PanelAnswer) -> TextRow:
    fit, axes = answer.fit, answer.axes
    if isinstance(fit, NoFit) or fit.k_m2 is None:
        return TextRow("Permeability", "not known")
    ends = ""
    if fit.k_low_m2 is not None and fit.k_high_m2 is not None:
        low, high = scientific(fit.k_low_m2, 2, "down"), scientific(fit.k_high_m2, 2, "up")
        ends = f" (95 %: {low} to {high})"
    more = [_model_words(fit)]
    if axes is not None:
        more.insert(
            0,
            f"fast {axes.k1_m2:.2e} at {axes.angle_deg:.0f} degrees, slow {axes.k2_m2:.2e} m2",
        )
    text = f"{scientific(fit.k_m2)} m2{ends}, under this bag"
    return TextRow("Permeability", text, tuple(more))


def _model_words(fit: PermeabilityFit) -> str:
    """Write in plain words how the front moved."""
    if off_every_law(fit):
        return f"no steady flow fits: the front stands {fit.misfit_m * 1000.0:.0f} mm off"
    more_mm = rounded(fit.feed_length_m * 1000.0)
    resists = f"the feed held the resin back as much as {more_mm} mm more of panel would"
    return {
        "plain": EVEN,
        "late start": _start_words(fit.start_s),
        "feed resistance": resists,
        "feed resistance and late start": resists,
    }.get(fit.model, fit.model)


def _start_words(start_s: float) -> str:
    """Write from when the front slowed evenly."""
    if abs(start_s) < 5.0:  # nearer than a shop notes it
        return EVEN
    when = "after" if start_s > 0 else "before"
    return f"the front slowed evenly, as if the resin had come {lapse(start_s)} {when} its start"


def _time_rows(answer: PanelAnswer) -> list[TextRow]:
    """Rows of fill time, gel and longest run."""
    fill, gel = answer.fill, answer.gel
    rows = []
    if fill is not None:
        length = f"{fill.flow_length_m * 1000.0:.0f} mm"
        counts = (f"taken for the part: {'; '.join(fill.assumes[:2])}",) if fill.assumes else ()
        rows.append(TextRow("Fill time", f"{length} {_span(fill)}", counts))
    if gel is not None:
        tail = f", {gel.margin:.2f} times the fill time" if gel.margin else ""
        gels, works = minutes(gel.gel_time_s, "down"), minutes(gel.working_time_s, "down")
        rows.append(TextRow("Gel", f"{gels}; working time {works}{tail}"))
    if fill is not None and fill.longest_run_m is not None:
        ends = ""
        if fill.longest_low_m is not None and fill.longest_high_m is not None:
            low = rounded(fill.longest_low_m * 1000.0, side="down")
            ends = f" (95 %: {low} to {rounded(fill.longest_high_m * 1000.0, side='up')})"
        run = rounded(fill.longest_run_m * 1000.0)
        rows.append(TextRow("Longest run", f"{run} mm in the working time{ends}"))
    return rows


def _span(fill: FillForecast) -> str:
    decimals = minute_decimals(fill.time_s)
    best = rounded(fill.time_s / 60.0, decimals)
    if best == "never":
        return "never: the resin stiffens first"
    low = rounded(fill.time_low_s / 60.0, decimals, "down")
    high = rounded(fill.time_high_s / 60.0, decimals, "up")
    hours = f" ({fill.time_s / 3600.0:.1f} h)" if fill.time_s >= 2 * 3600.0 else ""
    return f"in {best} min{hours} (95 %: {low} to {high})"
