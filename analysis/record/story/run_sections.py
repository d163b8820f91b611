"""The run's sections: the front by picture, curve and minute, what was done, what was stamped.

Tested in tests/analysis/record/story/test_report.py.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from analysis.fit.mixture_regression import Z_95
from analysis.forecast.panel_answer import PanelAnswer
from analysis.record.content import TableRow, fairness_rows, key_rows
from analysis.record.story.blocks import Block, Bullets, Grid, Picture, Section, Table, Words
from analysis.record.story.day_figures import pressure_figure
from analysis.record.story.filed import Filed
from analysis.record.story.shop_sections import STALE, photos_of, sentence
from vision.common.quantity import INCH_MM
from vision.common.rounding import rounded
from vision.records import FloatArray, FrontCurve
from vision.settings.event_log import EVENT, RESIN_OPEN, iso_local, stamped_clock_s

# Pictures by name, in the order of the report, with what they show.
CAPTIONS = {
    "unexplained": "Places that what was found does not explain, on the panel from straight above.",
    "front_lines": "The flow front on the photo, with the time of each line since resin start.",
    "curve": "Distance of the flow front against time: the measured points, the fit with its 95 % "
    "band, and when the part is full (95 %).",
    "squared": "Squared distance against time. Under Darcy's law the points lie on a straight "
    "line; a bend shows that something changed.",
    "plan": "The panel from straight above, and when the resin came to each spot.",
}
MOST_ROWS = 24
_STEPS_MIN = (0.5, 1, 2, 5, 10, 15, 20, 30, 60, 120, 240)
MOST_READINGS = 40


def key_section(answer: PanelAnswer) -> Section:
    """The key numbers with their intervals."""
    return Section(
        "Key numbers", (Table(tuple(key_rows(answer)), ("", "Value", "95 % interval or remark")),)
    )


def run_section(
    answer: PanelAnswer, filed: Filed, pictures: Mapping[str, bytes], inch: bool
) -> Section:
    """The run: photo with the front, curves, table by the minute, evenness, what was stamped."""
    names = [*CAPTIONS, *(name for name in pictures if name not in CAPTIONS)]
    shown: list[Block] = [
        Picture(
            pictures[name],
            _caption(name, answer.front.usable),
            150.0 if name == "plan" else 130.0,
        )
        for name in names
        if pictures.get(name)
    ]
    blocks = [*shown, *_by_the_minute(answer, inch), *stamp_blocks(filed), *gauge_blocks(filed)]
    return Section("The run", (*blocks, *photos_of(filed, "resin open", "end of fill", "other")))


def _caption(name: str, usable: bool) -> str:
    if name == "front_lines" and not usable:
        return "The last photo. No front was measured."
    return CAPTIONS.get(name, name.replace("_", " "))


def fair_section(answer: PanelAnswer) -> Section:
    """How fair a test it was."""
    return Section("How fair was the test?", (Table(tuple(fairness_rows(answer))),))


def _by_the_minute(answer: PanelAnswer, inch: bool) -> list[Block]:
    curve = answer.tracked.curve
    if not answer.front.usable or len(curve.time_s) < 2:
        return []
    unit, mm = ("in", INCH_MM) if inch else ("mm", 1.0)
    rows = minute_rows(curve, mm, 2 if inch else 1)
    head = ("min", f"Front, {unit}", f"±, {unit}", f"Least, {unit}", f"Most, {unit}", "Wet, %")
    if answer.scale.method == "marks":
        words = "The front by its marks, with the 95 % uncertainty. A star: not used by the fit."
        return [Words(words), Grid(head[:3], tuple(row[:3] for row in rows), 0)]
    words = (
        "The front by the minute, from the photo next to it: mean over the width with its 95 % "
        "uncertainty, its least and its most. A star: not used by the fit. A dash: not known."
    )
    return [Words(words), Grid(head, tuple(rows), 0)]


def minute_rows(curve: FrontCurve, mm: float = 1.0, decimals: int = 1) -> list[tuple[str, ...]]:
    """Return the front at round minutes, each from the frame nearest to it.

    Parameters
    ----------
    curve : FrontCurve
    mm : float
        Millimetres in the unit that is shown.
    decimals : int
        Of a length.

    Returns
    -------
    rows : list of tuple of str
        Minute, mean, its 95 % uncertainty, least, most, wet share. A minute that no frame is near
        to is left out; the last frame is always there. About `MOST_ROWS` at most.
    """

    def told(value: float) -> str:
        return rounded(value / mm, decimals) if np.isfinite(value) else "–"

    rows: list[tuple[str, ...]] = []
    for k in _minute_frames(np.asarray(curve.time_s, float)):
        star, wet = "" if curve.used[k] else " *", curve.wetted_fraction[k]
        rows.append(
            (
                f"{curve.time_s[k] / 60:.1f}{star}",
                told(curve.front_mean_mm[k]),
                told(Z_95 * curve.front_sd_mm[k]),
                told(curve.front_min_mm[k]),
                told(curve.front_max_mm[k]),
                f"{100 * wet:.0f}" if np.isfinite(wet) else "–",
            )
        )
    return rows


def _minute_frames(time_s: FloatArray) -> list[int]:
    """Return the frames nearest to round minutes, each once, and the last of all."""
    gap_s = max(float(np.median(np.diff(time_s))), 1.0)
    last_min = float(time_s[-1]) / 60
    coarse = max(last_min / MOST_ROWS, gap_s / 60)
    step = next((one for one in _STEPS_MIN if one >= coarse), coarse)
    found = []
    for minute in np.arange(step, last_min, step):
        k = int(np.argmin(np.abs(time_s - 60 * minute)))
        if abs(time_s[k] - 60 * minute) <= 0.75 * gap_s:
            found.append(k)
    return sorted({*found, len(time_s) - 1})


def stamp_blocks(filed: Filed) -> list[Block]:
    """Return what was done and when, as stamped while it ran, by this computer's clock."""
    if not filed.stamps:
        return []
    start = stamped_clock_s(list(filed.stamps), RESIN_OPEN)
    rows = []
    for stamp in sorted(filed.stamps, key=lambda stamp: stamp.clock_s):
        after = "" if start is None else f"{(stamp.clock_s - start) / 60:+.1f}"
        what = f"{stamp.kind}: {stamp.text}" if stamp.text else stamp.kind
        what = what.removeprefix(f"{EVENT}: ")
        what += f" (photo {stamp.photo})" if stamp.photo else ""
        rows.append((iso_local(stamp.clock_s)[11:19], after, what))
    words = f"What was done and seen at the {filed.of}, in minutes from resin open:"
    shown = [Picture(data, f"Photo {name}.", half=True) for name, data in filed.notes.items()]
    return [Words(words), Grid(("Clock", "min", "What"), tuple(rows)), *shown]


