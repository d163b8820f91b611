"""Tidy tables of panels: one row for each observation, units in the names of the columns."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from analysis.fit.permeability import NoFit, panel_impulse
from analysis.forecast.panel_answer import PanelAnswer
from analysis.forecast.panel_json import answer_json
from analysis.panel.records import Resin, Vacuum
from analysis.record.day.day_records import Day
from vision.common.atomic_files import write_json, write_text
from vision.records import CURVE_NUMBERS

Row = Mapping[str, Any]


def named_rows(told: Mapping[str, Any], what: str, key: str) -> list[dict[str, Any]]:
    """Return the rows of all panels or parts as one table, each row with its name first.

    Parameters
    ----------
    told : mapping of str to mapping
        Panels or parts by name, with their lists of rows by what is in them.
    what : str
        Which rows.
    key : str
        Column of the name: ``panel`` or ``part``.
    """
    return [{key: name, **row} for name, one in told.items() for row in one[what]]


def observation_rows(found: PanelAnswer) -> list[dict[str, Any]]:
    """Return one row for each frame or pen mark.

    Parameters
    ----------
    found : PanelAnswer

    Returns
    -------
    list of dict
        The front's columns as in front.csv, then driving impulse (dimensionless) and its rate
        from resin start on, where pressure and viscosity are stated, and what the fit says there.
    """
    curve = found.tracked.curve
    fit = None if isinstance(found.fit, NoFit) else found.fit
    impulse, stated = panel_impulse(found.panel)
    theta = np.asarray(impulse.at(curve.time_s), float)
    rate = np.asarray(impulse.rate(np.maximum(curve.time_s, 0.0)), float)
    rows = []
    for k, frame in enumerate(curve.frames):
        row: dict[str, Any] = {"frame": frame, "time_s": float(curve.time_s[k])}
        row |= {name: float(getattr(curve, name)[k]) for name in CURVE_NUMBERS}
        driven = stated and curve.time_s[k] >= 0
        row["driving_impulse"] = float(theta[k]) if driven else None
        row["pressure_over_viscosity_per_s"] = float(rate[k]) if driven else None
        row["fitted_front_mm"] = float(fit.fitted_m[k]) * 1e3 if fit else None
        row["used_by_fit"] = bool(fit.used[k]) if fit else False
        row["believed"] = bool(curve.used[k])
        row["note"] = curve.notes[k]
        rows.append(row)
    return rows


def panel_row(panel: str, found: PanelAnswer) -> dict[str, Any]:
    """Return every single number and word of a panel's answer, tables joined by dots."""
    return {"panel": panel, **dict(flat(answer_json(found)))}


def flat(value: Mapping[str, Any], before: str = "") -> Iterable[tuple[str, Any]]:
    """Yield every number and word of nested tables, names joined by dots; lists are left out."""
    for key, item in value.items():
        name = f"{before}{key}".replace(" ", "_").replace("-", "_")
        if isinstance(item, Mapping):
            yield from flat(item, f"{name}.")
        elif not isinstance(item, list):
            yield name, item


def place_rows(found: PanelAnswer, day: Day) -> list[dict[str, Any]]:
    """Return one row for each place on the panel: dry spots that were seen, and marks filed."""
    spots: list[dict[str, Any]] = [
        {"kind": "dry spot", "x_mm": s.x_mm, "y_mm": s.y_mm, "area_mm2": s.area_mm2, "note": ""}
        for s in found.front.dry_spots
    ]
    return [*spots, *mark_rows(day)]


def mark_rows(day: Day) -> list[dict[str, Any]]:
    """Return one row for each mark that was filed."""
    return [
        {"kind": m.kind, "x_mm": m.x_mm, "y_mm": m.y_mm, "area_mm2": None, "note": m.note}
        for m in day.marks
    ]


def reading_rows(vacuum: Vacuum, resin: Resin) -> list[dict[str, Any]]:
    """Return one row for each reading of gauge and viscosity, with where it comes from."""
    told = (
        ("pressure difference", "Pa", "log", vacuum.log),
        ("pressure difference", "Pa", "typed at the board", vacuum.typed),
        ("viscosity", "Pa s", "log", resin.viscosity_log),
    )
    return [
        {
            "quantity": quantity,
            "unit": unit,
            "source": source,
            "time_s": float(time_s),
            "value": float(value),
        }
        for quantity, unit, source, log in told
        if log is not None
        for time_s, value in zip(log.time_s, log.value, strict=True)
    ]


def csv_text(rows: Sequence[Row], columns: Sequence[str] = ()) -> str:
    """Write rows as CSV: a header, a point as decimal mark, empty where nothing is known.

    Parameters
    ----------
    rows : sequence of mapping
    columns : sequence of str
        Of a table that may have no rows; else the union of the rows' own, in their order.

    Examples
    --------
    >>> print(csv_text([{"a_mm": 1.25, "used": True}, {"a_mm": None, "used": False}]), end="")
    a_mm,used
    1.25,yes
    ,no
    """
    names = list(dict.fromkeys([*columns, *(key for row in rows for key in row)]))
    out = io.StringIO()
    writer = csv.DictWriter(out, names, lineterminator="\n")
    writer.writeheader()
    for row in rows:
        writer.writerow({key: _cell(value) for key, value in row.items()})
    return out.getvalue()


def write_tables(
    place: Path, tables: Mapping[str, str], whole_name: str, whole: Mapping[str, Any]
) -> list[Path]:
    """Write tables by their names and all of it as one JSON file; return what was written."""
    for name, text in tables.items():
        write_text(place / name, text)
    write_json(place / whole_name, whole)
    return [place / name for name in (*tables, whole_name)]


def _cell(value: Any) -> Any:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return f"{value:.9g}" if math.isfinite(value) else ""
    return "" if value is None else value
