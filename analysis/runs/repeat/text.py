"""How runs repeat, in words: for the screen and the page."""

from __future__ import annotations

import textwrap

from analysis.forecast.panel_text import CAUTION
from analysis.runs.repeat.control_chart import FIRM, ControlChart
from analysis.runs.repeat.judged import Judged
from analysis.runs.repeat.judgement import RunJudgement
from vision.common.rounding import minute_decimals, minutes, rounded

WIDTH = 96


def head(found: Judged) -> str:
    """Write the answer in one sentence."""
    told, unit = found.judgement, found.band.unit
    if found.own_head:
        return found.own_head
    if told is None:
        count = found.band.count
        return f"Band of {count} good {'run' if count == 1 else 'runs'}"
    if told.word == "in":
        return f"LIKE THE GOOD RUNS, as far as it went ({rounded(told.judged_mm)} {unit})"
    if told.word == "cannot tell":
        return "CANNOT BE TOLD"
    where = "the start" if told.manner == "from the start" else f"{_place(told, unit)} on"
    way = f"{told.side.upper()} from {where}"
    if told.word == "in, but":
        return f"QUESTION: {way}"
    return f"NOT LIKE THE GOOD RUNS: {way}"


def answer_lines(found: Judged) -> list[str]:
    """Write what stands below the head: how far off, how it came about, what usually does it."""
    told, unit = found.judgement, found.band.unit
    last = rounded(float(found.band.distance_mm[-1]))
    end = f"The band ends at {last} {unit}, where the shortest good run did."
    if told is None:
        return [sentence(found.band.words), end]
    if told.word == "cannot tell":
        why = "" if found.judged is None else found.judged.why
        return [
            sentence(why or "the run ended before the place from which runs are compared"),
        ]
    out = []
    if told.word == "in":
        out.append(f"At the end it had taken {_ratio(told)} as long as the middle good run.")
    else:
        out += _off_lines(told, unit)
    out += [sentence(found.band.words), end]
    return [*out, *_alike_line(found), *map(sentence, found.own_words)]


def _off_lines(told: RunJudgement, unit: str) -> list[str]:
    assert told.left_mm is not None
    assert told.left_s is not None
    assert told.late_s is not None
    late = f"{minutes(abs(told.late_s))} {'late' if told.late_s > 0 else 'early'}"
    came = (
        f"it came back at {rounded(told.back_mm)} {unit}"
        if told.back_mm is not None
        else "it did not come back"
    )
    out = []
    if told.word == "in, but":
        out.append(
            "It is inside the band of the good runs, but that is wide for want of runs; like "
            "panels rarely differ so much."
        )
    out.append(
        f"It left at {_place(told, unit)}, after {minutes(told.left_s)}, {late} against the middle "
        f"good run; {came}. At the end it had taken {_ratio(told)} as long."
    )
    how = {
        "from the start": "It was off from the start, by about the same share all the way.",
        "more and more": "It went off more and more.",
        "at once": "It went off at once, within a short way.",
    }[told.manner]
    out.append(f"{how} What usually does that (common practice): {told.causes}.")
    return out


def _alike_line(found: Judged) -> list[str]:
    """Write what is left once the stated resin and vacuum are taken out."""
    told, alike = found.judgement, found.alike
    if told is None or alike is None or alike.word == "cannot tell":
        return []
    if told.word != "in" and alike.word == "in":
        return [
            "With viscosity and vacuum as stated taken out it runs like the good ones: what "
            f"{found.settings_file} says of them explains it."
        ]
    if told.word == "in" and alike.word == "out":
        return [
            f"LOOK AT THIS: with viscosity and vacuum as stated taken out it is {alike.side}: "
            "resin or vacuum made up for a stack that is not as usual, or is not as stated."
        ]
    if told.word == "in":
        return []
    return ["Viscosity and vacuum as stated do not explain it."]


def chart_lines(found: Judged) -> list[str]:
    """Write what each control chart shows."""
    out = [line for chart in found.charts for line in _chart(chart)]
    if any(chart.centre is not None for chart in found.charts):
        out.append(
            "Limits: mean of the good runs and three standard deviations from their moving range "
            "(ISO 7870-2). Rules: Western Electric 1956."
        )
    return out


def _chart(chart: ControlChart) -> list[str]:
    if chart.lower is None or chart.upper is None or chart.centre is None:
        return [f"{chart.name}: no limits: {chart.reason}."]
    places = 2 if abs(chart.centre) < 10 else 1
    low, high = rounded(chart.lower, places), rounded(chart.upper, places)
    sure = "" if chart.firm else f", a first guess: {FIRM} good runs make them firm"
    told = f"{chart.name}: limits {low} to {high} {chart.unit}{sure}"
    if not chart.signals:
        return [f"{told}. All runs are within."]
    found = "; ".join(f"run {chart.labels[s.index]} {s.words}" for s in chart.signals)
    return [f"{told}. Look at: {found}."]


def run_lines(found: Judged) -> list[str]:
    """Write which run has which number."""
    out = [f"{run.label}: {run.name}" for run in found.good]
    out += [f"not counted as good: {name}: {why}" for name, why in found.left_out]
    if found.judged is not None:
        out.append(f"{found.judged.label}: {found.judged.name} (judged)")
    return out


def repeat_lines(found: Judged) -> list[str]:
    """Write everything for the screen, the answer first."""
    out = [head(found), *wrapped(answer_lines(found)), "", "Runs", *wrapped(run_lines(found))]
    for title, lines in found.own_sections:
        out += ["", title, *wrapped(list(lines))]
    if found.unlike_words:
        out += ["", "What was not alike", *wrapped(list(found.unlike_words))]
    charts = chart_lines(found)
    if charts:
        out += ["", "From run to run", *wrapped(charts)]
    return [*out, "", *textwrap.wrap(CAUTION, WIDTH)]


def wrapped(lines: list[str]) -> list[str]:
    """Return lines broken to the width of a screen, each indented."""
    return [
        part
        for line in lines
        for part in textwrap.wrap(line, WIDTH, initial_indent="  ", subsequent_indent="     ")
    ]


def _place(told: RunJudgement, unit: str) -> str:
    return f"{rounded(told.left_mm or 0.0)} {unit}"


def _ratio(told: RunJudgement) -> str:
    return f"{told.end_ratio:.2f} times" if told.end_ratio is not None else "not known times"


def sentence(text: str) -> str:
    """Return a text with a capital and a full stop."""
    return text[:1].upper() + text[1:] + ("" if text.endswith(".") else ".")


def band_rows(found: Judged) -> list[tuple[str, str, str, str]]:
    """Return the band at a few distances: how far, middle, earliest and latest minutes."""
    band = found.band
    rows = []
    for i in range(9, len(band.distance_mm), 9):
        places = minute_decimals(float(band.middle_s[i]))
        early, late = band.early_s[i] / 60.0, band.late_s[i] / 60.0
        rows.append(
            (
                found.far_words(float(band.distance_mm[i])),
                rounded(float(band.middle_s[i]) / 60.0, places),
                rounded(float(early), places, "down"),
                rounded(float(late), places, "up"),
            )
        )
    return rows
