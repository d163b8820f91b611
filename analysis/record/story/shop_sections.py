"""The morning's sections: set-up, drawdown, mixing plan.

Tested in tests/analysis/record/story/test_report.py.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from analysis.forecast.panel_answer import PanelAnswer
from analysis.record.content import UNKNOWN, TableRow, panel_rows, scale_rows
from analysis.record.day.day_records import TIME_FROM
from analysis.record.day.stage_pictures import StagePicture
from analysis.record.story.blocks import Block, Bullets, Grid, Picture, Section, Table, Words
from analysis.record.story.day_figures import pressure_figure
from analysis.record.story.filed import Filed
from vision.common.rounding import rounded

STALE = "was worked out before panel.toml or the front changed, and is left out: run it again"


def setup_section(answer: PanelAnswer, filed: Filed) -> Section:
    """What was laid up, by whom, and how the camera measured it."""
    said, day = filed.said, filed.day
    own = [
        TableRow("Done by", day.done_by or said.get("operator") or UNKNOWN),
        TableRow("Batch", day.batch or UNKNOWN),
    ]
    for key, name in (("date", "Date"), ("notes", "Note")):
        own += [TableRow(name, said[key])] if said.get(key) else []
    blocks: list[Block] = [Table((*own, *panel_rows(answer))), Table(tuple(scale_rows(answer)))]
    return Section("Set-up", (*blocks, *photos_of(filed, "stack", "bag")))


def photos_of(filed: Filed, *stages: str) -> list[Block]:
    """Return the photos of some stages, each with its time and note."""
    shown = [picture for picture in filed.pictures if picture.photo.stage in stages]
    return [_photo(picture) for picture in shown]


def _photo(picture: StagePicture) -> Block:
    photo = picture.photo
    told = photo.stage
    if photo.time:
        told += f", {photo.time.replace('T', ' ')[:16]}"
        if photo.time_from != "photo":
            told += f" ({TIME_FROM.get(photo.time_from, '')})"
    else:
        told += ", time not known"
    words = " ".join(sentence(part) for part in (told, photo.note, picture.words) if part)
    return Picture(picture.jpeg, words, half=True) if picture.jpeg else Words(words)


def drawdown_section(filed: Filed) -> Section | None:
    """The bag's tightness: verdict, curve, and how the rise parts; None where nothing is kept."""
    photos = photos_of(filed, "drawdown")
    kept = filed.drawdown
    if kept.stale:
        log = (kept.values or {}).get("log_file", "the log")
        return Section("Drawdown", (Words(f"{log} has changed since: run it again."), *photos))
    values = kept.good
    if not values:
        return Section("Drawdown", tuple(photos)) if photos else None
    blocks: list[Block] = [
        Words(f"The bag: {values['verdict']}. {sentence(values['reason'])}", strong=True)
    ]
    log = values.get("log") or {}
    if len(log.get("time_min", [])) > 1:
        time, bag = np.array(log["time_min"], float), np.array(log["bag_mbar"], float)
        limit = (float(values["limit_mbar"]), float(values["limit_min"]))
        since = "the first reading"
        png = pressure_figure(time - time[0], bag, from_words=since, limit=limit, inch=filed.inch)
        blocks.append(Picture(png, "Pressure in the bag with the pump shut off.", 75.0))
    blocks.append(Table(tuple(_drawdown_rows(values))))
    blocks += [Bullets(tuple(values.get("notes") or ()))] * bool(values.get("notes"))
    return Section("Drawdown", (*blocks, *photos))


def sentence(text: object) -> str:
    """Return words as a sentence: a capital first, a full stop last.

    Examples
    --------
    >>> sentence("pump longer")
    'Pump longer.'
    """
    words = str(text).strip()
    return words[:1].upper() + words[1:] + ("" if words.endswith(".") else ".")