def gauge_blocks(filed: Filed) -> list[Block]:
    """Return gauge readings typed while it ran, drawn and in a table."""
    readings = sorted(filed.readings)
    if not readings:
        return []
    stamped = stamped_clock_s(list(filed.stamps), RESIN_OPEN)
    start = readings[0][0] if stamped is None else stamped
    since = "the first reading" if stamped is None else "resin open"
    time = np.array([(clock - start) / 60 for clock, _ in readings])
    bag = np.array([mbar for _, mbar in readings])
    blocks: list[Block] = []
    if len(readings) > 1:
        png = pressure_figure(time, bag, from_words=since, inch=filed.inch)
        blocks.append(Picture(png, "Gauge readings during the run.", 75.0))
    every = -(-len(readings) // MOST_READINGS)
    words = f"Gauge readings, in minutes from {since}"
    words += f"; one in {every} of {len(readings)} is listed:" if every > 1 else ":"
    rows = tuple(
        (f"{t:+.1f}", f"{p:.0f}") for t, p in zip(time[::every], bag[::every], strict=True)
    )
    return [*blocks, Words(words), Grid(("min", "Bag, mbar absolute"), rows)]


def forecast_section(answer: PanelAnswer, filed: Filed) -> Section | None:
    """What to change so that the part fills; None where it was not worked out."""
    if filed.forecast.stale:
        return Section("Forecast", (Words(f"The forecast {STALE} (`wetline forecast`)."),))
    found = filed.forecast.good
    if not found:
        return None
    blocks: list[Block] = []
    if answer.verdict in ("unfair test", "cannot decide"):
        words = f"The verdict is {answer.verdict}: what follows is worth no more than that."
        blocks.append(Words(words, strong=True))
    if found.get("reason"):
        blocks.append(Words(f"Nothing to compare: {found['reason']}."))
    spare = found.get("room_to_spare") or ()
    if spare:
        blocks.append(Words("It fits as it is. Room to spare, one thing at a time:"))
        blocks.append(Bullets(tuple(sentence(text) for text in spare)))
    rows = [
        TableRow(
            str(lever["name"]),
            "enough alone" if lever["enough"] else "too little alone",
            f"{lever['say']}; price: {lever['cost']}",
        )
        for lever in (() if spare else found.get("levers") or ())
    ]
    blocks += [Table(tuple(rows), ("Change", "Enough?", "How far, and its price"))] * bool(rows)
    if found.get("enough_together") and not spare:
        first, second = found["enough_together"]
        blocks.append(Words(f"Enough together, each as far as it goes: {first} and {second}."))
    if filed.levers:
        caption = "What each change does to the margin (working time over fill time)."
        blocks.append(Picture(filed.levers, caption))
    return Section("Forecast", tuple(blocks)) if blocks else None