def _drawdown_rows(values: Mapping[str, Any]) -> list[TableRow]:
    minutes = f"{values['limit_min']:g} min"

    def row(name: str, key: str, unit: str, low: str, high: str) -> TableRow:
        ends = [values[key], values[low], values[high]]
        if any(end is None for end in ends):
            return TableRow(name, UNKNOWN)
        least, most = rounded(ends[1], 2, "down"), rounded(ends[2], 2, "up")
        return TableRow(name, f"{rounded(ends[0], 2)} {unit}", f"{least} to {most} {unit}")

    return [
        TableRow("Log", str(values.get("log_file") or UNKNOWN), f"{values['log_min']:.0f} min"),
        TableRow("Bag at lock-off", f"{values['start_mbar']:.0f} mbar", "absolute"),
        row(f"Rise in {minutes}", "rise_mbar", "mbar", "rise_low_mbar", "rise_high_mbar"),
        row("Leak", "leak_mbar_min", "mbar/min", "leak_low_mbar_min", "leak_high_mbar_min"),
        row(
            f"Outgassing in {minutes}",
            "outgassing_mbar",
            "mbar",
            "outgassing_low_mbar",
            "outgassing_high_mbar",
        ),
        TableRow("Allowed", f"{values['limit_mbar']:g} mbar", f"in {minutes}"),
    ]


def mixing_section(filed: Filed) -> Section | None:
    """How much to mix, in which pots; None where no plan is kept."""
    if filed.resin.stale:
        return Section("Mixing plan", (Words(f"The plan {STALE} (`wetline resin`)."),))
    plan = filed.resin.good
    if not plan:
        return None
    blocks: list[Block] = [Words(f"Stop: {text}.", strong=True) for text in plan.get("alarms", ())]
    rows = [TableRow(name, f"{mass:.3f} kg") for name, mass in plan["items_kg"].items()]
    split = ""
    if plan.get("resin_kg") is not None:
        split = f"{plan['resin_kg']:.2f} kg resin and {1000 * plan['hardener_kg']:.0f} g hardener"
    blocks.append(Table((*rows, TableRow("To mix in all", f"{plan['total_kg']:.2f} kg", split))))
    head = ("Pot", "Mixed, kg", "Hardener, g", "Mix at, min", "Pour by, min")
    blocks.append(Grid(head, tuple(_pot(pot) for pot in plan["pots"])))
    blocks.append(Words("Times of the pots count from resin start."))
    notes = [*plan.get("notes", ()), *plan.get("cautions", ())]
    return Section("Mixing plan", (*blocks, Bullets(tuple(sentence(text) for text in notes))))


def _pot(pot: Mapping[str, Any]) -> tuple[str, ...]:
    hardener, pour = pot["hardener_kg"], pot["pour_by_s"]
    return (
        str(pot["number"]),
        f"{pot['mixed_kg']:.3f}",
        "?" if hardener is None else f"{1000 * hardener:.0f}",
        f"{pot['mix_at_s'] / 60:+.0f}",
        "?" if pour is None else rounded(pour / 60, 0, "down"),
    )


def missing_lines(filed: Filed, photos: Sequence[str]) -> list[str]:
    """Return what the record of a panel or part lacks, what would put it in, what was taken out."""
    lines, panel = [], filed.of == "panel"
    if not filed.drawdown.values:
        lines.append("Drawdown: none kept. `wetline drawdown LOG.csv` on a log in the folder.")
    if panel and not filed.resin.values:
        lines.append("Mixing plan: none kept. `wetline resin FOLDER`.")
    if panel and not filed.forecast.values:
        lines.append("What to change (levers): not worked out. `wetline forecast FOLDER`.")
    absent = [stage for stage in photos if all(p.photo.stage != stage for p in filed.pictures)]
    if absent:
        named = ", ".join(absent)
        lines.append(f"Photos of {named}: none filed. `wetline record FOLDER PHOTO --stage ...`.")
    for out in filed.day.taken_out:
        when = out.time.replace("T", " ")[:16] or "at a time not noted"
        lines.append(f"Taken out {when}: a photo filed as {out.stage}. It is kept: {out.kept}.")
    return lines
